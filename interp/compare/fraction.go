package compare

import "math/big"

func fraction(n int64) *big.Rat    { return big.NewRat(n, 1) }
func times(a, b *big.Rat) *big.Rat { return new(big.Rat).Mul(a, b) }
func over(a, b *big.Rat) *big.Rat  { return new(big.Rat).Quo(a, b) }
func less(a, b *big.Rat) *big.Rat  { return new(big.Rat).Sub(a, b) }
