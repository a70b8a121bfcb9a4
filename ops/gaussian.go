package ops

import (
	"math/big"

	"platemark/ops/exact"
)

// gaussian returns the taps of a sampled Gaussian, outermost first and the
// centre last, whose mirrored whole sums to 1; each rounded once to float32.
func gaussian(sigma *big.Rat) []float32 {
	// floor(4 sigma + 1/2) and -k^2 / 2 sigma^2, in whole numbers
	r := new(big.Rat).Mul(sigma, big.NewRat(4, 1))
	r.Add(r, big.NewRat(1, 2))
	reach := max(1, int(new(big.Int).Div(r.Num(), r.Denom()).Int64()))
	scale := new(big.Rat).Mul(sigma, sigma)
	scale.Mul(scale, big.NewRat(-2, 1)).Inv(scale)
	g := make([]exact.DD, 0, reach+1)
	sum := exact.DD{}
	for k := reach; k >= 0; k-- {
		v := exact.Exp(exact.Rat(new(big.Rat).Mul(scale, big.NewRat(int64(k)*int64(k), 1))))
		g = append(g, v)
		sum = sum.Add(v)
		if k > 0 {
			sum = sum.Add(v)
		}
	}
	w := make([]float32, len(g))
	for i, v := range g {
		w[i] = v.Quo(sum).Float32()
	}
	return w
}
