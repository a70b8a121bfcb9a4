package jpeg

import "platemark/ops/raster"

// Worker codes rows of blocks for one goroutine. What it keeps between calls
// are buffers; the rows may come in any order.
type Worker struct {
	e      *Encoder
	out    writer
	eight  [16][]byte     // rows of 8 bits
	edge   [16][48]byte   // the pixels at the right edge, repeated past it
	luma   [2][64]uint64  // pairs of luma blocks, as many as a unit has
	chroma [2][64]uint64  // pairs of Cb and Cr
	full   [16][16]uint64 // chroma before halving
	words  [2][32]uint64
}

// Worker returns buffers for one goroutine.
func (e *Encoder) Worker() *Worker {
	return &Worker{e: e, out: writer{buf: make([]byte, 1<<16)}}
}

// Encode appends to dst the entropy coded data of row of blocks i (0 to
// Rows()-1), and its restart marker unless it is the last, and returns the
// longer slice. rows are the RowHeight() picture rows from i*RowHeight() on,
// fewer for the last row of blocks; each is W*C samples, interleaved. The
// bottom row and the right column are repeated to fill blocks. Other numbers of
// rows or samples are a mistake in the calling program and may panic.
func (w *Worker) Encode(dst []byte, i int, rows [][]uint16) []byte {
	for l, r := range rows {
		if w.eight[l] == nil {
			w.eight[l] = make([]byte, len(r))
		}
		raster.Eight(w.eight[l], r, w.e.o.C, 0, i*w.e.RowHeight()+l)
	}
	eight := w.eight[:len(rows)]
	switch {
	case w.e.o.C == 1:
		w.grey(eight)
	case w.e.half():
		w.quarter(eight)
	default:
		w.whole(eight)
	}
	dst = w.out.finish(dst)
	if i != w.e.rows-1 {
		dst = append(dst, 0xff, 0xd0+byte(i%8))
	}
	return dst
}

// pixels gives 16 pixels of a row from x on, C samples each, edge repeated.
func (w *Worker) pixels(row []byte, x, line int) []byte {
	c := w.e.o.C
	if have := w.e.o.W - x; have < 16 {
		part := w.edge[line][:16*c]
		copy(part, row[x*c:(x+have)*c])
		for k := have * c; k < len(part); k++ {
			part[k] = part[k-c]
		}
		return part
	}
	return row[x*c : (x+16)*c]
}

// grey codes units of one block, two at a time.
func (w *Worker) grey(rows [][]byte) {
	p := &w.out
	y := w.e.codes
	for x := 0; x < w.e.o.W; x += 16 {
		p.room(2 * blockRoom)
		for l := range 8 {
			src := w.pixels(rows[min(l, len(rows)-1)], x, l)
			rowGrey((*[16]byte)(src), (*[8]uint64)(w.luma[0][8*l:]))
		}
		forward(&w.luma[0], &w.words[0])
		first, second := w.e.quants[0].apply(&w.words[0])
		p.block(&w.words[0], 0, first, 0, &y[0])
		if x+8 < w.e.o.W {
			p.block(&w.words[0], 1, second, 0, &y[0])
		}
	}
}

// whole codes 4:4:4: units of Y, Cb and Cr, two at a time.
func (w *Worker) whole(rows [][]byte) {
	p := &w.out
	t := w.e.codes
	for x := 0; x < w.e.o.W; x += 16 {
		p.room(6 * blockRoom)
		for l := range 8 {
			src := w.pixels(rows[min(l, len(rows)-1)], x, l)
			row444((*[48]byte)(src), (*[8]uint64)(w.luma[0][8*l:]),
				(*[8]uint64)(w.chroma[0][8*l:]), (*[8]uint64)(w.chroma[1][8*l:]))
		}
		forward(&w.luma[0], &w.words[0])
		y0, y1 := w.e.quants[0].apply(&w.words[0])
		for k := range 2 {
			if x+8*k >= w.e.o.W {
				break
			}
			forward(&w.chroma[k], &w.words[1])
			cb, cr := w.e.quants[1].apply(&w.words[1])
			if k == 1 {
				y0 = y1
			}
			p.block(&w.words[0], uint(k), y0, 0, &t[0])
			p.block(&w.words[1], 0, cb, 1, &t[1])
			p.block(&w.words[1], 1, cr, 2, &t[1])
		}
	}
}

// quarter codes 4:2:0: units of four Y, one Cb and one Cr.
func (w *Worker) quarter(rows [][]byte) {
	p := &w.out
	t := w.e.codes
	for x := 0; x < w.e.o.W; x += 16 {
		p.room(6 * blockRoom)
		for l := range 16 {
			src := w.pixels(rows[min(l, len(rows)-1)], x, l)
			row420((*[48]byte)(src), (*[8]uint64)(w.luma[l/8][l%8*8:]), &w.full[l])
		}
		for l := range 8 {
			// Past the bottom the last halved row is repeated, not the halves
			// of the last picture row.
			a := 2 * min(l, (len(rows)-1)/2)
			halve(&w.full[a], &w.full[a+1], (*[8]uint64)(w.chroma[0][8*l:]))
		}
		for k := range 2 {
			if 8*k >= len(rows) { // luma blocks wholly past the bottom
				p.empty(&t[0])
				p.empty(&t[0])
				continue
			}
			forward(&w.luma[k], &w.words[0])
			first, second := w.e.quants[0].apply(&w.words[0])
			p.block(&w.words[0], 0, first, 0, &t[0])
			if x+8 < w.e.o.W {
				p.block(&w.words[0], 1, second, 0, &t[0])
			} else {
				p.empty(&t[0])
			}
		}
		forward(&w.chroma[0], &w.words[1])
		cb, cr := w.e.quants[1].apply(&w.words[1])
		p.block(&w.words[1], 0, cb, 1, &t[1])
		p.block(&w.words[1], 1, cr, 2, &t[1])
	}
}
