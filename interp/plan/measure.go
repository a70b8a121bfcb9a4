package plan

import (
	"math/big"

	"platemark/lang"
)

func rat(n int) *big.Rat { return big.NewRat(int64(n), 1) }

func mul(a, b *big.Rat) *big.Rat { return new(big.Rat).Mul(a, b) }
func quo(a, b *big.Rat) *big.Rat { return new(big.Rat).Quo(a, b) }
func add(a, b *big.Rat) *big.Rat { return new(big.Rat).Add(a, b) }
func sub(a, b *big.Rat) *big.Rat { return new(big.Rat).Sub(a, b) }

// share is a percentage as a share of 1.
func share(m lang.Measure) *big.Rat { return quo(m.Value, rat(100)) }

// bare is a measure as an operation's number: a percentage as a share of 1.
func bare(m lang.Measure) *big.Rat {
	if m.Unit == "%" {
		return share(m)
	}
	return m.Value
}

// part is the place of pixel v, of size, in a stretch of w from x0 on.
func part(x0, w *big.Rat, v, size int) *big.Rat { return add(x0, quo(mul(w, rat(v)), rat(size))) }

// Rect is the part of the frame that a picture shows, in frame pixels.
type Rect struct{ X0, Y0, X1, Y1 *big.Rat }

// Whole is all of a picture.
func Whole(w, h int) Rect { return Rect{rat(0), rat(0), rat(w), rat(h)} }

func (r Rect) W() *big.Rat { return sub(r.X1, r.X0) }
func (r Rect) H() *big.Rat { return sub(r.Y1, r.Y0) }

// String is the "covers" argument of operations that read masks.
func (r Rect) String() string {
	return r.X0.RatString() + " " + r.Y0.RatString() + " " + r.X1.RatString() + " " + r.Y1.RatString()
}

// space turns the recipe's measures into pixels of one picture.
type space struct {
	frameW, frameH int
	w, h           int // the picture's own pixels
	covers         Rect
	// printW, printH and ppi are those of the print; nil ppi where the
	// picture belongs to no print.
	printW, printH int
	ppi            *big.Rat
}

// x and y are positions in pixels of the picture; ok is false where the unit
// has no meaning here.
func (s space) x(m lang.Measure) (*big.Rat, bool) {
	return s.pos(m, s.frameW, s.covers.X0, s.covers.W(), s.w, s.printW)
}

func (s space) y(m lang.Measure) (*big.Rat, bool) {
	return s.pos(m, s.frameH, s.covers.Y0, s.covers.H(), s.h, s.printH)
}

func (s space) pos(m lang.Measure, frame int, c0, cw *big.Rat, size, print int) (*big.Rat, bool) {
	if m.Unit == "%" {
		f := mul(share(m), rat(frame))
		return quo(mul(sub(f, c0), rat(size)), cw), true
	}
	return s.pixels(m, size, print)
}

// length is a length in pixels of the picture: a share is of the frame's
// longer side.
func (s space) length(m lang.Measure) (*big.Rat, bool) {
	size, cw, frame, print := s.w, s.covers.W(), s.frameW, s.printW
	if s.frameH > s.frameW {
		size, cw, frame, print = s.h, s.covers.H(), s.frameH, s.printH
	}
	if m.Unit == "%" {
		return quo(mul(mul(share(m), rat(frame)), rat(size)), cw), true
	}
	return s.pixels(m, size, print)
}

// pixels is a measure in px, or in inches of a print that is print pixels along
// the side on which the picture has size.
func (s space) pixels(m lang.Measure, size, print int) (*big.Rat, bool) {
	if m.Unit == "px" {
		return m.Value, true
	}
	in, ok := m.Inches()
	if !ok || s.ppi == nil {
		return nil, false
	}
	return quo(mul(mul(in, s.ppi), rat(size)), rat(print)), true
}
