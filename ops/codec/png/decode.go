package png

import (
	"bufio"
	"compress/zlib"
	"context"
	"errors"
	"hash/crc32"
	"io"
	"sync"

	"platemark/ops/codec"
)

// blockTarget is the size of a block of rows that goes from the unpacking to
// the unfiltering, in bytes. Nothing of it shows in the samples.
const blockTarget = 1 << 20

// Decode hands all rows to emit, in the order of the file, as interleaved
// 16-bit samples: W x Channels a row, an n-bit value v as v·65535/(2ⁿ−1), which
// is a whole number, a palette's colours in place of their numbers.
// Orientation isn't applied. A pixel that isn't opaque is an *Error unless the
// picture is laid on white by OnWhite.
//
// emit is called on the calling goroutine with the first row's number and
// whole rows, each row once, from the top; the slice is only valid during the
// call. An error from emit or from ctx ends the decoding within a fraction of
// a second and is returned as it is. Damage in the data is an *Error. The data
// are one chain: whatever workers says, one goroutine unpacks them and the
// calling one does the rest.
func (f *File) Decode(ctx context.Context, workers int, emit func(y0 int, rows []uint16) error) error {
	if f.interlaced {
		return f.decodeWhole(ctx, emit)
	}
	rows := max(1, blockTarget/(f.rowBytes(f.info.W)+1))
	var out []uint16
	stride := f.info.W * f.info.Channels
	row := f.newRow()
	return f.unpack(ctx, rows, func(_ pass, y0 int, raw []byte) error {
		n := len(raw) / (f.rowBytes(f.info.W) + 1)
		if out == nil {
			out = make([]uint16, n*stride)
		}
		if err := row.unfilter(raw, f.rowBytes(f.info.W), func(i int, line []byte) error {
			return f.samples(out[i*stride:(i+1)*stride], line)
		}); err != nil {
			return err
		}
		return emit(y0, out[:n*stride])
	})
}

// decodeWhole decodes an interlaced picture.
func (f *File) decodeWhole(ctx context.Context, emit func(y0 int, rows []uint16) error) error {
	ch := f.info.Channels
	stride := f.info.W * ch
	whole := make([]uint16, stride*f.info.H)
	line := make([]uint16, stride)
	var row *rowState
	var last pass
	err := f.unpack(ctx, 0, func(p pass, y0 int, raw []byte) error {
		if row == nil || p != last {
			row, last = f.newRow(), p // each pass begins anew
		}
		return row.unfilter(raw, f.rowBytes(p.w), func(i int, b []byte) error {
			if err := f.samples(line[:p.w*ch], b); err != nil {
				return err
			}
			at := (p.y0+(y0+i)*p.dy)*stride + p.x0*ch
			for x := 0; x < p.w*ch; x += ch {
				copy(whole[at:at+ch], line[x:])
				at += p.dx * ch
			}
			return nil
		})
	})
	if err != nil {
		return err
	}
	step := max(1, blockTarget/(2*stride))
	for y := 0; y < f.info.H; y += step {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := emit(y, whole[y*stride:min(y+step, f.info.H)*stride]); err != nil {
			return err
		}
	}
	return nil
}

// pass is one of the pictures that are stored one after the other: every
// dx-th pixel of every dy-th row from (x0, y0) on.
type pass struct{ x0, y0, dx, dy, w, h int }

// passes are the whole picture, or the seven of the interlacing by Adam M.
// Costello (8.2) that have pixels.
func (f *File) passes() []pass {
	if !f.interlaced {
		return []pass{{0, 0, 1, 1, f.info.W, f.info.H}}
	}
	var out []pass
	for _, p := range [7]pass{{0, 0, 8, 8, 0, 0}, {4, 0, 8, 8, 0, 0}, {0, 4, 4, 8, 0, 0}, {2, 0, 4, 4, 0, 0}, {0, 2, 2, 4, 0, 0}, {1, 0, 2, 2, 0, 0}, {0, 1, 1, 2, 0, 0}} {
		p.w = (f.info.W - p.x0 + p.dx - 1) / p.dx
		p.h = (f.info.H - p.y0 + p.dy - 1) / p.dy
		if p.w > 0 && p.h > 0 {
			out = append(out, p)
		}
	}
	return out
}

// rawBlock is some whole rows of a pass as they come out of the compression.
type rawBlock struct {
	p   pass
	y0  int
	raw []byte
	err error
}

