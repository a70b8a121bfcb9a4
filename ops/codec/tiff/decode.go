package tiff

import (
	"context"
	"sync"
	"sync/atomic"

	"platemark/ops/codec"
)

// How the picture is cut into blocks of rows for decoding. Nothing of this
// shows in the samples.
const (
	blockTarget = 2 << 20  // bytes of samples in one block
	blockMost   = 8 << 20  // above this, packed strips and tiles are unpacked a piece at a time
	blocksMost  = 48 << 20 // bytes of samples in all blocks under way, where more than two
	storedMost  = 64 << 20 // stored bytes in the memory of all workers, where more than one
	pieceBytes  = 1 << 18  // stored bytes that are read at once from uncompressed data
	cursorsMost = 1024     // strips or tiles side by side that are unpacked a piece at a time
)

// testOnlyBlockMost, if not 0, takes the place of blockMost, and a quarter of it
// that of blockTarget.
var testOnlyBlockMost uint64

// plan fixes the height of the blocks. Blocks of uncompressed pictures are
// cut anywhere, blocks of packed pictures between rows of chunks, or else
// (f.slow) one row of chunks after the other is unpacked a piece at a time.
func (f *File) plan() error {
	c := &f.chunks
	packed := f.packing != packNone
	row := uint64(f.stride()) * 2
	target, most := uint64(blockTarget), uint64(blockMost)
	if testOnlyBlockMost > 0 {
		target, most = testOnlyBlockMost/4, testOnlyBlockMost
	}
	band := max(row, f.held()) * uint64(c.h)
	f.blockRows = int(max(1, target/row))
	if packed && band > most {
		f.slow = true
		if c.across*c.planes > cursorsMost {
			return codec.Errorf("TileWidth", "save it again with square tiles or in strips", "the picture has %d compressed tiles of %d x %d pixels side by side, too many to be unpacked in bounded memory", c.across*c.planes, c.w, c.h)
		}
	} else if c.h <= f.blockRows || packed {
		f.blockRows = max(1, f.blockRows/c.h) * c.h
	}
	f.blockRows = min(f.blockRows, f.info.H)
	return nil
}

// held is the number of stored bytes of one row of one tile that a worker has
// in memory: those of one plane, and of alpha where that is another.
func (f *File) held() uint64 {
	if f.alphaPlane() {
		return 2 * uint64(f.chunks.rowBytes)
	}
	return uint64(f.chunks.rowBytes)
}

// stride is the number of samples in one row of the picture.
func (f *File) stride() int { return f.info.W * f.info.Channels }

// Decode hands all rows to emit, in the order of the file, as interleaved
// 16-bit samples: W x Channels a row, grey always with black as 0, scaled as
// the package's comment says. Orientation isn't applied. Alpha is left out, see
// OnWhite.
//
// Strips and tiles are decoded on up to workers goroutines (at least one).
// emit is called on the calling goroutine with the first row's number and
// whole rows, each row once, from the top; the slice is only valid during the
// call. An error from emit or from ctx ends the decoding within a fraction of
// a second and is returned as it is. Damage in the data is an *Error.
func (f *File) Decode(ctx context.Context, workers int, emit func(y0 int, rows []uint16) error) error {
	_, err := f.DecodeCounted(ctx, workers, emit)
	return err
}

// DecodeCounted is Decode that also says what was clipped and how much of the
// picture is translucent. The counts are whole only where the error is nil.
func (f *File) DecodeCounted(ctx context.Context, workers int, emit func(y0 int, rows []uint16) error) (Counts, error) {
	ctx, cancel := context.WithCancel(ctx)
	var running sync.WaitGroup
	defer running.Wait()
	defer cancel()

	blockBytes := f.blockRows * f.stride() * 2
	workers = max(1, workers)
	under := min(workers, 256) + 2 // blocks under way
	under = min(under, max(2, blocksMost/blockBytes), ceilDiv(f.info.H, f.blockRows))
	counts := f.newCounts()
	free := make(chan []uint16, under)
	for range under {
		free <- nil
	}
	order := make(chan *block, under)
	running.Go(func() {
		defer close(order)
		if f.slow {
			f.unpackInOrder(ctx, workers, free, order)
		} else {
			raw := int(f.held()) * f.rawRows()
			f.unpackBlocks(ctx, min(workers, under, max(1, storedMost/raw)), free, order, &running)
		}
	})
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
			return counts, err
		}
		counts.add(&b.counts)
		free <- b.rows
	}
	return counts, ctx.Err()
}

