package retouch

import (
	"context"
	"fmt"
	"image"
	"math"
	"math/big"
	"path/filepath"
	"testing"

	"platemark/interp"
	"platemark/interp/interptest"
	"platemark/ops/codec/tiff"
	"platemark/ops/colour"
)

// writeWaves writes a picture of soft edges in opRGB; spoiled, red and blue are
// moved apart by 2 px either way, there is a blot of dust and a hot pixel.
func writeWaves(t *testing.T, file string, spoiled bool) {
	const w, h = 400, 300
	space, _ := colour.Space("opRGB")
	l, err := tiff.NewLayout(tiff.Options{W: w, H: h, C: 3, Bits: 16, PPI: big.NewRat(300, 1), ICC: space.Bytes()})
	if err != nil {
		t.Fatal(err)
	}
	b := l.Header()
	row := make([]uint16, 3*w)
	for y := range h {
		for i := range row {
			x, shift, dust := float64(i/3), 0.0, 0.0
			if spoiled {
				shift = 2 * float64(1-i%3)
				dust = 0.4 * min(1, max(0, 9-math.Hypot(x-230, float64(y)-40))/4)
				if i/3 == 100 && y == 45 {
					dust = -1
				}
			}
			n := uint32(i/3*374761393+y*668265263+(i%3)*2147483647) * 2246822519
			n = (n ^ n>>13) * 1274126177
			v := 12000 + 30000/(1+math.Exp(-27*math.Sin(0.03*(x+0.3*float64(y)+shift))))
			row[i] = uint16(v*(1-dust) + float64(n>>23))
		}
		b = l.AppendRow(b, row, y)
	}
	interptest.Write(t, file, string(append(b, l.Trailer()...)))
}

// What is found is mended by the lines that are taken: a picture that was spoiled
// comes back to what it was, within the differences that planted faults may leave
// (CIEDE2000; the bounds are our own).
func TestLinesMend(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	writeWaves(t, filepath.Join(dir, "clean.tif"), false)
	writeWaves(t, filepath.Join(dir, "spoiled.tif"), true)
	ready := func(name string) (lab []colour.Lab) {
		t.Helper()
		file := filepath.Join(dir, name+".recipe")
		j, err := interp.Load(ctx, file, interp.LoadOptions{NoOutputs: true})
		if err != nil || j.Failed() {
			t.Fatal(err, j)
		}
		defer j.Close()
		s := interp.NewSession(1, nil)
		defer s.Close()
		m, err := s.Region(ctx, j.Plans[0], j.Plans[0].Ready, image.Rect(0, 0, 400, 300))
		if err != nil {
			t.Fatal(err)
		}
		v, err := interp.View(j.Plans[0], m)
		if err != nil {
			t.Fatal(err)
		}
		return v.Lab
	}
	for _, name := range []string{"clean", "spoiled"} {
		interptest.Write(t, filepath.Join(dir, name+".recipe"), fmt.Sprintf("recipe 1 draft\nmaster \"%s.tif\"\nprint own {\n    size 400 px wide at 300 ppi\n    save tiff \"own.tif\"\n}\n", name))
	}
	clean, before := ready("clean"), ready("spoiled")
	file := filepath.Join(dir, "spoiled.recipe")
	look := func(o Options) *Look {
		t.Helper()
		j, _, err := Load(ctx, file, o)
		if err != nil || j.Failed() {
			t.Fatal(err, j)
		}
		o.Workers = 1
		l, err := Over(ctx, j, o)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { l.Close(); j.Close() })
		return l
	}
	l := look(Options{})
	v, err := l.Pictures(ctx)
	if err != nil {
		t.Fatal(err)
	}
	if n := len(l.Visible()); n < 4 || n != len(v.Places) || v.Whole.W != 400 {
		t.Fatalf("%d finds, %d shown", n, len(v.Places))
	}
	for _, p := range v.Places {
		if p.After == nil || interp.FiguresOf(interp.LabDistances(p.Before.Lab, p.After.Lab)).Largest < 2 {
			t.Errorf("find %d, %s at (%s, %s): nothing becomes of it", p.Number, p.Name(), p.X, p.Y)
		}
	}
	var all []int
	for _, f := range l.Finds {
		all = append(all, f.Number)
	}
	if _, err := l.Take(ctx, all); err != nil {
		t.Fatal(err)
	}
	was, is := interp.FiguresOf(interp.LabDistances(clean, before)), interp.FiguresOf(interp.LabDistances(clean, ready("spoiled")))
	t.Logf("%d finds; mean difference %.2f, then %.2f; 95 %% under %.2f, then %.2f", len(all), was.Mean, is.Mean, was.P95, is.P95)
	if is.Mean > was.Mean/3 || is.P95 > 5 {
		t.Errorf("%+v, before %+v", is, was)
	}
	if open := look(Options{}).Visible(); len(open) > 0 {
		t.Errorf("the master: %+v", open[0])
	}
	if open := look(Options{Print: "own"}).Visible(); len(open) > 0 {
		t.Errorf("the print: %d, %+v", len(open), open[0])
	}
}