// unpack hands the filtered rows of every pass to each, rows at a time where
// that isn't 0, and at the end checks that nothing follows.
func (f *File) unpack(ctx context.Context, rows int, each func(p pass, y0 int, raw []byte) error) error {
	ctx, cancel := context.WithCancel(ctx)
	var running sync.WaitGroup
	defer running.Wait()
	defer cancel()

	free := make(chan []byte, 2)
	free <- nil
	free <- nil
	full := make(chan rawBlock, 1)
	running.Go(func() {
		defer close(full)
		put := func(b rawBlock) bool {
			select {
			case full <- b:
				return b.err == nil
			case <-ctx.Done():
				return false
			}
		}
		d := &idat{src: &f.src, next: f.idat}
		in := bufio.NewReaderSize(d, 64<<10)
		z, err := zlib.NewReader(in)
		if err != nil {
			put(rawBlock{err: d.why(err, 0)})
			return
		}
		for _, p := range f.passes() {
			line := f.rowBytes(p.w) + 1
			n := rows
			if n == 0 {
				n = max(1, blockTarget/line)
			}
			for y := 0; y < p.h; y += n {
				var raw []byte
				select {
				case raw = <-free:
				case <-ctx.Done():
					return
				}
				k := min(n, p.h-y)
				if cap(raw) < k*line {
					raw = make([]byte, k*line)
				}
				raw = raw[:k*line]
				got, err := io.ReadFull(z, raw)
				if err != nil {
					put(rawBlock{err: d.why(err, p.y0+(y+got/line)*p.dy)})
					return
				}
				if !put(rawBlock{p: p, y0: y, raw: raw}) {
					return
				}
			}
		}
		// The checksum of all of it stands behind the last byte.
		var one [1]byte
		if k, err := io.ReadFull(z, one[:]); k != 0 {
			put(rawBlock{err: codec.Errorf("IDAT", codec.Damaged, "the picture's data go on behind its last row")})
		} else if err != io.EOF {
			put(rawBlock{err: d.why(err, f.info.H)})
		} else if _, err := io.Copy(io.Discard, in); err != nil {
			put(rawBlock{err: d.why(err, f.info.H)})
		}
	})
	for b := range full {
		err := b.err
		if err == nil {
			err = ctx.Err()
		}
		if err == nil {
			err = each(b.p, b.y0, b.raw)
		}
		if err != nil {
			return err
		}
		free <- b.raw
	}
	return ctx.Err()
}

// idat is the data of the IDAT chunks in a row. Each chunk's checksum is
// checked as its end is reached.
type idat struct {
	src  *source
	next uint64 // where the next chunk begins
	c    chunk
	done uint64 // bytes read of c
	crc  uint32
	err  error // what ended the reading
}

func (d *idat) Read(p []byte) (int, error) {
	if d.err != nil {
		return 0, d.err
	}
	for d.done == d.c.n {
		if d.c.name != "" {
			if d.err = d.src.check(d.c, d.crc); d.err != nil {
				return 0, d.err
			}
		}
		var c chunk
		if c, d.err = d.src.chunk(d.next); d.err != nil {
			return 0, d.err
		}
		if c.name != "IDAT" {
			d.err = io.EOF
			return 0, d.err
		}
		d.c, d.done, d.next, d.crc = c, 0, c.end(), crc32.ChecksumIEEE([]byte("IDAT"))
	}
	p = p[:min(uint64(len(p)), d.c.n-d.done)]
	if d.err = d.src.At(p, d.c.off+d.done, "the picture's data"); d.err != nil {
		return 0, d.err
	}
	d.done += uint64(len(p))
	d.crc = crc32.Update(d.crc, crc32.IEEETable, p)
	return len(p), nil
}

// why says why the data end at row y because of err.
func (d *idat) why(err error, y int) error {
	if d.err != nil && d.err != io.EOF {
		return d.err // the file, not the compression
	}
	what := "are damaged"
	switch {
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		what = "end early"
	case errors.Is(err, zlib.ErrChecksum):
		what = "don't fit their checksum"
	case errors.Is(err, zlib.ErrHeader), errors.Is(err, zlib.ErrDictionary):
		what = "aren't compressed in the way of PNG"
	}
	return codec.Errorf("IDAT", codec.Damaged, "the picture's data (IDAT) %s, at row %d", what, y)
}
