package jpeg

import "platemark/ops/raster"

// Worker codes rows of blocks for one goroutine. What it keeps between calls
// are buffers; the rows may come in any order.
type Worker struct {
	e      *Encoder
	out    writer
	stride int              // bytes of a row of eight: whole units of 16 pixels
	eight  []byte           // a row of blocks' rows in 8 bits
	luma   [2][64]uint64    // pairs of luma blocks, as many as a unit has
	chroma [2][64]uint64    // pairs of Cb and Cr
	full   [2][2][64]uint64 // chroma before halving, of 8 rows each, left and right
	words  [2][32]uint64
}

// Worker returns buffers for one goroutine.
func (e *Encoder) Worker() *Worker {
	stride := (e.o.W + 15) / 16 * 16 * e.o.C
	return &Worker{e: e, out: writer{buf: make([]byte, 1<<16)}, stride: stride, eight: make([]byte, e.RowHeight()*stride)}
}

// Encode appends to dst the entropy coded data of row of blocks i (0 to
// Rows()-1), and its restart marker unless it is the last, and returns the
// longer slice. rows are the RowHeight() picture rows from i*RowHeight() on,
// fewer for the last row of blocks; each is W*C samples, interleaved. The
// bottom row and the right column are repeated to fill blocks. Other numbers of
// rows or samples are a mistake in the calling program and may panic.
func (w *Worker) Encode(dst []byte, i int, rows [][]uint16) []byte {
	c := w.e.o.C
	for l := range w.e.RowHeight() {
		eight := w.eight[l*w.stride : (l+1)*w.stride]
		if l >= len(rows) {
			copy(eight, w.eight[(l-1)*w.stride:])
			continue
		}
		raster.Eight(eight, rows[l], c, 0, i*w.e.RowHeight()+l)
		for k := w.e.o.W * c; k < len(eight); k++ {
			eight[k] = eight[k-c]
		}
	}
	switch {
	case c == 1:
		w.grey()
	case w.e.half():
		w.quarter(len(rows))
	default:
		w.whole()
	}
	dst = w.out.finish(dst)
	if i != w.e.rows-1 {
		dst = append(dst, 0xff, 0xd0+byte(i%8))
	}
	return dst
}

// grey codes units of one block, two at a time.
func (w *Worker) grey() {
	p := &w.out
	y := w.e.codes
	for x := 0; x < w.e.o.W; x += 16 {
		p.room(2 * blockRoom)
		greys(w.eight[x:], w.stride, &w.luma[0])
		first, second := w.e.quants[0].code(&w.luma[0], &w.words[0])
		p.block(&w.words[0], 0, first, 0, &y[0])
		if x+8 < w.e.o.W {
			p.block(&w.words[0], 1, second, 0, &y[0])
		}
	}
}

// whole codes 4:4:4: units of Y, Cb and Cr, two at a time.
func (w *Worker) whole() {
	p := &w.out
	t := w.e.codes
	for x := 0; x < w.e.o.W; x += 16 {
		p.room(6 * blockRoom)
		colours(w.eight[3*x:], w.stride, &w.luma[0], &w.chroma[0], &w.chroma[1])
		y0, y1 := w.e.quants[0].code(&w.luma[0], &w.words[0])
		for k := range 2 {
			if x+8*k >= w.e.o.W {
				break
			}
			cb, cr := w.e.quants[1].code(&w.chroma[k], &w.words[1])
			if k == 1 {
				y0 = y1
			}
			p.block(&w.words[0], uint(k), y0, 0, &t[0])
			p.block(&w.words[1], 0, cb, 1, &t[1])
			p.block(&w.words[1], 1, cr, 2, &t[1])
		}
	}
}

// quarter codes 4:2:0: units of four Y, one Cb and one Cr, of so many rows.
func (w *Worker) quarter(rows int) {
	p := &w.out
	t := w.e.codes
	for x := 0; x < w.e.o.W; x += 16 {
		p.room(6 * blockRoom)
		for k := range 2 {
			colours(w.eight[8*k*w.stride+3*x:], w.stride, &w.luma[k], &w.full[k][0], &w.full[k][1])
		}
		for l := range 8 {
			// Past the bottom the last halved row is repeated, not the halves
			// of the last picture row.
			a := 2 * min(l, (rows-1)/2)
			for side := range 2 {
				full := w.full[a/8][side][a%8*8:]
				halve((*[8]uint64)(full), (*[8]uint64)(full[8:]), (*[4]uint64)(w.chroma[0][8*l+4*side:]))
			}
		}
		for k := range 2 {
			if 8*k >= rows { // luma blocks wholly past the bottom
				p.empty(&t[0])
				p.empty(&t[0])
				continue
			}
			first, second := w.e.quants[0].code(&w.luma[k], &w.words[0])
			p.block(&w.words[0], 0, first, 0, &t[0])
			if x+8 < w.e.o.W {
				p.block(&w.words[0], 1, second, 0, &t[0])
			} else {
				p.empty(&t[0])
			}
		}
		cb, cr := w.e.quants[1].code(&w.chroma[0], &w.words[1])
		p.block(&w.words[1], 0, cb, 1, &t[1])
		p.block(&w.words[1], 1, cr, 2, &t[1])
	}
}
