package raster

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"os"
	"path/filepath"
	"testing"
)

// A plain second reading of the digest's definition: SHA-256 of each row's
// little-endian samples, of 256 row digests each, of the head and the band
// digests.
func plainSum(w, h, c int, profile Sum, px []uint16) Sum {
	var rows []byte
	for y := range h {
		var b bytes.Buffer
		binary.Write(&b, binary.LittleEndian, px[y*w*c:(y+1)*w*c])
		s := sha256.Sum256(b.Bytes())
		rows = append(rows, s[:]...)
	}
	var all bytes.Buffer
	binary.Write(&all, binary.LittleEndian, []uint32{uint32(w), uint32(h), uint32(c)})
	all.Write(profile[:])
	for len(rows) > 0 {
		n := min(256*32, len(rows))
		s := sha256.Sum256(rows[:n])
		all.Write(s[:])
		rows = rows[n:]
	}
	return sha256.Sum256(all.Bytes())
}

func TestPictureSum(t *testing.T) {
	for _, h := range []int{1, 2, 255, 256, 257, 512, 700} {
		const w, c = 5, 3
		px := make([]uint16, w*h*c)
		for i := range px {
			px[i] = uint16(i * 40503)
		}
		var scratch []byte
		var sums []Sum
		for y := range h {
			sums = append(sums, RowSum(px[y*w*c:(y+1)*w*c], &scratch))
		}
		profile := Sum{1, 2, 3}
		if got, want := PictureSum(w, h, c, profile, Bands(sums)), plainSum(w, h, c, profile, px); got != want {
			t.Errorf("%d rows: %s, expected %s", h, got, want)
		}
	}
}

// The SHA-256 of no bytes, as published with the standard's test values (from
// memory: e3b0c442…).
func TestEmptyRow(t *testing.T) {
	var scratch []byte
	if got := RowSum(nil, &scratch).String(); got != "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855" {
		t.Error(got)
	}
}

// A store in a file gives back the same rows as one in memory, and closes it.
func TestStores(t *testing.T) {
	const w, h, c = 7, 9, 3
	f, err := os.Create(filepath.Join(t.TempDir(), "picture"))
	if err != nil {
		t.Fatal(err)
	}
	stores := []*Store{NewMemory(w, h, c), NewFile(f, w, h, c)}
	row, got := make([]uint16, w*c), make([]uint16, w*c)
	var scratch []byte
	for _, s := range stores {
		for y := h - 1; y >= 0; y-- {
			for i := range row {
				row[i] = uint16(y*1000 + i*77)
			}
			if err := s.WriteRow(y, row, &scratch); err != nil {
				t.Fatal(err)
			}
		}
		for y := range h {
			if err := s.ReadRow(got, y, &scratch); err != nil {
				t.Fatal(err)
			}
			for i := range got {
				if want := uint16(y*1000 + i*77); got[i] != want {
					t.Fatalf("row %d sample %d is %d, expected %d", y, i, got[i], want)
				}
			}
		}
		if s.Bytes() != 2*w*h*c {
			t.Error(s.Bytes())
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}
	if err := f.Close(); err == nil {
		t.Error("the temporary file is still open")
	}
}
