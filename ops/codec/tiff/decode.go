package tiff

import (
	"context"
	"fmt"
	"sync"
	"sync/atomic"
)

// How the picture is cut into blocks of rows for decoding. Nothing of this
// shows in the samples.
const (
	blockTarget = 2 << 20  // bytes of samples in one block
	blockMost   = 8 << 20  // above this, LZW strips and tiles are unpacked a piece at a time
	blocksMost  = 48 << 20 // bytes of samples in all blocks under way, where more than two
	cursorsMost = 1024     // tiles side by side that are unpacked a piece at a time
)

// plan fixes the height of the blocks. Blocks of uncompressed pictures are
// cut anywhere, blocks of LZW pictures between rows of chunks, or else (f.slow)
// one row of chunks after the other is unpacked a piece at a time.
func (f *File) plan() error {
	c := &f.chunks
	row := uint64(f.stride()) * 2
	band := max(row, uint64(c.rowBytes)) * uint64(c.h)
	f.blockRows = int(max(1, blockTarget/row))
	if f.lzw && band > blockMost {
		f.slow = true
		if c.across > cursorsMost {
			return &Error{"TileWidth", fmt.Sprintf("the picture has %d compressed tiles of %d x %d pixels side by side, too many to be unpacked in bounded memory", c.across, c.w, c.h),
				"save it again with square tiles or in strips"}
		}
	} else if c.h <= f.blockRows || f.lzw {
		f.blockRows = max(1, f.blockRows/c.h) * c.h
	}
	f.blockRows = min(f.blockRows, f.info.H)
	return nil
}

// stride is the number of samples in one row of the picture.
func (f *File) stride() int { return f.info.W * f.info.Channels }

// Decode hands all rows to emit, in the order of the file, as interleaved
// 16-bit samples: W x Channels a row, 8-bit values v as 257 v, grey always
// with black as 0. Orientation isn't applied.
//
// Strips and tiles are decoded on up to workers goroutines (at least one).
// emit is called on the calling goroutine with the first row's number and
// whole rows, each row once, from the top; the slice is only valid during the
// call. An error from emit or from ctx ends the decoding within a fraction of
// a second and is returned as it is. Damage in the data is an *Error.
func (f *File) Decode(ctx context.Context, workers int, emit func(y0 int, rows []uint16) error) error {
	ctx, cancel := context.WithCancel(ctx)
	var running sync.WaitGroup
	defer running.Wait()
	defer cancel()

	blockBytes := f.blockRows * f.stride() * 2
	workers = max(1, workers)
	under := min(workers, 256) + 2 // blocks under way
	under = min(under, max(2, blocksMost/blockBytes), ceilDiv(f.info.H, f.blockRows))
	free := make(chan []uint16, under)
	for range under {
		free <- nil
	}
	order := make(chan *block, under)
	running.Add(1)
	go func() {
		defer running.Done()
		defer close(order)
		if f.slow {
			f.unpackInOrder(ctx, workers, free, order)
		} else {
			f.unpackBlocks(ctx, min(workers, under), free, order, &running)
		}
	}()
	for b := range order {
		var err error
		select {
		case err = <-b.done:
		case <-ctx.Done():
			err = ctx.Err()
		}
		if err == nil {
			err = ctx.Err()
		}
		if err == nil {
			err = emit(b.y0, b.rows)
		}
		if err != nil {
			return err
		}
		free <- b.rows
	}
	return ctx.Err()
}

// block is some whole rows on their way to emit. done gets one value when
// they are there, or can't be.
type block struct {
	y0, y1 int
	rows   []uint16
	done   chan error
}

// next takes free memory for rows y0 <= y < y1; nil when ctx is done.
func (f *File) next(ctx context.Context, free chan []uint16, y0, y1 int) *block {
	select {
	case <-ctx.Done():
		return nil
	case p := <-free:
		n := (y1 - y0) * f.stride()
		if cap(p) < n {
			p = make([]uint16, n)
		}
		return &block{y0: y0, y1: y1, rows: p[:n], done: make(chan error, 1)}
	}
}

// unpackBlocks fills blocks that depend on nothing but the file, in any order.
func (f *File) unpackBlocks(ctx context.Context, workers int, free chan []uint16, order chan *block, running *sync.WaitGroup) {
	jobs := make(chan *block)
	defer close(jobs)
	for range workers {
		running.Add(1)
		go func() {
			defer running.Done()
			var w worker
			for b := range jobs {
				b.done <- f.fill(ctx, &w, b)
			}
		}()
	}
	for y := 0; y < f.info.H; y += f.blockRows {
		b := f.next(ctx, free, y, min(y+f.blockRows, f.info.H))
		if b == nil {
			return
		}
		order <- b // has room for every block under way
		select {
		case jobs <- b:
		case <-ctx.Done():
			return
		}
	}
}

// worker is the memory of one goroutine.
type worker struct {
	raw []byte
	lzw *lzwWhole
}

