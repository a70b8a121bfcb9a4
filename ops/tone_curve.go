package ops

import (
	"fmt"
	"math"
	"math/big"

	"platemark/ops/exact"
)

// toneExposure multiplies light by gain; what then lies above toneShoulder is
// bent so that full light stays full.
//
// With t the shoulder's foot, k the gain (above 1), x = k v the light after it,
// u = (x - t) / (1 - t) and c = (k - 1) / (k - t):
//
//	out = x                           for x <= t
//	out = t + (1 - t) u / (1 + c u)   above
//
// It rises everywhere, its slope is 1 at t and ((1-t) / (k-t))^2 at white, which
// is reached exactly where v is 1: no light is clipped. The bent part is a
// hyperbola. It is our own choice. A gain of 1 or less is a plain product.
type toneExposure struct {
	gain, c float64
}

// toneShoulder is the light above which exposure is bent.
const toneShoulder = 0.5

// newToneExposure takes stops: the gain is 2 to that power, rounded once.
func newToneExposure(stops *big.Rat) toneExposure {
	e := toneExposure{gain: exact.Pow(exact.Whole(2), exact.Rat(stops)).Float64()}
	if e.gain > 1 {
		e.c = (e.gain - 1) / (e.gain - toneShoulder)
	}
	return e
}

// factor is what light v, 0..1, is multiplied by.
func (e *toneExposure) factor(v float64) float64 {
	x := float64(e.gain * v)
	if e.gain <= 1 || x <= toneShoulder {
		return e.gain
	}
	u := (x - toneShoulder) / (1 - toneShoulder)
	s := toneShoulder + float64((1-toneShoulder)*(u/(1+float64(e.c*u))))
	return s / v
}

// cubic is a rising curve through points, cubic between neighbours and straight
// beyond the ends. x rises strictly, y never falls.
type cubic struct {
	x, y, m []float64 // m is the slope at each point
	pieces  []cubicPiece
}

// cubicPiece is one before the first point, between two, or after the last: with
// t = (v - x) / h
//
//	y + t (p + t (q + t r))
//
// held to lo..hi, so that rounding carries no value past its piece's ends. Inside
// that is the Hermite cubic, outside h is 1, q and r 0.
type cubicPiece struct{ x, h, y, p, q, r, lo, hi float64 }

func cubicOf(x, y, m []float64) *cubic {
	straight := func(k int) cubicPiece {
		return cubicPiece{x: x[k], h: 1, y: y[k], p: m[k], lo: math.Inf(-1), hi: math.Inf(1)}
	}
	c := &cubic{x: x, y: y, m: m, pieces: []cubicPiece{straight(0)}}
	for k := range len(x) - 1 {
		h, rise := x[k+1]-x[k], y[k+1]-y[k]
		p, e := float64(h*m[k]), float64(h*m[k+1])
		r := (p + e) - float64(2*rise)
		c.pieces = append(c.pieces, cubicPiece{x[k], h, y[k], p, (rise - p) - r, r, y[k], y[k+1]})
	}
	c.pieces = append(c.pieces, straight(len(x)-1))
	return c
}

// at is the curve's value.
func (c *cubic) at(v float64) float64 {
	k := 0
	for k < len(c.x) && c.x[k] <= v {
		k++
	}
	p := &c.pieces[k]
	t := (v - p.x) / p.h
	w := p.q + float64(t*p.r)
	w = p.p + float64(t*w)
	return max(p.lo, min(p.hi, p.y+float64(t*w)))
}

// newCubic sets the slopes by F. N. Fritsch and R. E. Carlson, "Monotone
// Piecewise Cubic Interpolation", SIAM Journal on Numerical Analysis 17 (1980):
// the mean of the neighbouring secants, the secant itself at the ends, 0 beside
// a level piece; then, piece by piece from the left, slopes of alpha and beta
// times the piece's secant with alpha^2 + beta^2 > 9 are shortened to the
// circle of radius 3.
func newCubic(x, y []float64) *cubic {
	n := len(x)
	m, secant := make([]float64, n), make([]float64, n-1)
	for k := range secant {
		secant[k] = (y[k+1] - y[k]) / (x[k+1] - x[k])
	}
	m[0], m[n-1] = secant[0], secant[n-2]
	for k := 1; k < n-1; k++ {
		m[k] = (secant[k-1] + secant[k]) * 0.5
	}
	for k, s := range secant {
		if s == 0 {
			m[k], m[k+1] = 0, 0
			continue
		}
		a, b := m[k]/s, m[k+1]/s
		if r := float64(a*a) + float64(b*b); r > 9 {
			t := 3 / math.Sqrt(r)
			m[k] = float64(float64(t*a) * s)
			m[k+1] = float64(float64(t*b) * s)
		}
	}
	return cubicOf(x, y, m)
}

// toneContrast is the curve of a contrast of c (a share, -1/2 to 1): through
// 0, 50 and 100 with slope 1 + c in the middle and 1 / (1 + c) at both ends,
// cubic between. Slopes up to 3 with secants of 1 keep it rising (Fritsch and
// Carlson 1980).
func toneContrast(c float64) *cubic {
	return cubicOf([]float64{0, 50, 100}, []float64{0, 50, 100}, []float64{1 / (1 + c), 1 + c, 1 / (1 + c)})
}

// maxCurvePoints bounds a curve's points.
const maxCurvePoints = 32

// newToneCurve is the curve through "x y x y ..." in lightness.
func newToneCurve(v []*big.Rat) (*cubic, error) {
	if len(v)%2 != 0 || len(v) < 4 || len(v) > 2*maxCurvePoints {
		return nil, fmt.Errorf("curve has %d numbers, expected pairs of lightness before and after for 2 to %d points", len(v), maxCurvePoints)
	}
	var x, y []float64
	for i, r := range v {
		f, _ := r.Float64()
		if i%2 == 0 {
			x = append(x, f)
		} else {
			y = append(y, f)
		}
	}
	for i := 1; i < len(x); i++ {
		if !(x[i]-x[i-1] >= 1.0/1024) {
			return nil, fmt.Errorf("curve: point %d doesn't lie to the right of the one before; write the points in order of the lightness before, at least 1/1024 apart", i+1)
		}
		if y[i] < y[i-1] {
			return nil, fmt.Errorf("curve falls at point %d, which would turn tones round; the lightness after may stay or rise from point to point", i+1)
		}
	}
	return newCubic(x, y), nil
}

// straight tells whether the curve changes nothing from 0 to 100.
func (c *cubic) straight() bool {
	for i := range c.x {
		if c.x[i] != c.y[i] || c.m[i] != 1 {
			return false
		}
	}
	return true
}
