package colour

import (
	"fmt"
	"math"
)

// curve is one channel's tone curve as a profile states it: device value x in
// 0..1 to linear light in 0..1. It is evaluated for x = j/131070 only, that is
// at the 16-bit codes (j even) and half-way between them (j odd).
//
// Two forms. A table of n >= 2 entries v/65535, evenly spaced over 0..1, with
// straight lines between. Or, with all numbers in 65536ths,
//
//	y = (a x + b)^g + e   where x >= d
//	y = c x + f           elsewhere
//
// which holds every parametric type of ICC.1:2010, 10.16, and the plain gamma.
type curve struct {
	table               string // 16-bit big-endian entries; "" for the formula
	g, a, b, c, d, e, f int64
	// clip says that the two parts meet where a x + b = 0, not at d
	// (parametric types 1 and 2).
	clip bool
}

const (
	one   = 65536  // 1 in a profile's fixed-point numbers
	steps = 131070 // half codes from black to white
)

// gammaCurve is y = x^g with g in 65536ths.
func gammaCurve(g int64) curve { return curve{g: g, a: one} }

// eval returns the curve at x = j/131070 before rounding, clipped to 0..1.
func (c *curve) eval(j int) dd {
	if c.table != "" {
		return c.evalTable(j)
	}
	x := int64(j)
	// base = (a x + b): numerator over steps*65536. Whole numbers below 2^49.
	base := c.a*x + c.b*steps
	upper := x*one >= c.d*steps
	if c.clip {
		upper = base >= 0
	}
	if !upper {
		return clip01(divF(float64(c.c*x+c.f*steps), steps*one))
	}
	y := dd{}
	switch {
	case base <= 0:
	case c.g == one:
		y = divF(float64(base), steps*one)
	default:
		l := divF(float64(base), steps*one).ln().mulF(float64(c.g) / one)
		switch {
		case l.hi > 80: // above 2^115: over 1 whatever e
			return dd{1, 0}
		case l.hi > -600: // below 2^-865 it is 0
			y = l.exp()
		}
	}
	return clip01(y.addF(float64(c.e) / one))
}

func (c *curve) evalTable(j int) dd {
	n := int64(len(c.table)/2 - 1)
	p := int64(j) * n
	i, r := p/steps, p%steps
	v := c.entry(int(i)) * (steps - r)
	if r > 0 {
		v += c.entry(int(i)+1) * r
	}
	return divF(float64(v), steps*65535) // v < 2^34: exact
}

func (c *curve) entry(i int) int64 {
	return int64(c.table[2*i])<<8 | int64(c.table[2*i+1])
}

func clip01(y dd) dd {
	if y.hi < 0 || (y.hi == 0 && y.lo < 0) {
		return dd{}
	}
	if y.hi > 1 || (y.hi == 1 && y.lo > 0) {
		return dd{1, 0}
	}
	return y
}

// tolerance is how far a curve may fall back below what it reached before, in
// light: two 16-bit counts. Rounded parameters leave such dents at joints.
const tolerance = 2.0 / 65536

// check refuses curves that can't carry a picture there and back.
func (c *curve) check() error {
	if c.table != "" {
		top := int64(0)
		for i := range len(c.table) / 2 {
			v := c.entry(i)
			if v+2 < top {
				return fmt.Errorf("its curve falls from %d to %d of 65535 at table entry %d, so that two tones would share one code; a picture can't be carried there and back", top, v, i)
			}
			top = max(top, v)
		}
	} else if err := c.checkFormula(); err != nil {
		return err
	}
	black, mid, white := c.eval(0).hi, c.eval(65535).hi, c.eval(steps).hi
	switch {
	case white <= black:
		return fmt.Errorf("its curve is constant: black and white give the same light")
	case !(black < mid && mid < white):
		return fmt.Errorf("its curve doesn't keep black, mid grey and white apart (%.3g, %.3g, %.3g)", black, mid, white)
	}
	return nil
}

func (c *curve) checkFormula() error {
	if c.g <= 0 {
		return fmt.Errorf("its curve has the exponent %s, which isn't above 0", fixed(c.g))
	}
	if c.a <= 0 {
		return fmt.Errorf("its curve has the factor a = %s, which isn't above 0", fixed(c.a))
	}
	if c.clip {
		return nil
	}
	if c.c < 0 && c.d > 0 {
		return fmt.Errorf("its curve falls near black (slope %s)", fixed(c.c))
	}
	d := max(c.d, 0)
	if d > one {
		return nil // straight all the way
	}
	if c.a*d+c.b*one < 0 {
		return fmt.Errorf("its curve takes a power of a negative number at x = %s", fixed(d))
	}
	if d > 0 {
		// both parts at the joint, in dd: base is a whole number of 2^-32
		y := dd{}
		if base := c.a*d + c.b*one; base > 0 {
			l := divF(float64(base), one*one).ln().mulF(float64(c.g) / one)
			if l.hi > 80 {
				return nil
			}
			if l.hi > -600 {
				y = l.exp()
			}
		}
		lo := clip01(divF(float64(c.c*d+c.f*one), one*one)).hi
		hi := clip01(y.addF(float64(c.e) / one)).hi
		if hi < lo-tolerance {
			return fmt.Errorf("its curve falls from %.6f to %.6f at x = %s, where its two parts meet", lo, hi, fixed(d))
		}
	}
	return nil
}

// fixed prints a number of 65536ths.
func fixed(v int64) string { return fmt.Sprintf("%.5f", float64(v)/one) }

// tabulate evaluates the curve at all half codes and hands each value over,
// never falling: where the curve dents (within tolerance) it keeps the highest
// value so far.
func (c *curve) tabulate(set func(j int, y dd)) {
	top := dd{math.Inf(-1), 0}
	for j := 0; j <= steps; j++ {
		y := c.eval(j)
		if y.hi > top.hi || (y.hi == top.hi && y.lo > top.lo) {
			top = y
		}
		set(j, top)
	}
}
