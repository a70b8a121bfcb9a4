package interp

import (
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"

	"platemark/interp/plan"
	"platemark/ops/codec/tiff"
)

// A picture of one slope with normal noise of a known width and specks of a known
// depth: the noise and the contrast that are found, and notes of the spots on
// plain ground alone. A hundred of them are told in few lines.
func TestContrastOfSpots(t *testing.T) {
	const w, h, sigma, depth = 400, 300, 500.0, 9000.0
	rnd := rand.New(rand.NewPCG(1, 2))
	l, err := tiff.NewLayout(tiff.Options{W: w, H: h, C: 1, Bits: 16, PPI: big.NewRat(300, 1)})
	if err != nil {
		t.Fatal(err)
	}
	b := l.Header()
	row := make([]uint16, w)
	for y := range h {
		for x := range row {
			v := 30000 + 20*float64(x) + sigma*rnd.NormFloat64() // a slope, as skies have
			if math.Hypot(float64(x)-100.5, float64(y)-50.5) < 6 {
				v -= depth
			}
			row[x] = uint16(v)
		}
		b = l.AppendRow(b, row, y)
	}
	folder := t.TempDir()
	write(t, filepath.Join(folder, "m.tif"), string(append(b, l.Trailer()...)))
	var spots strings.Builder
	for y := range 10 {
		for x := range 10 {
			fmt.Fprintf(&spots, "    spot at (%d px, %d px) radius 5 px\n", 20+40*x, 100+20*y)
		}
	}
	file := filepath.Join(folder, "r.recipe")
	write(t, file, "recipe 1 draft\nmaster \"m.tif\" space grey-2.2\nprepare {\n    spot at (101 px, 51 px) radius 6.5 px soft 0%\n    spot at (300 px, 50 px) radius 5 px\n"+
		spots.String()+"}\nprint p {\n    size 400 px wide at 300 ppi\n    save tiff \"p.tif\"\n}\nprint q {\n    size 200 px wide at 300 ppi\n    enlarge with cubic\n    save tiff \"q.tif\"\n}\n")
	j := mustLoad(t, file, LoadOptions{Spots: true})
	s := j.Spots[j.Plans[1]]
	if len(s) != 102 || s[0].Line != 4 || s[1].Line != 5 {
		t.Fatalf("%d spots, %v", len(s), s[:2])
	}
	if c := s[0].Contrast * 65535; math.Abs(c-depth) > 0.15*depth {
		t.Errorf("a speck of %g has a contrast of %g", depth, c)
	}
	for _, x := range s {
		if n := x.Noise * 65535; math.Abs(n-sigma) > 0.3*sigma {
			t.Errorf("line %d: noise %g, made with %g", x.Line, n, sigma)
		}
	}
	var notes []string
	for _, d := range j.Diags {
		if d.Code == plan.CodeSpotIdle {
			notes = append(notes, d.Detail)
			if d.Span.Line == 4 {
				t.Errorf("the speck is noted: %s", d.Summary)
			}
		}
	}
	if len(notes) != 10 || !strings.Contains(notes[9], "It is so of ") {
		t.Errorf("%d notes, the last %q", len(notes), notes[len(notes)-1])
	}
}
