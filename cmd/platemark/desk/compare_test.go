package desk

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"platemark/interp"
	"platemark/interp/interptest"
	"platemark/interp/proof"
	"platemark/interp/rounds"
	"platemark/ops/colour"
	"platemark/recipes/paper"
)

// blended is a recipe of two enlargements blended through a mask, on papers.
const blended = `recipe 1 draft
title "Sluice"
master "m.tif" space sRGB

paper baryta {
    profile "baryta.icc"
}

paper rag {
    profile "rag.icc"
    intent perceptual
}

mask twigs {
    ellipse at (40%, 50%) size 60% x 60% soft 40%
}

prepare {
    tone for rag {
        exposure +0.3 stops
    }
}

print large on baryta {
    size 4 in wide at 300 ppi
    enlarge with lanczos3 as crisp
    enlarge with mitchell as smooth
    blend smooth over crisp through twigs at 40%
    sharpen radius 1 px amount 100%
    save tiff "large.tif" bits 8
}

print card {
    size 2 in wide at 300 ppi
    crop (10%, 20%) to (90%, 80%)
    enlarge with mitchell
    border 0.1 in
    save tiff "card.tif" bits 8
}
`

// compared is a server of a recipe at 55 %, one round of which is kept, at 40 %.
func compared(t *testing.T) (s *Server, path string) {
	t.Helper()
	dir := t.TempDir()
	path = filepath.Join(dir, "prints", "r.recipe")
	interptest.Write(t, path, blended)
	interptest.WriteMaster(t, filepath.Join(dir, "prints", "m.tif"), 600, 400, 3, "")
	for _, n := range []string{"baryta", "rag"} {
		icc, _ := paper.Profile(n)
		interptest.Write(t, filepath.Join(dir, "prints", n+".icc"), string(icc))
	}
	interptest.Write(t, filepath.Join(dir, "prints", "other.recipe"), strings.Replace(blended, "radius 1 px", "radius 2 px", 1))
	interptest.Write(t, filepath.Join(dir, "out.recipe"), blended)
	if _, err := rounds.Keep(context.Background(), path, "twigs too hard"); err != nil {
		t.Fatal(err)
	}
	now := strings.Replace(onDisk(t, path), "at 40%", "at 55%", 1)
	interptest.Write(t, path, now)
	return again(t, path, filepath.Join(dir, "kept")), path
}

func comparedState(t *testing.T, s *Server, print, with, seen string) (st state) {
	t.Helper()
	if c := call(t, s, "GET", "/state?file=0&"+url.Values{"print": {print}, "with": {with}, "seen": {seen}}.Encode(), nil, &st); c != 200 {
		t.Fatalf("with %q: %d", with, c)
	}
	return st
}

// Everything that is offered can be shown, beside the print as it stands.
func TestWhatItIsComparedWith(t *testing.T) {
	s, _ := compared(t)
	var offered struct {
		List   []choice
		Papers []string
	}
	if c := call(t, s, "GET", "/choices?file=0&print=large", nil, &offered); c != 200 {
		t.Fatal(c)
	}
	var got []string
	for _, c := range offered.List {
		got = append(got, c.Value)
	}
	want := []string{"round 1", "paper baryta", "paper rag", "screen", "print large of other.recipe", "print card of other.recipe", "print card of r.recipe"}
	if !slices.Equal(got, want) || !slices.Equal(offered.Papers, []string{"baryta", "rag"}) {
		t.Errorf("offered %q, papers %q", got, offered.Papers)
	}
	if !strings.HasSuffix(offered.List[0].Words, "twigs too hard") {
		t.Errorf("a round has the words %q", offered.List[0].Words)
	}
	for _, c := range []struct{ with, seen, name, note string }{
		{"", "rag", "none", ""},
		{"round 1", "", "round 1", ""},
		{"round 1", "rag", "round 1", ""},
		{"paper rag", "", "on paper rag", ""},
		{"paper rag", "baryta", "on paper rag", ""},
		{"paper baryta", "", "none", "both are the same picture, pixel for pixel"},
		{"screen", "baryta", "as on no paper", ""},
		{"print large of other.recipe", "", "print large of other.recipe", ""},
		{"print card of r.recipe", "baryta", "print card of r.recipe", ""},
		{"", "silk", "none", "no paper is named silk; there is: baryta, rag"},
	} {
		st := comparedState(t, s, "large", c.with, c.seen)
		if st.Note != c.note {
			t.Errorf("%q seen on %q: note %q, not %q", c.with, c.seen, st.Note, c.note)
		}
		if c.name == "none" {
			continue
		}
		if st.Before == nil || st.Before.Name != c.name || st.Before.Key == st.Picture.Key {
			t.Errorf("%q seen on %q: %+v", c.with, c.seen, st.Before)
			continue
		}
		for _, l := range []*looked{st.Picture, st.Before} {
			for _, mask := range []string{"", unprintable} {
				if mask != "" && l.Paper == "" {
					continue
				}
				address := "/tile?" + url.Values{"key": {l.Key}, "w": {"100"}, "h": {"100"}, "mask": {mask}}.Encode()
				if code := call(t, s, "GET", address, nil, nil); code != 200 {
					t.Errorf("%q: %s is %d", c.with, address, code)
				}
			}
		}
	}
}

