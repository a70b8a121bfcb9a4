package tiff

import (
	"encoding/binary"
	"fmt"

	"platemark/ops/codec"
)

// LZW as TIFF 6.0 section 13 has it: codes of 9 to 12 bits, the highest bit
// first, 256 clears the table, 257 ends, and the code grows one entry early.
const (
	lzwClear   = 256
	lzwEnd     = 257
	lzwFirst   = 258
	lzwEntries = 4096

	// lzwMost bounds what one byte of LZW data can unpack to: a string has at
	// most 4096 - 256 bytes and its 12-bit code takes one byte and a half.
	lzwMost = (lzwEntries - 256) * 2 / 3
)

// bits brings more packed bits below the nbits at the top of acc, to width at
// least.
func (d *packed) bits(acc uint64, nbits, width uint) (uint64, uint, error) {
	if len(d.buf) < 8 && d.left > 0 {
		if err := d.fill(); err != nil {
			return 0, 0, err
		}
	}
	if len(d.buf) >= 8 {
		acc |= binary.BigEndian.Uint64(d.buf) >> (nbits & 63)
		k := (63 - nbits) >> 3
		d.buf = d.buf[k:]
		return acc, nbits + k*8, nil
	}
	for nbits <= 56 && len(d.buf) > 0 {
		acc |= uint64(d.buf[0]) << (56 - nbits)
		d.buf = d.buf[1:]
		nbits += 8
	}
	if nbits < width {
		return 0, 0, errShort
	}
	return acc, nbits, nil
}

func badCode(code, next int) error {
	return fault(fmt.Sprintf("holds the code %d, where codes up to %d can stand", code, next))
}

type lzwEntry struct {
	prefix uint16 // code of the string without its last byte
	length uint16
	last   byte
	first  byte
}

// lzwReader unpacks one strip or tile, a piece at a time, with fixed memory.
// It is also the plain twin that lzwWhole is tested against.
type lzwReader struct {
	packed
	acc    uint64 // bits not yet used, at the top
	nbits  uint
	width  uint
	next   int // code that the next new string gets
	prev   int // the code before, -1 behind a Clear
	ended  bool
	rest   []byte // the tail of a string that dst had no room for
	table  [lzwEntries]lzwEntry
	spill  [lzwEntries]byte
	primed bool
}

// reset starts on count bytes at off.
func (d *lzwReader) reset(src *codec.Source, off, count uint64) {
	if !d.primed {
		for i := range 256 {
			d.table[i] = lzwEntry{length: 1, last: byte(i), first: byte(i)}
		}
		d.primed = true
	}
	d.start(src, off, count)
	d.acc, d.nbits = 0, 0
	d.width, d.next, d.prev = 9, lzwFirst, -1
	d.ended, d.rest = false, nil
}

// read fills the whole of dst or gives an error.
func (d *lzwReader) read(dst []byte) error {
	n := copy(dst, d.rest)
	d.rest = d.rest[n:]
	acc, nbits, width, next, prev := d.acc, d.nbits, d.width, d.next, d.prev
	for n < len(dst) {
		if d.ended {
			return errShort
		}
		if nbits < width {
			var err error
			if acc, nbits, err = d.bits(acc, nbits, width); err != nil {
				return err
			}
		}
		code := int(acc >> ((64 - width) & 63))
		acc <<= width & 63
		nbits -= width
		if code == lzwClear {
			width, next, prev = 9, lzwFirst, -1
			continue
		}
		if code == lzwEnd {
			d.ended = true
			continue
		}
		if code > next || code == next && (prev < 0 || next == lzwEntries) || prev < 0 && code > 255 {
			return badCode(code, next)
		}
		if prev >= 0 && next < lzwEntries {
			p := &d.table[prev]
			e := lzwEntry{prefix: uint16(prev), length: p.length + 1, first: p.first, last: p.first}
			if code != next {
				e.last = d.table[code].first
			}
			d.table[next] = e
			next++
			if next == 1<<width-1 && width < 12 {
				width++
			}
		}
		prev = code

		// The string is written from its last byte back to its first.
		e := d.table[code&(lzwEntries-1)]
		length := int(e.length)
		out := dst[n:]
		if length > len(out) {
			out = d.spill[:length]
		}
		out = out[:length]
		for i := length - 1; i > 0; i-- {
			out[i] = e.last
			e = d.table[e.prefix&(lzwEntries-1)]
		}
		out[0] = e.last
		if length > len(dst)-n {
			k := copy(dst[n:], out)
			d.rest = out[k:]
			n += k
		} else {
			n += length
		}
	}
	d.acc, d.nbits, d.width, d.next, d.prev = acc, nbits, width, next, prev
	return nil
}

func (d *lzwReader) finish(uint64) error { return nil }
