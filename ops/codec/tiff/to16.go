package tiff

import (
	"encoding/binary"
	"math"
	"math/bits"

	"platemark/ops/codec"
)

// rowTo16 turns one row of one tile, as stored but unpacked, into 16-bit
// samples: all colours of interleaved pixels, or those of one plane. alpha is
// the row of alpha, its predictor undone, where that has a plane of its own. It may
// change raw.
func (f *File) rowTo16(w *worker, dst []uint16, plane int, raw, alpha []byte) {
	if f.plain() {
		f.plainTo16(dst, raw)
		return
	}
	f.unpredict(w, raw)
	m := &f.form
	alphaAt := 0
	if alpha == nil {
		alpha, alphaAt = raw, m.alphaAt
	}
	first, n := plane, 1 // channels
	if m.planes() == 1 {
		first, n = 0, f.info.Channels
	}
	if m.wide() {
		f.wideTo16(w, dst, first, n, raw, alpha, alphaAt)
		return
	}
	f.narrowTo16(w, dst, first, n, raw, alpha, alphaAt)
}

// channel is the place of channel k's sample in a stored pixel of its chunk.
func (f *File) channel(k int) int {
	if f.form.planes() > 1 {
		return 0
	}
	return k
}

// narrowTo16 is for whole numbers up to 16 bits. It works on 16-bit values.
func (f *File) narrowTo16(w *worker, dst []uint16, first, n int, raw, alpha []byte, alphaAt int) {
	m, channels := &f.form, f.info.Channels
	pixels := len(dst) / channels
	c, a := room(&w.narrow[0], pixels), room(&w.narrow[1], pixels)
	if m.alpha != AlphaNone {
		f.numbers(a, alpha, alphaAt)
		f.level(a)
		if first == 0 {
			for _, v := range a {
				if v != 65535 {
					w.counts.Translucent++
				}
			}
		}
	}
	for k := first; k < first+n; k++ {
		switch {
		case m.palette == nil:
			f.numbers(c, raw, f.channel(k))
			f.level(c)
		case k == first:
			f.numbers(c, raw, 0)
		}
		if m.white {
			invert(c)
		}
		out := dst[k:]
		if m.palette != nil {
			// A plane of colour numbers holds all channels.
			for k, p := range m.palette {
				for i, v := range c {
					v = p[v]
					if f.onWhite {
						v = codec.OnWhite(v, a[i])
					}
					dst[channels*i+k] = v
				}
			}
			return
		}
		for i, v := range c {
			switch {
			case m.alpha == AlphaAssociated:
				if v > a[i] {
					if a[i] > 0 {
						w.counts.Clipped++
					}
					v = a[i]
				}
				if f.onWhite {
					v += 65535 - a[i]
				} else {
					v = divided(v, a[i])
				}
			case f.onWhite:
				v = codec.OnWhite(v, a[i])
			}
			out[channels*i] = v
		}
	}
}

// divided is c / a, c up to a, as a 16-bit number, rounded half up; 0 where a is
// 0.
func divided(c, a uint16) uint16 {
	if a == 0 {
		return 0
	}
	return uint16((2*65535*uint64(c) + uint64(a)) / (2 * uint64(a)))
}

// numbers takes every step-th stored number of up to 16 bits, beginning with
// number at, as it is.
func (f *File) numbers(dst []uint16, raw []byte, at int) {
	m := &f.form
	switch m.bits {
	case 8:
		for i := range dst {
			dst[i] = uint16(raw[at])
			at += m.step
		}
	case 16:
		at *= 2
		for i := range dst {
			dst[i] = binary.LittleEndian.Uint16(raw[at:])
			at += 2 * m.step
		}
		if m.bigEndian {
			swap16(dst)
		}
	default:
		// TIFF 6.0 section 8, FillOrder 1: the highest bit first, no gaps.
		n := m.bits
		at *= n
		for i := range dst {
			k := at >> 3
			v := uint32(raw[k]) << 8
			if k+1 < len(raw) {
				v |= uint32(raw[k+1])
			}
			dst[i] = uint16(v >> (16 - n - at&7) & (1<<n - 1)) // 12-bit numbers begin at bit 0 or 4
			at += n * m.step
		}
	}
}

