package master

import (
	"bytes"
	"cmp"
	"context"
	"io"
	"slices"
	"sync"

	"platemark/ops/raster"
)

// OpenAhead is Open of a picture that will be built from: workers decode it behind
// the hash of its file, into memory of at most most bytes; Decoded gives it. What
// comes of a file that can't be opened after all is dropped.
func OpenAhead(ctx context.Context, role Role, path, found string, white bool, workers int, most int64) (*Input, error) {
	in, err := newInput(role, path, found, white)
	if err != nil {
		return nil, err
	}
	in.Hashed = true
	f := newFront(in.file, in.Size)
	hashed := make(chan error, 1)
	go func() {
		sum, err := hashFile(ctx, in.file, in.Size, func(n int64) { f.pass(n, nil) })
		in.Sum = sum
		f.pass(in.Size, err)
		hashed <- err
	}()
	wrong := in.head(f)
	if wrong == nil {
		if i := in.Picture.Info(); 2*int64(i.W)*int64(i.H)*int64(i.Channels) <= most {
			in.ahead = in.begin(ctx, workers)
		}
	}
	err = <-hashed
	if err == nil && !f.same() {
		err = in.changed()
	}
	if err = cmp.Or(err, wrong); err != nil {
		in.Close()
		return nil, err
	}
	return in, nil
}

// ahead is a picture that is being decoded before it was asked for.
type ahead struct {
	stop   context.CancelFunc
	done   chan struct{}
	store  *raster.Store
	sums   []uint32
	report []string
	err    error
	mu     sync.Mutex
	hear   func(rows int) // nil before it was asked for
	rows   int            // that came and weren't heard of
}

func (in *Input) begin(ctx context.Context, workers int) *ahead {
	i := in.Picture.Info()
	a := &ahead{done: make(chan struct{}), store: raster.NewMemory(i.W, i.H, i.Channels)}
	ctx, a.stop = context.WithCancel(ctx)
	go func() {
		a.sums, a.report, a.err = in.Decode(ctx, a.store, workers, a.came)
		close(a.done)
	}()
	return a
}

func (a *ahead) came(rows int) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.rows += rows; a.hear != nil {
		a.hear(a.rows)
		a.rows = 0
	}
}

// drop ends the decoding and gives back what came of it.
func (a *ahead) drop() {
	a.stop()
	<-a.done
	a.store.Close()
}

// Decoded gives, once, what OpenAhead decodes, as Decode does, in a store that is the
// caller's; nil where it decodes nothing.
func (in *Input) Decoded(progress func(rows int)) (st *raster.Store, sums []uint32, report []string, err error) {
	a := in.ahead
	if a == nil {
		return nil, nil, nil, nil
	}
	in.ahead = nil
	a.mu.Lock()
	a.hear = progress
	a.mu.Unlock()
	<-a.done
	a.came(0)
	if a.err != nil {
		a.drop()
		return nil, nil, nil, a.err
	}
	a.stop()
	return a.store, a.sums, a.report, nil
}

// front is a file that is being hashed from its beginning. Reads wait until the hash
// has passed them, but for small ones, such as of a directory at the end, which are
// remembered and read again afterwards.
type front struct {
	file   io.ReaderAt
	size   int64
	mu     sync.Mutex
	moved  *sync.Cond
	at     int64 // bytes hashed
	err    error // why no more will be
	before []beforeHash
	room   int // bytes for more of these
}

type beforeHash struct {
	off  int64
	data []byte
}

// Bytes of a read that doesn't wait, and of all such.
const (
	earlyRead = 64 << 10
	earlyAll  = 1 << 20
)

func newFront(file io.ReaderAt, size int64) *front {
	f := &front{file: file, size: size, room: earlyAll}
	f.moved = sync.NewCond(&f.mu)
	return f
}

// pass says how many bytes are hashed, or why no more will be.
func (f *front) pass(at int64, err error) {
	f.mu.Lock()
	f.at, f.err = at, err
	f.mu.Unlock()
	f.moved.Broadcast()
}

func (f *front) ReadAt(b []byte, off int64) (int, error) {
	end := min(off+int64(len(b)), f.size)
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.at < end && len(b) <= min(earlyRead, f.room) {
		f.room -= len(b)
		n, err := f.file.ReadAt(b, off)
		f.before = append(f.before, beforeHash{off, slices.Clone(b[:n])})
		return n, err
	}
	for f.at < end && f.err == nil {
		f.moved.Wait()
	}
	if f.err != nil {
		return 0, f.err
	}
	f.mu.Unlock()
	defer f.mu.Lock()
	return f.file.ReadAt(b, off)
}

// same says, once all is hashed, whether what was read before is still there.
func (f *front) same() bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	return !slices.ContainsFunc(f.before, func(e beforeHash) bool {
		b := make([]byte, len(e.data))
		n, _ := f.file.ReadAt(b, e.off)
		return n < len(b) || !bytes.Equal(b, e.data)
	})
}
