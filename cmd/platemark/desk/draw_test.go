package desk

import (
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"platemark/interp/interptest"
)

// Each thing that can be drawn becomes one line of the recipe, in its place; all
// other bytes stay.
func TestDrawing(t *testing.T) {
	for _, c := range []struct {
		line  int
		shape stroke
		was   string // the line before the new one, or what the new text takes the place of
		text  string
		at    int
	}{
		{10, stroke{Kind: "spot", Points: [][2]float64{{0.5, 0.25}}, Radius: 0.004}, "    spot at (30%, 30%) radius 0.9%\n", "    spot at (50%, 25%) radius 0.4%\n", 11},
		{0, stroke{Kind: "stroke", Points: [][2]float64{{0.1, 0.2}, {0.2, 0.2001}, {0.3, 0.2}, {0.3, 0.5}}, Width: 0.05, Soft: 0.5}, "", "mask drawn-1 {\n    stroke along (10%, 20%), (30%, 20%), (30%, 50%) width 5% soft 50%\n}\n\n", 10},
		{6, stroke{Kind: "ellipse", Points: [][2]float64{{0.123456, 0.5}}, Size: [2]float64{0.2, 0.1}, Soft: 0.3}, "soft 50%\n", "    ellipse at (12.35%, 50%) size 20% x 10% soft 30%\n", 7},
		{11, stroke{Kind: "polygon", Points: [][2]float64{{0, 0}, {1, 0}, {1, 1}}}, "soft 50%\n", "    polygon (0%, 0%), (100%, 0%), (100%, 100%) soft 0%\n", 7},
		{6, stroke{Kind: "gradient", Points: [][2]float64{{0.5, 0.4}, {0.5, 0.6}}}, "soft 50%\n", "    gradient from (50%, 40%) to (50%, 60%)\n", 7},
		{0, stroke{Kind: "crop", Points: [][2]float64{{0.9, 1.2}, {0.1, 0.1}}}, "at 300 ppi\n", "    crop (10%, 10%) to (90%, 100%)\n", 18},
	} {
		s, _, _ := opened(t, written)
		var got struct{ Line int }
		if code := call(t, s, "POST", "/draw?file=0", map[string]any{"version": stateOf(t, s, 0).Version, "print": "p", "line": c.line, "shape": c.shape}, &got); code != 200 {
			t.Errorf("%+v: %d", c.shape, code)
			continue
		}
		want := strings.Replace(written, c.was, c.was+c.text, 1)
		if c.was == "" {
			want = strings.Replace(written, "prepare {", c.text+"prepare {", 1)
		}
		st := stateOf(t, s, got.Line)
		if st.Text != want || got.Line != c.at {
			t.Errorf("line %d:\n%s", got.Line, st.Text)
		}
		if len(st.Problems) > 0 && st.Problems[0].Severity == "error" || st.Picture == nil || st.Line != got.Line || st.Marks == nil && c.shape.Kind != "crop" {
			t.Errorf("%+v: line %d, %v, %+v", c.shape, st.Line, st.Problems, st.Marks)
		}
		call(t, s, "POST", "/undo?file=0", nil, nil)
		if st := stateOf(t, s, 0); st.Text != written {
			t.Errorf("%+v isn't undone in one", c.shape)
		}
	}
}

