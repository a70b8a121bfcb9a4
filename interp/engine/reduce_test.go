package engine

import (
	"context"
	"math"
	"testing"

	"platemark/ops"
	"platemark/ops/colour"
	"platemark/ops/raster"
)

// The reduced picture is the plain area mean: each target pixel is the mean of
// the source rectangle that it covers, rounded.
func TestReducedIsAreaMean(t *testing.T) {
	const sw, sh, w, h, c = 23, 17, 9, 6, 3
	g := &Graph{Nodes: []Node{picture(t, sw, sh, c)}}
	got, err := Reduce(context.Background(), g, w, h, Options{Workers: 2, BandRows: 5})
	if err != nil {
		t.Fatal(err)
	}
	overlap := func(i, n, m, x int) float64 { // of target i of n and source x of m, in source px
		lo, hi := float64(i)*float64(m)/float64(n), float64(i+1)*float64(m)/float64(n)
		return math.Max(0, math.Min(hi, float64(x+1))-math.Max(lo, float64(x)))
	}
	for j := range h {
		for i := range w {
			for p := range c {
				var sum, area float64
				for y := range sh {
					for x := range sw {
						a := overlap(i, w, sw, x) * overlap(j, h, sh, y)
						sum += a * float64(sample(x, y, p))
						area += a
					}
				}
				if got := float64(got[(j*w+i)*c+p]); math.Abs(got-sum/area) > 0.5001 {
					t.Fatalf("%d, %d: %v, expected %v", i, j, got, sum/area)
				}
			}
		}
	}
}

// sample is a picture of tones, edges and grain: a pure function of the place.
func sample(x, y, c int) uint16 {
	h := uint32(x*374761393 + y*668265263 + c*2147483647)
	h = (h ^ h>>13) * 1274126177
	return uint16(300*x + 200*y*(c+1) + int(h>>20))
}

// picture is a source in memory.
func picture(t testing.TB, w, h, c int) Node {
	t.Helper()
	st := raster.NewMemory(w, h, c)
	row := make([]uint16, w*c)
	var scratch []byte
	for y := range h {
		for i := range row {
			row[i] = sample(i/c, y, i%c)
		}
		if err := st.WriteRow(y, row, &scratch); err != nil {
			t.Fatal(err)
		}
	}
	p := ops.Pic{W: w, H: h, C: c}
	if c == 3 {
		p.Profile, _ = colour.Space("opRGB")
	}
	return Node{Pic: p, Store: st}
}
