package retouch

import (
	"context"
	"image"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"platemark/interp"
	"platemark/interp/inspect"
	"platemark/interp/interptest"
	"platemark/lang"
)

const end = `print wall {
    size 10 in wide at 100 ppi
    save tiff "wall.tif"
}
`

// lookAt is a look at a master of 1000 x 600 px in which these were found.
func lookAt(t *testing.T, recipe string, finds ...inspect.Find) *Look {
	t.Helper()
	file := filepath.Join(t.TempDir(), "r.recipe")
	interptest.WriteMaster(t, filepath.Join(filepath.Dir(file), "m.tif"), 1000, 600, 3, "opRGB")
	interptest.Write(t, file, recipe)
	return again(t, file, finds...)
}

// again is a look at a recipe as it stands now.
func again(t *testing.T, file string, finds ...inspect.Find) *Look {
	t.Helper()
	j, err := interp.Load(context.Background(), file, interp.LoadOptions{NoOutputs: true})
	if err != nil {
		t.Fatal(err)
	}
	if j.Failed() {
		t.Fatalf("%+v", j.Diags)
	}
	s := interp.NewSession(1, nil)
	t.Cleanup(func() { s.Close(); j.Close() })
	l, err := Begin(s, j, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := l.Fill(context.Background(), &inspect.Report{W: 1000, H: 600, Finds: finds}); err != nil {
		t.Fatal(err)
	}
	return l
}

// dust is a find at a place with a disc of this radius; hair has several.
func dust(x, y, r float64) inspect.Find {
	p := inspect.Point{X: x, Y: y}
	return inspect.Find{Kind: inspect.Dust, At: p, W: 2 * r, H: 2 * r, Spots: []inspect.Disc{{Point: p, Radius: r}}, Contrast: -0.9, Width: 2 * r}
}

func fringe(x, y, width, from, to float64) inspect.Find {
	return inspect.Find{Kind: inspect.Fringe, At: inspect.Point{X: x, Y: y}, W: 20, H: 20, Width: width, HueFrom: from, HueTo: to, Contrast: 50}
}

// The lines that are taken go where they belong; every other byte stays, and a
// second time nothing changes.
func TestTake(t *testing.T) {
	head := "recipe 1 draft\nmaster \"m.tif\"\n\n"
	hair := inspect.Find{Kind: inspect.Hair, At: inspect.Point{X: 500, Y: 300}, W: 12, H: 4, Width: 3, Contrast: -0.8,
		Spots: []inspect.Disc{{Point: inspect.Point{X: 496, Y: 300}, Radius: 2}, {Point: inspect.Point{X: 500, Y: 300}, Radius: 2}, {Point: inspect.Point{X: 504, Y: 300}, Radius: 2}}}
	for name, c := range map[string]struct {
		old, new string
		finds    []inspect.Find
		left     string
	}{
		"no prepare": {head + "# the wall\n" + end, head + "prepare {\n    spot at (20%, 50%) radius 0.5%\n}\n\n# the wall\n" + end, []inspect.Find{dust(200, 300, 5)}, ""},
		"an empty one": {head + "prepare {\n    # nothing yet\n}\n" + end, head + "prepare {\n    spot at (20%, 50%) radius 0.5%\n    # nothing yet\n}\n" + end,
			[]inspect.Find{dust(200, 300, 5)}, ""},
		"behind the head, before the rest": {head + "prepare {\n  turn over # so it hung\n  spot pixels over 12%\n\n  tone {\n      contrast +5%\n  }\n}\n" + end,
			head + "prepare {\n  turn over # so it hung\n  spot pixels over 12%\n  spot at (20%, 50%) radius 12 px\n  fringe radius 8 px hue 275 deg to 355 deg\n\n  tone {\n      contrast +5%\n  }\n}\n" + end,
			[]inspect.Find{dust(200, 300, 12), fringe(40, 40, 4, 290, 320), fringe(90, 40, 3, 330, 340)}, ""},
		"into the run, what lies half on a spot widens it": {head + "prepare {\n    spot at (10%, 10%) radius 0.4%   # seen at once\n    # left of it\n    spot at (60%, 50%) radius 0.4% soft 50%\n}\n" + end,
			head + "prepare {\n    spot at (10%, 10%) radius 0.4%   # seen at once\n    # left of it\n    spot at (60.15%, 50%) radius 0.55% soft 50%\n    spot at (20%, 50%) radius 0.5%\n}\n" + end,
			[]inspect.Find{dust(200, 300, 5), dust(604, 300, 3), dust(101, 60, 4)}, ""},
		"two that overlap are one": {head + end, head + "prepare {\n    spot at (20.3%, 50%) radius 0.8%\n}\n\n" + end, []inspect.Find{dust(200, 300, 5), dust(206, 300, 5)}, ""},
		"a hair": {head + end, head + "prepare {\n    spot at (49.6%, 50%) radius 0.198% soft 0%\n    spot at (50%, 50%) radius 0.198% soft 0%\n    spot at (50.4%, 50%) radius 0.198% soft 0%\n}\n\n" + end,
			[]inspect.Find{hair}, ""},
		"beside a spot that says from where": {head + "prepare {\n    spot at (60%, 50%) radius 0.4% from (70%, 50%)\n}\n" + end, head + "prepare {\n    spot at (60%, 50%) radius 0.4% from (70%, 50%)\n}\n" + end,
			[]inspect.Find{dust(604, 300, 3)}, "half on the spot of line 5"},
	} {
		for _, eol := range []string{"\n", "\r\n"} {
			old, want := strings.ReplaceAll(c.old, "\n", eol), strings.ReplaceAll(c.new, "\n", eol)
			l := lookAt(t, old, c.finds...)
			var all []int
			for _, f := range l.Finds {
				all = append(all, f.Number)
			}
			got, err := l.Take(context.Background(), all)
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			file := l.job.File
			if text := string(interptest.Read(t, file)); text != want {
				t.Errorf("%s:\n%s\nwanted\n%s", name, text, want)
			}
			if c.left != "" {
				if len(got.Left) != 1 || !strings.Contains(got.Left[0].Why, c.left) {
					t.Errorf("%s: left %+v", name, got.Left)
				}
				continue
			}
			l = again(t, file, c.finds...)
			for _, f := range l.Finds {
				if f.Line == 0 {
					t.Errorf("%s: find %d isn't mended: %v", name, f.Number, f.Lines)
				}
			}
			if got, err = l.Take(context.Background(), all); err != nil || len(got.Added)+len(got.Widened) > 0 || len(got.Had) != len(all) {
				t.Errorf("%s, again: %+v, %v", name, got, err)
			}
			if text := string(interptest.Read(t, file)); text != want {
				t.Errorf("%s, again:\n%s", name, text)
			}
		}
	}
}

// Many discs at random: what is written can always be planned, and mends all of
// them but those that are left; the recipe differs in whole lines only.
func TestTakeMany(t *testing.T) {
	seed := uint32(1)
	random := func(n int) float64 {
		seed = seed*1664525 + 1013904223
		return float64(seed>>8) / (1 << 24) * float64(n)
	}
	var finds []inspect.Find
	var all []int
	for i := range 300 {
		finds = append(finds, dust(random(1000), random(600), 1+random(6)))
		all = append(all, i+1)
	}
	l := lookAt(t, "recipe 1 draft\nmaster \"m.tif\"\nprepare {\n    spot at (50%, 50%) radius 0.9%\n}\n"+end, finds...)
	got, err := l.Take(context.Background(), all)
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Added) < 100 || len(got.Left) > 30 {
		t.Errorf("%d lines, %d left", len(got.Added), len(got.Left))
	}
	text := interptest.Read(t, l.job.File)
	if out, ds := lang.Format("r.recipe", text); lang.HasErrors(ds) || string(out) == "" {
		t.Errorf("%v", ds)
	}
	for _, f := range again(t, l.job.File, finds...).Finds {
		if f.Line == 0 && !slices.ContainsFunc(got.Left, func(x Left) bool { return x.Number == f.Number }) {
			t.Errorf("find %d isn't mended: %v", f.Number, f.Lines)
		}
	}
}

