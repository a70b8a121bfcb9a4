package ops

import (
	"fmt"
	"image"
	"math/big"
	"strings"
)

// borderV1 puts a frame of one colour around a picture.
//
// The result is 2 width larger each way; its pixel (width + x, width + y) is the
// picture's (x, y), and all others have the colour.
var borderV1 = Operation{
	Name:    "border",
	Version: 1,
	Doc:     "Adds width px of one colour on all four sides. The picture's own samples stay as they are.",
	Params: []Param{
		{Name: "width", Unit: "px", Min: "1", Max: "100000", Doc: "px added on each side"},
		{Name: "colour", Unit: "codes", Min: "0", Max: "65535", Doc: "one code for each channel, in the picture's own encoding"},
	},
	New: newBorder,
}

// maxEdge is the widest border or wrap.
const maxEdge = 100000

type border struct {
	pic         Pic
	width       int
	left, right int // columns of the border in a row
	colour      []uint16
}

func newBorder(a Args, in []Pic, _ Env) (Step, error) { return borderOf("border", a, in) }

// borderOf is what border and wrap in a colour have in common.
func borderOf(what string, a Args, in []Pic) (*border, error) {
	s := &border{}
	var err error
	if s.pic, s.width, err = edgeArgs(what, a, in); err != nil {
		return nil, err
	}
	v, ok := a.Get("colour")
	if !ok {
		return nil, fmt.Errorf("%s: argument colour is missing", what)
	}
	codes, err := a.Rats("colour", 0)
	if err != nil {
		return nil, fmt.Errorf("%s: argument colour: %w", what, err)
	}
	if len(codes) != s.pic.C {
		return nil, fmt.Errorf("%s: argument colour has %d codes, and the picture has %d channels", what, len(codes), s.pic.C)
	}
	for _, c := range codes {
		if !c.IsInt() || c.Sign() < 0 || c.Cmp(big.NewRat(65535, 1)) > 0 {
			return nil, fmt.Errorf("%s: argument colour is %q, expected whole codes from 0 to 65535", what, strings.TrimSpace(v))
		}
		s.colour = append(s.colour, uint16(c.Num().Int64()))
	}
	s.left, s.right = s.width, s.width
	s.pic.W += 2 * s.width
	s.pic.H += 2 * s.width
	return s, nil
}

// edgeArgs reads the width of a border or wrap and returns the picture's kind,
// as it comes in.
func edgeArgs(what string, a Args, in []Pic) (p Pic, width int, err error) {
	if len(in) != 1 {
		return p, 0, fmt.Errorf("%s takes 1 picture, got %d", what, len(in))
	}
	p = in[0]
	if p.C != 1 && p.C != 3 || p.W < 1 || p.H < 1 {
		return p, 0, fmt.Errorf("%s takes grey or RGB, this picture is %d x %d px with %d channels", what, p.W, p.H, p.C)
	}
	if width, err = a.Int("width"); err != nil {
		return p, 0, fmt.Errorf("%s: %w", what, err)
	}
	if width < 1 || width > maxEdge {
		return p, 0, fmt.Errorf("%s: argument width is %d px, expected 1 to %d", what, width, maxEdge)
	}
	if p.W > maxSide-2*width || p.H > maxSide-2*width {
		return p, 0, fmt.Errorf("%s: %d x %d px with %d px on each side is more than %d px", what, p.W, p.H, width, maxSide)
	}
	return p, width, nil
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
	if len(s.colour) == 1 {
		for i := range dst {
			dst[i] = s.colour[0]
		}
		return
	}
	for i := 0; i+2 < len(dst); i += 3 {
		dst[i], dst[i+1], dst[i+2] = s.colour[0], s.colour[1], s.colour[2]
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
