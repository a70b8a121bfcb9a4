package ops

import (
	"math/big"

	"platemark/ops/exact"
)

// gaussian returns the taps of a sampled Gaussian, outermost first and the
// centre last, whose mirrored whole sums to 1; each rounded once to float32.
func gaussian(sigma *big.Rat) []float32 {
	// floor(4 sigma + 1/2) and -k^2 / 2 sigma^2, in whole numbers
	reach := max(1, halfUp(times(sigma, big.NewRat(4, 1))))
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

// newBlur makes rows of a plane that level works out from a picture's pixels, blurred
// by symmetric taps, from the outermost to the centre.
func newBlur(taps []float32, near int, pic Pic, level func([]float32, []uint16)) *window {
	fold := func(dst []float32, rows [][]float32, from int) { symRows(dst, rows, from, taps) }
	return newWindow(len(taps)-1, near, pic.W, pic.H, fold, func(dst []float32, y int, in Rows) {
		level(dst, in.Row(y)[:pic.Stride()])
	})
}