// What was dismissed stays so while the master holds there what it held, whatever
// else changes; a torn end of the list is moved aside.
func TestDismiss(t *testing.T) {
	ctx := context.Background()
	finds := []inspect.Find{dust(200, 300, 5), dust(600, 300, 5), dust(1, 1, 3)}
	l := lookAt(t, "recipe 1 draft\nmaster \"m.tif\"\n"+end, finds...)
	if n, err := l.Dismiss(ctx, []int{1, 3}); err != nil || len(n) != 2 {
		t.Fatal(n, err)
	}
	list := l.job.File + ".dismissed.jsonl"
	whole := interptest.Read(t, list)
	interptest.Write(t, list, string(whole)+`{"record":"dis`)
	dismissed := func(l *Look) (out []int) {
		for _, f := range l.Finds {
			if f.Dismissed {
				out = append(out, f.Number)
			}
		}
		return out
	}
	l = again(t, l.job.File, finds...)
	if got := dismissed(l); !slices.Equal(got, []int{1, 3}) {
		t.Errorf("dismissed: %v", got)
	}
	if n, err := l.Dismiss(ctx, []int{1, 2}); err != nil || !slices.Equal(n, []int{2}) {
		t.Error(n, err)
	}
	d := l.dismissals()
	if err := d.Read(); err != nil || d.Torn != nil || len(d.Lines) != 4 || d.Lines[2].Record != "recovered" {
		t.Errorf("%+v, %v", d, err)
	}
	if torn := interptest.Read(t, list+"."+d.Lines[2].Tail[:12]+".torn"); string(torn) != `{"record":"dis` {
		t.Errorf("moved aside: %q", torn)
	}
	// Another master: what it holds there isn't what was dismissed.
	interptest.WriteMaster(t, filepath.Join(filepath.Dir(l.job.File), "m.tif"), 1000, 601, 3, "opRGB")
	l = again(t, l.job.File, finds...)
	if got := dismissed(l); len(got) != 3 {
		t.Errorf("a row more below: %v", got)
	}
	interptest.Write(t, l.job.File, strings.Replace(string(l.source), "print", "prepare {\n    mirror\n}\nprint", 1))
	if got := dismissed(again(t, l.job.File, finds...)); len(got) != 0 {
		t.Errorf("mirrored: %v", got)
	}
}

