package tiff

import (
	"encoding/binary"

	"platemark/ops/codec"
)

// lzwWhole unpacks a strip or tile into one piece of memory. Every string of
// the table has just been written there, so that the table holds places only.
type lzwWhole struct {
	packed
	table [lzwEntries]uint64 // place in dst << 16 | length
}

// unpack fills the whole of dst from count bytes at off, or gives the error
// that lzwReader gives.
func (d *lzwWhole) unpack(src *codec.Source, off, count uint64, dst []byte) error {
	d.start(src, off, count)
	var (
		acc   uint64 // bits not yet used, at the top
		nbits uint
		width = uint(9)
		next  = lzwFirst
		prev  uint64 // the string before as in the table, 0 behind a Clear
		n     int    // bytes of dst that are there
	)
	for n < len(dst) {
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
			width, next, prev = 9, lzwFirst, 0
			continue
		}
		if code == lzwEnd {
			return errShort
		}
		if code > next || code == next && (prev == 0 || next == lzwEntries) || prev == 0 && code > 255 {
			return badCode(code, next)
		}
		if prev != 0 && next < lzwEntries {
			d.table[next] = prev + 1 // one byte longer
			next++
			if next == 1<<width-1 && width < 12 {
				width++
			}
		}
		if code < 256 {
			dst[n] = byte(code)
			prev = uint64(n)<<16 | 1
			n++
			continue
		}
		e := d.table[code&(lzwEntries-1)]
		from, length := int(e>>16), int(e&0xffff)
		prev = uint64(n)<<16 | uint64(length)
		switch {
		case length <= 8 && from+8 <= n && n+8 <= len(dst):
			binary.LittleEndian.PutUint64(dst[n:], binary.LittleEndian.Uint64(dst[from:]))
		case from+length <= n:
			length = copy(dst[n:], dst[from:from+length])
		default: // the string runs into itself
			length = min(length, len(dst)-n)
			for i := range length {
				dst[n+i] = dst[from+i]
			}
		}
		n += length
	}
	return nil
}
