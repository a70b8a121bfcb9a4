package interp

import (
	"crypto/sha256"
	"fmt"
	"hash"
	"io"

	"platemark/interp/disk"
	"platemark/ops"
	"platemark/ops/codec/jpeg"
	"platemark/ops/codec/meta"
	"platemark/ops/codec/tiff"
	"platemark/ops/raster"
)

func (f FileSpec) jpegOptions(p ops.Pic) jpeg.Options {
	return jpeg.Options{W: p.W, H: p.H, C: p.C, Quality: f.Quality, HalfChroma: f.Half, PPI: f.PPI,
		ICC: f.Profile.Bytes(), Title: f.Title, Rights: f.Rights}
}

func (f FileSpec) tiffOptions(p ops.Pic) tiff.Options {
	o := tiff.Options{W: p.W, H: p.H, C: p.C, Bits: f.Bits, PPI: f.PPI, Title: f.Title, Rights: f.Rights}
	if f.Profile != nil {
		o.ICC = f.Profile.Bytes()
	}
	if f.Title != "" || f.Rights != "" {
		o.XMP = meta.XMP(f.Title, f.Rights)
	}
	return o
}

// fileSink streams a print file in order and takes its digest.
type fileSink struct {
	w     io.Writer
	sum   hash.Hash
	n     int64
	rows  int
	make  func() sinkWorker
	limit int64
	most  int64 // the largest size allowed, if not 0
	bytes int   // of a row, see rowBytes
}

func (s *fileSink) rowBytes() int { return s.bytes }

// rowBytes is what a row takes in the file: exact for TIFF, for JPEG about what
// a rich picture at top quality takes.
func (f FileSpec) rowBytes(p ops.Pic) int {
	if f.Format == "tiff" {
		return p.Stride() * f.Bits / 8
	}
	return p.Stride() * 2 / 3
}

func (s *fileSink) worker() sinkWorker { return s.make() }
func (s *fileSink) align() int         { return s.rows }

func (s *fileSink) emit(b []byte) error {
	if s.most > 0 && s.n+int64(len(b)) > s.most {
		return &TooLarge{Limit: s.most}
	}
	if s.n+int64(len(b)) > s.limit {
		return fmt.Errorf("the file grew above %d bytes, more than its format can need", s.limit)
	}
	s.sum.Write(b)
	s.n += int64(len(b))
	if _, err := s.w.Write(b); err != nil {
		return disk.PlainError(err)
	}
	return nil
}

// digest is the SHA-256 of everything written.
func (s *fileSink) digest() (d raster.Sum) {
	s.sum.Sum(d[:0])
	return d
}

// newFileSink writes the head of a print file; done writes its tail.
func newFileSink(w io.Writer, f FileSpec, p ops.Pic) (s *fileSink, done func() error, err error) {
	s = &fileSink{w: w, sum: sha256.New(), limit: 1 << 60, most: f.LargestBytes, bytes: f.rowBytes(p)}
	var head, tail []byte
	switch f.Format {
	case "jpeg":
		e, err := jpeg.New(f.jpegOptions(p))
		if err != nil {
			return nil, nil, err
		}
		head, tail, s.rows = e.Header(), e.Trailer(), e.RowHeight()
		s.make = func() sinkWorker {
			n := e.RowHeight()
			w := &jpegRows{enc: e.Worker(), height: n, last: p.H, buf: make([]uint16, n*p.Stride()), stride: p.Stride()}
			return w
		}
	case "tiff":
		l, err := tiff.NewLayout(f.tiffOptions(p))
		if err != nil {
			return nil, nil, err
		}
		head, tail, s.rows, s.limit = l.Header(), l.Trailer(), 1, l.Size()
		s.make = func() sinkWorker { return &tiffRows{l: l} }
	default:
		return nil, nil, fmt.Errorf("internal: no print file format %q", f.Format)
	}
	return s, func() error { return s.emit(tail) }, s.emit(head)
}

// jpegRows gathers rows into rows of blocks.
type jpegRows struct {
	enc    *jpeg.Worker
	height int // rows of a row of blocks
	last   int // the picture's height
	stride int
	buf    []uint16
	rows   [][]uint16
	out    []byte
	most   int // bytes that a band is likely to need, by those before it
}

func (j *jpegRows) row(y int, samples []uint16) error {
	k := len(j.rows)
	r := j.buf[k*j.stride : (k+1)*j.stride]
	copy(r, samples)
	j.rows = append(j.rows, r)
	if len(j.rows) == j.height || y == j.last-1 {
		j.out = j.enc.Encode(j.out, y/j.height, j.rows)
		j.rows = j.rows[:0]
	}
	return nil
}

func (j *jpegRows) finish(dst []byte) ([]byte, error) {
	out := j.out
	j.most = max(j.most, len(out)+len(out)/8)
	if j.out = dst; dst == nil {
		j.out = make([]byte, 0, j.most)
	}
	return out, nil
}

// tiffRows writes rows as they stand in the file.
type tiffRows struct {
	l    *tiff.Layout
	out  []byte
	most int // bytes of a band
}

func (t *tiffRows) room(n int) { t.most = n }

func (t *tiffRows) row(_ int, samples []uint16) error {
	if t.out == nil {
		t.out = make([]byte, 0, t.most)
	}
	t.out = t.l.AppendRow(t.out, samples)
	return nil
}

func (t *tiffRows) finish(dst []byte) ([]byte, error) {
	out := t.out
	t.out = dst
	return out, nil
}

// storeSink keeps the rows in a store; nothing is emitted.
type storeSink struct{ st *raster.Store }

func (s storeSink) worker() sinkWorker { return &storeRows{st: s.st} }
func (s storeSink) emit([]byte) error  { return nil }
func (s storeSink) align() int         { return 1 }

type storeRows struct {
	st      *raster.Store
	scratch []byte
}

func (s *storeRows) row(y int, samples []uint16) error { return s.st.WriteRow(y, samples, &s.scratch) }

func (s *storeRows) finish(dst []byte) ([]byte, error) { return dst, nil }

// columns passes on a part of each row.
type columns struct {
	sink
	from, till int // samples
}

func (c columns) worker() sinkWorker { return columnRows{c.sink.worker(), c.from, c.till} }

type columnRows struct {
	sinkWorker
	from, till int
}

func (c columnRows) row(y int, samples []uint16) error {
	return c.sinkWorker.row(y, samples[c.from:c.till])
}
