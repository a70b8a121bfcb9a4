package tiff

import (
	"encoding/binary"
	"unsafe"
)

// nativeLittle says whether this machine stores the low byte first.
var nativeLittle = binary.NativeEndian.Uint16([]byte{1, 0}) == 1

// memory is the memory of p as bytes.
func memory(p []uint16) []byte {
	if len(p) == 0 {
		return nil
	}
	return unsafe.Slice((*byte)(unsafe.Pointer(&p[0])), 2*len(p))
}

// samples turns len(dst) stored samples at the head of raw, one row of one
// tile, into 16-bit samples. It may change raw.
func (f *File) samples(dst []uint16, raw []byte) {
	if f.info.Bits == 8 {
		raw = raw[:len(dst)]
		if f.predict {
			sum8(raw, f.info.Channels)
		}
		widen(dst, raw)
	} else {
		copy(memory(dst), raw)
		f.order16(dst)
		if f.predict {
			sum16(dst, f.info.Channels)
		}
	}
	if f.invert {
		invert(dst)
	}
}

// order16 brings samples that were copied as stored into this machine's order.
func (f *File) order16(p []uint16) {
	if f.info.BigEndian == nativeLittle {
		swap16(p)
	}
}

// swap16 exchanges the two bytes of every sample.
func swap16(p []uint16) {
	b := memory(p)
	for ; len(b) >= 8; b = b[8:] {
		v := binary.NativeEndian.Uint64(b)
		v = v>>8&0x00ff00ff00ff00ff | v&0x00ff00ff00ff00ff<<8
		binary.NativeEndian.PutUint64(b, v)
	}
	for ; len(b) >= 2; b = b[2:] {
		b[0], b[1] = b[1], b[0]
	}
}

// widen makes 16-bit samples of 8-bit ones: 0 to 0, 255 to 65535.
func widen(dst []uint16, src []byte) {
	src = src[:len(dst)]
	for i, v := range src {
		dst[i] = uint16(v) * 257
	}
}

// invert exchanges black and white. On 8-bit samples it may be done behind
// widen: 65535 - 257 v is 257 (255 - v).
func invert(p []uint16) {
	for i, v := range p {
		p[i] = ^v
	}
}

// sum8 undoes horizontal differencing (TIFF 6.0 section 14), modulo 256.
func sum8(p []byte, channels int) {
	if channels == 3 {
		var r, g, b byte
		for ; len(p) >= 3; p = p[3:] {
			r, g, b = r+p[0], g+p[1], b+p[2]
			p[0], p[1], p[2] = r, g, b
		}
		return
	}
	var v byte
	for i := range p {
		v += p[i]
		p[i] = v
	}
}

// sum16 undoes horizontal differencing, modulo 65536.
func sum16(p []uint16, channels int) {
	if channels == 3 {
		var r, g, b uint16
		for ; len(p) >= 3; p = p[3:] {
			r, g, b = r+p[0], g+p[1], b+p[2]
			p[0], p[1], p[2] = r, g, b
		}
		return
	}
	var v uint16
	for i := range p {
		v += p[i]
		p[i] = v
	}
}