// What is compared with is shown up to the line that stands for the ring's, as a
// comparison of the recipes pairs them; where none does, whole, and that is said.
func TestComparedAtTheRingsLine(t *testing.T) {
	s, path := compared(t)
	type_(t, s, "    enlarge with lanczos3 as crisp\n", "\n    enlarge with lanczos3 as crisp\n")
	line := func(text, what string) int {
		t.Helper()
		if !strings.Contains(text, what) {
			t.Fatalf("no %q", what)
		}
		return 1 + strings.Count(text[:strings.Index(text, what)], "\n")
	}
	now := stateOf(t, s, 0).Text
	kept := again(t, path, filepath.Join(t.TempDir(), "kept"))
	type_(t, kept, "at 55%", "at 40%")
	blend, crop := line(blended, "blend smooth"), line(blended, "enlarge with mitchell\n")
	for _, c := range []struct {
		at, with, name, note string
		kept                 bool // it is the picture of that line in the text that was kept
	}{
		{"blend smooth", "round 1", fmt.Sprintf("round 1, after line %d: blend smooth over crisp through twigs at 40%%", blend), "", true},
		{"enlarge with mitchell as", "round 1", "", "both are the same picture, pixel for pixel", false},
		{"save tiff", "round 1", "round 1", "", true},
		{"sharpen", "print card of r.recipe", "print card of r.recipe", "print card of r.recipe has no line that stands for line " + fmt.Sprint(line(now, "sharpen")) + ": it is shown whole.", false},
		{"enlarge with mitchell as", "print card of other.recipe", fmt.Sprintf("print card of other.recipe, after line %d: enlarge with mitchell", crop), "", false},
		{"sharpen", "paper rag", fmt.Sprintf("on paper rag, after line %d: sharpen radius 1 px amount 100%%", line(now, "sharpen")), "", false},
	} {
		var st, of state
		at := line(now, c.at)
		if code := call(t, s, "GET", fmt.Sprintf("/state?file=0&line=%d&%s", at, url.Values{"print": {"large"}, "with": {c.with}}.Encode()), nil, &st); code != 200 {
			t.Fatal(code)
		}
		if st.Note != c.note || (st.Before == nil) != (c.name == "") || st.Before != nil && st.Before.Name != c.name {
			t.Errorf("at %q, %s: note %q, %+v", c.at, c.with, st.Note, st.Before)
		}
		if !c.kept || st.Before == nil {
			continue
		}
		call(t, kept, "GET", fmt.Sprintf("/state?file=0&print=large&line=%d", line(stateOf(t, kept, 0).Text, c.at)), nil, &of)
		if st.Before.Key != of.Picture.Key {
			t.Errorf("at %q, %s: not the picture of that line", c.at, c.with)
		}
	}
}

