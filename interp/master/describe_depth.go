package master

import (
	"fmt"
	"math/bits"

	"platemark/ops/codec/tiff"
)

// depthUse gathers how the 16-bit numbers of a picture are used.
type depthUse struct {
	c        int
	or       uint16 // every bit that is set anywhere
	low      uint16 // the least sample
	high     uint16 // the greatest
	widened  [17]bool
	coloured bool
	seen     bool
}

// depths are those whose numbers programs widen to 16 bits by repeating their
// high bits.
var depths = []int{8, 10, 12, 14}

func (u *depthUse) start(channels int) {
	*u = depthUse{c: channels, low: 65535}
	for _, n := range depths {
		u.widened[n] = true
	}
}

func (u *depthUse) rows(_ int, rows []uint16) error {
	u.seen = true
	for i, v := range rows {
		u.or |= v
		u.low, u.high = min(u.low, v), max(u.high, v)
		for _, n := range depths {
			if u.widened[n] && v != v>>(16-n)<<(16-n)|v>>n {
				u.widened[n] = false
			}
		}
		if u.c == 3 && i%3 != 0 && v != rows[i-1] {
			u.coloured = true
		}
	}
	return nil
}

// used says how much of the depth a picture really uses.
func (r *describer) used(u *depthUse, in tiff.Info) {
	if !u.seen {
		return
	}
	d := r.d
	d.Neutral = u.c == 3 && !u.coloured
	d.BitsUsed = min(in.Bits, 16)
	if u.low == u.high {
		d.Depth = "every sample is the same"
		return
	}
	if in.Bits < 16 || in.Palette {
		if in.Bits <= 8 {
			d.Depth = "few tones: smooth skies may show steps when they are edited"
		}
		return
	}
	for _, n := range depths {
		if u.widened[n] {
			d.BitsUsed = n
			d.Depth = fmt.Sprintf("really %d bits: the numbers are %d-bit ones widened to %d", n, n, in.Bits)
			return
		}
	}
	unused := bits.TrailingZeros16(u.or)
	top := bits.Len16(u.high)
	if in.Bits == 16 && unused > 0 {
		d.BitsUsed = 16 - unused
		d.Depth = fmt.Sprintf("really %d bits: the lowest %d are 0 in every sample", d.BitsUsed, unused)
		if unused == 1 {
			d.Depth = "really 15 bits: the lowest one is 0 in every sample"
		}
		return
	}
	if in.Bits == 16 && top <= 14 {
		d.BitsUsed = top
		d.Depth = fmt.Sprintf("no sample is above %d of 65535: very dark, or %d-bit numbers that weren't widened", u.high, top)
		return
	}
	d.Depth = "all of it is used"
}
