package colour

import (
	"math"
	"sync"

	"platemark/ops/exact"
)

// DeltaE2000 is the colour difference CIEDE2000 with kL = kC = kH = 1
// (ISO/CIE 11664-6:2022; G. Sharma, W. Wu and E. N. Dalal, Color Research and
// Application 30(1), 2005). It is symmetric, and its bits are the same on every
// machine, as verdicts hang on it.
//
// Where the two hues lie 180 degrees apart the formula jumps; hues within
// 1e-9 degrees of that count as 180, as in the published table.
func DeltaE2000(x, y Lab) float64 {
	cm := float64((x.Chroma() + y.Chroma()) * 0.5)
	g := float64(0.5 * (1 - seventh(cm)))
	a1, a2 := float64((1+g)*x.A), float64((1+g)*y.A)
	c1 := math.Sqrt(float64(a1*a1) + float64(x.B*x.B))
	c2 := math.Sqrt(float64(a2*a2) + float64(y.B*y.B))
	h1, h2 := hue(a1, x.B), hue(a2, y.B)

	apart, sum := math.Abs(h1-h2), h1+h2
	dh, hm := h2-h1, float64(sum*0.5)
	switch {
	case c1 == 0 || c2 == 0:
		dh, hm = 0, sum
	case apart > 180+1e-9:
		if dh > 0 {
			dh -= 360
		} else {
			dh += 360
		}
		if sum < 360 {
			hm = float64((sum + 360) * 0.5)
		} else {
			hm = float64((sum - 360) * 0.5)
		}
	}
	dl, dc := y.L-x.L, c2-c1
	dH := float64(float64(2*math.Sqrt(float64(c1*c2))) * sinDeg(float64(dh*0.5)))
	lm, cm2 := float64((x.L+y.L)*0.5)-50, float64((c1+c2)*0.5)
	t := 1 - float64(0.17*cosDeg(hm-30)) + float64(0.24*cosDeg(float64(2*hm))) +
		float64(0.32*cosDeg(float64(3*hm)+6)) - float64(0.20*cosDeg(float64(4*hm)-63))
	u := float64((hm - 275) / 25)
	turn := float64(60 * expNeg(float64(u*u))) // 2 delta theta
	lm2 := float64(lm * lm)
	sl := 1 + float64(0.015*lm2)/math.Sqrt(20+lm2)
	sc := 1 + float64(0.045*cm2)
	sh := 1 + float64(float64(0.015*cm2)*t)
	rt := -float64(sinDeg(turn) * float64(2*seventh(cm2)))
	l, c, h := dl/sl, dc/sc, dH/sh
	return math.Sqrt(max(float64(l*l)+float64(c*c)+float64(h*h)+float64(float64(rt*c)*h), 0))
}

// seventh is sqrt(c^7 / (c^7 + 25^7)).
func seventh(c float64) float64 {
	c2 := float64(c * c)
	c7 := float64(float64(float64(c2*c2)*c2) * c)
	return math.Sqrt(c7 / (c7 + 6103515625))
}

// Hue is the angle of a* and b* in degrees, 0 <= h < 360; 0 for grey. Its bits are
// the same on every machine.
func (c Lab) Hue() float64 { return hue(c.A, c.B) }

// hue is the angle of (a, b) in degrees, 0 <= h < 360; 0 for grey.
func hue(a, b float64) float64 {
	p, q := math.Abs(a), math.Abs(b)
	var h float64
	switch {
	case p == 0 && q == 0:
		return 0
	case p >= q:
		h = atanDeg(q / p)
	default:
		h = 90 - atanDeg(p/q)
	}
	if a < 0 {
		h = 180 - h
	}
	if b < 0 {
		h = 360 - h
	}
	if h >= 360 {
		h -= 360
	}
	return h
}

const atanSteps = 16

// atans holds the arc tangents of k/16.
var atans = sync.OnceValue(func() *[atanSteps + 1]float64 {
	var t [atanSteps + 1]float64
	for k := range t {
		// Euler's series: atan x = x/(1+x^2) (1 + 2/3 y + 2*4/(3*5) y^2 ...),
		// y = x^2/(1+x^2) <= 1/2.
		n := int64(k)
		y := exact.Frac(n*n, n*n+atanSteps*atanSteps)
		sum, term := exact.Whole(1), exact.Whole(1)
		for i := int64(1); i < 120; i++ {
			term = term.Mul(y).Mul(exact.Frac(2*i, 2*i+1))
			sum = sum.Add(term)
		}
		t[k] = sum.Mul(exact.Frac(n*atanSteps, n*n+atanSteps*atanSteps)).Hi
	}
	return &t
})

const (
	degrees = 180 / math.Pi
	radians = math.Pi / 180
)

// atanDeg is the arc tangent of 0 <= x <= 1 in degrees: the nearest table
// entry and a series for the rest, |r| <= 1/32.
func atanDeg(x float64) float64 {
	k := math.Floor(float64(x*atanSteps) + 0.5)
	c := float64(k / atanSteps)
	r := (x - c) / (1 + float64(x*c))
	r2 := float64(r * r)
	s := series(r2, -1.0/11, 1.0/9, -1.0/7, 1.0/5, -1.0/3)
	return float64(degrees * (atans()[int(k)] + (r + float64(float64(r*r2)*s))))
}

// series is a polynomial of x, the highest power's factor first.
func series(x float64, factors ...float64) (s float64) {
	for _, c := range factors {
		s = c + float64(x*s)
	}
	return s
}

// sinDeg is the sine of x degrees, |x| below 10000.
func sinDeg(x float64) float64 {
	n := math.Floor(float64(x/90) + 0.5)
	t := float64(radians * (x - float64(90*n)))
	t2 := float64(t * t)
	var s float64
	q := int(n) & 3
	if q&1 == 0 {
		s = series(t2, 1.0/355687428096000, -1.0/1307674368000, 1.0/6227020800, -1.0/39916800, 1.0/362880, -1.0/5040, 1.0/120, -1.0/6)
		s = t + float64(float64(t*t2)*s)
	} else {
		s = series(t2, 1.0/20922789888000, -1.0/87178291200, 1.0/479001600, -1.0/3628800, 1.0/40320, -1.0/720, 1.0/24, -0.5, 1)
	}
	if q >= 2 {
		return -s
	}
	return s
}

func cosDeg(x float64) float64 { return sinDeg(float64(x) + 90) }

// expNeg is e to the power -z, z >= 0; 0 above 700.
func expNeg(z float64) float64 {
	if !(z < 700) {
		return 0
	}
	k := math.Floor(float64(z*(1/math.Ln2)) + 0.5)
	r := float64(k*math.Ln2) - z // |r| <= 0.35, its error below 2^-43
	s := series(r, 1.0/6227020800, 1.0/479001600, 1.0/39916800, 1.0/3628800, 1.0/362880, 1.0/40320, 1.0/5040, 1.0/720, 1.0/120, 1.0/24, 1.0/6, 0.5, 1, 1)
	return math.Ldexp(s, -int(k))
}
