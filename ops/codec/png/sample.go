package png

import "platemark/ops/codec"

// rowState undoes the filters of one row after the other (9.2).
type rowState struct {
	bpp  int    // bytes from one pixel to the next, at least 1
	prev []byte // the row above, nil at first
}

func (f *File) newRow() *rowState { return &rowState{bpp: max(1, f.channels()*f.depth/8)} }

// unfilter undoes the filters of the rows in raw, each n bytes behind its
// filter's number, and hands them to each.
func (s *rowState) unfilter(raw []byte, n int, each func(i int, row []byte) error) error {
	if s.prev == nil {
		s.prev = make([]byte, n)
	}
	prev := s.prev
	for i := 0; len(raw) > 0; i++ {
		kind, row := raw[0], raw[1:n+1]
		raw = raw[n+1:]
		if kind > 4 {
			return codec.Errorf("IDAT", codec.Damaged, "a row has the unknown filter %d", kind)
		}
		unfilter(kind, row, prev, s.bpp)
		if err := each(i, row); err != nil {
			return err
		}
		prev = row
	}
	copy(s.prev, prev)
	return nil
}

// unfilter undoes one row's filter in place, modulo 256. prev has the same
// length.
func unfilter(kind byte, row, prev []byte, bpp int) {
	prev = prev[:len(row)]
	head := min(bpp, len(row)) // these have no pixel to the left
	switch kind {
	case 1:
		for i := head; i < len(row); i++ {
			row[i] += row[i-bpp]
		}
	case 2:
		for i := range row {
			row[i] += prev[i]
		}
	case 3:
		for i := range head {
			row[i] += prev[i] / 2
		}
		for i := head; i < len(row); i++ {
			row[i] += byte((int(row[i-bpp]) + int(prev[i])) / 2)
		}
	case 4:
		for i := range head {
			row[i] += prev[i]
		}
		for i := head; i < len(row); i++ {
			row[i] += paeth(row[i-bpp], prev[i], prev[i-bpp])
		}
	}
}

// paeth is the one of left, above and above left that is nearest to
// left + above - above left, in that order where they are equally near.
func paeth(a, b, c byte) byte {
	pa := int(b) - int(c)
	pb := int(a) - int(c)
	pc := pa + pb
	pa, pb, pc = max(pa, -pa), max(pb, -pb), max(pc, -pc)
	if pa <= pb && pa <= pc {
		return a
	}
	if pb <= pc {
		return b
	}
	return c
}

// samples turns an unfiltered row into 16-bit samples.
func (f *File) samples(dst []uint16, row []byte) error {
	opaque := true
	switch {
	case f.colour == 3:
		var err error
		if opaque, err = f.indexed(dst, row); err != nil {
			return err
		}
	case f.colour >= 4:
		opaque = f.alpha(dst, row)
	default:
		f.widen(dst, row)
		if f.trns != nil {
			opaque = f.keyed(dst)
		}
	}
	if !opaque && !f.onWhite {
		return codec.Errorf("alpha", "flatten the picture and save it without transparency", "the picture isn't opaque everywhere (it has %s), and what shines through isn't known", f.info.AlphaAs)
	}
	return nil
}

// widen brings stored samples to 16 bits.
func (f *File) widen(dst []uint16, row []byte) {
	switch f.depth {
	case 16:
		for i := range dst {
			dst[i] = be.Uint16(row[2*i:])
		}
	case 8:
		row = row[:len(dst)]
		for i, v := range row {
			dst[i] = uint16(v) * 257
		}
	default:
		for i := range dst {
			dst[i] = small(row, i, f.depth) * (65535 / (1<<f.depth - 1))
		}
	}
}

// small is the i-th value of depth bits, 1, 2 or 4, the high bits first.
func small(row []byte, i, depth int) uint16 {
	bit := i * depth
	return uint16(row[bit/8]) >> (8 - depth - bit%8) & (1<<depth - 1)
}

// The functions below say whether every pixel was opaque.

// keyed makes white of the one colour that stands for transparent.
func (f *File) keyed(dst []uint16) (opaque bool) {
	var key [3]uint16
	channels := f.info.Channels
	top := uint16(1<<f.depth - 1)
	for k := range channels {
		key[k] = be.Uint16(f.trns[2*k:]) & top * (65535 / top)
	}
	opaque = true
	for ; len(dst) >= channels; dst = dst[channels:] {
		if dst[0] == key[0] && (channels == 1 || dst[1] == key[1] && dst[2] == key[2]) {
			for c := range channels {
				dst[c] = 65535
			}
			opaque = false
		}
	}
	return opaque
}

func (f *File) indexed(dst []uint16, row []byte) (opaque bool, err error) {
	opaque = true
	for i := 0; i < len(dst)/3; i++ {
		k := int(small(row, i, f.depth))
		if 3*k >= len(f.palette) {
			return false, codec.Errorf("PLTE", codec.Damaged, "a pixel has colour number %d of a palette of %d", k, len(f.palette)/3)
		}
		a := uint16(255)
		if k < len(f.trns) {
			a = uint16(f.trns[k])
			opaque = opaque && a == 255
		}
		for c := range 3 {
			dst[3*i+c] = codec.OnWhite(uint16(f.palette[3*k+c])*257, a*257)
		}
	}
	return opaque, nil
}

// alpha takes rows of grey or RGB with an alpha channel.
func (f *File) alpha(dst []uint16, row []byte) (opaque bool) {
	ch := f.info.Channels
	at := func(i int) uint16 {
		if f.depth == 16 {
			return be.Uint16(row[2*i:])
		}
		return uint16(row[i]) * 257
	}
	opaque = true
	for i := 0; len(dst) >= ch; i += ch + 1 {
		a := at(i + ch)
		opaque = opaque && a == 65535
		for c := range ch {
			dst[c] = codec.OnWhite(at(i+c), a)
		}
		dst = dst[ch:]
	}
	return opaque
}
