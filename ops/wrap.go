package ops

import (
	"fmt"
	"image"
	"math/big"
	"slices"
)

// wrapV1 adds what goes round the edge of a stretcher frame. The face keeps all
// of the picture but with way picture.
//
// Both axes are done alike, corners included. Counted outward from the fold by
// d = 0, 1, … width-1, and inward from it by t = 0, 1, …, on each of the four
// sides:
//
//   - mirror: d shows t = d, an exact copy; the picture's first pixels stand on
//     both sides of the fold.
//   - stretch: the outermost half width, mirrored and drawn out to double
//     length: d shows the place t = d/2 - 1/4, linear between pixels, so that
//     there is no jump at the fold and things near the edge don't come twice at
//     the same size. t below 0 is pixel 0, and beyond the picture its last pixel.
//   - colour: one colour, as border.
//   - picture: nothing is added; the outermost width px of the picture itself
//     go round, and the face is 2 width smaller. Every sample stays.
//
// Stretched values are weighted by quarters across and quarters down, summed in
// whole sixteenths, and rounded once, half up.
var wrapV1 = operation(Operation{
	Name:    "wrap",
	Version: 1,
	Doc: `Adds width px on all four sides, to go round a stretcher frame. mirror: px d outside
the fold is px d inside; stretch: it is place d/2 - 1/4 inside, linear, half up; colour:
one colour. picture adds nothing: the outermost width px go round.`,
	Takes: 1,
	Nanos: 1,
	Params: Params{
		edgeWidth,
		{Name: "way", Unit: "word", Words: []string{"mirror", "stretch", "picture", "colour"}, Doc: "what goes round"},
		{Name: "colour", Unit: "codes", Min: "0", Max: "65535", Optional: true, Doc: "with way colour: one code for each channel, in the picture's own encoding"},
	},
}, newWrap)

type wrapParams struct {
	Width  int
	Way    string
	Colour []*big.Rat
}

type wrap struct {
	in, pic Pic
	x, y    []edgePlace // of each column and row
	strip   int         // rows inside that an outside row may show
	width   int
	mirror  bool
	left    int // columns outside the fold in a row, to the left of
	inside  int // so many that stand side by side in the picture
	from    int // the first of these in the input
}

// edgePlace is where a column or row comes from: of pixel at, and a share of
// quarters/4 of its neighbour by step.
type edgePlace struct {
	at       int32
	step     int8
	quarters uint8
}

func newWrap(a wrapParams, in []Pic, _ Env) (Step, error) {
	p, way, width := in[0], a.Way, a.Width
	switch {
	case way == "colour" && a.Colour == nil:
		return nil, fmt.Errorf("wrap: colour is missing")
	case way == "colour":
		return borderOf("wrap", borderParams{width, a.Colour}, p)
	case a.Colour != nil:
		return nil, fmt.Errorf("wrap: way %s shows the picture and takes no colour", way)
	}
	if err := checkEdge("wrap", p, width); err != nil {
		return nil, err
	}
	side := min(p.W, p.H)
	s := &wrap{in: p, pic: p, width: width, mirror: way == "mirror"}
	switch {
	case way == "picture":
		if 2*width >= side {
			return nil, fmt.Errorf("wrap: %d px on each side leave nothing of %d x %d px for the face; use a narrower wrap", width, p.W, p.H)
		}
		s.width = 0
	case way == "mirror":
		s.strip = width
	default:
		s.strip = width/2 + 1
	}
	if way != "picture" && (width > side && s.mirror || width > 2*side) {
		return nil, fmt.Errorf("wrap: %d px of wrap are more than a picture of %d x %d px can fill by way %s; use a narrower wrap or a colour", width, p.W, p.H, way)
	}
	s.strip = min(s.strip, p.H)
	s.x, s.y = s.places(p.W), s.places(p.H)
	s.left, s.inside = s.width, p.W
	s.pic.W, s.pic.H = len(s.x), len(s.y)
	return s, nil
}

