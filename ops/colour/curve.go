package colour

import (
	"fmt"

	"platemark/ops/exact"
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

// eval returns the curve at x = j/131070 before rounding, held to 0..1.
// Its rounding to float64 and to float32 equals that of evalPlain.
func (c *curve) eval(j int) exact.DD {
	n, straight := c.base(j)
	if straight || n <= 0 || c.g == one || c.g > maxQuick*one {
		return c.evalPlain(j)
	}
	p, ok := quickPow(float64(n), steps*one, float64(c.g)/one)
	if !ok {
		return c.evalPlain(j)
	}
	y := p
	if c.e != 0 {
		y = p.Add(exact.Float(float64(c.e) / one))
	}
	if !certain(y, float64(p.Hi*powerError)) {
		return c.evalPlain(j)
	}
	return hold(y)
}

// base is a x + b over steps*65536, a whole number below 2^49, where the power
// part holds; straight says that it doesn't.
func (c *curve) base(j int) (n int64, straight bool) {
	if c.table != "" {
		return 0, true
	}
	n = c.a*int64(j) + c.b*steps
	if c.clip {
		return n, n < 0
	}
	return n, int64(j)*one < c.d*steps
}

// evalPlain is the curve as its formula says.
func (c *curve) evalPlain(j int) exact.DD {
	if c.table != "" {
		return c.evalTable(j)
	}
	n, straight := c.base(j)
	if straight {
		return hold(exact.Frac(c.c*int64(j)+c.f*steps, steps*one))
	}
	return c.power(exact.Frac(n, steps*one))
}

// power is base^g + e, held to 0..1.
func (c *curve) power(base exact.DD) exact.DD {
	y := exact.DD{}
	switch {
	case base.Sign() <= 0:
	case c.g == one:
		y = base
	default:
		y = exact.Pow(base, exact.Float(float64(c.g)/one))
		if y.Hi > 2*one { // over 1 whatever e, infinity included
			return exact.Whole(1)
		}
	}
	return hold(y.Add(exact.Float(float64(c.e) / one)))
}

func (c *curve) evalTable(j int) exact.DD {
	n := int64(len(c.table)/2 - 1)
	p := int64(j) * n
	i, r := p/steps, p%steps
	v := c.entry(int(i)) * (steps - r)
	if r > 0 {
		v += c.entry(int(i)+1) * r
	}
	return exact.Frac(v, steps*65535)
}

func (c *curve) entry(i int) int64 {
	return int64(c.table[2*i])<<8 | int64(c.table[2*i+1])
}

// hold clips to 0..1.
func hold(y exact.DD) exact.DD {
	switch {
	case !(y.Sign() > 0):
		return exact.DD{}
	case y.Sub(exact.Whole(1)).Sign() > 0:
		return exact.Whole(1)
	}
	return y
}

// tolerance is how far a curve may fall back below what it reached before, in
// light: two 16-bit counts. Rounded parameters leave such dents at joints.
const tolerance = 2.0 / 65536

// jump is how far a formula's two parts may lie apart where they meet, in
// light. Those of published spaces meet within 0.0001.
const jump = 1.0 / 64

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
	black, mid, white := c.eval(0).Hi, c.eval(65535).Hi, c.eval(steps).Hi
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
		lo := hold(exact.Frac(c.c*d+c.f*one, one*one)).Hi
		hi := c.power(exact.Frac(c.a*d+c.b*one, one*one)).Hi
		if hi < lo-tolerance {
			return fmt.Errorf("its curve falls from %.6f to %.6f at x = %s, where its two parts meet", lo, hi, fixed(d))
		}
		if hi > lo+jump {
			return fmt.Errorf("its curve jumps from %.6f to %.6f at x = %s, where its two parts meet, so that no code gives the light between", lo, hi, fixed(d))
		}
	}
	return nil
}

// fixed prints a number of 65536ths.
func fixed(v int64) string { return fmt.Sprintf("%.5f", float64(v)/one) }

// tabulate evaluates the curve at all half codes and hands each value over,
// never falling: where the curve dents (within tolerance) it keeps the highest
// value so far.
func (c *curve) tabulate(set func(j int, y exact.DD)) {
	top := exact.DD{}
	for j := 0; j <= steps; j++ {
		y := c.eval(j)
		if y.Hi > top.Hi || (y.Hi == top.Hi && y.Lo > top.Lo) {
			top = y
		}
		set(j, top)
	}
}