// A second crop of a print takes the place of the first; a spot gets its source,
// and another one for it.
func TestDrawingAgain(t *testing.T) {
	s, _, _ := opened(t, written)
	draw := func(line int, sh stroke) {
		t.Helper()
		if code := call(t, s, "POST", "/draw?file=0", map[string]any{"version": stateOf(t, s, 0).Version, "print": "p", "line": line, "shape": sh}, nil); code != 200 {
			t.Fatal(code)
		}
	}
	draw(0, stroke{Kind: "crop", Points: [][2]float64{{0, 0}, {0.5, 0.5}}})
	draw(0, stroke{Kind: "crop", Points: [][2]float64{{0.25, 0.25}, {0.75, 0.75}}})
	draw(10, stroke{Kind: "from", Points: [][2]float64{{0.4, 0.4}}})
	draw(10, stroke{Kind: "from", Points: [][2]float64{{0.45, 0.4}}})
	want := strings.Replace(strings.Replace(written, "radius 0.9%", "radius 0.9% from (45%, 40%)", 1), "at 300 ppi\n", "at 300 ppi\n    crop (25%, 25%) to (75%, 75%)\n", 1)
	if st := stateOf(t, s, 10); st.Text != want || len(st.Marks.Points) != 2 {
		t.Errorf("%s\n%+v", st.Text, st.Marks)
	}
	if code := call(t, s, "POST", "/draw?file=0", map[string]any{"version": stateOf(t, s, 0).Version, "print": "p", "line": 19, "shape": stroke{Kind: "from", Points: [][2]float64{{0.4, 0.4}}}}, nil); code != 422 {
		t.Errorf("a source for what is no spot: %d", code)
	}
}

// Points are moved and lengths changed in their own numbers alone.
func TestMovingPoints(t *testing.T) {
	s, _, _ := opened(t, written)
	shift := func(body map[string]any) int {
		body["version"], body["print"] = stateOf(t, s, 0).Version, "p"
		return call(t, s, "POST", "/shift?file=0", body, nil)
	}
	if c := shift(map[string]any{"line": 10, "to": [2]float64{0.31, 0.295}}); c != 200 {
		t.Fatal(c)
	}
	if c := shift(map[string]any{"line": 6, "by": 1.2}); c != 200 {
		t.Fatal(c)
	}
	want := strings.Replace(strings.Replace(written, "(30%, 30%)", "(31%, 29.5%)", 1), "50% x 50%", "60% x 60%", 1)
	if st := stateOf(t, s, 0); st.Text != want {
		t.Error(st.Text)
	}
	for _, bad := range []map[string]any{{"line": 10, "point": 1}, {"line": 19}, {"line": 10, "point": -1}, {"line": 10, "by": -1}} {
		if c := shift(bad); c != 422 {
			t.Errorf("%v: %d", bad, c)
		}
	}
}

// What a stroke loses by thinning is nowhere farther than 0.05 % of the frame
// from what was drawn.
func TestThinning(t *testing.T) {
	f := frame{6000, 4000}
	var way [][2]float64
	for i := range 2000 {
		a := float64(i) / 300
		way = append(way, [2]float64{0.5 + 0.3*math.Cos(a), 0.5 + 0.2*math.Sin(2*a)})
	}
	got := f.thinned(way, thin)
	if len(got) > 150 || got[0] != way[0] || got[len(got)-1] != way[len(way)-1] {
		t.Errorf("%d of %d points", len(got), len(way))
	}
	for _, p := range way {
		near := math.Inf(1)
		for i := 1; i < len(got); i++ {
			near = math.Min(near, f.off(p, got[i-1], got[i]))
		}
		if near > thin*6000+1e-9 {
			t.Fatalf("%v is %.2f px off", p, near)
		}
	}
}

const rag = "paper rag {\n    profile \"p.icc\"\n}\n\n"

