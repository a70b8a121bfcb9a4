package tiff

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"math"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"platemark/ops/codec"
	"platemark/ops/codec/tiff/tifftest"
)

// refused decodes b, wants an *Error, and measures what was set aside.
func refused(t *testing.T, name string, b []byte, says ...string) {
	t.Helper()
	var m0, m1 runtime.MemStats
	runtime.ReadMemStats(&m0)
	start := time.Now()
	_, _, err := decodeAll(b, 2)
	took := time.Since(start)
	runtime.ReadMemStats(&m1)
	var e *codec.Error
	if !errors.As(err, &e) {
		t.Errorf("%s: %v", name, err)
		return
	}
	for _, s := range says {
		if !strings.Contains(err.Error(), s) {
			t.Errorf("%s: %q doesn't say %q", name, err, s)
		}
	}
	if got := m1.TotalAlloc - m0.TotalAlloc; got > 64<<20 {
		t.Errorf("%s: %d bytes set aside", name, got)
	}
	if took > time.Second {
		t.Errorf("%s: took %v", name, took)
	}
}

// valueOf is the count and the value of a tag in a little-endian classic file
// of one picture.
func valueOf(b []byte, tag uint16) []byte {
	le := binary.LittleEndian
	ifd := b[le.Uint32(b[4:]):]
	for e := ifd[2:]; ; e = e[12:] {
		if le.Uint16(e) == tag {
			return e[4:]
		}
	}
}

// golang/go #80122: strip places outside the file.
func TestStripPlaces(t *testing.T) {
	longs := func(tag uint16, v ...uint64) []tifftest.Tag { return []tifftest.Tag{{Tag: tag, Type: 4, Values: v}} }
	for _, c := range []struct {
		name string
		rows int
		set  []tifftest.Tag
		says string
	}{
		{"offset far outside", 0, longs(273, 0xFFFFFFF0), "StripOffsets"},
		{"offset one too far", 0, longs(273, 200), "StripOffsets"},
		{"offset 0", 0, longs(273, 0), "header"},
		{"offset in the header", 0, longs(273, 7), "header"},
		{"count 0", 0, longs(279, 0), "empty"},
		{"count too small", 0, longs(279, 3), "has 3 bytes, but its pixels need 4"},
		{"count beyond the end", 0, longs(279, 0xFFFFFFFF), "StripByteCounts"},
		{"3 offsets but 2 counts", 1, append(longs(273, 8, 10, 12), longs(279, 2, 2)...), "names 3 strips"},
		{"too few of both", 1, append(longs(273, 8), longs(279, 4)...), "need 2 strips"},
	} {
		p := tifftest.Picture{W: 2, H: 2, C: 1, Bits: 8, RowsPerStrip: c.rows, Set: c.set}
		b := one(p).Bytes()
		if len(b) > 160 {
			t.Fatalf("%d bytes", len(b))
		}
		refused(t, c.name, b, c.says)
	}
	// Offsets that overflow 64 bits.
	for _, off := range []uint64{math.MaxUint64, math.MaxUint64 - 3, 1 << 63, 1<<63 - 1} {
		p := tifftest.Picture{W: 2, H: 2, C: 1, Bits: 8, Set: []tifftest.Tag{{Tag: 273, Type: 16, Values: []uint64{off}}}}
		refused(t, "BigTIFF offset", tifftest.File{BigTIFF: true, Pictures: []tifftest.Picture{p}}.Bytes(), "StripOffsets")
		p.Set = []tifftest.Tag{{Tag: 279, Type: 16, Values: []uint64{off}}}
		refused(t, "BigTIFF count", tifftest.File{BigTIFF: true, Pictures: []tifftest.Picture{p}}.Bytes(), "StripOffsets")
	}
}

