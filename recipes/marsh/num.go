package marsh

import "math"

// The scene is drawn with sums, products, quotients and square roots alone,
// and no product is fused with a sum: every product that meets one is
// rounded by a conversion first. So each machine draws the same master.

// rgb is a colour in linear opRGB light; 1 is the white of the file before
// the shoulder of the tone curve.
type rgb struct{ r, g, b float32 }

// mad is x*y + z with the product rounded, and z too, which may be one.
func mad(x, y, z float32) float32 { return float32(x*y) + float32(z) }

// mix goes from a (t = 0) to b (t = 1).
func mix(a, b, t float32) float32 {
	return float32(a) + float32((float32(b)-float32(a))*t)
}

// clamp01 compares by hand: min and max of floats take longer, for signed zeros.
func clamp01(x float32) float32 {
	if x < 0 {
		return 0
	}
	if x > 1 {
		return 1
	}
	return x
}

// ease is 0 at lo, 1 at hi, and smooth at both ends.
func ease(lo, hi, x float32) float32 {
	t := clamp01((float32(x) - float32(lo)) / (float32(hi) - float32(lo)))
	return float32(float32(t*t) * (3 - float32(2*t)))
}

func sqrt(x float32) float32 { return float32(math.Sqrt(float64(x))) }

func abs(x float32) float32 { return float32(math.Abs(float64(x))) }

func (c rgb) times(k float32) rgb { return rgb{c.r * k, c.g * k, c.b * k} }

// add is c + k*d.
func (c rgb) add(k float32, d rgb) rgb {
	return rgb{mad(k, d.r, c.r), mad(k, d.g, c.g), mad(k, d.b, c.b)}
}

func (c rgb) by(d rgb) rgb { return rgb{c.r * d.r, c.g * d.g, c.b * d.b} }

func (c rgb) to(d rgb, t float32) rgb {
	return rgb{mix(c.r, d.r, t), mix(c.g, d.g, t), mix(c.b, d.b, t)}
}

// power is x to the p for x from 0 to 1, by series; good to about 1e-14.
func power(x, p float64) float64 {
	if x <= 0 {
		return 0
	}
	m, e := math.Frexp(x)
	if m < 0.7 {
		m, e = 2*m, e-1
	}
	z := (m - 1) / (m + 1)
	z2 := float64(z * z)
	sum, term := 0.0, z
	for k := 1; k < 60; k += 2 {
		sum += term / float64(k)
		term = float64(term * z2)
	}
	const ln2 = 0.693147180559945309417
	y := float64(p * (float64(2*sum) + float64(float64(e)*ln2)))
	n := math.Floor(float64(y/ln2) + 0.5)
	y -= float64(n * ln2)
	ex, term := 1.0, 1.0
	for k := 1; k < 24; k++ {
		term = float64(term*y) / float64(k)
		ex += term
	}
	return math.Ldexp(ex, int(n))
}

// sincos of an angle within a few turns, by series; good to about 1e-7.
func sincos(a float32) (sin, cos float32) {
	const turn = 2 * math.Pi
	x := float64(a)
	x -= float64(turn * math.Floor(float64(x/turn)+0.5))
	s, c, term := 0.0, 0.0, 1.0
	for k := 0; k < 26; k += 2 {
		c += term
		t := float64(term*x) / float64(k+1)
		s += t
		term = -float64(t*x) / float64(k+2)
	}
	return float32(s), float32(c)
}

// gamma is the exponent of opRGB's encoding, 563/256.
const gamma = 563.0 / 256.0

// code gives the colour whose opRGB code values, 0 to 1, are r, g and b.
func code(r, g, b float64) rgb {
	return rgb{float32(power(r, gamma)), float32(power(g, gamma)), float32(power(b, gamma))}
}

// encoder holds x^(1/gamma), looked up by the square root of x, where the
// curve is almost a line.
type encoder [4098]float32

func newEncoder() *encoder {
	e := new(encoder)
	for i := range e {
		s := math.Min(float64(i)/4096, 1)
		e[i] = float32(power(s, 2/gamma))
	}
	return e
}

// of encodes linear x, 0 to 1.
func (e *encoder) of(x float32) float32 {
	s := float32(sqrt(clamp01(x)) * 4096)
	i := int(s)
	return mix(e[i], e[i+1], s-float32(i))
}
