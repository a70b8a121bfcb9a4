package exact

import (
	"math"
	"math/big"
)

// DD is the number Hi + Lo, |Lo| at most half a unit in Hi's last place: about
// 106 bits. Sums, products and quotients of finite numbers well inside the
// float64 range have a relative error below 2^-102 (sums: of the larger
// magnitude where they nearly cancel it is still below 2^-102 of the result).
// Add and Mul give the same bits with their operands exchanged.
//
// Source: T. J. Dekker, "A floating-point technique for extending the
// available precision", Numerische Mathematik 18 (1971); D. E. Knuth, The Art
// of Computer Programming 2, section 4.2.2.
type DD struct{ Hi, Lo float64 }

// Whole is the whole number n, exact for |n| below 1<<62.
func Whole(n int64) DD {
	hi := float64(n)
	return DD{hi, float64(n - int64(hi))}
}

// Float is the float64 x.
func Float(x float64) DD { return DD{x, 0} }

// Frac is num/den.
func Frac(num, den int64) DD { return Whole(num).Quo(Whole(den)) }

// Rat is r, to within 2^-106.
func Rat(r *big.Rat) DD {
	hi, _ := r.Float64()
	rest := new(big.Rat).SetFloat64(hi)
	if rest == nil {
		return DD{hi, 0}
	}
	lo, _ := rest.Sub(r, rest).Float64()
	return DD{hi, lo}
}

// Float64 is the nearest float64.
func (a DD) Float64() float64 { return a.Hi }

// Float32 is the nearest float32, half to even, rounded once from both parts.
func (a DD) Float32() float32 {
	hi := a.Hi
	if a.Lo != 0 && math.Float64bits(hi)&1 == 0 {
		// Step to the odd neighbour on Lo's side, so that a tie at Hi is
		// decided by Lo.
		hi = math.Nextafter(hi, math.Copysign(math.Inf(1), a.Lo))
	}
	return float32(hi)
}

// Sign is -1, 0 or 1.
func (a DD) Sign() int {
	switch {
	case a.Hi > 0:
		return 1
	case a.Hi < 0:
		return -1
	}
	return 0
}

// Neg is -a.
func (a DD) Neg() DD { return DD{-a.Hi, -a.Lo} }

// Add is a + b.
func (a DD) Add(b DD) DD {
	s, e := twoSum(a.Hi, b.Hi)
	t, f := twoSum(a.Lo, b.Lo)
	s, e = fastTwoSum(s, e+t)
	s, e = fastTwoSum(s, e+f)
	return DD{s, e}
}

// Sub is a - b.
func (a DD) Sub(b DD) DD { return a.Add(b.Neg()) }

// Mul is a * b.
func (a DD) Mul(b DD) DD {
	p, e := TwoProd(a.Hi, b.Hi)
	e += float64(a.Hi*b.Lo) + float64(a.Lo*b.Hi)
	p, e = fastTwoSum(p, e)
	return DD{p, e}
}

// Quo is a / b.
func (a DD) Quo(b DD) DD {
	q := a.Hi / b.Hi
	if q == 0 || math.IsInf(q, 0) || q != q {
		return DD{q, 0}
	}
	r := a.Sub(b.Mul(DD{q, 0}))
	q2 := r.Hi / b.Hi
	r = r.Sub(b.Mul(DD{q2, 0}))
	q3 := r.Hi / b.Hi
	s, e := fastTwoSum(q, q2)
	return DD{s, e}.Add(DD{q3, 0})
}

// twoSum is a + b as a rounded sum and its exact error.
func twoSum(a, b float64) (s, e float64) {
	s = a + b
	bb := s - a
	return s, (a - (s - bb)) + (b - bb)
}

// QuickSum is a + b for |a| >= |b| or a = 0.
func QuickSum(a, b float64) DD {
	s, e := fastTwoSum(a, b)
	return DD{s, e}
}

// fastTwoSum is twoSum for |a| >= |b| or a = 0.
func fastTwoSum(a, b float64) (s, e float64) {
	s = a + b
	return s, b - (s - a)
}

// TwoProd is a * b as a rounded product and its exact error.
func TwoProd(a, b float64) (p, e float64) {
	p = float64(a * b)
	ah, al := split(a)
	bh, bl := split(b)
	// The two cross products are added first so that a and b can be exchanged.
	e = (float64(ah*bh) - p) + (float64(ah*bl) + float64(al*bh))
	return p, e + float64(al*bl)
}

// split cuts a into two parts of at most 26 bits each.
func split(a float64) (hi, lo float64) {
	const cut = 1<<27 + 1
	t := float64(cut * a)
	hi = t - (t - a)
	return hi, a - hi
}

// ldexp is a times 2 to the power k.
func (a DD) ldexp(k int) DD { return DD{math.Ldexp(a.Hi, k), math.Ldexp(a.Lo, k)} }
