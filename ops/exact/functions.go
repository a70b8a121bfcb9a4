package exact

import (
	"math"
	"math/big"
	"sync"
)

// The constants to 106 bits and more; their digits are checked by the tests.
var (
	Pi  = DD{0x1.921fb54442d18p+1, 0x1.1a62633145c07p-53}
	ln2 = DD{0x1.62e42fefa39efp-1, 0x1.abc9e3b39803fp-56}
)

// ln2 in three parts, the first with so few bits that whole multiples are
// exact.
var ln2Parts = [3]float64{0x1.62e42feep-1, 0x1.a39ef35793c76p-33, 0x1.cc01f97b57a08p-87}

// The factors of the series.
type factors struct {
	inverse   [48]DD // 1/n
	factorial [32]DD // 1/n!
}

var ofSeries = sync.OnceValue(func() *factors {
	t := &factors{}
	f := big.NewRat(1, 1)
	t.factorial[0] = Whole(1)
	for n := int64(1); n < int64(len(t.inverse)); n++ {
		t.inverse[n] = Rat(big.NewRat(1, n))
		if n < int64(len(t.factorial)) {
			f.Mul(f, big.NewRat(1, n))
			t.factorial[n] = Rat(f)
		}
	}
	return t
})

// Sinpi is sin(pi x) for |x| below 1<<50, exactly 0 at whole numbers and odd
// in x. Relative error below 2^-100. NaN for NaN and infinities.
func Sinpi(x DD) DD {
	if x.Hi-x.Hi != 0 {
		return DD{math.NaN(), 0}
	}
	if x.Hi < 0 {
		return Sinpi(x.Neg()).Neg()
	}
	// x = n/2 + r, |r| <= 1/4
	n := math.Floor(2*x.Hi + 0.5)
	r := x.Sub(DD{n / 2, 0})
	t := r.Mul(Pi)
	t2 := t.Mul(t)
	quarter := int64(n) & 3
	var y DD
	if quarter&1 == 0 {
		y = series(t2, 1, 27).Mul(t)
	} else {
		y = series(t2, 0, 28)
	}
	if quarter >= 2 {
		y = y.Neg()
	}
	return y
}

// series is the sum of (-t2)^i / (first+2i)! up to 1/last!.
func series(t2 DD, first, last int) DD {
	factorial := &ofSeries().factorial
	m := t2.Neg()
	y := factorial[last]
	for n := last - 2; n >= first; n -= 2 {
		y = y.Mul(m).Add(factorial[n])
	}
	return y
}

// Exp is e to the power x; relative error below 2^-100 for |x| below 40,
// 2^-96 for |x| below 700. It is
// 0 below -745 and +Inf above 710; NaN for NaN.
func Exp(x DD) DD {
	switch {
	case x.Hi != x.Hi:
		return DD{math.NaN(), 0}
	case x.Hi > 710:
		return DD{math.Inf(1), 0}
	case x.Hi < -745:
		return DD{}
	}
	k := math.Floor(float64(x.Hi*0x1.71547652b82fep0) + 0.5)
	r := x.Sub(DD{float64(k * ln2Parts[0]), 0})
	for _, part := range ln2Parts[1:] {
		p, e := TwoProd(k, part)
		r = r.Sub(DD{p, e})
	}
	// e^r - 1 from r/256, then squared eight times: (1+y)^2 - 1 = y(2+y).
	r = r.ldexp(-8)
	factorial := &ofSeries().factorial
	y := factorial[11]
	for n := 10; n >= 1; n-- {
		y = y.Mul(r).Add(factorial[n])
	}
	y = y.Mul(r)
	for range 8 {
		y = y.Mul(y.Add(DD{2, 0}))
	}
	return y.Add(DD{1, 0}).ldexp(int(k))
}

// Log is the natural logarithm; relative error below 2^-100. -Inf for 0, NaN
// below 0 and for NaN, +Inf for +Inf.
func Log(x DD) DD {
	switch {
	case x.Hi == 0:
		return DD{math.Inf(-1), 0}
	case !(x.Hi > 0):
		return DD{math.NaN(), 0}
	case math.IsInf(x.Hi, 1):
		return DD{x.Hi, 0}
	}
	// x = m 2^k with m between sqrt(1/2) and sqrt(2);
	// log m = 2 (s + s^3/3 + s^5/5 + ...), s = (m-1)/(m+1).
	f, k := math.Frexp(x.Hi)
	if f < 0x1.6a09e667f3bcdp-1 {
		k--
	}
	m := x.ldexp(-k)
	s := m.Sub(DD{1, 0}).Quo(m.Add(DD{1, 0}))
	s2 := s.Mul(s)
	inverse := &ofSeries().inverse
	y := inverse[45]
	for n := 43; n >= 1; n -= 2 {
		y = y.Mul(s2).Add(inverse[n])
	}
	y = y.Mul(s).ldexp(1)
	p, e := TwoProd(float64(k), ln2.Hi)
	return y.Add(DD{p, e}.Add(DD{float64(float64(k) * ln2.Lo), 0}))
}

// Pow is x to the power y for x >= 0; the relative error is below 2^-96 while
// |y log x| is below 16. 0 to a power above 0 is 0, to the power 0 it is 1; NaN
// for x below 0.
func Pow(x, y DD) DD {
	switch {
	case y.Hi == 0:
		return DD{1, 0}
	case x.Hi == 0 && y.Hi > 0:
		return DD{}
	}
	return Exp(y.Mul(Log(x)))
}

// Cbrt is the cube root, odd in x; relative error below 2^-100.
func Cbrt(x DD) DD {
	switch {
	case x.Hi < 0:
		return Cbrt(x.Neg()).Neg()
	case x.Hi == 0 || x.Hi-x.Hi != 0:
		return DD{x.Hi, 0}
	}
	y := Exp(Log(x).Mul(ofSeries().inverse[3]))
	// One step of Newton's method.
	y2 := y.Mul(y)
	return y.Sub(y2.Mul(y).Sub(x).Quo(y2.Mul(Whole(3))))
}
