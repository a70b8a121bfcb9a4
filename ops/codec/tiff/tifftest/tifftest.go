// Package tifftest makes small TIFF files for tests, right and wrong ones, in
// memory. It shares no code with the reader that it tests, and writes what it
// is told even where that makes no sense.
package tifftest

import (
	"encoding/binary"
	"slices"
)

// Tag is one field of a directory. Type is the field type by number; a
// RATIONAL has two values, numerator and denominator.
type Tag struct {
	Tag, Type uint16
	Values    []uint64
}

// Bytes makes a field of BYTE (1), ASCII (2) or UNDEFINED (7) values.
func Bytes(tag, typ uint16, b []byte) Tag {
	t := Tag{Tag: tag, Type: typ}
	for _, v := range b {
		t.Values = append(t.Values, uint64(v))
	}
	return t
}

// Picture is one picture of a file. C is the number of samples a pixel; from
// three on the picture is RGB.
type Picture struct {
	W, H, C, Bits int

	// At gives the sample as stored, before differencing: 0 to 255 for 8 bits.
	// nil is a pattern that fills the range.
	At func(x, y, c int) uint16

	// Raw, if set, takes the place of At: the bits of a sample, for any depth.
	Raw func(x, y, c int) uint64

	Float        bool
	Planar       bool
	LZW          bool
	Packing      int // Compression by number, where LZW isn't set: 8, 32946 or 32773; 0 is none
	Predictor    int // 0 (no tag), 1, 2 or 3
	RowsPerStrip int // 0 is all rows in one strip
	TileW, TileH int // 0 is strips
	Pad          uint16
	WhiteIsZero  bool

	Set     []Tag    // added, or in place of the usual ones
	Drop    []uint16 // tags left out
	SubIFDs []Picture
}

// File is a whole file.
type File struct {
	BigEndian, BigTIFF bool
	Pictures           []Picture
}

// sample is At, or the pattern where At is nil.
func (p Picture) sample(x, y, c int) uint16 {
	if p.At != nil {
		return p.At(x, y, c)
	}
	v := uint16(x*2557 + y*7919 + c*21001 + x*y%11)
	if p.Bits == 8 {
		return v >> 8
	}
	return v
}

// Samples are the 16-bit samples that a reader must find: 8-bit values times
// 257, grey with black as 0.
func (p Picture) Samples() []uint16 {
	out := make([]uint16, 0, p.W*p.H*p.C)
	for y := range p.H {
		for x := range p.W {
			for c := range p.C {
				v := p.sample(x, y, c)
				if p.Bits == 8 {
					v *= 257
				}
				if p.WhiteIsZero {
					v = 65535 - v
				}
				out = append(out, v)
			}
		}
	}
	return out
}

type writer struct {
	File
	order interface {
		binary.ByteOrder
		binary.AppendByteOrder
	}
	b []byte
}

// Bytes is the file.
func (f File) Bytes() []byte {
	w := &writer{File: f, order: binary.LittleEndian, b: []byte("II")}
	if f.BigEndian {
		w.order, w.b = binary.BigEndian, []byte("MM")
	}
	if f.BigTIFF {
		w.shorts(43, 8, 0)
	} else {
		w.shorts(42)
	}
	link := len(w.b)
	w.b = w.offset(w.b, 0)
	for _, p := range f.Pictures {
		at, next := w.picture(p)
		copy(w.b[link:], w.offset(nil, uint64(at)))
		link = next
	}
	return w.b
}

func (w *writer) shorts(v ...uint16) {
	for _, x := range v {
		w.b = w.order.AppendUint16(w.b, x)
	}
}

// offset appends a number as wide as the file's offsets.
func (w *writer) offset(b []byte, v uint64) []byte {
	if w.BigTIFF {
		return w.order.AppendUint64(b, v)
	}
	return w.order.AppendUint32(b, uint32(v))
}

// place appends data on a word boundary and says where it stands.
func (w *writer) place(data []byte) uint64 {
	w.b = append(w.b, make([]byte, len(w.b)%2)...)
	w.b = append(w.b, data...)
	return uint64(len(w.b) - len(data))
}

