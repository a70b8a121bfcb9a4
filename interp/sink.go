package interp

import (
	"crypto/sha256"
	"fmt"
	"hash"
	"io"
	"slices"

	"platemark/interp/disk"
	"platemark/interp/engine"
	"platemark/interp/plan"
	"platemark/ops"
	"platemark/ops/codec/jpeg"
	"platemark/ops/codec/tiff"
	"platemark/ops/raster"
)

// fileSink streams a print file in order and takes its digest.
type fileSink struct {
	w     io.Writer
	sum   hash.Hash
	n     int64
	rows  int
	make  func(band int) engine.SinkWorker
	limit int64
	most  int64 // the largest size allowed, if not 0
	bytes int   // of a row, see FileSpec.rowBytes
}

func (s *fileSink) Worker(band int) engine.SinkWorker { return s.make(band) }
func (s *fileSink) Align() int                        { return s.rows }
func (s *fileSink) RowBytes() int                     { return s.bytes }

func (s *fileSink) Emit(b []byte) error {
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
func newFileSink(w io.Writer, f plan.FileSpec, p ops.Pic) (s *fileSink, done func() error, err error) {
	s = &fileSink{w: w, sum: sha256.New(), limit: 1 << 60, most: f.LargestBytes, bytes: f.RowBytes(p)}
	var head, tail []byte
	switch f.Format {
	case "jpeg":
		e, err := jpeg.New(f.JPEGOptions(p))
		if err != nil {
			return nil, nil, err
		}
		head, tail, s.rows = e.Header(), e.Trailer(), e.RowHeight()
		s.make = func(band int) engine.SinkWorker {
			return &jpegRows{enc: e.Worker(), height: e.RowHeight(), last: p.H, most: band}
		}
	case "tiff":
		l, err := tiff.NewLayout(f.TIFFOptions(p))
		if err != nil {
			return nil, nil, err
		}
		head, tail, s.rows, s.limit = l.Header(), l.Trailer(), 1, l.Size()
		s.make = func(band int) engine.SinkWorker { return &tiffRows{l: l, most: band} }
	default:
		return nil, nil, fmt.Errorf("internal: no print file format %q", f.Format)
	}
	return s, func() error { return s.Emit(tail) }, s.Emit(head)
}

// jpegRows gathers rows into rows of blocks.
type jpegRows struct {
	enc    *jpeg.Worker
	height int // rows of a row of blocks
	last   int // the picture's height
	rows   [][]uint16
	out    []byte
	most   int // bytes of a band, about
}

func (j *jpegRows) Row(y int, samples []uint16) error {
	if j.out == nil {
		j.out = make([]byte, 0, j.most)
	}
	j.rows = append(j.rows, samples)
	if len(j.rows) == j.height || y == j.last-1 {
		j.out = j.enc.Encode(j.out, y/j.height, j.rows)
		j.rows = j.rows[:0]
	}
	return nil
}

func (j *jpegRows) Finish(dst []byte) ([]byte, error) {
	out := j.out
	j.out = dst
	return out, nil
}

// tiffRows writes rows as they stand in the file.
type tiffRows struct {
	l    *tiff.Layout
	out  []byte
	most int // bytes of a band
}

func (t *tiffRows) Row(y int, samples []uint16) error {
	if t.out == nil {
		t.out = make([]byte, 0, t.most)
	}
	t.out = t.l.AppendRow(t.out, samples, y)
	return nil
}

func (t *tiffRows) Finish(dst []byte) ([]byte, error) {
	out := t.out
	t.out = dst
	return out, nil
}

// columns passes on a part of each row.
type columns struct {
	engine.Sink
	from, till int // samples
}

func (c columns) Worker(band int) engine.SinkWorker {
	return columnRows{c.Sink.Worker(band), c.from, c.till}
}

type columnRows struct {
	engine.SinkWorker
	from, till int
}

func (c columnRows) Row(y int, samples []uint16) error {
	return c.SinkWorker.Row(y, samples[c.from:c.till])
}

// rowsOf gives a sink rows that are computed already, in one band.
func rowsOf(s engine.Sink, px []uint16, stride int) error {
	w := s.Worker(len(px) / stride * s.RowBytes())
	y := 0
	for row := range slices.Chunk(px, stride) {
		if err := w.Row(y, row); err != nil {
			return err
		}
		y++
	}
	band, err := w.Finish(nil)
	if err != nil {
		return err
	}
	return s.Emit(band)
}
