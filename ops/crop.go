package ops

import (
	"fmt"
	"image"
)

// CropV1 cuts a rectangle of whole pixels out of a picture.
//
// out(i, j) = in(x + i, y + j) for 0 <= i < w, 0 <= j < h. Samples, channels
// and encoding stay as they are.
var CropV1 = Operation{
	Name:    "crop",
	Version: 1,
	Doc:     "Cuts out the rectangle of w x h pixels whose upper left pixel is (x, y), counted from 0. Samples stay as they are.",
	Params: []Param{
		{Name: "x", Unit: "px", Min: "0", Doc: "first column kept"},
		{Name: "y", Unit: "px", Min: "0", Doc: "first row kept"},
		{Name: "w", Unit: "px", Min: "1", Doc: "columns kept"},
		{Name: "h", Unit: "px", Min: "1", Doc: "rows kept"},
	},
	New: newCrop,
}

type cropStep struct {
	pic  Pic
	x, y int
}

func newCrop(a Args, in []Pic, _ Env) (Step, error) {
	if len(in) != 1 {
		return nil, fmt.Errorf("crop takes 1 picture, got %d", len(in))
	}
	var v [4]int
	for i, name := range []string{"x", "y", "w", "h"} {
		n, err := a.Int(name)
		if err != nil {
			return nil, fmt.Errorf("crop: %w", err)
		}
		v[i] = n
	}
	x, y, w, h := v[0], v[1], v[2], v[3]
	// Written without sums, so that no huge argument can wrap round.
	if x < 0 || y < 0 || w < 1 || h < 1 || x >= in[0].W || y >= in[0].H || w > in[0].W-x || h > in[0].H-y {
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
