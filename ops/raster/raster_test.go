package raster

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"os"
	"path/filepath"
	"testing"
)

// plainCRC is CRC-32C bit by bit: the polynomial 1EDC6F41 (RFC 3720, 12.1),
// reflected.
func plainCRC(b []byte) uint32 {
	c := ^uint32(0)
	for _, v := range b {
		c ^= uint32(v)
		for range 8 {
			c = c>>1 ^ 0x82f63b78*(c&1)
		}
	}
	return ^c
}

// A plain second reading of the digest's definition: CRC-32C of each row's
// little-endian samples, SHA-256 of 256 of these each, of the head and the band
// digests.
func plainSum(w, h, c int, profile Sum, px []uint16) Sum {
	var rows []byte
	for y := range h {
		var b bytes.Buffer
		binary.Write(&b, binary.LittleEndian, px[y*w*c:(y+1)*w*c])
		rows = binary.LittleEndian.AppendUint32(rows, plainCRC(b.Bytes()))
	}
	var all bytes.Buffer
	binary.Write(&all, binary.LittleEndian, []uint32{uint32(w), uint32(h), uint32(c)})
	all.Write(profile[:])
	for len(rows) > 0 {
		n := min(256*4, len(rows))
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
		var sums []uint32
		for y := range h {
			sums = append(sums, RowSum(px[y*w*c:(y+1)*w*c], &scratch))
		}
		profile := Sum{1, 2, 3}
		if got, want := PictureSum(w, h, c, profile, Bands(sums)), plainSum(w, h, c, profile, px); got != want {
			t.Errorf("%d rows: %s, expected %s", h, got, want)
		}
	}
}

// The published values of RFC 3720, B.4 (from memory), each over 32 bytes.
func TestRowSum(t *testing.T) {
	for _, c := range []struct {
		of   func(i int) byte
		want uint32
	}{
		{func(i int) byte { return 0 }, 0x8a9136aa},
		{func(i int) byte { return 0xff }, 0x62a8ab43},
		{func(i int) byte { return byte(i) }, 0x46dd794e},
		{func(i int) byte { return byte(31 - i) }, 0x113fdb5c},
	} {
		row := make([]uint16, 16)
		for i := range row {
			row[i] = uint16(c.of(2*i)) | uint16(c.of(2*i+1))<<8
		}
		var scratch []byte
		if got := RowSum(row, &scratch); got != c.want {
			t.Errorf("%08x, expected %08x", got, c.want)
		}
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