// level brings numbers of less than 16 bits to 16 bits.
func (f *File) level(p []uint16) {
	if t := f.form.levels; t != nil {
		for i, v := range p {
			p[i] = t[v]
		}
	}
}

// wideTo16 is for floating-point numbers and whole ones of more than 16
// bits. It works on float64 from 0 to 1.
func (f *File) wideTo16(w *worker, dst []uint16, first, n int, raw, alpha []byte, alphaAt int) {
	m, channels := &f.form, f.info.Channels
	pixels := len(dst) / channels
	c, a := room(&w.wide[0], pixels), room(&w.wide[1], pixels)
	if m.alpha != AlphaNone {
		f.fractions(a, alpha, alphaAt)
		var seen Counts
		for i, v := range a {
			a[i] = seen.clip(v, 1)
			if a[i] < 1 {
				seen.Translucent++
			}
		}
		if first == 0 {
			w.counts.add(&seen)
		}
	}
	for k := first; k < first+n; k++ {
		f.fractions(c, raw, f.channel(k))
		out := dst[k:]
		for i, v := range c {
			switch {
			case m.alpha == AlphaNone || m.alpha == AlphaStraight:
				v = w.counts.clip(v, 1)
				if m.white {
					v = 1 - v
				}
				if f.onWhite {
					v = float64(v*a[i]) + (1 - a[i])
				}
			case f.onWhite:
				if a[i] == 0 {
					v = 0 // as the division has it
				}
				v = w.counts.clip(v, a[i]) + (1 - a[i])
			case a[i] == 0:
				v = 0
			default:
				v = w.counts.clip(v, a[i]) / a[i]
			}
			out[channels*i] = uint16(math.Floor(float64(v*65535) + 0.5))
		}
	}
}

// clip brings v to 0 to most and counts where it wasn't there.
func (c *Counts) clip(v, most float64) float64 {
	switch {
	case v >= 0 && v <= most:
		return v
	case v < 0:
		c.Clipped++
		return 0
	case v > most:
		c.Clipped++
		return most
	}
	c.NotNumbers++
	return 0
}

// fractions takes every step-th stored sample, beginning with number at:
// floating-point numbers as they are, whole ones divided by their largest.
func (f *File) fractions(dst []float64, raw []byte, at int) {
	m := &f.form
	size := m.bits / 8
	most := float64(uint64(1)<<m.bits - 1)
	raw = raw[at*size:]
	for i := range dst {
		var v uint64
		switch b := raw[i*m.step*size:]; size {
		case 2:
			v = uint64(binary.LittleEndian.Uint16(b))
		case 3:
			v = uint64(b[0]) | uint64(b[1])<<8 | uint64(b[2])<<16
		case 4:
			v = uint64(binary.LittleEndian.Uint32(b))
		default:
			v = binary.LittleEndian.Uint64(b)
		}
		if m.bigEndian {
			v = bits.ReverseBytes64(v) >> (64 - m.bits)
		}
		switch {
		case !m.float:
			dst[i] = float64(v) / most
		case m.bits == 64:
			dst[i] = math.Float64frombits(v)
		case m.bits == 32:
			dst[i] = float64(math.Float32frombits(uint32(v)))
		case m.bits == 24: // TIFF Technical Note 3
			dst[i] = smallFloat(v, 7, 16)
		default: // IEEE 754 binary16
			dst[i] = smallFloat(v, 5, 10)
		}
	}
}

// smallFloat is the value of a floating-point number of a sign, exps bits of
// exponent, half of them the bias, and size bits of fraction.
func smallFloat(v uint64, exps, size int) float64 {
	bias := 1<<(exps-1) - 1
	sign, exp, frac := v>>(exps+size)<<63, int(v>>size)&(1<<exps-1), v&(1<<size-1)
	switch exp {
	case 1<<exps - 1:
		return math.Float64frombits(sign | 2047<<52 | frac<<(52-size))
	case 0:
		return math.Copysign(math.Ldexp(float64(frac), 1-bias-size), math.Float64frombits(sign|1))
	}
	return math.Float64frombits(sign | uint64(exp+1023-bias)<<52 | frac<<(52-size))
}