// A section becomes a line of a sheet, in the sheet's unit at the print's full
// scale: a new sheet on the recipe's paper, or the one that is there.
func TestDrawingSections(t *testing.T) {
	sheet := "\nsheet mine on rag {\n    size 20 cm x 30 cm at 300 ppi\n    show p\n    # more\n    save tiff \"s.tif\"\n}\n"
	// A quarter of 1200 x 800 px at 300 ppi, and what of a rectangle lies on the picture.
	quarter, over := [][2]float64{{0.25, 0.25}, {0.75, 0.75}}, [][2]float64{{1.2, 0.5}, {0.9, -0.3}}
	for _, c := range []struct {
		was    string
		points [][2]float64
		want   string
		code   int
	}{
		{written + rag, quarter, written + rag + "\nsheet proofs-1 on rag {\n    size 19 in x 13 in at 300 ppi\n    section of p at (50%, 50%) size 2 in x 1.33 in\n    save tiff \"proofs-1.tif\"\n}\n", 200},
		{written + rag + sheet, quarter, written + rag + strings.Replace(sheet, "show p\n", "show p\n    section of p at (50%, 50%) size 5 cm x 3.3 cm\n", 1), 200},
		{written + rag + sheet, over, written + rag + strings.Replace(sheet, "show p\n", "show p\n    section of p at (95%, 25%) size 1 cm x 3.3 cm\n", 1), 200},
		{written + rag, [][2]float64{{1.1, 0}, {1.2, 1}}, written + rag, 422},
		{written, quarter, written, 422},
	} {
		s, path, _ := opened(t, written)
		interptest.Write(t, filepath.Join(filepath.Dir(path), "p.icc"), string(interptest.Read(t, filepath.Join("..", "..", "..", "testdata", "standards", "profiles", "rgbprint_v4.icc"))))
		interptest.Write(t, path, c.was)
		s.lookAround()
		var got struct{ Line int }
		code := call(t, s, "POST", "/draw?file=0", map[string]any{"version": stateOf(t, s, 0).Version, "print": "p", "shape": stroke{Kind: "section", Points: c.points}}, &got)
		st := stateOf(t, s, got.Line)
		if code != c.code || st.Text != c.want {
			t.Errorf("%d:\n%s", code, st.Text)
		}
		if code == 200 && (len(st.Problems) > 0 && st.Problems[0].Severity == "error" || !strings.HasPrefix(strings.Split(st.Text, "\n")[got.Line-1], "    section of p")) {
			t.Errorf("line %d, %+v", got.Line, st.Problems)
		}
	}
}

// A section is moved by its middle, and made larger in its own unit.
func TestMovingSections(t *testing.T) {
	for _, c := range [][2]string{{"2 in x 1 in", "2.2 in x 1.1 in"}, {"2 x 1 in", "2.2 x 1.1 in"}, {"50 mm x 25 mm", "55 mm x 27.5 mm"}} {
		s, path, _ := opened(t, written)
		interptest.Write(t, filepath.Join(filepath.Dir(path), "p.icc"), string(interptest.Read(t, filepath.Join("..", "..", "..", "testdata", "standards", "profiles", "rgbprint_v4.icc"))))
		text := written + rag + "sheet mine on rag {\n    size 20 cm x 30 cm at 300 ppi\n    section of p at (50%, 50%) size " + c[0] + "\n    save tiff \"s.tif\"\n}\n"
		interptest.Write(t, path, text)
		s.lookAround()
		line := 1 + strings.Count(text[:strings.Index(text, "    section")], "\n")
		st := stateOf(t, s, 0)
		for _, q := range []map[string]any{{"to": [2]float64{0.3, 0.5}}, {"by": 1.1}} {
			q["version"], q["print"], q["line"] = stateOf(t, s, 0).Version, "p", line
			if code := call(t, s, "POST", "/shift?file=0", q, nil); code != 200 {
				t.Errorf("%v: %d", q, code)
			}
		}
		call(t, s, "GET", fmt.Sprintf("/state?file=0&print=p&line=0&mark=%d", line), nil, &st)
		if want := strings.Replace(strings.Replace(text, c[0], c[1], 1), "(50%, 50%)", "(30%, 50%)", 1); st.Text != want {
			t.Error(st.Text)
		}
		// Of 4 in the section has 2.2, or 55 mm.
		if m := st.Marks; m == nil || m.Kind != "section" || math.Abs(m.Lengths[0]-0.55) > 0.01 || math.Abs(m.Lengths[1]-0.275) > 0.005 {
			t.Errorf("%+v", st.Marks)
		}
	}
}
