package ops

import (
	"errors"
	"fmt"
	"math/big"
	"slices"
	"strings"
)

// MaskPoint is a place on the frame in frame pixels, edges whole and pixel
// centres at .5. It may lie outside the frame.
type MaskPoint struct{ X, Y *big.Rat }

// MaskShape is one line of a mask in base units: what an argument shape-N of
// the operation mask holds.
//
//	OP ellipse at X Y size W H soft S
//	OP rectangle at X Y size W H soft S
//	OP polygon X Y X Y X Y … soft S
//	OP stroke along X Y X Y … width W soft S
//	OP gradient from X Y to X Y
//	OP file
//	OP mask
//	invert
//	soften R
//
// OP is add, less or within. Numbers are reduced fractions; lengths are frame
// pixels, S is a share from 0 to 1. Unused fields stay nil.
type MaskShape struct {
	Op     string // "add", "less", "within"; "" for invert and soften
	Shape  string // "ellipse", "rectangle", "polygon", "stroke", "gradient", "file", "mask", "invert", "soften"
	Points []MaskPoint
	W, H   *big.Rat // size of ellipse and rectangle; W alone: width of a stroke, radius of soften
	Soft   *big.Rat // ellipse, rectangle, polygon, stroke
}

func (p MaskPoint) times(by Ratio) MaskPoint { return MaskPoint{times(p.X, by.X), times(p.Y, by.Y)} }

// times is the line on another frame.
func (s MaskShape) times(by Ratio) MaskShape {
	s.Points = slices.Clone(s.Points)
	for i, p := range s.Points {
		s.Points[i] = p.times(by)
	}
	if s.W != nil {
		s.W = times(s.W, by.X)
	}
	if s.H != nil {
		s.H = times(s.H, by.Y)
	}
	return s
}

// TakesInput says whether the line takes the operation's next input picture.
func (s MaskShape) TakesInput() bool { return s.Shape == "file" || s.Shape == "mask" }

// shapeForms are the words of a line behind its shape: p stands for a place, p*
// for one and more, w, h and s for a number that the field of this name holds.
var shapeForms = map[string]string{
	"ellipse":   "at p size w h soft s",
	"rectangle": "at p size w h soft s",
	"polygon":   "p* soft s",
	"stroke":    "along p* width w soft s",
	"gradient":  "from p to p",
	"file":      "",
	"mask":      "",
	"invert":    "",
	"soften":    "w",
}

// String is the one written form.
func (s MaskShape) String() string {
	t := s.write(shapeForms[s.Shape])
	return strings.TrimSpace(strings.TrimSpace(s.Op+" "+s.Shape) + " " + t)
}

func (s MaskShape) write(form string) string {
	var f []string
	points := s.Points
	num := func(r *big.Rat) {
		if r == nil {
			f = append(f, "?")
			return
		}
		f = append(f, r.RatString())
	}
	for _, k := range strings.Fields(form) {
		switch k {
		case "p", "p*":
			n := len(points)
			if k == "p" {
				n = min(1, n)
			}
			for _, p := range points[:n] {
				num(p.X)
				num(p.Y)
			}
			points = points[n:]
		case "w":
			num(s.W)
		case "h":
			num(s.H)
		case "s":
			num(s.Soft)
		default:
			f = append(f, k)
		}
	}
	return strings.Join(f, " ")
}

// Bounds that keep every distance a sound float64.
var (
	shapeFar     = big.NewRat(10_000_000, 1) // furthest place, longest length, px
	shapeSmall   = big.NewRat(1, 1_000_000)  // smallest size, px: 0.0001 % of one
	softenMost   = big.NewRat(maxSide/10, 1) // largest radius: 10 % of the longest side
	shapeOne     = big.NewRat(1, 1)
	shapeOps     = []string{"add", "less", "within"}
	errShapeEnds = errors.New("the line ends too early")
)

// ParseShape reads the one written form of a line and checks its numbers. The
// result's String is s again.
func ParseShape(s string) (MaskShape, error) { return parseWritten("mask line", s, parseShape) }

// parseWritten parses the words of what has one written form, and checks it.
func parseWritten[T interface {
	String() string
	check() error
}](what, s string, parse func(words []string) (T, error)) (v T, err error) {
	v, err = parse(strings.Fields(s))
	if err == nil && v.String() != s {
		err = fmt.Errorf("expected it written as %q", v.String())
	}
	if err == nil {
		err = v.check()
	}
	if err != nil {
		return *new(T), fmt.Errorf("%s %q: %w", what, s, err)
	}
	return v, nil
}

