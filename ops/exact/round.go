// Package exact holds the arithmetic behind every sample: the one rounding
// rule, and numbers of twice a float64's precision for the tables that
// operations read (kernel weights, Gaussians, tone curves).
//
// What it promises: the same bits on every processor and with every compiler
// setting. No product is joined to a sum in one rounding (each product is
// converted explicitly before it meets an addition), and nothing of package
// math is used but functions whose result is exact or correctly rounded.
//
// What it refuses: nothing. Every function has a stated value for every
// argument, NaN and infinities included.
package exact

import (
	"math"
	"math/big"
	"strings"
)

// RoundU16 turns a value on the 0..65535 scale into a sample: half up, that is
// floor(x + 0.5) with the sum rounded to F, held to 0..65535. NaN gives 0,
// +Inf 65535, -Inf 0. The range is tested before the conversion, whose result
// outside it would depend on the processor.
func RoundU16[F float32 | float64](x F) uint16 {
	v := x + 0.5
	if v >= 65535 {
		return 65535
	}
	if v >= 1 {
		return uint16(int32(v))
	}
	return 0 // below 1/2, or NaN
}

// Round32 is RoundU16 of a float32, by one comparison where nothing is clipped: bits of
// numbers from 0 on are in the order of the numbers, and of all others beyond.
func Round32(x float32) uint16 {
	const full = 0x477fff00 // 65535
	if v := x + 0.5; math.Float32bits(v) < full {
		return uint16(int32(v))
	}
	return RoundU16(x)
}

// HalfUp is r rounded to a whole number, halves up: floor(r + 1/2).
func HalfUp(r *big.Rat) *big.Int {
	n := new(big.Int).Lsh(r.Num(), 1)
	n.Add(n, r.Denom())
	return n.Div(n, new(big.Int).Lsh(r.Denom(), 1))
}

// Nearest is HalfUp of a number that an int holds.
func Nearest(r *big.Rat) int { return int(HalfUp(r).Int64()) }

// Decimals writes r with at most n decimals, 1 or more, and none that are only
// zeros.
func Decimals(r *big.Rat, n int) string {
	return strings.TrimSuffix(strings.TrimRight(r.FloatString(n), "0"), ".")
}
