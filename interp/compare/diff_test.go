package compare

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"platemark/interp"
	"platemark/interp/interptest"
)

const diffBase = `recipe 1 draft

title   "A small test"
rights  "free"
round   2
master  "m.tif"

mask reeds {
    stroke along (4%, 71%), (18%, 60%), (33%, 72%), (80%, 70%) width 16% soft 70%
    less ellipse at (50%, 66%) size 19% x 14% soft 50%
}

mask land {
    rectangle at (50%, 75%) size 100% x 40% soft 20%
    soften 1%
}

mask sky {
    mask land
    invert
}

prepare {
    spot pixels over 12% through sky
    spot at (22%, 11%) radius 0.9%
    spot at (68%, 20%) radius 1% soft 50% from (75%, 30%)
}

steps wall {
    enlarge with lanczos3 as crisp
    enlarge with mitchell as smooth
    blend smooth over crisp through reeds at 40%
}

print large {
    edition 10 plus 2 proofs
    size 3 in x 2 in at 100 ppi
    follow wall
    sharpen radius 1.8 px amount 190% through land
    save jpeg "large.jpg" quality 100 chroma full
}

print middle {
    size 6 cm wide at 100 ppi
    follow wall
    save tiff "middle.tif" bits 16
}

print card {
    size 15 cm wide at 40 ppi
    crop to 4:3 at (40%, 50%)
    enlarge with b-spline light linear
    sharpen radius 0.9 px amount 120%
    convert to sRGB
    save jpeg "card.jpg" quality 85 chroma half
}
`

// edit replaces each old by its new, once, and fails where old isn't there.
func edit(t *testing.T, text string, pairs ...string) string {
	t.Helper()
	for i := 0; i < len(pairs); i += 2 {
		if strings.Count(text, pairs[i]) != 1 {
			t.Fatalf("%q stands %d times in the text", pairs[i], strings.Count(text, pairs[i]))
		}
		text = strings.Replace(text, pairs[i], pairs[i+1], 1)
	}
	return text
}

// block cuts a block out of the text and returns it with the rest.
func block(t *testing.T, text, head string) (cut, rest string) {
	t.Helper()
	i := strings.Index(text, head)
	if i < 0 {
		t.Fatalf("no block %q", head)
	}
	j := strings.Index(text[i:], "\n}\n") + i + 3
	return text[i:j], text[:i] + text[j:]
}

// said writes a change in one line, without its line numbers.
func saidChange(c Change) string {
	s := c.Kind + " " + c.Where + "/" + c.Step
	switch {
	case c.Kind == "moved":
		s += " " + c.Text + " [" + c.Old + " -> " + c.New + "]"
	case c.Param != "":
		s += " " + c.Param + ": " + c.Old + " -> " + c.New
	default:
		s += " " + c.Text
	}
	if c.Delta != "" {
		s += " (" + c.Delta + ")"
	}
	return s + " {" + strings.Join(c.Prints, " ") + "}"
}

type diffCase struct {
	name  string
	text  func(t *testing.T) string
	want  []string
	notes string // a part of the notes, "" for any
	// planned is set where the answer needs the master's size.
	planned bool
}