func parseShape(f []string) (v MaskShape, err error) {
	if len(f) > 0 && slices.Contains(shapeOps, f[0]) {
		v.Op, f = f[0], f[1:]
	}
	if len(f) == 0 {
		return v, errShapeEnds
	}
	v.Shape = f[0]
	form, ok := shapeForms[v.Shape]
	switch alone := v.Shape == "invert" || v.Shape == "soften"; {
	case v.Op == "" && !alone:
		return v, fmt.Errorf("expected add, less, within, invert or soften, found %q", v.Shape)
	case !ok || v.Op != "" && alone:
		return v, fmt.Errorf("expected ellipse, rectangle, polygon, stroke, gradient, file or mask, found %q", v.Shape)
	}
	return v, v.read(form, f[1:])
}

// read fills in the line from the words of a form.
func (s *MaskShape) read(form string, f []string) (err error) {
	next := func() string {
		if len(f) == 0 {
			if err == nil {
				err = errShapeEnds
			}
			return ""
		}
		w := f[0]
		f = f[1:]
		return w
	}
	num := func() *big.Rat {
		w := next()
		if err != nil {
			return nil
		}
		var r *big.Rat
		r, err = ParseRat(w)
		return r
	}
	point := func() {
		x := num()
		s.Points = append(s.Points, MaskPoint{x, num()})
	}
	words := strings.Fields(form)
	for i, k := range words {
		switch k {
		case "p":
			point()
		case "p*":
			for err == nil && len(f) > 0 && f[0] != words[i+1] {
				point()
			}
		case "w":
			s.W = num()
		case "h":
			s.H = num()
		case "s":
			s.Soft = num()
		default:
			if w := next(); err == nil && w != k {
				err = fmt.Errorf("expected %s, found %s", k, w)
			}
		}
	}
	if err == nil && len(f) > 0 {
		err = fmt.Errorf("expected the line to end before %q", f[0])
	}
	return err
}

// near refuses places that are too far away.
func (s MaskShape) near(what string) error {
	for _, p := range s.Points {
		for _, v := range []*big.Rat{p.X, p.Y} {
			if new(big.Rat).Abs(v).Cmp(shapeFar) > 0 {
				return fmt.Errorf("the position %s is further than %s px from the %s", decimal(v), decimal(shapeFar), what)
			}
		}
	}
	return nil
}

// check tests counts and ranges.
func (s MaskShape) check() error {
	if err := s.near("frame"); err != nil {
		return err
	}
	size := func(what string, v *big.Rat) error {
		if v.Cmp(shapeSmall) < 0 || v.Cmp(shapeFar) > 0 {
			return fmt.Errorf("the %s %s isn't between %s and %s px", what, v.RatString(), shapeSmall.RatString(), shapeFar.RatString())
		}
		return nil
	}
	var err error
	switch s.Shape {
	case "ellipse", "rectangle":
		if err = size("width", s.W); err == nil {
			err = size("height", s.H)
		}
	case "polygon":
		if len(s.Points) < 3 {
			err = fmt.Errorf("a polygon needs at least 3 points, it has %d", len(s.Points))
		}
	case "stroke":
		if len(s.Points) < 2 {
			err = fmt.Errorf("a stroke needs at least 2 points, it has %d", len(s.Points))
		} else {
			err = size("width", s.W)
		}
	case "gradient":
		dx := new(big.Rat).Sub(s.Points[1].X, s.Points[0].X)
		dy := new(big.Rat).Sub(s.Points[1].Y, s.Points[0].Y)
		d := dx.Mul(dx, dx)
		d.Add(d, dy.Mul(dy, dy))
		if d.Cmp(new(big.Rat).Mul(shapeSmall, shapeSmall)) < 0 {
			err = errors.New("a gradient needs two different places")
		}
	case "soften":
		if s.W.Sign() <= 0 || s.W.Cmp(softenMost) > 0 {
			err = fmt.Errorf("the radius %s px isn't above 0 and up to %s px", decimal(s.W), decimal(softenMost))
		}
	}
	if err == nil && s.Soft != nil && (s.Soft.Sign() < 0 || s.Soft.Cmp(shapeOne) > 0) {
		err = fmt.Errorf("the softness %s isn't between 0 and 1", s.Soft.RatString())
	}
	return err
}
