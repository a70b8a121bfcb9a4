package ops

import (
	"fmt"
	"image"
	"math/big"
)

// borderV1 puts a frame of one colour around a picture.
//
// The result is 2 width larger each way; its pixel (width + x, width + y) is the
// picture's (x, y), and all others have the colour.
var borderV1 = operation(Operation{
	Name:    "border",
	Version: 1,
	Doc:     "Adds width px of one colour on all four sides. The picture's own samples stay as they are.",
	Takes:   1,
	Nanos:   1,
	Params: Params{
		edgeWidth,
		{Name: "colour", Unit: "codes", Min: "0", Max: "65535", Doc: "one code for each channel, in the picture's own encoding"},
	},
}, newBorder)

type borderParams struct {
	Width  int
	Colour []*big.Rat
}

type border struct {
	pic         Pic
	width       int
	left, right int // columns of the border in a row
	colour      []uint16
}

func newBorder(a borderParams, in []Pic, _ Env) (Step, error) { return borderOf("border", a, in[0]) }

// borderOf is what border and wrap in a colour have in common.
func borderOf(what string, a borderParams, p Pic) (Step, error) {
	if err := checkEdge(what, p, a.Width); err != nil {
		return nil, err
	}
	if len(a.Colour) != p.C {
		return nil, fmt.Errorf("%s: colour has %d codes, and the picture has %d channels", what, len(a.Colour), p.C)
	}
	s := &border{pic: p, width: a.Width, left: a.Width, right: a.Width}
	for _, c := range a.Colour {
		s.colour = append(s.colour, uint16(c.Num().Int64()))
	}
	s.pic.W += 2 * s.width
	s.pic.H += 2 * s.width
	return s, nil
}

func (s *border) Pic() Pic { return s.pic }

// Window is the row that lies there, or the nearest one.
func (s *border) Window(_, y int) (lo, hi int) {
	lo = max(0, min(s.pic.H-2*s.width-1, y-s.width))
	return lo, lo + 1
}

// Worker is the step itself: a row needs no memory of others.
func (s *border) Worker() Worker { return s }

func (s *border) Row(dst []uint16, y int, in []Rows) {
	dst = dst[:s.pic.Stride()]
	if y < s.width || y >= s.pic.H-s.width {
		s.fill(dst)
		return
	}
	l, r := s.left*s.pic.C, len(dst)-s.right*s.pic.C
	s.fill(dst[:l])
	s.fill(dst[r:])
	if l < r {
		copy(dst[l:r], in[0].Row(y-s.width))
	}
}

func (s *border) fill(dst []uint16) {
	for n := copy(dst, s.colour); n < len(dst); n *= 2 {
		copy(dst[n:], dst[:n])
	}
}

func (s *border) inner() image.Rectangle {
	return image.Rect(0, 0, s.pic.W-2*s.width, s.pic.H-2*s.width)
}

func (s *border) Needs(_ int, r image.Rectangle) image.Rectangle {
	return r.Sub(image.Pt(s.width, s.width)).Intersect(s.inner())
}

func (s *border) Part(r image.Rectangle) (Step, int) {
	p := *s
	p.pic.W = r.Dx()
	p.left = max(0, min(s.width, r.Max.X)-r.Min.X)
	p.right = max(0, r.Max.X-max(r.Min.X, s.pic.W-s.width))
	return &p, r.Min.X
}