// newCounts are the counts that are known beforehand.
func (f *File) newCounts() Counts {
	in := &f.info
	c := Counts{Pixels: int64(in.W) * int64(in.H), Samples: int64(in.W) * int64(in.H) * int64(in.Channels)}
	if in.Alpha != AlphaNone {
		c.Samples += c.Pixels
	}
	return c
}

// block is some whole rows on their way to emit. done gets one value when
// they are there, or can't be.
type block struct {
	y0, y1 int
	rows   []uint16
	counts Counts // what was met in the rows
	done   chan error
}

// next takes free memory for rows y0 <= y < y1, or their own place; nil when ctx is
// done.
func (f *File) next(ctx context.Context, free chan []uint16, y0, y1 int) *block {
	select {
	case <-ctx.Done():
		return nil
	case p := <-free:
		n := (y1 - y0) * f.stride()
		if f.into != nil {
			p = f.into[y0*f.stride() : y1*f.stride()]
		} else if cap(p) < n {
			p = make([]uint16, n)
		}
		return &block{y0: y0, y1: y1, rows: p[:n], done: make(chan error, 1)}
	}
}

// unpackBlocks fills blocks that depend on nothing but the file, in any order.
func (f *File) unpackBlocks(ctx context.Context, workers int, free chan []uint16, order chan *block, running *sync.WaitGroup) {
	idle := make(chan *worker, workers)
	for range workers {
		idle <- new(worker)
	}
	for y := 0; y < f.info.H; y += f.blockRows {
		b := f.next(ctx, free, y, min(y+f.blockRows, f.info.H))
		if b == nil {
			return
		}
		order <- b // has room for every block under way
		select {
		case w := <-idle:
			running.Go(func() {
				b.done <- f.fill(ctx, w, b)
				idle <- w
			})
		case <-ctx.Done():
			return
		}
	}
}

// unpackInOrder unpacks strips and tiles that are too large to be held whole:
// each of those side by side, and behind each other in planes, keeps its
// place, and all of them go on by the height of one block.
func (f *File) unpackInOrder(ctx context.Context, workers int, free chan []uint16, order chan *block) {
	c := &f.chunks
	cursors := make([][]unpacker, c.across) // by column and plane, nil for planes that aren't used
	for tx := range cursors {
		cursors[tx] = make([]unpacker, c.planes)
		for p := range cursors[tx] {
			if f.used(p) {
				cursors[tx][p] = f.newUnpacker()
			}
		}
	}
	ws := make([]worker, min(max(1, workers), c.across, max(1, storedMost/int(f.held()))))
	errs := make([]error, c.across)
	failed := make([]int, c.across) // the plane that errs is about
	for band := range c.down {
		for tx := range cursors {
			for p, u := range cursors[tx] {
				if u != nil {
					i := c.at(p, band, tx)
					u.reset(&f.src.Source, c.offset[i], c.count[i])
				}
			}
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
				ws[k].counts = Counts{}
				all.Go(func() {
					for ctx.Err() == nil {
						tx := int(turn.Add(1) - 1)
						if tx >= c.across {
							return
						}
						failed[tx], errs[tx] = f.goOn(&ws[k], cursors[tx], tx, band, b.y1 == end, b.rows)
					}
				})
			}
			all.Wait()
			for k := range ws {
				b.counts.add(&ws[k].counts)
			}
			err := ctx.Err()
			for tx := range errs {
				if err == nil && errs[tx] != nil {
					err = f.damaged(c.at(failed[tx], band, tx), errs[tx])
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
