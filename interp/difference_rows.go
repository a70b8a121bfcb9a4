package interp

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"platemark/interp/audit"
	"platemark/interp/disk"
	"platemark/interp/master"
	"platemark/ops/codec/tiff"
)

// atThePrint compares the new print file with the recorded one, if that still
// stands where it was made, bytes unchanged. It says where and by how much the
// two differ, as far as their format lets it; "" where nothing can be said.
func atThePrint(ctx context.Context, want *audit.Log, made *os.File, size int64) string {
	path := filepath.Join(filepath.Dir(want.Path), want.Run.Out)
	if sum, _, err := master.HashPath(ctx, path); err != nil || sum.String() != want.File.SHA256 {
		return ""
	}
	old, _, err := disk.Open(path)
	if err != nil {
		return ""
	}
	defer old.Close()
	var r rowDifference
	switch want.File.Args["format"] {
	case "tiff":
		r, err = compareTIFF(ctx, old, want.File.Size, made, size)
	case "jpeg":
		rows := 8 // of pixels in a row of blocks; grey has no half chroma
		for _, s := range want.Steps {
			if s.Picture == want.File.Picture && s.Channels == 3 && want.File.Args["chroma"] == "half" {
				rows = 16
			}
		}
		r, err = compareJPEG(old, want.File.Size, made, size, rows)
	default:
		return ""
	}
	if err != nil {
		return ""
	}
	return "against the recorded print, which still stands at " + path + ", " + r.String()
}

// rowDifference is where two print files of one picture differ.
type rowDifference struct {
	first, rows int // first row and how many; rows 0: the pictures are the same
	about       int // rows are known to this many, 1 = exactly
	most        int // of 65535; -1: can't be told
}

func (r rowDifference) String() string {
	if r.rows == 0 {
		return "the pictures in the files are the same"
	}
	s := fmt.Sprintf("the first row that differs is row %d, and %d rows differ", r.first, r.rows)
	if r.rows == 1 {
		s = fmt.Sprintf("row %d alone differs", r.first)
	}
	if r.about > 1 {
		s = fmt.Sprintf("the first row that differs is one of rows %d to %d, and at most %d rows differ", r.first, r.first+r.about-1, r.rows)
	}
	if r.most < 0 {
		return s + " (by how much a JPEG can't tell exactly)"
	}
	return fmt.Sprintf("%s, by at most %d of 65535", s, r.most)
}

var errTooDifferent = errors.New("the files hold different kinds of pictures")

// compareTIFF compares two TIFF files sample by sample.
func compareTIFF(ctx context.Context, old io.ReaderAt, oldSize int64, made io.ReaderAt, size int64) (d rowDifference, err error) {
	a, err := tiff.Open(old, oldSize)
	if err != nil {
		return d, err
	}
	b, err := tiff.Open(made, size)
	if err != nil {
		return d, err
	}
	i, k := a.Info(), b.Info()
	if i.W != k.W || i.H != k.H || i.Channels != k.Channels {
		return d, errTooDifferent
	}
	n := i.W * i.Channels
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	rows := make(chan []uint16, 16)
	failed := make(chan error, 1)
	go func() {
		defer close(rows)
		failed <- a.Decode(ctx, 1, func(_ int, px []uint16) error {
			for ; len(px) >= n; px = px[n:] {
				select {
				case rows <- append([]uint16(nil), px[:n]...):
				case <-ctx.Done():
					return ctx.Err()
				}
			}
			return nil
		})
	}()
	d.about = 1
	y := 0
	err = b.Decode(ctx, 1, func(_ int, px []uint16) error {
		for ; len(px) >= n; px = px[n:] {
			was, ok := <-rows
			if !ok {
				return errTooDifferent
			}
			most := 0
			for j, v := range px[:n] {
				most = max(most, int(v)-int(was[j]), int(was[j])-int(v))
			}
			if most > 0 {
				if d.rows == 0 {
					d.first = y
				}
				d.rows++
				d.most = max(d.most, most)
			}
			y++
		}
		return nil
	})
	stop()
	if e := <-failed; err == nil && y < i.H {
		err = e
	}
	return d, err
}

// compareJPEG compares two JPEG files by their restart intervals: one for every
// row of blocks, which is so many rows of the picture.
func compareJPEG(old io.ReaderAt, oldSize int64, made io.ReaderAt, size int64, rows int) (d rowDifference, err error) {
	const limit = 1 << 30
	if oldSize > limit || size > limit {
		return d, errTooDifferent
	}
	var part [2][][]byte
	for i, f := range []io.Reader{io.NewSectionReader(old, 0, oldSize), io.NewSectionReader(made, 0, size)} {
		b, err := io.ReadAll(f)
		if err != nil {
			return d, err
		}
		part[i] = intervals(b)
	}
	if len(part[0]) != len(part[1]) || len(part[0]) == 0 {
		return d, errTooDifferent
	}
	d.about, d.most = rows, -1
	for i := range part[0] {
		if !bytes.Equal(part[0][i], part[1][i]) {
			if d.rows == 0 {
				d.first = i * rows
			}
			d.rows += rows
		}
	}
	return d, nil
}

// intervals cuts the entropy-coded data of a baseline JPEG with one scan at its
// restart markers.
func intervals(b []byte) (list [][]byte) {
	i := 2
	for i+4 <= len(b) && b[i] == 0xff {
		n := 2 + int(b[i+2])<<8 + int(b[i+3])
		scan := b[i+1] == 0xda
		i += n
		if scan {
			break
		}
	}
	if i > len(b) {
		return nil
	}
	begin := i
	for ; i+1 < len(b); i++ {
		if b[i] == 0xff && (b[i+1] >= 0xd0 && b[i+1] <= 0xd7 || b[i+1] == 0xd9) {
			list = append(list, b[begin:i])
			begin = i + 2
		}
	}
	return list
}