// places maps the n pixels of a side and width more at both ends.
func (s *wrap) places(n int) []edgePlace {
	out := make([]edgePlace, n+2*s.width)
	for i := range out {
		t, dir := i-s.width, 1 // from the near end, and the way inward
		switch {
		case t >= 0 && t < n:
			out[i] = edgePlace{at: int32(t)}
			continue
		case t >= n:
			t, dir = n-1-t, -1
		}
		d := -1 - t // outward from the fold
		e := edgePlace{at: int32(d)}
		if !s.mirror {
			// d/2 - 1/4: quarters of 2d - 1
			q := max(0, 2*d-1)
			e = edgePlace{at: int32(q / 4), quarters: uint8(q % 4)}
			if int(e.at) >= n-1 {
				e = edgePlace{at: int32(n - 1)}
			}
		}
		if e.quarters != 0 {
			e.step = int8(dir)
		}
		if dir < 0 {
			e.at = int32(n-1) - e.at
		}
		out[i] = e
	}
	return out
}

func (s *wrap) Pic() Pic { return s.pic }

// Window is wider than a row near the ends, as rows come back in the opposite
// order there and its ends may not fall.
func (s *wrap) Window(_, y int) (lo, hi int) {
	h, r := s.in.H, y-s.width
	lo = max(0, min(r, h-max(1, s.strip)))
	hi = min(h, max(r+1, s.strip, lo+1))
	return lo, hi
}

// Worker is the step itself: a row needs no memory of others.
func (s *wrap) Worker() Worker { return s }

func (s *wrap) Row(dst []uint16, y int, in []Rows) {
	c, e := s.in.C, s.y[y]
	a := in[0].Row(int(e.at))
	dst = dst[:s.pic.Stride()]
	if e.quarters == 0 {
		copy(dst[s.left*c:(s.left+s.inside)*c], a[s.from*c:])
		s.span(dst, a, a, 0, 0, s.left)
		s.span(dst, a, a, 0, s.left+s.inside, s.pic.W)
		return
	}
	b := in[0].Row(int(e.at) + int(e.step))
	s.span(dst, a, b, uint32(e.quarters), 0, s.pic.W)
}

// span fills columns from to till from the rows a and b, the second with a
// weight of q quarters.
func (s *wrap) span(dst, a, b []uint16, q uint32, from, till int) {
	c := s.in.C
	for x := from; x < till; x++ {
		e := s.x[x]
		i := int(e.at) * c
		j := i + int(e.step)*c
		p := uint32(e.quarters)
		for k := range c {
			v := (4-q)*((4-p)*uint32(a[i+k])+p*uint32(a[j+k])) + q*((4-p)*uint32(b[i+k])+p*uint32(b[j+k]))
			dst[x*c+k] = uint16((v + 8) >> 4)
		}
	}
}

// reads is from which pixel of a side to which the places read.
func reads(places []edgePlace) (lo, hi int) {
	lo = int(places[0].at)
	for _, e := range places {
		a, b := int(e.at), int(e.at)+int(e.step)
		lo, hi = min(lo, a, b), max(hi, a+1, b+1)
	}
	return lo, hi
}

func (s *wrap) Needs(_ int, r image.Rectangle) image.Rectangle {
	x0, x1 := reads(s.x[r.Min.X:r.Max.X])
	y0, y1 := reads(s.y[r.Min.Y:r.Max.Y])
	return image.Rect(x0, y0, x1, y1)
}

func (s *wrap) Part(r image.Rectangle) (Step, int) {
	p := *s
	lo, hi := reads(s.x[r.Min.X:r.Max.X])
	p.in.W, p.pic.W = hi-lo, r.Dx()
	p.x = slices.Clone(s.x[r.Min.X:r.Max.X])
	for i := range p.x {
		p.x[i].at -= int32(lo)
	}
	fold := s.pic.W - s.width
	from := max(r.Min.X, min(s.width, r.Max.X))
	p.left, p.inside = from-r.Min.X, max(0, min(r.Max.X, fold)-from)
	p.from = from - s.width - lo
	if p.inside == 0 {
		p.from = 0
	}
	return &p, r.Min.X
}
