package ops

import (
	"fmt"
	"image"
	"math/big"
)

// CropV1 cuts a rectangle of whole pixels out of a picture.
//
// out(i, j) = in(x + i, y + j) for 0 <= i < w, 0 <= j < h. Samples, channels
// and encoding stay as they are.
var CropV1 = operation(Operation{
	Name:    "crop",
	Version: 1,
	Doc:     "Cuts out the rectangle of w x h pixels whose upper left pixel is (x, y), counted from 0. Samples stay as they are.",
	Takes:   1,
	Nanos:   1,
	Mends:   true,
	Params: Params{
		{Name: "x", Unit: "px", Min: "0", Doc: "first column kept"},
		{Name: "y", Unit: "px", Min: "0", Doc: "first row kept"},
		{Name: "w", Unit: "px", Min: "1", Doc: "columns kept"},
		{Name: "h", Unit: "px", Min: "1", Doc: "rows kept"},
	},
	Reduce: reduceCrop,
}, newCrop)

type cropParams struct{ X, Y, W, H int }

// reduceCrop takes the crop's edges to the nearest px of the reduced picture.
func reduceCrop(ps Params, a Args, r Reduction) (Args, bool, error) {
	var v cropParams
	if err := ps.Bind(a, &v); err != nil {
		return nil, false, err
	}
	by := r.ratio()
	side := func(at, n int, by *big.Rat, most int) (int, int) {
		edge := func(i int) int { return halfUp(times(big.NewRat(int64(i), 1), by)) }
		lo := min(edge(at), most-1)
		return lo, max(1, min(edge(at+n), most)-lo)
	}
	x, w := side(v.X, v.W, by.X, r.Pic.W)
	y, h := side(v.Y, v.H, by.Y, r.Pic.H)
	return Args{{"x", fmt.Sprint(x)}, {"y", fmt.Sprint(y)}, {"w", fmt.Sprint(w)}, {"h", fmt.Sprint(h)}}, true, nil
}

type cropStep struct {
	pic  Pic
	x, y int
}

func newCrop(a cropParams, in []Pic, _ Env) (Step, error) {
	x, y, w, h := a.X, a.Y, a.W, a.H
	// Written without sums, so that no huge argument can wrap round.
	if x >= in[0].W || y >= in[0].H || w > in[0].W-x || h > in[0].H-y {
		return nil, fmt.Errorf("crop: %d x %d px from column %d, row %d doesn't lie inside the picture of %d x %d px",
			w, h, x, y, in[0].W, in[0].H)
	}
	p := in[0]
	p.W, p.H = w, h
	return &cropStep{pic: p, x: x, y: y}, nil
}

func (s *cropStep) Pic() Pic                     { return s.pic }
func (s *cropStep) Window(_, y int) (lo, hi int) { return y + s.y, y + s.y + 1 }
func (s *cropStep) Worker() Worker               { return s }
func (s *cropStep) Row(d []uint16, y int, in []Rows) {
	from := s.x * s.pic.C
	copy(d, in[0].Row(y + s.y)[from:from+s.pic.Stride()])
}

func (s *cropStep) Needs(_ int, r image.Rectangle) image.Rectangle { return r.Add(image.Pt(s.x, s.y)) }

func (s *cropStep) Part(r image.Rectangle) (Step, int) {
	return &cropStep{pic: s.pic.wide(r.Dx()), y: s.y}, r.Min.X
}
