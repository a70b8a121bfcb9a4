package ops

import (
	"fmt"
	"image"
	"math/big"

	"platemark/ops/exact"
)

// SpotPixelsV1 removes isolated outliers: hot pixels and specks of one pixel.
//
// For each channel, the 8 neighbours of a pixel (the edge repeated) have the
// median med, the mean of the two in the middle, half up. The channel's value
// c is an outlier if |c - med| > 65535 T and at most one of the neighbours
// lies further than 65535 T/2 from med on the same side. A pixel with an
// outlier in any channel takes the medians in all of its channels. With a mask
// m the result is floor(c + m(med - c) + 1/2). All reads are of the picture
// before the step.
//
// So a line one pixel wide and a square of 2 x 2 pixels stay (but the end
// pixel of a line that stops in the open goes), a pair of pixels goes.
//
// Source: a median filter made conditional (the idea is common practice; the
// rule is our own).
var SpotPixelsV1 = operation(Operation{
	Name:    "spot-pixels",
	Version: 1,
	Doc:     "Replaces isolated outliers by the median of their 8 neighbours: a channel further than T from that median while at most one neighbour lies further than T/2 on the same side.",
	Takes:   1,
	Masked:  true,
	Nanos:   40,
	Mends:   true,
	Params: Params{
		covers,
		{Name: "over", Unit: "1", Min: "0", Max: "1", Doc: "T, the share of full scale from which a pixel stands out"},
	},
	// Single pixels are seen at full size alone.
	Reduce: func(_ Params, a Args, r Reduction) (Args, bool, error) { return a, !r.smaller(), nil },
}, newSpotPixels)

type spotPixelsParams struct {
	Over   *big.Rat
	Covers string
}

type spotPixelsStep struct {
	pic  Pic
	over int32 // floor(65535 T)
	mask *sampler
}

func newSpotPixels(a spotPixelsParams, in []Pic, _ Env) (Step, error) {
	if err := somePixels("spot-pixels", in[0]); err != nil {
		return nil, err
	}
	t := times(a.Over, big.NewRat(65535, 1))
	s := &spotPixelsStep{pic: in[0], over: int32(new(big.Int).Quo(t.Num(), t.Denom()).Int64())}
	var err error
	if s.mask, err = maskFor(a.Covers, in[1:], in[0]); err != nil {
		return nil, fmt.Errorf("spot-pixels: %w", err)
	}
	return s, nil
}

func (s *spotPixelsStep) Pic() Pic { return s.pic }

func (s *spotPixelsStep) Window(in, y int) (lo, hi int) {
	if in == 1 {
		return s.mask.window(y)
	}
	return max(0, y-1), min(s.pic.H, y+2)
}

func (s *spotPixelsStep) Memory() (worker, shared int64) { return s.mask.memory(), 0 }

func (s *spotPixelsStep) around(r image.Rectangle) image.Rectangle {
	return r.Inset(-1).Intersect(image.Rect(0, 0, s.pic.W, s.pic.H))
}

func (s *spotPixelsStep) Needs(in int, r image.Rectangle) image.Rectangle {
	if in == 1 {
		n := s.around(r)
		n.Min.Y, n.Max.Y = r.Min.Y, r.Max.Y
		return s.mask.needs(n)
	}
	return s.around(r)
}

// Part works on one more column at both ends; that isn't the picture's edge, and
// comes out wrong.
func (s *spotPixelsStep) Part(r image.Rectangle) (Step, int) {
	n := s.around(r)
	return &spotPixelsStep{pic: s.pic.wide(n.Dx()), over: s.over, mask: s.mask.part(n)}, n.Min.X
}

func (s *spotPixelsStep) Worker() Worker {
	return &spotPixelsWorker{s: s, med: make([]int32, s.pic.C), mask: s.mask.worker()}
}

type spotPixelsWorker struct {
	s    *spotPixelsStep
	mask *samplerWorker
	med  []int32
}

func (w *spotPixelsWorker) Row(dst []uint16, y int, in []Rows) {
	s := w.s
	c, n := s.pic.C, s.pic.Stride()
	cur := in[0].Row(y)[:n]
	copy(dst, cur)
	m, kind := w.mask.row(y, in[1:]) // m is nil where all of the mask is 1
	if kind == maskZero {
		return
	}
	up, down := in[0].Row(max(0, y-1))[:n], in[0].Row(min(s.pic.H-1, y+1))[:n]
	mend := func(x int) {
		if !w.outlier(up, cur, down, x) {
			return
		}
		for j, med := range w.med {
			i := x*c + j
			if m == nil {
				dst[i] = uint16(med)
				continue
			}
			v := float64(cur[i])
			dst[i] = exact.RoundU16(v + float64(float64(m[x])*(float64(med)-v)))
		}
	}
	mend(0)
	mend(s.pic.W - 1)
	// At least 7 neighbours of an outlier lie further than T/2 from it, all on
	// one side. So of any two at least one does: nearly every sample ends here.
	over := s.over
	for i := c; i < n-c; i++ {
		v := int32(cur[i])
		l, r := 2*(v-int32(cur[i-c])), 2*(v-int32(cur[i+c]))
		if max(l, r) <= over && min(l, r) >= -over {
			continue
		}
		if apart(up[i-c:], cur[i-c:], down[i-c:], c, over) {
			mend(i / c)
		}
	}
}

// apart tells whether at least 7 neighbours of the sample at c lie further
// than T/2 below it, or as many above it.
func apart(up, cur, down []uint16, c int, over int32) bool {
	v := int32(cur[c])
	below, above := 0, 0
	side := func(n uint16) {
		d := 2 * (v - int32(n))
		if d > over {
			below++
		}
		if d < -over {
			above++
		}
	}
	side(cur[0])
	side(cur[2*c])
	side(up[c])
	side(down[c])
	if below < 3 && above < 3 {
		return false
	}
	side(up[0])
	side(up[2*c])
	side(down[0])
	side(down[2*c])
	return below >= 7 || above >= 7
}

// outlier works out the medians of pixel x and whether it is replaced.
func (w *spotPixelsWorker) outlier(up, cur, down []uint16, x int) bool {
	c, over := w.s.pic.C, w.s.over
	l, r := max(0, x-1)*c, min(w.s.pic.W-1, x+1)*c
	found := false
	for j := range c {
		i := x*c + j
		v := [8]int32{int32(up[l+j]), int32(up[i]), int32(up[r+j]), int32(cur[l+j]), int32(cur[r+j]),
			int32(down[l+j]), int32(down[i]), int32(down[r+j])}
		for a := 1; a < 8; a++ { // in order
			t, b := v[a], a
			for ; b > 0 && v[b-1] > t; b-- {
				v[b] = v[b-1]
			}
			v[b] = t
		}
		med := (v[3] + v[4] + 1) / 2
		w.med[j] = med
		d := int32(cur[i]) - med
		// v[1] and v[6] are the second furthest on each side.
		if d > over && 2*(v[6]-med) <= over || -d > over && 2*(med-v[1]) <= over {
			found = true
		}
	}
	return found
}