// Only recipes of the folder and rounds of the recipe are read; what can't be
// shown says why.
func TestWhatIsntComparedWith(t *testing.T) {
	s, path := compared(t)
	folder := filepath.Dir(path)
	if err := os.Symlink(filepath.Join(folder, "..", "out.recipe"), filepath.Join(folder, "link.recipe")); err != nil {
		t.Skip(err) // a system without links
	}
	interptest.Write(t, filepath.Join(folder, "broken.recipe"), "recipe 1 draft\nprint large {\n  sizes\n}\n")
	interptest.Write(t, filepath.Join(folder, "secret.txt"), blended)
	for _, file := range []string{"../out.recipe", "..", "", "/etc/passwd", filepath.Join(folder, "other.recipe"), "link.recipe", "secret.txt", "x/../other.recipe", "other.recipe\x00", "..\\out.recipe", "none.recipe"} {
		st := comparedState(t, s, "large", "print large of "+file, "")
		if want := fmt.Sprintf("there is no recipe %q in the folder of this one", file); st.Before != nil || st.Note != want {
			t.Errorf("%q: %q", file, st.Note)
		}
	}
	for with, want := range map[string]string{
		"round 7":                      "no round 7 of this recipe is kept",
		"round -1":                     "no round -1 of this recipe is kept",
		"print huge of other.recipe":   "print huge of other.recipe can't be shown: it has no print huge",
		"print large of broken.recipe": "print large of broken.recipe can't be shown: line ",
		"paper silk":                   "on paper silk can't be shown: no paper is named silk; there is: baryta, rag",
		"screen":                       "",
	} {
		if st := comparedState(t, s, "large", with, ""); st.Before != nil || !strings.HasPrefix(st.Note, want) {
			t.Errorf("%q: %q", with, st.Note)
		}
	}
	for _, with := range []string{"round", "round x", "round ../1", "file large.tif", "print large"} {
		if c := call(t, s, "GET", "/state?file=0&with="+url.QueryEscape(with), nil, nil); c != http.StatusBadRequest {
			t.Errorf("%q: %d", with, c)
		}
	}
	// Another master than that day's; then a kept text that was changed.
	interptest.WriteMaster(t, filepath.Join(folder, "m.tif"), 640, 400, 3, "")
	st := comparedState(t, s, "large", "round 1", "")
	if st.Before == nil || !strings.Contains(st.Note, "aren't those of that day") {
		t.Errorf("another master: %q", st.Note)
	}
	list, err := rounds.Read(path)
	if err != nil {
		t.Fatal(err)
	}
	sum := list.Round(1).Recipe
	interptest.Write(t, filepath.Join(folder, "rounds", "objects", sum[:2], sum[2:]), blended+"#")
	if st := comparedState(t, s, "large", "round 1", ""); st.Before != nil || !strings.HasPrefix(st.Note, "round 1 can't be shown: the kept file ") || !strings.Contains(st.Note, "was changed: put a copy of it back") {
		t.Errorf("a changed round: %q", st.Note)
	}
}

