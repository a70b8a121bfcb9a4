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
}

// newCubic sets the slopes by F. N. Fritsch and R. E. Carlson, "Monotone
// Piecewise Cubic Interpolation", SIAM Journal on Numerical Analysis 17 (1980):
// the mean of the neighbouring secants, the secant itself at the ends, 0 beside
// a level piece; then, piece by piece from the left, slopes of alpha and beta
// times the piece's secant with alpha^2 + beta^2 > 9 are shortened to the
// circle of radius 3.
func newCubic(x, y []float64) *cubic {
	n := len(x)
	c := &cubic{x: x, y: y, m: make([]float64, n)}
	secant := make([]float64, n-1)
	for k := range secant {
		secant[k] = (y[k+1] - y[k]) / (x[k+1] - x[k])
	}
	c.m[0], c.m[n-1] = secant[0], secant[n-2]
	for k := 1; k < n-1; k++ {
		c.m[k] = (secant[k-1] + secant[k]) * 0.5
	}
	for k, s := range secant {
		if s == 0 {
			c.m[k], c.m[k+1] = 0, 0
			continue
		}
		a, b := c.m[k]/s, c.m[k+1]/s
		if r := float64(a*a) + float64(b*b); r > 9 {
			t := 3 / math.Sqrt(r)
			c.m[k] = float64(float64(t*a) * s)
			c.m[k+1] = float64(float64(t*b) * s)
		}
	}
	return c
}

// at is the curve's value.
func (c *cubic) at(x float64) float64 {
	n := len(c.x)
	switch {
	case x <= c.x[0]:
		return c.y[0] + float64(c.m[0]*(x-c.x[0]))
	case x >= c.x[n-1]:
		return c.y[n-1] + float64(c.m[n-1]*(x-c.x[n-1]))
	}
	k := 0
	for c.x[k+1] <= x {
		k++
	}
	h := c.x[k+1] - c.x[k]
	rise := c.y[k+1] - c.y[k]
	t := (x - c.x[k]) / h
	// y0 + t (p + t (q + t r)) is the Hermite cubic.
	p, e := float64(h*c.m[k]), float64(h*c.m[k+1])
	r := (p + e) - float64(2*rise)
	q := (rise - p) - r
	v := q + float64(t*r)
	v = p + float64(t*v)
	v = c.y[k] + float64(t*v)
	// Rounding must not carry a value past its piece's ends.
	return max(c.y[k], min(c.y[k+1], v))
}

// toneContrast is the curve of a contrast of c (a share, -1/2 to 1): through
// 0, 50 and 100 with slope 1 + c in the middle and 1 / (1 + c) at both ends,
// cubic between. Slopes up to 3 with secants of 1 keep it rising (Fritsch and
// Carlson 1980).
func toneContrast(c float64) *cubic {
	return &cubic{x: []float64{0, 50, 100}, y: []float64{0, 50, 100}, m: []float64{1 / (1 + c), 1 + c, 1 / (1 + c)}}
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
