package raster

import (
	"encoding/binary"
	"fmt"
	"io"
	"os"
	"runtime"
	"sync/atomic"
)

// Store holds a whole picture of W x H pixels of C channels, 16 bits each, in
// memory or in a temporary file. Different rows may be written and read from
// different goroutines at once; a row is written before it is read.
type Store struct {
	W, H, C int
	mem     []uint16
	file    *os.File
}

// NewMemory sets aside the whole picture in memory.
func NewMemory(w, h, c int) *Store {
	huge(2 * int64(w) * int64(h) * int64(c))
	return &Store{W: w, H: h, C: c, mem: make([]uint16, w*h*c)}
}

var roomy atomic.Int64 // the most that was asked for

// Roomy makes ready so many bytes of memory for the rows that workers will hold, once
// in a process, or for more than then.
func Roomy(bytes int64) {
	if bytes > roomy.Load() {
		roomy.Store(bytes)
		huge(bytes)
	}
}

// Of holds a picture that is in memory already: px is it, not a copy.
func Of(px []uint16, w, h, c int) *Store { return &Store{W: w, H: h, C: c, mem: px} }

// NewFile keeps the picture in f, which it owns from now on: Close closes it.
// f must have room for W*H*C*2 bytes.
func NewFile(f *os.File, w, h, c int) *Store {
	return &Store{W: w, H: h, C: c, file: f}
}

// InMemory says whether rows can be had without copying.
func (s *Store) InMemory() bool { return s.file == nil }

// Memory is the picture itself, nil for one in a file.
func (s *Store) Memory() []uint16 { return s.mem }

// Direct is row y itself, read-only, for a picture in memory.
func (s *Store) Direct(y int) []uint16 {
	n := s.W * s.C
	return s.mem[y*n : (y+1)*n : (y+1)*n]
}

// ReadRow copies row y into dst; scratch is grown as needed and kept by the
// caller.
func (s *Store) ReadRow(dst []uint16, y int, scratch *[]byte) error {
	return s.ReadPart(dst, y, 0, scratch)
}

// ReadPart copies the samples of row y from number from on into dst.
func (s *Store) ReadPart(dst []uint16, y, from int, scratch *[]byte) error {
	if s.file == nil {
		copy(dst, s.Direct(y)[from:])
		return nil
	}
	n := 2 * len(dst)
	if cap(*scratch) < n {
		*scratch = make([]byte, n)
	}
	b := (*scratch)[:n]
	if _, err := s.file.ReadAt(b, 2*(int64(y)*int64(s.W)*int64(s.C)+int64(from))); err != nil {
		if err == io.EOF {
			err = io.ErrUnexpectedEOF
		}
		return fmt.Errorf("reading row %d of the temporary picture: %w", y, err)
	}
	for i := range dst {
		dst[i] = binary.LittleEndian.Uint16(b[2*i:])
	}
	return nil
}

// WriteRow sets row y; a row that is there already, as Memory has it, stays.
func (s *Store) WriteRow(y int, row []uint16, scratch *[]byte) error {
	if s.file == nil {
		if dst := s.Direct(y); &dst[0] != &row[0] {
			copy(dst, row)
		}
		return nil
	}
	b := LE(row, scratch)
	if _, err := s.file.WriteAt(b, int64(y)*int64(len(b))); err != nil {
		return fmt.Errorf("writing row %d of the temporary picture: %w", y, err)
	}
	return nil
}

// Bytes is the room the picture takes.
func (s *Store) Bytes() int64 { return 2 * int64(s.W) * int64(s.H) * int64(s.C) }

// large is the room from which on a picture in memory is given back at once.
const large = 16 << 20

// Close gives the memory back, or closes the temporary file. A
// large picture isn't left to a later round of the collector: that comes only
// when the heap has doubled, which beside two such pictures is a third and a
// fourth of them.
func (s *Store) Close() error {
	if s.mem != nil {
		s.mem = nil
		if s.Bytes() >= large {
			runtime.GC()
		}
	}
	if s.file == nil {
		return nil
	}
	return s.file.Close()
}
