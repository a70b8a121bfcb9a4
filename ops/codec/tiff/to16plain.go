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

// plainTo16 turns len(dst) stored samples at the head of raw, one row of one
// tile of a plain picture, into 16-bit samples. It may change raw.
func (f *File) plainTo16(dst []uint16, raw []byte) {
	if f.form.bits == 8 {
		raw = raw[:len(dst)]
		if f.predict == 2 {
			addUp(raw, f.info.Channels)
		}
		widen(dst, raw)
	} else {
		copy(memory(dst), raw)
		f.order16(dst)
		if f.predict == 2 {
			addUp(dst, f.info.Channels)
		}
	}
	if f.form.white {
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
