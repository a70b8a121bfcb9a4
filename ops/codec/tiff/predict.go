package tiff

import "encoding/binary"

// unpredict undoes the predictor on one stored row of a strip or tile. What
// it leaves is in the byte order of form.bigEndian.
func (f *File) unpredict(w *worker, raw []byte) {
	m := &f.form
	switch {
	case f.predict == 3:
		unfloat(raw, room(&w.turned, len(raw)), m.step, m.bits/8)
	case f.predict == 2:
		if m.bits == 8 {
			addUp(raw, m.step)
		} else {
			addUpStored(raw, m.step, m.bits/8, m.bigEndian)
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

// addUpStored undoes horizontal differencing (TIFF 6.0 section 14) on samples
// of 2, 4 or 8 bytes as they are stored, modulo their size.
func addUpStored(p []byte, step, size int, bigEndian bool) {
	var order binary.ByteOrder = binary.LittleEndian
	if bigEndian {
		order = binary.BigEndian
	}
	for i := step * size; i+size <= len(p); i += size {
		switch a, b := p[i:], p[i-step*size:]; size {
		case 2:
			order.PutUint16(a, order.Uint16(a)+order.Uint16(b))
		case 4:
			order.PutUint32(a, order.Uint32(a)+order.Uint32(b))
		default:
			order.PutUint64(a, order.Uint64(a)+order.Uint64(b))
		}
	}
}

// addUp undoes it on samples in this machine's order.
func addUp[T byte | uint16](p []T, channels int) {
	switch channels {
	case 1:
		var v T
		for i := range p {
			v += p[i]
			p[i] = v
		}
	case 3:
		var r, g, b T
		for ; len(p) >= 3; p = p[3:] {
			r, g, b = r+p[0], g+p[1], b+p[2]
			p[0], p[1], p[2] = r, g, b
		}
	default:
		for i := channels; i < len(p); i++ {
			p[i] += p[i-channels]
		}
	}
}