// c2pa-rs #2068: directories in a circle.
func TestDirectoryLoops(t *testing.T) {
	le := binary.LittleEndian
	self := []byte{'I', 'I', 42, 0, 8, 0, 0, 0, 0, 0, 8, 0, 0, 0}
	refused(t, "14 bytes", self, "circle", "byte 8")
	aba := []byte{'I', 'I', 42, 0, 8, 0, 0, 0, 0, 0, 14, 0, 0, 0, 0, 0, 8, 0, 0, 0}
	refused(t, "A to B to A", aba, "circle", "byte 8")

	p := tifftest.Picture{W: 2, H: 2, C: 1, Bits: 8, Set: []tifftest.Tag{{Tag: 330, Type: 4, Values: []uint64{0}}}}
	b := one(p).Bytes()
	ifd := le.Uint32(b[4:])
	le.PutUint32(valueOf(b, 330)[4:], ifd)
	refused(t, "SubIFD to its parent", b, "circle")

	// A whole picture doesn't excuse a circle behind it.
	b = one(tifftest.Picture{W: 2, H: 2, C: 1, Bits: 8}).Bytes()
	le.PutUint32(b[len(b)-4:], le.Uint32(b[4:]))
	refused(t, "picture, then circle", b, "circle")

	// Sub-directories that are chained too, to each other and from the picture,
	// are no circle: each is read once.
	small := tifftest.Picture{W: 1, H: 1, C: 1, Bits: 8, Set: []tifftest.Tag{{Tag: 254, Type: 4, Values: []uint64{1}}}}
	whole := tifftest.Picture{W: 2, H: 2, C: 1, Bits: 8, SubIFDs: []tifftest.Picture{small, small}}
	b = one(whole).Bytes()
	subs := b[le.Uint32(valueOf(b, 330)[4:]):]
	first, second := le.Uint32(subs), le.Uint32(subs[4:])
	nextOf := func(ifd uint32) []byte { return b[ifd+2+12*uint32(le.Uint16(b[ifd:])):] }
	le.PutUint32(nextOf(first), second)
	le.PutUint32(nextOf(le.Uint32(b[4:])), first)
	f, got, err := decodeAll(b, 1)
	if err != nil || !slices.Equal(got, whole.Samples()) || len(f.Info().Others) != 2 {
		t.Errorf("sub-directories that are chained too: %v", err)
	}
	le.PutUint32(nextOf(second), first)
	refused(t, "sub-directories in a circle", b, "circle")

	// Many directories that overlap, each at its own place.
	many := []byte{'I', 'I', 42, 0, 8, 0, 0, 0}
	for i := range 2000 {
		many = append(many, 0, 0)
		many = le.AppendUint32(many, uint32(8+6*(i+1)))
	}
	refused(t, "2000 directories", many, "more than 1024 directories")

	many = []byte{'I', 'I', 43, 0, 8, 0, 0, 0, 16, 0, 0, 0, 0, 0, 0, 0}
	many = le.AppendUint64(many, 1<<60)
	refused(t, "2^60 tags", many, "tags")
}

// Damage behind the first picture is told, and the picture read.
func TestDamageBehindThePicture(t *testing.T) {
	p := tifftest.Picture{W: 2, H: 2, C: 1, Bits: 8}
	b := one(p).Bytes()
	binary.LittleEndian.PutUint32(b[len(b)-4:], 1<<30)
	f, got, err := decodeAll(b, 1)
	if err != nil || !slices.Equal(got, p.Samples()) || len(f.Info().Warnings) != 1 {
		t.Errorf("%v", err)
	}
}

// golang/go #12512: sizes far beyond the data.
func TestClaimedSizes(t *testing.T) {
	for _, side := range []uint64{20000, 65535, 300000, 1 << 20, 1<<20 + 1, math.MaxUint32} {
		for _, lzw := range []bool{false, true} {
			for _, tile := range []int{0, 16} {
				for _, rows := range []uint64{1, 1 << 20} {
					p := tifftest.Picture{W: 4, H: 4, C: 1, Bits: 8, LZW: lzw, TileW: tile, TileH: tile,
						Set: []tifftest.Tag{{Tag: 256, Type: 4, Values: []uint64{side}}, {Tag: 257, Type: 4, Values: []uint64{side}}}}
					if tile == 0 {
						p.Set = append(p.Set, tifftest.Tag{Tag: 278, Type: 4, Values: []uint64{rows}})
					}
					b := one(p).Bytes()
					if side == 20000 && len(b) > 500 {
						t.Fatalf("%d bytes", len(b))
					}
					refused(t, "sizes", b, "pixels")
				}
			}
		}
	}
	// One tile that claims far more than it has.
	p := tifftest.Picture{W: 4, H: 4, C: 3, Bits: 16, LZW: true, TileW: 16, TileH: 16,
		Set: []tifftest.Tag{{Tag: 322, Type: 4, Values: []uint64{1 << 20}}, {Tag: 323, Type: 4, Values: []uint64{1 << 20}}}}
	refused(t, "one tile", one(p).Bytes(), "can't hold")
	p.Set = []tifftest.Tag{tifftest.Bytes(34675, 7, []byte("abcde"))}
	b := one(p).Bytes()
	binary.LittleEndian.PutUint32(valueOf(b, 34675)[4:], 1<<31)
	refused(t, "profile outside", b, "ICCProfile")
}

