package interp

import (
	"math/big"

	"platemark/ops/exact"
)

// pixels is the whole number of pixels nearest to r, halves upwards.
func pixels(r *big.Rat) int { return int(exact.HalfUp(r).Int64()) }
