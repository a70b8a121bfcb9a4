package tiff

import "context"

// worker is the memory of one goroutine.
type worker struct {
	raw, rawAlpha []byte
	turned        []byte // see unfloat
	lzw           *lzwWhole
	other         unpacker
	narrow        [2][]uint16  // one channel of one row of a tile, and alpha
	wide          [2][]float64 // the same
	counts        Counts
}

// room is n bytes of memory, kept in p for the next time.
func room[T any](p *[]T, n int) []T {
	if cap(*p) < n {
		*p = make([]T, n)
	}
	return (*p)[:n]
}

// plain says whether interleaved samples are stored as Decode gives them, but
// for order, 8 bits and polarity: the way of most masters.
func (f *File) plain() bool {
	m := &f.form
	return m.step == f.info.Channels && m.planes() == 1 && m.palette == nil && !m.float && (m.bits == 8 || m.bits == 16) && f.predict != 3
}

// alphaPlane says whether alpha has a plane of its own.
func (f *File) alphaPlane() bool { return f.form.alpha != AlphaNone && f.form.planes() > 1 }

// colourPlanes is the number of planes with colour; they are the first.
func (f *File) colourPlanes() int {
	if f.form.planes() == 1 || f.form.palette != nil {
		return 1
	}
	return f.info.Channels
}

// used says whether plane p is looked at.
func (f *File) used(p int) bool {
	return p < f.colourPlanes() || f.alphaPlane() && p == f.form.alphaAt
}

// rawRows is the number of rows of a tile that a worker holds as stored.
func (f *File) rawRows() int {
	if f.packing != packNone {
		return f.chunks.h
	}
	return max(1, pieceBytes/f.chunks.rowBytes)
}

func (f *File) fill(ctx context.Context, w *worker, b *block) error {
	c, stride := &f.chunks, f.stride()
	w.counts = Counts{}
	for y := b.y0; y < b.y1; {
		band := y / c.h
		top := band * c.h
		end := min(b.y1, top+c.h)
		dst := b.rows[(y-b.y0)*stride : (end-b.y0)*stride]
		for tx := range c.across {
			if err := ctx.Err(); err != nil {
				return err
			}
			if i, err := f.tile(w, band, tx, y-top, dst); err != nil {
				return f.damaged(i, err)
			}
		}
		y = end
	}
	b.counts = w.counts
	return nil
}

// tile reads rows of the tile at (band, tx) from its row number row on, as
// many as dst has, into their place in dst. i is the chunk that an error is
// about.
func (f *File) tile(w *worker, band, tx, row int, dst []uint16) (i int, err error) {
	c, stride := &f.chunks, f.stride()
	if f.plain() && f.packing == packNone && !c.tiles && f.form.bits == 16 {
		i = c.at(0, band, tx)
		return i, f.copyStrip(i, row, dst)
	}
	for most := f.rawRows(); len(dst) > 0; {
		n := min(most, len(dst)/stride)
		plane, err := f.tileRows(w, tx, dst[:n*stride], func(p int, raw []byte) error {
			return f.stored(w, raw, c.at(p, band, tx), row)
		})
		if err != nil {
			return c.at(plane, band, tx), err
		}
		dst = dst[n*stride:]
		row += n
	}
	return 0, nil
}

// tileRows brings rows of a tile at column tx to their place in dst. read gives
// the next rows of a plane as stored but unpacked; plane is the one that an
// error is about.
func (f *File) tileRows(w *worker, tx int, dst []uint16, read func(plane int, raw []byte) error) (plane int, err error) {
	size, stride := f.chunks.rowBytes, f.stride()
	n := len(dst) / stride
	from, to := tx*f.chunks.w*f.info.Channels, min((tx+1)*f.chunks.w, f.info.W)*f.info.Channels
	raw := room(&w.raw, n*size)
	var alpha []byte
	if f.alphaPlane() {
		alpha = room(&w.rawAlpha, n*size)
		if err := read(f.form.alphaAt, alpha); err != nil {
			return f.form.alphaAt, err
		}
		for r := range n {
			f.unpredict(w, alpha[r*size:][:size])
		}
	}
	for p := range f.colourPlanes() {
		if err := read(p, raw); err != nil {
			return p, err
		}
		for r := range n {
			var a []byte
			if alpha != nil {
				a = alpha[r*size:][:size]
			}
			f.rowTo16(w, dst[r*stride:][from:to], p, raw[r*size:][:size], a)
		}
	}
	return 0, nil
}

// copyStrip reads rows of an uncompressed strip of 16-bit samples, which
// stand in the file as they do in memory but for the order of bytes.
func (f *File) copyStrip(i, row int, dst []uint16) error {
	off := f.chunks.offset[i] + uint64(row)*uint64(f.chunks.rowBytes)
	if err := f.src.At(memory(dst), off, "the picture's data"); err != nil {
		return err
	}
	f.order16(dst)
	if f.form.white {
		invert(dst)
	}
	return nil
}

// stored fills raw with rows of chunk i from its row number row on, as stored
// but unpacked. Packed chunks are always read from their first row on.
func (f *File) stored(w *worker, raw []byte, i, row int) error {
	c := &f.chunks
	switch f.packing {
	case packNone:
		return f.src.At(raw, c.offset[i]+uint64(row)*uint64(c.rowBytes), "the picture's data")
	case packLZW:
		if w.lzw == nil {
			w.lzw = new(lzwWhole)
		}
		return w.lzw.unpack(&f.src.Source, c.offset[i], c.count[i], raw)
	}
	if w.other == nil {
		w.other = f.newUnpacker()
	}
	w.other.reset(&f.src.Source, c.offset[i], c.count[i])
	if err := w.other.read(raw); err != nil {
		return err
	}
	return w.other.finish(f.need(i) - uint64(len(raw)))
}

// goOn reads the next rows of a packed tile, as many as dst has; cursors are
// those of its planes. plane is where an error was met.
func (f *File) goOn(w *worker, cursors []unpacker, tx, band int, last bool, dst []uint16) (plane int, err error) {
	read := func(p int, raw []byte) error { return cursors[p].read(raw) }
	for stride := f.stride(); len(dst) > 0; dst = dst[stride:] {
		if plane, err := f.tileRows(w, tx, dst[:stride], read); err != nil {
			return plane, err
		}
	}
	if !last {
		return 0, nil
	}
	c := &f.chunks
	rows := uint64(min(c.h, f.info.H-band*c.h)) * uint64(c.rowBytes)
	for p, u := range cursors {
		if u == nil {
			continue
		}
		if err := u.finish(f.need(c.at(p, band, tx)) - rows); err != nil {
			return p, err
		}
	}
	return 0, nil
}