func TestLZWGarbage(t *testing.T) {
	p := tifftest.Picture{W: 40, H: 24, C: 3, Bits: 16, LZW: true, RowsPerStrip: 8, Predictor: 2}
	good := one(p).Bytes()
	f, err := Open(bytes.NewReader(good), int64(len(good)))
	if err != nil {
		t.Fatal(err)
	}
	at := int(f.chunks.offset[1])
	for _, c := range []struct {
		name, says string
		data       []byte
	}{
		{"first code too high", "holds the code 511", []byte{0x80, 0x3f, 0xff, 0xff}},
		{"ends at once", "strip 2 of 3 ends before", []byte{0x80, 0x40, 0x40}},
		{"all ones", "holds the code 511", []byte{0xff, 0xff, 0xff}},
	} {
		b := slices.Clone(good)
		copy(b[at:], c.data)
		refused(t, c.name, b, c.says)
	}
	b := slices.Clone(good)
	copy(b[f.chunks.offset[0]:], []byte{0x00, 0x01})
	refused(t, "lowest bit first", b, "early form")
}

// Cut short at every byte: refused, or all pixels are there.
func TestTruncatedEverywhere(t *testing.T) {
	for _, tf := range []tifftest.File{
		one(tifftest.Picture{W: 5, H: 4, C: 3, Bits: 16, RowsPerStrip: 3, Set: resolution(300, 1, 2)}),
		one(tifftest.Picture{W: 5, H: 4, C: 3, Bits: 8, LZW: true, Predictor: 2, TileW: 16, TileH: 16}),
		{BigTIFF: true, BigEndian: true, Pictures: []tifftest.Picture{{W: 5, H: 4, C: 1, Bits: 16}, {W: 2, H: 2, C: 1, Bits: 8}}},
		one(tifftest.Picture{W: 5, H: 4, C: 3, Bits: 16, Packing: 8, Predictor: 2, RowsPerStrip: 3}),
		{BigEndian: true, Pictures: []tifftest.Picture{{W: 5, H: 4, C: 3, Bits: 16, Packing: 32946, Planar: true, TileW: 16, TileH: 16}}},
		one(tifftest.Picture{W: 5, H: 4, C: 3, Bits: 8, Packing: 32773, RowsPerStrip: 2, Planar: true}),
		one(tifftest.Picture{W: 5, H: 4, C: 3, Bits: 16, Planar: true, RowsPerStrip: 3}),
	} {
		b := tf.Bytes()
		for n := range b {
			_, got, err := decodeAll(b[:n], 1)
			if err == nil && !slices.Equal(got, tf.Pictures[0].Samples()) {
				t.Fatalf("cut to %d of %d bytes: other samples without an error", n, len(b))
			}
			var e *codec.Error
			if err != nil && !errors.As(err, &e) {
				t.Fatalf("cut to %d bytes: %v", n, err)
			}
		}
	}
}

type failing struct{ err error }

func (f failing) ReadAt([]byte, int64) (int, error) { return 0, f.err }

func TestReadErrorsAreHandedOn(t *testing.T) {
	want := errors.New("the disk is gone")
	if _, err := Open(failing{want}, 1000); !errors.Is(err, want) {
		t.Error(err)
	}
}

// tall is a picture above all block limits once smallBlocks was called, in the
// given cut.
func tall(lzw bool, rows, tw, th int) tifftest.Picture {
	return tifftest.Picture{W: 70, H: 620, C: 1, Bits: 8, LZW: lzw, RowsPerStrip: rows, TileW: tw, TileH: th,
		At: func(x, y, _ int) uint16 { return uint16(x / 3 * y & 255) }}
}

// smallBlocks sets the limits of blocks to a hundredth.
func smallBlocks(t *testing.T) {
	testOnlyBlockMost = blockMost / 100
	t.Cleanup(func() { testOnlyBlockMost = 0 })
}

// One giant LZW strip and tall LZW tiles go through the piece-by-piece way,
// and give what was written.
func TestGiantChunks(t *testing.T) {
	smallBlocks(t)
	for _, p := range []tifftest.Picture{tall(true, 0, 0, 0), tall(true, 0, 32, 624), tall(true, 40, 0, 0), tall(false, 0, 0, 0), tall(false, 0, 32, 624)} {
		b := one(p).Bytes()
		for _, workers := range []int{1, 4} {
			f, got, err := decodeAll(b, workers)
			if err != nil {
				t.Fatal(err)
			}
			if slow := p.LZW && p.RowsPerStrip == 0; f.slow != slow {
				t.Fatalf("slow way: %v", f.slow)
			}
			if f.blockRows >= p.H {
				t.Fatalf("one block of %d rows", f.blockRows)
			}
			if !slices.Equal(got, p.Samples()) {
				t.Fatal("other samples")
			}
		}
	}
}