// What a recipe's author did, and what a comparison must say of it: by what
// the statement means (the language's own description), worked out by hand.
var diffCases = []diffCase{
	{name: "nothing", text: func(t *testing.T) string { return diffBase }},
	{name: "reformatted", notes: "comments, layout", text: func(t *testing.T) string {
		return "# a comment\r\n" + strings.ReplaceAll(edit(t, diffBase, "    blend smooth", "\n  # why\n\tblend   smooth", "(33%, 72%), (80%", "(33%, 72%),\n        (80%"), "\n", "\r\n")
	}},
	{name: "blocks in another order", notes: "order", text: func(t *testing.T) string {
		large, rest := block(t, diffBase, "print large {")
		land, rest := block(t, rest, "mask land {")
		wall, rest := block(t, rest, "steps wall {")
		return edit(t, rest, "mask reeds {", land+wall+"mask reeds {") + large
	}},
	{name: "names changed", text: func(t *testing.T) string {
		s := strings.ReplaceAll(diffBase, "reeds", "rushes")
		s = strings.ReplaceAll(strings.ReplaceAll(s, "crisp", "hard"), "smooth", "calm")
		return strings.ReplaceAll(s, "wall", "big")
	}},
	{name: "two masks exchange their names", text: func(t *testing.T) string {
		s := strings.ReplaceAll(diffBase, "reeds", "xx")
		s = strings.ReplaceAll(s, "land", "reeds")
		return strings.ReplaceAll(s, "xx", "land")
	}},
	{name: "a print renamed", notes: "closest", text: func(t *testing.T) string {
		return edit(t, diffBase, "print card {", "print post {")
	}},
	{name: "a print renamed and edited", notes: "closest", text: func(t *testing.T) string {
		return edit(t, diffBase, "print card {", "print post {", "amount 120%", "amount 125%")
	}, want: []string{"changed print post/sharpen amount: 120% -> 125% (+5%) {post}"}},
	{name: "units changed", text: func(t *testing.T) string {
		return edit(t, diffBase, "3 in x 2 in", "7.62 cm x 50.8 mm", "6 cm wide", "60 mm wide")
	}},
	{name: "shares written as pixels", planned: true, text: func(t *testing.T) string {
		// The frame is 96 x 64 px. A second edit shows that only that is said.
		return edit(t, diffBase, "rectangle at (50%, 75%) size 100% x 40%", "rectangle at (48 px, 48 px) size 96 px x 38.4 px",
			"amount 190%", "amount 200%")
	}, want: []string{"changed print large/sharpen amount: 190% -> 200% (+10%) {large}"}},
	{name: "defaults written out", text: func(t *testing.T) string {
		return edit(t, diffBase, "radius 0.9%\n", "radius 0.9% soft 30%\n", "quality 100 chroma full", "", "bits 16", "", "convert to sRGB", "convert to sRGB intent relative black-point on",
			"radius 0.9 px amount 120%", "radius 0.9 px amount 120% halo 10%")
	}},
	{name: "a block written out in place", text: func(t *testing.T) string {
		_, s := block(t, diffBase, "steps wall {")
		lines := "    enlarge with lanczos3 as crisp\n    enlarge with mitchell as smooth\n    blend smooth over crisp through reeds at 40%\n"
		return strings.ReplaceAll(s, "    follow wall\n", lines)
	}},
	{name: "spots in another order", text: func(t *testing.T) string {
		return edit(t, diffBase, "    spot at (22%, 11%) radius 0.9%\n", "", "from (75%, 30%)\n", "from (75%, 30%)\n    spot at (22%, 11%) radius 0.9%\n")
	}},
	{name: "edition, round and file name", notes: "edition 12", text: func(t *testing.T) string {
		return edit(t, diffBase, "edition 10 plus 2 proofs", "edition 12", "round   2", "round   3", "large.jpg", "big.jpg")
	}},
	{name: "named steps in another order", text: func(t *testing.T) string {
		return edit(t, diffBase, "    enlarge with lanczos3 as crisp\n    enlarge with mitchell as smooth\n", "    enlarge with mitchell as smooth\n    enlarge with lanczos3 as crisp\n")
	}},
	{name: "named steps in another order, and an edit", text: func(t *testing.T) string {
		return edit(t, diffBase, "    enlarge with lanczos3 as crisp\n    enlarge with mitchell as smooth\n", "    enlarge with mitchell as smooth\n    enlarge with lanczos3 as crisp\n", "at 40%", "at 45%")
	}, want: []string{"changed steps wall/blend at: 40% -> 45% (+5%) {large middle}"}},
	{name: "take of a picture just named", text: func(t *testing.T) string {
		return edit(t, diffBase, "through reeds at 40%", "through reeds at 40% as both\n    take both", "amount 120%", "amount 121%")
	}, want: []string{"changed print card/sharpen amount: 120% -> 121% (+1%) {card}"}},
	{name: "one number", text: func(t *testing.T) string { return edit(t, diffBase, "amount 190%", "amount 220%") },
		want: []string{"changed print large/sharpen amount: 190% -> 220% (+30%) {large}"}},
	{name: "a shared number", text: func(t *testing.T) string { return edit(t, diffBase, "at 40%\n", "at 35%\n") },
		want: []string{"changed steps wall/blend at: 40% -> 35% (-5%) {large middle}"}},
	{name: "a number in prepare", text: func(t *testing.T) string { return edit(t, diffBase, "over 12%", "over 14%") },
		want: []string{"changed prepare/spot pixels over: 12% -> 14% (+2%) {large middle card}"}},
	{name: "a spot set aside, one added, one gone", text: func(t *testing.T) string {
		return edit(t, diffBase, "(22%, 11%)", "(22.4%, 11%)", "spot at (68%, 20%) radius 1% soft 50% from (75%, 30%)", "spot at (80%, 70%) radius 0.5%")
	}, want: []string{
		"changed prepare/spot at: (22%, 11%) -> (22.4%, 11%) ((+0.4%, 0%)) {large middle card}",
		"added prepare/spot spot at (80%, 70%) radius 0.5% {large middle card}",
		"removed prepare/spot spot at (68%, 20%) radius 1% soft 50% from (75%, 30%) {large middle card}"}},
	{name: "the size", text: func(t *testing.T) string { return edit(t, diffBase, "size 3 in x 2 in", "size 9.144 cm x 2.4 in") },
		want: []string{"changed print large/size width: 3 in -> 9.144 cm (+1.524 cm) {large}", "changed print large/size height: 2 in -> 2.4 in (+0.4 in) {large}"}},
	{name: "the resolution", text: func(t *testing.T) string { return edit(t, diffBase, "2 in at 100 ppi", "2 in at 120 ppi") },
		want: []string{"changed print large/size resolution: 100 ppi -> 120 ppi (+20 ppi) {large}"}},
	{name: "another form of the same size", planned: true, text: func(t *testing.T) string {
		return edit(t, diffBase, "size 3 in x 2 in at", "size 3 in wide at", "amount 190%", "amount 191%")
	}, want: []string{"changed print large/sharpen amount: 190% -> 191% (+1%) {large}"}},
	{name: "a step added", text: func(t *testing.T) string {
		return edit(t, diffBase, "    save tiff", "    sharpen radius 1 px amount 50%\n    save tiff")
	}, want: []string{"added print middle/sharpen sharpen radius 1 px amount 50% {middle}"}},
	{name: "a step removed", text: func(t *testing.T) string { return edit(t, diffBase, "    convert to sRGB\n", "") },
		want: []string{"removed print card/convert convert to sRGB {card}"}},
	{name: "a step moved", text: func(t *testing.T) string {
		return edit(t, diffBase, "    sharpen radius 0.9 px amount 120%\n", "", "    enlarge with b-spline", "    sharpen radius 0.9 px amount 120%\n    enlarge with b-spline")
	}, want: []string{"moved print card/sharpen sharpen radius 0.9 px amount 120% [behind `enlarge with b-spline light linear` -> behind `crop to 4:3 at (40%, 50%)`] {card}"}},
	{name: "a mask's shape", text: func(t *testing.T) string {
		return edit(t, diffBase, "size 19% x 14%", "size 21% x 14%", "(18%, 60%)", "(18%, 61%)")
	}, want: []string{"changed mask reeds/stroke point 2: (18%, 60%) -> (18%, 61%) ((0%, +1%)) {large middle}", "changed mask reeds/ellipse size: 19% x 14% -> 21% x 14% (+2% x 0%) {large middle}"}},
	{name: "a point more", text: func(t *testing.T) string { return edit(t, diffBase, "(33%, 72%), ", "(33%, 72%), (50%, 71%), ") },
		want: []string{"changed mask reeds/stroke point 4: none -> (50%, 71%) {large middle}"}},
	{name: "a mask inside another", text: func(t *testing.T) string { return edit(t, diffBase, "soften 1%", "soften 2%") },
		want: []string{"changed mask land/soften radius: 1% -> 2% (+1%) {large middle card}"}},
	{name: "through another mask", text: func(t *testing.T) string {
		return edit(t, diffBase, "amount 190% through land", "amount 190% through reeds")
	}, want: []string{"changed print large/sharpen through: land -> reeds {large}"}},
	{name: "two pictures exchanged", text: func(t *testing.T) string {
		return edit(t, diffBase, "blend smooth over crisp", "blend crisp over smooth")
	}, want: []string{"changed steps wall/blend top: smooth -> crisp {large middle}", "changed steps wall/blend over: crisp -> smooth {large middle}"}},
	{name: "kernel and crop", text: func(t *testing.T) string {
		return edit(t, diffBase, "lanczos3", "lanczos4", "at (40%, 50%)", "at (60%, 50%)")
	}, want: []string{"changed steps wall/enlarge kernel: lanczos3 -> lanczos4 {large middle}", "changed print card/crop at: (40%, 50%) -> (60%, 50%) ((+20%, 0%)) {card}"}},
	{name: "the encoder and the title", text: func(t *testing.T) string {
		return edit(t, diffBase, "quality 85 chroma half", "quality 90 chroma full", `"A small test"`, `"A test"`)
	}, want: []string{`changed recipe/title title: "A small test" -> "A test" {large middle card}`,
		"changed print card/save quality: 85 -> 90 (+5) {card}", "changed print card/save chroma: half -> full {card}"}},
	{name: "a print added and one gone", text: func(t *testing.T) string {
		_, s := block(t, diffBase, "print middle {")
		return s + "print tiny {\n    size 0.3 in high at 100 ppi\n    enlarge with lanczos2\n    convert to grey-2.2\n    save tiff \"tiny.tif\" bits 8\n}\n"
	}, want: []string{"added recipe/print print tiny {tiny}", "removed recipe/print print middle {middle}"}},
	{name: "a rule written out", text: func(t *testing.T) string {
		return edit(t, diffBase, "enlarge with lanczos3 as", "enlarge with lanczos3 light encoded as", "at 40%\n", "at 41%\n")
	}, planned: true, want: []string{"changed steps wall/blend at: 40% -> 41% (+1%) {large middle}"}},
}

