package tiff

import (
	"encoding/binary"
	"math"
	"math/bits"

	"platemark/ops/codec"
)

// convert turns one row of one tile, the predictor undone, into 16-bit
// samples: all colours of interleaved pixels, or those of one plane. alpha is
// the row of alpha where that has a plane of its own.
func (f *File) convert(w *worker, dst []uint16, plane int, raw, alpha []byte) {
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
		f.convertWide(w, dst, first, n, raw, alpha, alphaAt)
		return
	}
	f.convertNarrow(w, dst, first, n, raw, alpha, alphaAt)
}

// channel is the place of channel k's sample in a stored pixel of its chunk.
func (f *File) channel(k int) int {
	if f.form.planes() > 1 {
		return 0
	}
	return k
}

// convertNarrow is for whole numbers up to 16 bits. It works on 16-bit values.
func (f *File) convertNarrow(w *worker, dst []uint16, first, n int, raw, alpha []byte, alphaAt int) {
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
		switch {
		case m.palette != nil:
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
		case m.alpha == AlphaAssociated && f.onWhite:
			for i, v := range c {
				if v > a[i] {
					if a[i] > 0 {
						w.counts.Clipped++
					}
					v = a[i]
				}
				out[channels*i] = v + (65535 - a[i])
			}
		case m.alpha == AlphaAssociated:
			for i, v := range c {
				if v > a[i] && a[i] > 0 {
					w.counts.Clipped++
				}
				out[channels*i] = divided(v, a[i])
			}
		case f.onWhite:
			for i, v := range c {
				out[channels*i] = codec.OnWhite(v, a[i])
			}
		default:
			for i, v := range c {
				out[channels*i] = v
			}
		}
	}
}

// divided is c / a as a 16-bit number, rounded half up; 65535 where c is above
// a, and 0 where a is 0.
func divided(c, a uint16) uint16 {
	switch {
	case a == 0:
		return 0
	case c >= a:
		return 65535
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

// convertWide is for floating-point numbers and whole ones of more than 16
// bits. It works on float64 from 0 to 1.
func (f *File) convertWide(w *worker, dst []uint16, first, n int, raw, alpha []byte, alphaAt int) {
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
	at *= size
	step := size * m.step
	switch {
	case m.bits == 64:
		for i := range dst {
			v := binary.LittleEndian.Uint64(raw[at:])
			if m.bigEndian {
				v = bits.ReverseBytes64(v)
			}
			dst[i] = math.Float64frombits(v)
			at += step
		}
	case m.bits == 32:
		for i := range dst {
			v := binary.LittleEndian.Uint32(raw[at:])
			if m.bigEndian {
				v = bits.ReverseBytes32(v)
			}
			if m.float {
				dst[i] = float64(math.Float32frombits(v))
			} else {
				dst[i] = float64(v) / math.MaxUint32
			}
			at += step
		}
	case m.bits == 24:
		for i := range dst {
			v := uint32(raw[at]) | uint32(raw[at+1])<<8 | uint32(raw[at+2])<<16
			if m.bigEndian {
				v = bits.ReverseBytes32(v) >> 8
			}
			if m.float {
				dst[i] = float24(v)
			} else {
				dst[i] = float64(v) / (1<<24 - 1)
			}
			at += step
		}
	default:
		for i := range dst {
			v := binary.LittleEndian.Uint16(raw[at:])
			if m.bigEndian {
				v = bits.ReverseBytes16(v)
			}
			dst[i] = float16(v)
			at += step
		}
	}
}

// float16 is the value of a 16-bit floating-point number (IEEE 754 binary16):
// sign, 5 bits of exponent with bias 15, 10 bits.
func float16(v uint16) float64 {
	return smallFloat(uint64(v>>15), uint64(v>>10&31), uint64(v&1023), 10, 31, 1.0/(1<<24))
}

// float24 is the value of a 24-bit floating-point number (TIFF Technical Note
// 3): sign, 7 bits of exponent with bias 63, 16 bits.
func float24(v uint32) float64 {
	return smallFloat(uint64(v>>23), uint64(v>>16&127), uint64(v&65535), 16, 127, 1.0/(1<<39)/(1<<39))
}

// smallFloat widens a number of size bits of fraction and exponents up to
// most; least is the smallest number above 0.
func smallFloat(sign, exp, frac uint64, size uint, most uint64, least float64) float64 {
	sign <<= 63
	switch exp {
	case most:
		return math.Float64frombits(sign | 2047<<52 | frac<<(52-size))
	case 0:
		return math.Copysign(float64(frac)*least, math.Float64frombits(sign|1))
	}
	return math.Float64frombits(sign | (exp+1023-most/2)<<52 | frac<<(52-size))
}