func (w *worker) bytes(n int) []byte {
	if cap(w.raw) < n {
		w.raw = make([]byte, n)
	}
	return w.raw[:n]
}

// fill reads the rows of b.
func (f *File) fill(ctx context.Context, w *worker, b *block) error {
	c := &f.chunks
	for y := b.y0; y < b.y1; {
		if err := ctx.Err(); err != nil {
			return err
		}
		band := y / c.h
		top := band * c.h
		end := min(b.y1, top+c.h)
		dst := b.rows[(y-b.y0)*f.stride() : (end-b.y0)*f.stride()]
		for tx := range c.across {
			var err error
			if f.lzw {
				err = f.unpackWhole(w, band*c.across+tx, tx, dst)
			} else {
				err = f.copyRows(w, band*c.across+tx, tx, y-top, dst)
			}
			if err != nil {
				return f.damaged(band*c.across+tx, err)
			}
		}
		y = end
	}
	return nil
}

// column gives the samples of a row of the picture that the tile at column tx
// holds.
func (f *File) column(tx int) (from, to int) {
	ch := f.info.Channels
	return tx * f.chunks.w * ch, min((tx+1)*f.chunks.w, f.info.W) * ch
}

// unpackWhole reads the rows of LZW tile i from its first on.
func (f *File) unpackWhole(w *worker, i, tx int, dst []uint16) error {
	c, stride := &f.chunks, f.stride()
	if w.lzw == nil {
		w.lzw = new(lzwWhole)
	}
	raw := w.bytes(len(dst) / stride * c.rowBytes)
	if err := w.lzw.unpack(&f.src, c.offset[i], c.count[i], raw); err != nil {
		return err
	}
	from, to := f.column(tx)
	for ; len(dst) > 0; dst = dst[stride:] {
		f.samples(dst[from:to], raw)
		raw = raw[c.rowBytes:]
	}
	return nil
}

// unpack reads the next rows of an LZW tile, as many as dst has.
func (f *File) unpack(w *worker, lzw *lzwReader, tx int, dst []uint16) error {
	raw := w.bytes(f.chunks.rowBytes)
	from, to := f.column(tx)
	for ; len(dst) > 0; dst = dst[f.stride():] {
		if err := lzw.read(raw); err != nil {
			return err
		}
		f.samples(dst[from:to], raw)
	}
	return nil
}

// copyRows reads rows of an uncompressed tile from its row number row on.
func (f *File) copyRows(w *worker, i, tx, row int, dst []uint16) error {
	c, s := &f.chunks, &f.src
	off := c.offset[i] + uint64(row)*uint64(c.rowBytes)
	if !c.tiles && f.info.Bits == 16 {
		if err := s.at(memory(dst), off, "the picture's data"); err != nil {
			return err
		}
		f.order16(dst)
		if f.invert {
			invert(dst)
		}
		return nil
	}
	from, to := f.column(tx)
	stride := f.stride()
	most := max(1, 1<<18/c.rowBytes)
	for len(dst) > 0 {
		n := min(most, len(dst)/stride)
		raw := w.bytes(n * c.rowBytes)
		if err := s.at(raw, off, "the picture's data"); err != nil {
			return err
		}
		off += uint64(len(raw))
		for ; len(raw) > 0; raw = raw[c.rowBytes:] {
			f.samples(dst[from:to], raw)
			dst = dst[stride:]
		}
	}
	return nil
}

// unpackInOrder unpacks LZW strips and tiles that are too large to be held
// whole: each tile of a row of tiles keeps its place, and all of them go on by
// the height of one block.
func (f *File) unpackInOrder(ctx context.Context, workers int, free chan []uint16, order chan *block) {
	c := &f.chunks
	cursors := make([]lzwReader, c.across)
	ws := make([]worker, min(workers, c.across))
	errs := make([]error, c.across)
	for band := range c.down {
		for tx := range cursors {
			i := band*c.across + tx
			cursors[tx].reset(&f.src, c.offset[i], c.count[i])
		}
		end := min((band+1)*c.h, f.info.H)
		for y := band * c.h; y < end; y += f.blockRows {
			b := f.next(ctx, free, y, min(y+f.blockRows, end))
			if b == nil {
				return
			}
			var turn atomic.Int64
			var all sync.WaitGroup
			for k := range ws {
				all.Add(1)
				go func() {
					defer all.Done()
					for {
						tx := int(turn.Add(1) - 1)
						if tx >= c.across || ctx.Err() != nil {
							return
						}
						errs[tx] = f.unpack(&ws[k], &cursors[tx], tx, b.rows)
					}
				}()
			}
			all.Wait()
			err := ctx.Err()
			for tx := range errs {
				if err == nil && errs[tx] != nil {
					err = f.damaged(band*c.across+tx, errs[tx])
				}
			}
			b.done <- err
			order <- b
			if err != nil {
				return
			}
		}
	}
}