// picture appends data and directory, and says where the directory and its
// link to the next one stand.
func (w *writer) picture(p Picture) (at, next int) {
	var subs, offsets, counts []uint64
	for _, s := range p.SubIFDs {
		a, _ := w.picture(s)
		subs = append(subs, uint64(a))
	}
	tw, th := p.TileW, p.TileH
	if tw == 0 {
		tw, th = p.W, p.RowsPerStrip
		if th == 0 {
			th = p.H
		}
	}
	planes, step := 1, p.C
	if p.Planar {
		planes, step = p.C, 1
	}
	for plane := range planes {
		for y := 0; y < p.H; y += th {
			for x := 0; x < p.W; x += tw {
				h := th
				if p.TileW == 0 {
					h = min(th, p.H-y)
				}
				data := w.chunk(p, plane, step, x, y, tw, h)
				offsets = append(offsets, w.place(data))
				counts = append(counts, uint64(len(data)))
			}
		}
	}

	photometric := uint64(1)
	if p.WhiteIsZero {
		photometric = 0
	}
	if p.C >= 3 {
		photometric = 2
	}
	var tags []Tag
	add := func(tag, typ uint16, v ...uint64) { tags = append(tags, Tag{tag, typ, v}) }
	add(256, 4, uint64(p.W))
	add(257, 4, uint64(p.H))
	add(258, 3, slices.Repeat([]uint64{uint64(p.Bits)}, p.C)...)
	add(259, 3, p.compression())
	add(262, 3, photometric)
	add(277, 3, uint64(p.C))
	if p.TileW == 0 {
		add(273, 4, offsets...)
		add(278, 4, uint64(th))
		add(279, 4, counts...)
	} else {
		add(322, 3, uint64(tw))
		add(323, 3, uint64(th))
		add(324, 4, offsets...)
		add(325, 4, counts...)
	}
	if p.Predictor != 0 {
		add(317, 3, uint64(p.Predictor))
	}
	if p.Planar {
		add(284, 3, 2)
	}
	if p.Float {
		add(339, 3, slices.Repeat([]uint64{3}, p.C)...)
	}
	if subs != nil {
		add(330, 4, subs...)
	}
	tags = slices.DeleteFunc(tags, func(t Tag) bool {
		return slices.Contains(p.Drop, t.Tag) || slices.ContainsFunc(p.Set, func(s Tag) bool { return s.Tag == t.Tag })
	})
	return w.directory(append(tags, p.Set...))
}

func (w *writer) directory(tags []Tag) (at, next int) {
	slices.SortStableFunc(tags, func(a, b Tag) int { return int(a.Tag) - int(b.Tag) })
	room := len(w.offset(nil, 0))
	values := make([][]byte, len(tags))
	for i, t := range tags {
		v := w.values(t)
		if len(v) > room {
			v = w.offset(nil, w.place(v))
		}
		values[i] = append(v, make([]byte, room-len(v))...)
	}
	at = int(w.place(nil))
	if w.BigTIFF {
		w.b = w.offset(w.b, uint64(len(tags)))
	} else {
		w.shorts(uint16(len(tags)))
	}
	for i, t := range tags {
		w.shorts(t.Tag, t.Type)
		n := len(t.Values)
		if t.Type == 5 {
			n /= 2
		}
		w.b = append(w.offset(w.b, uint64(n)), values[i]...)
	}
	next = len(w.b)
	w.b = w.offset(w.b, 0)
	return at, next
}

func (w *writer) values(t Tag) []byte {
	var b []byte
	for _, v := range t.Values {
		switch t.Type {
		case 3:
			b = w.order.AppendUint16(b, uint16(v))
		case 4, 5, 13:
			b = w.order.AppendUint32(b, uint32(v))
		case 16, 18:
			b = w.order.AppendUint64(b, v)
		default:
			b = append(b, byte(v))
		}
	}
	return b
}

// compression is the number of the way of compression.
func (p Picture) compression() uint64 {
	switch {
	case p.LZW:
		return 5
	case p.Packing != 0:
		return uint64(p.Packing)
	}
	return 1
}

// raw is the stored number of a sample.
func (p Picture) raw(x, y, c int) uint64 {
	if p.Raw != nil {
		return p.Raw(x, y, c)
	}
	return uint64(p.sample(x, y, c))
}

// chunk is the data of one strip or tile: step samples a pixel from plane on.
func (w *writer) chunk(p Picture, plane, step, x0, y0, cw, ch int) []byte {
	var b []byte
	for y := y0; y < y0+ch; y++ {
		var row []uint64
		for x := x0; x < x0+cw; x++ {
			for c := plane; c < plane+step; c++ {
				v := uint64(p.Pad)
				if x < p.W && y < p.H {
					v = p.raw(x, y, c)
				}
				row = append(row, v)
			}
		}
		b = append(b, w.row(p, step, row)...)
	}
	switch p.compression() {
	case 1:
		return b
	case 5:
		return LZW(b)
	case 32773:
		return PackBits(b)
	}
	return Zlib(b)
}

// row stores numbers, differenced as the predictor says.
func (w *writer) row(p Picture, step int, row []uint64) []byte {
	if p.Predictor == 2 {
		for i := len(row) - 1; i >= step; i-- {
			row[i] -= row[i-step]
		}
	}
	if p.Predictor == 3 { // TIFF Technical Note 3
		size := p.Bits / 8
		b := make([]byte, size*len(row))
		for i, v := range row {
			for k := range size {
				b[k*len(row)+i] = byte(v >> (8 * (size - 1 - k)))
			}
		}
		for i := len(b) - 1; i >= step; i-- {
			b[i] -= b[i-step]
		}
		return b
	}
	var b []byte
	if p.Bits%8 != 0 {
		acc, n := uint64(0), 0
		for _, v := range row {
			acc, n = acc<<p.Bits|v&(1<<p.Bits-1), n+p.Bits
			for ; n >= 8; n -= 8 {
				b = append(b, byte(acc>>(n-8)))
			}
		}
		if n > 0 {
			b = append(b, byte(acc<<(8-n)))
		}
		return b
	}
	for _, v := range row {
		for k := range p.Bits / 8 {
			if w.BigEndian {
				k = p.Bits/8 - 1 - k
			}
			b = append(b, byte(v>>(8*k)))
		}
	}
	return b
}