func TestDecodeStops(t *testing.T) {
	smallBlocks(t)
	for _, p := range []tifftest.Picture{tall(true, 0, 0, 0), tall(true, 40, 0, 0), tall(false, 40, 0, 0)} {
		b := one(p).Bytes()
		f, err := Open(bytes.NewReader(b), int64(len(b)))
		if err != nil {
			t.Fatal(err)
		}
		before := runtime.NumGoroutine()
		ctx, cancel := context.WithCancel(context.Background())
		calls := 0
		err = f.Decode(ctx, 3, func(int, []uint16) error { calls++; cancel(); return nil })
		if err != context.Canceled || calls != 1 {
			t.Errorf("cancelled: %v after %d calls", err, calls)
		}
		want := errors.New("full")
		if err := f.Decode(context.Background(), 3, func(int, []uint16) error { return want }); err != want {
			t.Errorf("emit failed: %v", err)
		}
		for i := 0; runtime.NumGoroutine() > before && i < 100; i++ {
			time.Sleep(time.Millisecond)
		}
		if n := runtime.NumGoroutine(); n > before {
			t.Errorf("%d goroutines are left", n-before)
		}
	}
}

// odd is a small file of one of many kinds.
func odd(i int) tifftest.File {
	bits := []int{1, 2, 4, 8, 12, 16, 24, 32, 16, 24, 32, 64}[i%12]
	p := tifftest.Picture{W: 5, H: 4, C: 1 + i%5, Bits: bits, Float: i%12 > 7, Planar: i%7 < 3, Packing: []int{0, 8, 32773, 32946}[i/12%4], Predictor: 1,
		Raw: func(x, y, c int) uint64 { return uint64(x*y+c) * 0x1234567 & (1<<(bits-1)<<1 - 1) }}
	if p.Packing == 8 && bits != 24 && bits >= 8 && bits != 12 {
		p.Predictor = 2
		if p.Float {
			p.Predictor = 3
		}
	}
	if i%3 == 0 {
		p.TileW, p.TileH = 16, 16
	}
	switch p.C {
	case 2, 4:
		p.Set = []tifftest.Tag{{Tag: 338, Type: 3, Values: []uint64{uint64(i / 2 % 3)}}}
	case 1:
		if bits <= 8 {
			p.Set = []tifftest.Tag{{Tag: 262, Type: 3, Values: []uint64{3}}, {Tag: 320, Type: 3, Values: make([]uint64, 3<<bits)}}
		}
	}
	return tifftest.File{BigEndian: i%2 == 0, BigTIFF: i%5 == 0, Pictures: []tifftest.Picture{p}}
}

func FuzzOpen(f *testing.F) {
	variants(func(name string, tf tifftest.File) {
		if tf.Pictures[0].C == 3 && len(name)%5 == 0 {
			tf.Pictures[0].W, tf.Pictures[0].H = 5, 4
			f.Add(tf.Bytes())
		}
	})
	for i := range 60 {
		f.Add(odd(i).Bytes())
	}
	f.Add([]byte{'I', 'I', 42, 0, 8, 0, 0, 0, 0, 0, 8, 0, 0, 0})
	for _, tag := range []uint16{273, 279} {
		for _, v := range []uint64{0, 4, 0xFFFFFFF0} {
			f.Add(one(tifftest.Picture{W: 2, H: 2, C: 1, Bits: 8, Set: []tifftest.Tag{{Tag: tag, Type: 4, Values: []uint64{v}}}}).Bytes())
		}
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		file, err := Open(bytes.NewReader(b), int64(len(b)))
		if err != nil {
			return
		}
		in := file.Info()
		if int64(in.W)*int64(in.H) > 1<<22 {
			return // honest, but slow to go through again and again
		}
		_, one, err1 := decodeAll(b, 1)
		_, three, err3 := decodeAll(b, 3)
		if (err1 == nil) != (err3 == nil) || err1 == nil && !slices.Equal(one, three) {
			t.Fatalf("workers matter: %v, %v", err1, err3)
		}
		_, white1, n1, err1 := counted(b, 1, true)
		testOnlyBlockMost = 200
		_, white2, n2, err2 := counted(b, 2, true)
		testOnlyBlockMost = 0
		if err1 == nil && err2 == nil && (!slices.Equal(white1, white2) || n1 != n2) {
			t.Fatalf("pieces matter: %+v, %+v", n1, n2)
		}
		if n := n1; n.Clipped+n.NotNumbers > n.Samples || n.Translucent > n.Pixels {
			t.Fatalf("%+v", n)
		}
	})
}