// A place on a print is one of the frame, through crop, size and border; a line
// for it mends the master there.
func TestPlacesOfPrints(t *testing.T) {
	l := lookAt(t, "recipe 1 draft\nmaster \"m.tif\"\nprint wall {\n    size 9 in x 6 in at 200 ppi\n    crop (10%, 0%) to (100%, 100%)\n    enlarge with linear\n    border 1 in colour white\n    save tiff \"wall.tif\"\n}\n")
	s, j := l.s, l.job
	l, err := Begin(s, j, Options{Print: "wall"})
	if err != nil {
		t.Fatal(err)
	}
	pic := l.plan.Nodes[l.node].Pic
	if err := l.Fill(context.Background(), &inspect.Report{W: pic.W, H: pic.H, Finds: []inspect.Find{dust(float64(pic.W)/2, float64(pic.H)/4, 10)}}); err != nil {
		t.Fatal(err)
	}
	f := l.Finds[0]
	// Half of the last nine tenths of the width; 900 px of the frame are 1800 of the
	// print, so that the radius is half as large, 5 px of 1000.
	if f.X != "55%" || f.Y != "25%" || pic.W != 1800 || f.Lines[0] != "spot at (55%, 25%) radius 0.5%" || l.as.W != 9*25.4 {
		t.Errorf("%s, %s: %v of %d px, %v mm", f.X, f.Y, f.Lines, pic.W, l.as)
	}
}

// What a PNG says of its colours and names no space is no space to look at it in.
func TestLoadUntaggedPNG(t *testing.T) {
	file := filepath.Join(t.TempDir(), "m.png")
	interptest.Write(t, file, string(interptest.PNG(t, image.NewNRGBA64(image.Rect(0, 0, 96, 64)), "gAMA", "\x00\x00\xb1\x8f")))
	j, assumed, err := Load(context.Background(), file, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	if assumed != "sRGB" || j.Failed() {
		t.Errorf("assumed %q: %v", assumed, j.Diags)
	}
}
