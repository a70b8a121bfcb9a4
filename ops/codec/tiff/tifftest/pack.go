package tifftest

import (
	"bytes"
	"compress/zlib"
	"sync"
)

// zlibs and tables are large, and much used.
var (
	zlibs  = sync.Pool{New: func() any { return zlib.NewWriter(nil) }}
	tables = sync.Pool{New: func() any { return new([4096 << 8]uint16) }}
)

// Zlib packs b as a zlib stream.
func Zlib(b []byte) []byte {
	var out bytes.Buffer
	z := zlibs.Get().(*zlib.Writer)
	defer zlibs.Put(z)
	z.Reset(&out)
	z.Write(b)
	z.Close()
	return out.Bytes()
}

// PackBits packs b as TIFF 6.0 section 9 says, with a no-op now and then.
func PackBits(b []byte) []byte {
	var out []byte
	for i := 0; i < len(b); {
		n := 1
		for i+n < len(b) && n < 128 && b[i+n] == b[i] {
			n++
		}
		if n > 2 {
			out = append(out, byte(257-n), b[i])
			i += n
			continue
		}
		n = 1
		for i+n < len(b) && n < 128 && (i+n+2 >= len(b) || b[i+n] != b[i+n+1] || b[i+n] != b[i+n+2]) {
			n++
		}
		out = append(append(out, byte(n-1)), b[i:i+n]...)
		i += n
		if n%7 == 3 {
			out = append(out, 128)
		}
	}
	return out
}

// LZW packs b as TIFF 6.0 section 13 says. The table is cleared behind entry
// 4093.
func LZW(b []byte) []byte {
	var out []byte
	var acc uint64
	var n, width uint
	var next int
	table := tables.Get().(*[4096 << 8]uint16) // by code of the string and next byte; 0 is free
	defer tables.Put(table)
	put := func(code int) {
		acc = acc<<width | uint64(code)
		for n += width; n >= 8; n -= 8 {
			out = append(out, byte(acc>>(n-8)))
		}
	}
	restart := func() {
		put(256)
		clear(table[:next<<8])
		width, next = 9, 258
	}
	grow := func() {
		next++
		if next == 4094 {
			restart()
		} else if next == 512 || next == 1024 || next == 2048 {
			width++
		}
	}
	width = 9
	restart()
	if len(b) > 0 {
		code := int(b[0])
		for _, v := range b[1:] {
			k := code<<8 | int(v)
			if table[k] != 0 {
				code = int(table[k])
				continue
			}
			put(code)
			table[k] = uint16(next)
			grow()
			code = int(v)
		}
		put(code)
		grow()
	}
	put(257)
	if n > 0 {
		out = append(out, byte(acc<<(8-n)))
	}
	clear(table[:next<<8])
	return out
}