// TestDiff compares the base with each edited recipe, with the master there
// and without it, both ways round.
func TestDiff(t *testing.T) {
	full, bare := t.TempDir(), t.TempDir()
	interptest.WriteMaster(t, filepath.Join(full, "m.tif"), 96, 64, 3, "opRGB")
	base := map[string]*Side{}
	for _, folder := range []string{full, bare} {
		interptest.Write(t, filepath.Join(folder, "base.recipe"), diffBase)
		s, err := Open(context.Background(), filepath.Join(folder, "base.recipe"))
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		base[folder] = s
	}
	for _, c := range diffCases {
		t.Run(c.name, func(t *testing.T) {
			text := c.text(t)
			for _, folder := range []string{full, bare} {
				if c.planned && folder == bare {
					continue
				}
				file := filepath.Join(folder, "b.recipe")
				interptest.Write(t, file, text)
				s, err := Open(context.Background(), file)
				if err != nil {
					t.Fatal(err)
				}
				defer s.Close()
				d, err := Sides(base[folder], s, "")
				if err != nil {
					t.Fatal(err)
				}
				if folder == full {
					for _, p := range d.Prints {
						if p.A != "" && p.B != "" && (p.MarkA == "" || p.MarkB == "") {
							t.Fatalf("no mark: %v", d.Notes)
						}
					}
				}
				var got []string
				for _, ch := range d.Changes {
					got = append(got, saidChange(ch))
				}
				if strings.Join(got, "\n") != strings.Join(c.want, "\n") {
					t.Errorf("master there: %v\ngot\n  %s\nwant\n  %s", folder == full, strings.Join(got, "\n  "), strings.Join(c.want, "\n  "))
				}
				if d.Same != (len(c.want) == 0) {
					t.Errorf("same result: %v", d.Same)
				}
				if !strings.Contains(strings.Join(d.Notes, "\n"), c.notes) {
					t.Errorf("notes: %q, want %q in them", d.Notes, c.notes)
				}
				if folder == full {
					continue
				}
				back, err := Sides(s, base[folder], "")
				if err != nil {
					t.Fatal(err)
				}
				if len(back.Changes) != len(d.Changes) || back.Same != d.Same {
					t.Errorf("the other way round: %d changes, %d this way", len(back.Changes), len(d.Changes))
				}
			}
		})
	}
}

