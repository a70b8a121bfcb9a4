package tiff

import (
	"encoding/binary"
	"math/bits"
)

// unpredict undoes the predictor on one stored row of a strip or tile. What
// it leaves is in the byte order of form.bigEndian.
func (f *File) unpredict(w *worker, raw []byte) {
	m := &f.form
	switch {
	case f.predict == 3:
		unfloat(raw, room(&w.turned, len(raw)), m.step, m.bits/8)
	case f.predict == 2:
		switch m.bits {
		case 8:
			sum8(raw, m.step)
		case 16:
			sumBytes16(raw, m.step, m.bigEndian)
		case 32:
			sumBytes32(raw, m.step, m.bigEndian)
		default:
			sumBytes64(raw, m.step, m.bigEndian)
		}
	}
}

// unfloat undoes the floating point predictor (TIFF Technical Note 3): the
// bytes of a row are differences, step bytes apart, of all first bytes, then
// all second ones and so on, where the first has the sign. It leaves whole
// samples with the first byte first. tmp is memory as long as p.
func unfloat(p, tmp []byte, step, size int) {
	for i := step; i < len(p); i++ {
		p[i] += p[i-step]
	}
	n := len(p) / size
	for k := range size {
		for i, v := range p[k*n:][:n] {
			tmp[i*size+k] = v
		}
	}
	copy(p, tmp)
}

// sumBytes16 and the like undo horizontal differencing (TIFF 6.0 section 14)
// on samples as they are stored, modulo their size.
func sumBytes16(p []byte, step int, bigEndian bool) {
	order := byteOrder(bigEndian)
	for i := 2 * step; i+2 <= len(p); i += 2 {
		order.PutUint16(p[i:], order.Uint16(p[i:])+order.Uint16(p[i-2*step:]))
	}
}

func sumBytes32(p []byte, step int, bigEndian bool) {
	for i := 4 * step; i+4 <= len(p); i += 4 {
		a, b := binary.LittleEndian.Uint32(p[i:]), binary.LittleEndian.Uint32(p[i-4*step:])
		if bigEndian {
			a = bits.ReverseBytes32(bits.ReverseBytes32(a) + bits.ReverseBytes32(b))
		} else {
			a += b
		}
		binary.LittleEndian.PutUint32(p[i:], a)
	}
}

func sumBytes64(p []byte, step int, bigEndian bool) {
	order := byteOrder(bigEndian)
	for i := 8 * step; i+8 <= len(p); i += 8 {
		order.PutUint64(p[i:], order.Uint64(p[i:])+order.Uint64(p[i-8*step:]))
	}
}

func byteOrder(bigEndian bool) binary.ByteOrder {
	if bigEndian {
		return binary.BigEndian
	}
	return binary.LittleEndian
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
	if channels == 1 {
		var v byte
		for i := range p {
			v += p[i]
			p[i] = v
		}
		return
	}
	for i := channels; i < len(p); i++ {
		p[i] += p[i-channels]
	}
}

// sum16 undoes horizontal differencing of grey or RGB, modulo 65536.
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