// differenceOf asks for a difference as the page does.
func differenceOf(t *testing.T, s *Server, values url.Values) (f difference, m image.Image) {
	t.Helper()
	q := httptest.NewRequest("GET", "/difference?"+values.Encode(), nil)
	q.Host = host
	q.AddCookie(&http.Cookie{Name: s.guard.cookie, Value: s.guard.secret})
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, q)
	if w.Code != 200 {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	if err := json.Unmarshal([]byte(w.Header().Get("Figures")), &f); err != nil {
		t.Fatal(err)
	}
	m, err := png.Decode(bytes.NewReader(w.Body.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	return f, m
}

// labsOf is a part of a print that a text makes, by a section build.
func labsOf(t *testing.T, path, text string, r image.Rectangle) []colour.Lab {
	t.Helper()
	ctx := context.Background()
	j, err := interp.LoadText(ctx, path, filepath.Dir(path), []byte(text), interp.LoadOptions{Prints: []string{"large"}, NoOutputs: true})
	if err != nil || len(j.Plans) != 1 {
		t.Fatal(err, j.Diags)
	}
	defer j.Close()
	tif := filepath.Join(t.TempDir(), "s.tif")
	if _, err := interp.Section(ctx, j, j.Plans[0], r.Min.X, r.Min.Y, r.Dx(), r.Dy(), tif, interp.BuildOptions{}); err != nil {
		t.Fatal(err)
	}
	_, samples := interptest.Decode(t, tif)
	srgb, _ := colour.Space("sRGB")
	to, err := colour.NewToLab(srgb, colour.Relative)
	if err != nil {
		t.Fatal(err)
	}
	lab := make([]colour.Lab, r.Dx()*r.Dy())
	to.Row(lab, samples)
	return lab
}

// The map's mean and worst are those of section builds of both; DeltaE2000 is held
// against published pairs where it stands.
func TestDifference(t *testing.T) {
	s, path := compared(t)
	st := comparedState(t, s, "large", "round 1", "")
	r := image.Rect(300, 200, 700, 500)
	f, m := differenceOf(t, s, url.Values{"key": {st.Picture.Key}, "other": {st.Before.Key}, "x": {"300"}, "y": {"200"}, "w": {"400"}, "h": {"300"}})
	now := labsOf(t, path, st.Text, r)
	then := labsOf(t, path, strings.Replace(st.Text, "at 55%", "at 40%", 1), r)
	var sum, worst float64
	at := 0
	for i := range now {
		d := colour.DeltaE2000(now[i], then[i])
		sum += d
		if d > worst {
			worst, at = d, i
		}
	}
	mean := sum / float64(len(now))
	if mean == 0 || math.Abs(f.Mean-mean) > 1e-4 || math.Abs(f.Worst-worst) > 1e-4 || f.Share != 1 {
		t.Errorf("mean %g, worst %g; by builds %g and %g", f.Mean, f.Worst, mean, worst)
	}
	if x, y := f.At[0]*1200, f.At[1]*800; int(x) != 300+at%400 || int(y) != 200+at/400 {
		t.Errorf("the worst is at %g, %g; by builds at %d, %d", x, y, 300+at%400, 200+at/400)
	}
	if b := m.Bounds(); b.Dx() != 400 || b.Dy() != 300 {
		t.Errorf("the map has %v", b)
	}
	if f.Top < worst/4 || f.Scale[0] != "#0c1426" || len(f.Scale) != 6 {
		t.Errorf("scale to %g: %v", f.Top, f.Scale)
	}
	// Of another size and crop: the same place of the frame, where both reach.
	st = comparedState(t, s, "large", "print card of r.recipe", "")
	for _, level := range []url.Values{{"small": {"740"}, "w": {"740"}, "h": {"493"}}, {"x": {"400"}, "y": {"300"}, "w": {"300"}, "h": {"200"}}} {
		level.Set("key", st.Picture.Key)
		level.Set("other", st.Before.Key)
		f, m := differenceOf(t, s, level)
		if f.Mean > 2.7 { // laid two pixels beside its place it gives 5.2 and more
			t.Errorf("%v: a smaller crop differs by %g", level, f.Mean)
		}
		if level.Has("small") {
			if math.Abs(f.Share-0.8*0.6) > 0.01 {
				t.Errorf("%g of the print lies in the crop, not 0.48", f.Share)
			}
			if f.At[1] > 0.795 || f.At[0] < 0.105 {
				t.Errorf("the worst, %g, is the border, at %v", f.Worst, f.At)
			}
			if _, _, _, a := m.At(10, 100).RGBA(); a != 0 {
				t.Error("beside the crop the map isn't clear")
			}
		}
	}
	for _, bad := range []url.Values{{"w": {"5000"}}, {"w": {"4000"}}, {"other": {"x"}}} {
		v := url.Values{"key": {st.Picture.Key}, "other": {st.Before.Key}, "w": {"10"}, "h": {"10"}}
		for k := range bad {
			v.Set(k, bad.Get(k))
		}
		if c := call(t, s, "GET", "/difference?"+v.Encode(), nil, nil); c == 200 {
			t.Errorf("%v was answered", bad)
		}
	}
}

// What is shown as on a paper is what proof shows, at 100 % and fitted; and what
// is hatched is what it calls out of reach.
func TestAsThePaperShowsIt(t *testing.T) {
	s, path := compared(t)
	st := comparedState(t, s, "large", "screen", "rag")
	if st.Picture.Paper != "rag" || !strings.HasPrefix(st.Picture.White, "#") || st.Picture.White == "#ffffff" {
		t.Fatalf("%+v", st.Picture)
	}
	ctx := context.Background()
	j, err := interp.Load(ctx, path, interp.LoadOptions{NoOutputs: true})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	for _, c := range []struct {
		o    proof.Options
		l    level
		part image.Rectangle
	}{
		{proof.Options{Papers: []string{"rag"}, Section: [4]int{400, 300, 120, 90}}, level{by: 1}, image.Rect(400, 300, 520, 390)},
		{proof.Options{Papers: []string{"rag"}, Long: 300}, level{w: 300}, image.Rect(0, 0, 300, 200)},
	} {
		want, err := proof.Make(ctx, j, "large", c.o)
		if err != nil {
			t.Fatal(err)
		}
		b, err := s.tile(ctx, st.Picture.Key, c.l, c.part)
		if err != nil {
			t.Fatal(err)
		}
		got, _ := png.Decode(bytes.NewReader(b))
		hatch, err := s.unprintable(ctx, st.Picture.Key, c.l, c.part)
		if err != nil {
			t.Fatal(err)
		}
		hatched, _ := png.Decode(bytes.NewReader(hatch))
		p := want.Papers[0]
		bad, out := 0, 0
		for i := range c.part.Dx() * c.part.Dy() {
			x, y := i%c.part.Dx(), i/c.part.Dx()
			g := color.NRGBAModel.Convert(got.At(x, y)).(color.NRGBA)
			for k, v := range []uint8{g.R, g.G, g.B} {
				if d := int(v) - int(p.Shown.RGB[3*i+k]); d < -1 || d > 1 {
					bad++
				}
			}
			if _, _, _, a := hatched.At(x, y).RGBA(); (a > 0) != (p.Outside[i] != colour.Within) {
				out++
			}
		}
		if c.l.w == 0 && bad+out > 0 || bad > 3*300 {
			t.Errorf("level %v: %d samples and %d verdicts of %v aren't proof's", c.l, bad, out, c.part)
		}
	}
}