// build builds all prints of a recipe, over what is there.
func build(t *testing.T, file string) []interp.Built {
	t.Helper()
	j := load(t, file)
	defer j.Close()
	b, err := interp.Build(context.Background(), j, interp.BuildOptions{Force: true})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func load(t *testing.T, file string) *interp.Job {
	t.Helper()
	j, err := interp.Load(context.Background(), file, interp.LoadOptions{NoOutputs: true})
	if err != nil {
		t.Fatal(err)
	}
	if j.Failed() {
		t.Fatalf("%+v", j.Diags)
	}
	return j
}

func diffPaths(t *testing.T, a, b, print string) *Diff {
	t.Helper()
	d, err := files(context.Background(), a, b, print)
	var p *interp.Problems
	if errors.As(err, &p) {
		t.Fatalf("%+v", p.Diags)
	}
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// A log is compared by what it records, with its inputs and without them.
func TestDiffOfLogs(t *testing.T) {
	folder, file := interptest.SmallJob(t, diffBase)
	built := build(t, file)
	log := map[string]string{}
	for _, b := range built {
		log[b.Print] = b.Log
	}
	if d := diffPaths(t, log["large"], file, ""); !d.Same || len(d.Prints) != 1 || !d.Text {
		t.Errorf("a log and its own recipe: %+v", d)
	}
	interptest.Write(t, file, edit(t, diffBase, "amount 190%", "amount 250%", "soften 1%", "soften 1.5%"))
	want := "changed print large/sharpen amount: 190% -> 250% (+60%) {large}\nchanged mask land/soften radius: 1% -> 1.5% (+0.5%) {large}"
	check := func(what string, d *Diff) {
		t.Helper()
		var got []string
		for _, c := range d.Changes {
			got = append(got, saidChange(c))
		}
		if strings.Join(got, "\n") != want {
			t.Errorf("%s: %q", what, got)
		}
	}
	// The order of what prepare holds comes first: the mask is used there too.
	check("log and recipe", diffPaths(t, log["large"], file, ""))
	after := build(t, file)
	check("two logs", diffPaths(t, log["large"], after[0].Log, ""))
	// Another master under the same name: an input by digest, nothing else.
	interptest.Write(t, file, diffBase)
	interptest.WriteMaster(t, filepath.Join(folder, "m.tif"), 96, 64, 3, "sRGB")
	d := diffPaths(t, log["card"], file, "")
	if len(d.Changes) != 1 || d.Changes[0].Kind != "input" || !strings.Contains(d.Changes[0].Old, "sha256") {
		t.Errorf("another master: %+v", d.Changes)
	}
	want = "changed print large/sharpen amount: 190% -> 250% (+60%) {large}\nchanged mask land/soften radius: 1% -> 1.5% (+0.5%) {large}"
	check("two logs without their master", diffPaths(t, log["large"], after[0].Log, ""))
	// Another print's log has nothing in common by name, the closest is taken.
	if d := diffPaths(t, log["large"], log["large"], "large"); !d.Same {
		t.Error("a log differs from itself")
	}
	if _, err := files(context.Background(), file, file, "none"); err == nil || !strings.Contains(err.Error(), "no print is named none") {
		t.Errorf("an unknown print: %v", err)
	}
}

// Sides that can't be read say why.
func TestDiffWrongSides(t *testing.T) {
	folder, file := interptest.SmallJob(t, diffBase)
	interptest.Write(t, filepath.Join(folder, "x.audit.jsonl"), "no log\n")
	interptest.Write(t, filepath.Join(folder, "wrong.recipe"), "recipe 1 draft\nmastre \"m.tif\"\n")
	for name, want := range map[string]string{"x.audit.jsonl": "isn't a record", "wrong.recipe": "errors", "none.recipe": "can't be read", "r.recipe@2": "no round 2"} {
		_, err := files(context.Background(), file, filepath.Join(folder, name), "")
		if err == nil || !strings.Contains(fmt.Sprint(err), want) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A crop by its corners has no shape to compare.
func TestDiffOfCorners(t *testing.T) {
	folder := t.TempDir()
	a, b := filepath.Join(folder, "a.recipe"), filepath.Join(folder, "b.recipe")
	text := edit(t, diffBase, "crop to 4:3 at (40%, 50%)", "crop (10%, 10%) to (60%, 60%)")
	interptest.Write(t, a, text)
	interptest.Write(t, b, edit(t, text, "(60%, 60%)", "(60%, 70%)"))
	d := diffPaths(t, a, b, "card")
	if want := "changed print card/crop second corner: (60%, 60%) -> (60%, 70%) ((0%, +10%)) {card}"; len(d.Changes) != 1 || saidChange(d.Changes[0]) != want {
		t.Errorf("%+v", d.Changes)
	}
}

// Papers and labs stand for what they say; a tone block belongs to the prints
// on its paper; the paper's name means nothing.
func TestDiffOfPapersAndTones(t *testing.T) {
	const base = `recipe 1 draft
master "m.tif"

paper rag {
    profile     "rag.icc"
    intent      relative
}

paper gloss {
    profile     "gloss.icc"
}

lab harbour {
    space       sRGB
}

prepare {
    tone for rag {
        exposure    +0.35 stops
        warmth      -2 mired
        curve       (0, 0), (25, 22), (100, 100)
    }
    tone for gloss {
        chroma      +3%
    }
}

print one on rag {
    size 3 in wide at 100 ppi
    enlarge with cubic
    convert to rag
    border 0.5 in colour grey 90
    save tiff "one.tif"
}

print two on gloss for harbour {
    size 3 in wide at 100 ppi
    enlarge with cubic
    convert to harbour
    save tiff "two.tif"
}
`
	folder := t.TempDir()
	a, b := filepath.Join(folder, "a.recipe"), filepath.Join(folder, "b.recipe")
	interptest.Write(t, a, base)
	for _, c := range []struct {
		name, text string
		want       []string
	}{
		{"a paper and a lab renamed", strings.ReplaceAll(strings.ReplaceAll(base, "harbour", "quay"), " rag ", " cotton "), nil},
		{"the lab's space written out", edit(t, base, "convert to harbour", "convert to sRGB"), nil},
		{"the paper's intent written out", edit(t, base, "convert to rag", "convert to rag intent relative black-point on"), nil},
		{"the paper's intent", edit(t, base, "intent      relative", "intent      perceptual"), []string{"changed print one/convert intent: relative -> perceptual {one}"}},
		{"one paper's tone", edit(t, base, "+0.35 stops", "+0.5 stops", "(25, 22)", "(25, 23)"),
			[]string{"changed prepare/tone exposure: 0.35 stops -> 0.5 stops (+0.15 stops) {one}", "changed prepare/tone point 2: (25, 22) -> (25, 23) ((0, +1)) {one}"}},
		{"the other paper's tone", edit(t, base, "+3%", "-1%"), []string{"changed prepare/tone chroma: 3% -> -1% (-4%) {two}"}},
		{"a parameter more", edit(t, base, "    tone for gloss {", "    tone for gloss {\n        contrast    +5%"), []string{"changed prepare/tone contrast: none -> 5% {two}"}},
		{"the border", edit(t, base, "0.5 in colour grey 90", "1.27 cm colour white"), []string{"changed print one/border colour: grey 90 -> white {one}"}},
	} {
		text := c.text
		if c.name == "a paper and a lab renamed" {
			text = strings.ReplaceAll(text, "convert to rag\n", "convert to cotton\n")
		}
		interptest.Write(t, b, text)
		var got []string
		for _, ch := range diffPaths(t, a, b, "").Changes {
			got = append(got, saidChange(ch))
		}
		if strings.Join(got, "\n") != strings.Join(c.want, "\n") {
			t.Errorf("%s:\ngot\n  %s\nwant\n  %s", c.name, strings.Join(got, "\n  "), strings.Join(c.want, "\n  "))
		}
	}
}
