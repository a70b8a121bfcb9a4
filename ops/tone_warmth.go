package ops

import (
	"math/big"

	"platemark/ops/colour"
)

// toneMired is the mired value (10^6 over kelvin) from which warmth counts:
// 5000 K, the print's viewing light.
const toneMired = 200

// daylight is the white of a daylight phase of m mired (143 to 250, that is 7000
// to 4000 K) as X, Y, Z with Y = 1, by CIE 15:2004, 3.1:
//
//	x = -4.6070e9/T^3 + 2.9678e6/T^2 + 0.09911e3/T + 0.244063
//	y = -3.000 x^2 + 2.870 x - 0.275
func daylight(m *big.Rat) [3]*big.Rat {
	// In mired: x = ((-4.6070e-9 m + 2.9678e-6) m + 0.09911e-3) m + 0.244063.
	x := new(big.Rat)
	for _, c := range []*big.Rat{big.NewRat(-46070, 1e13), big.NewRat(29678, 1e10), big.NewRat(9911, 1e8), big.NewRat(244063, 1e6)} {
		x.Mul(x, m)
		x.Add(x, c)
	}
	y := big.NewRat(-3, 1)
	for _, c := range []*big.Rat{big.NewRat(2870, 1000), big.NewRat(-275, 1000)} {
		y.Mul(y, x)
		y.Add(y, c)
	}
	z := big.NewRat(1, 1)
	z.Sub(z, x).Sub(z, y)
	return [3]*big.Rat{x.Quo(x, y), big.NewRat(1, 1), z.Quo(z, y)}
}

// toneWarmth is the matrix of a warmth of w mired (-50 to 50) on X, Y, Z as
// shares of white's: the linear Bradford adaptation from daylight of 200 mired
// to daylight of 200 + w. A negative warmth is the adaptation back from 200 + |w|
// to 200, so that it undoes the positive one. Both are scaled so that a grey
// keeps its Y. Exact fractions, rounded once.
func toneWarmth(w *big.Rat) *[3][3]float64 {
	base := big.NewRat(toneMired, 1)
	from, to := daylight(base), daylight(new(big.Rat).Add(base, new(big.Rat).Abs(w)))
	if w.Sign() < 0 {
		from, to = to, from
	}
	a := colour.Adaptation(from, to)
	grey := new(big.Rat) // Y of white
	for r := range a {
		for c := range a[r] {
			a[r][c].Mul(a[r][c], big.NewRat(int64(colour.D50[c]), int64(colour.D50[r])))
			if r == 1 {
				grey.Add(grey, a[r][c])
			}
		}
	}
	m := new([3][3]float64)
	for r := range a {
		for c := range a[r] {
			m[r][c], _ = a[r][c].Quo(a[r][c], grey).Float64()
		}
	}
	return m
}

// of is a matrix on shares of X, Y and Z as one on the space's light.
func (s *hueSpace) of(m *[3][3]float64) *[3][3]float64 {
	return matrixProduct(&s.fromXYZ, matrixProduct(m, &s.toXYZ))
}

func matrixProduct(a, b *[3][3]float64) *[3][3]float64 {
	p := new([3][3]float64)
	for r := range p {
		for c := range p {
			p[r][c] = (float64(a[r][0]*b[0][c]) + float64(a[r][1]*b[1][c])) + float64(a[r][2]*b[2][c])
		}
	}
	return p
}

// toneFade is L* from which warmth fades.
const toneFade = 85

// toneWarm takes light of lightness l to the other daylight, whole up to L* 85;
// from there the share falls as (1 - t)(1 + t/2), t = (l - 85)/15, so that white
// stays white and a grey's C* falls all the way to it.
func toneWarm(m *[3][3]float64, l, r, g, b float64) (float64, float64, float64) {
	w := 1.0
	if l > toneFade {
		t := (l - toneFade) / (100 - toneFade)
		w = float64((1 - t) * (1 + float64(t*0.5)))
	}
	r1 := (float64(m[0][0]*r) + float64(m[0][1]*g)) + float64(m[0][2]*b)
	g1 := (float64(m[1][0]*r) + float64(m[1][1]*g)) + float64(m[1][2]*b)
	b1 := (float64(m[2][0]*r) + float64(m[2][1]*g)) + float64(m[2][2]*b)
	return r + float64(w*(r1-r)), g + float64(w*(g1-g)), b + float64(w*(b1-b))
}
