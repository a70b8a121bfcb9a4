package tiff

import (
	"bytes"
	"context"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"testing"

	"platemark/ops/codec"
	"platemark/ops/codec/tiff/tifftest"
)

// flat is an 8 x 8 picture of one colour, of 8 or 16 bits with 8-bit values.
func flat(bits int, stored []uint16, extra ...uint64) tifftest.Picture {
	p := tifftest.Picture{W: 8, H: 8, C: len(stored), Bits: bits, At: func(_, _, c int) uint16 {
		if bits == 16 {
			return stored[c] * 257
		}
		return stored[c]
	}}
	if extra != nil {
		p.Set = []tifftest.Tag{{Tag: 338, Type: 3, Values: extra}}
	}
	return p
}

// all says whether every pixel has the colour, in 8-bit numbers.
func all(got []uint16, r, g, b uint16) error {
	if len(got) != 64*3 {
		return fmt.Errorf("%d samples", len(got))
	}
	for i, v := range got {
		if want := []uint16{r, g, b}[i%3]; (uint32(v)+128)/257 != uint32(want) {
			return fmt.Errorf("sample %d is %d of 65535, want %d of 255", i, v, want)
		}
	}
	return nil
}

// golang/go #11413: a fourth sample that is declared or not.
func TestFourthSample(t *testing.T) {
	for _, bits := range []int{8, 16} {
		for _, planar := range []bool{false, true} {
			for _, c := range []struct {
				name   string
				stored []uint16
				extra  []uint64
				alpha  string
				want   [3]uint16
				warns  int
			}{
				{"undeclared", []uint16{100, 50, 25, 128}, nil, AlphaNone, [3]uint16{100, 50, 25}, 1},
				{"unspecified", []uint16{100, 50, 25, 128}, []uint64{0}, AlphaNone, [3]uint16{100, 50, 25}, 1},
				{"straight", []uint16{100, 50, 25, 128}, []uint64{2}, AlphaStraight, [3]uint16{100, 50, 25}, 0},
				{"multiplied", []uint16{100, 50, 25, 128}, []uint64{1}, AlphaAssociated, [3]uint16{199, 100, 50}, 0},
				{"straight and a fifth", []uint16{100, 50, 25, 128, 77}, []uint64{2, 0}, AlphaStraight, [3]uint16{100, 50, 25}, 1},
				{"straight behind a fourth", []uint16{100, 50, 25, 77, 128}, []uint64{0, 2}, AlphaStraight, [3]uint16{100, 50, 25}, 1},
			} {
				p := flat(bits, c.stored, c.extra...)
				p.Planar = planar
				b := one(p).Bytes()
				f, got, n, err := counted(b, 2, false)
				if err == nil {
					err = all(got, c.want[0], c.want[1], c.want[2])
				}
				if err != nil {
					t.Errorf("%d bits, %s: %v", bits, c.name, err)
					continue
				}
				in := f.Info()
				if in.Alpha != c.alpha || len(in.Warnings) != c.warns || in.Channels != 3 || in.Planes != planar {
					t.Errorf("%d bits, %s: %+v", bits, c.name, in)
				}
				if c.alpha == AlphaNone {
					if n.Translucent != 0 || f.OnWhite() != f {
						t.Errorf("%s: %+v", c.name, n)
					}
					continue
				}
				if n.Translucent != 64 {
					t.Errorf("%s: %+v", c.name, n)
				}
				// Alpha 128 of 255 shows in the picture on white: worked out as
				// fractions, 100/255 x 128/255 + 127/255 and so on, or 100/255 +
				// 127/255 where alpha is multiplied in.
				onWhite := []uint16{45539, 39089, 35864}
				if c.alpha == AlphaAssociated {
					onWhite = []uint16{58339, 45489, 39064}
				}
				if _, got, _, err := counted(b, 1, true); err != nil || !slices.Equal(got[:3], onWhite) {
					t.Errorf("%d bits, %s on white: %v, want %v, %v", bits, c.name, got[:3], onWhite, err)
				}
			}
		}
	}
}

// image-rs #1743: colours stored multiplied by alpha were read as plain ones.
func TestAssociatedAlpha(t *testing.T) {
	for _, be := range []bool{false, true} {
		for _, c := range []struct {
			stored []uint16
			kind   uint64
			want   []uint16
		}{
			{[]uint16{32768, 0, 0, 32768}, 1, []uint16{65535, 0, 0}},
			{[]uint16{32768, 0, 0, 32768}, 2, []uint16{32768, 0, 0}},
			{[]uint16{500, 500, 500, 0}, 1, []uint16{0, 0, 0}},
			{[]uint16{500, 500, 500, 0}, 2, []uint16{500, 500, 500}},
		} {
			p := tifftest.Picture{W: 2, H: 2, C: 4, Bits: 16, At: func(_, _, k int) uint16 { return c.stored[k] },
				Set: []tifftest.Tag{{Tag: 338, Type: 3, Values: []uint64{c.kind}}}}
			f, got, n, err := counted(tifftest.File{BigEndian: be, Pictures: []tifftest.Picture{p}}.Bytes(), 1, false)
			if err != nil || !slices.Equal(got[:3], c.want) || !slices.Equal(got[9:], c.want) {
				t.Errorf("%v ExtraSamples %d: %v, %v", c.stored, c.kind, got, err)
				continue
			}
			if want := map[uint64]string{1: AlphaAssociated, 2: AlphaStraight}[c.kind]; f.Info().Alpha != want || n.Translucent != 4 {
				t.Errorf("alpha %q, want %q; %+v", f.Info().Alpha, want, n)
			}
		}
	}
}

// libvips #4615: separate colour planes.
func TestSeparatePlanes(t *testing.T) {
	for _, bits := range []int{8, 16} {
		twin := tifftest.Picture{W: 40, H: 24, C: 3, Bits: bits, At: func(x, y, c int) uint16 { return uint16([]int{x, y, x + y}[c]) }}
		_, want, err := decodeAll(one(twin).Bytes(), 1)
		if err != nil || !slices.Equal(want, twin.Samples()) {
			t.Fatal(err)
		}
		for _, lzw := range []bool{false, true} {
			for _, cut := range [][4]int{{8, 0, 0, 9}, {0, 16, 16, 18}} {
				p := twin
				p.Planar, p.LZW, p.RowsPerStrip, p.TileW, p.TileH = true, lzw, cut[0], cut[1], cut[2]
				f, got, err := decodeAll(one(p).Bytes(), 3)
				if err != nil {
					t.Fatal(err)
				}
				if len(f.chunks.offset) != cut[3] || !f.Info().Planes {
					t.Errorf("%d strips or tiles, want %d", len(f.chunks.offset), cut[3])
				}
				if !slices.Equal(got, want) {
					t.Errorf("%d bits, LZW %v, %v: other samples than interleaved", bits, lzw, cut)
				}
			}
		}
	}
}

// Pillow #7383: orientation was applied on loading and again later. The reader
// reports it, for one other place to apply, and leaves the pixels as stored.
func TestOrientationIsReportedOnly(t *testing.T) {
	const w, h = 4, 2
	// Where row 0 and column 0 of the stored picture lie (TIFF 6.0 section 8).
	sides := [][2]string{{"top", "left"}, {"top", "right"}, {"bottom", "right"}, {"bottom", "left"}, {"left", "top"}, {"right", "top"}, {"right", "bottom"}, {"left", "bottom"}}
	for k, side := range sides {
		upright := func(row, col int) (x, y int) {
			for _, s := range []struct {
				side string
				at   int
			}{{side[0], row}, {side[1], col}} {
				switch s.side {
				case "top":
					y = s.at
				case "bottom":
					y = h - 1 - s.at
				case "left":
					x = s.at
				case "right":
					x = w - 1 - s.at
				}
			}
			return x, y
		}
		p := tifftest.Picture{W: w, H: h, C: 1, Bits: 16, Set: []tifftest.Tag{{Tag: 274, Type: 3, Values: []uint64{uint64(k + 1)}}},
			SubIFDs: []tifftest.Picture{{W: 2, H: 1, C: 1, Bits: 8, Set: []tifftest.Tag{{Tag: 254, Type: 4, Values: []uint64{1}}, {Tag: 274, Type: 3, Values: []uint64{uint64(8 - k)}}}}}}
		if k >= 4 {
			p.W, p.H = h, w
		}
		p.At = func(col, row, _ int) uint16 {
			x, y := upright(row, col)
			return uint16(1000 * (1 + x + w*y))
		}
		f, got, err := decodeAll(one(p).Bytes(), 1)
		if err != nil {
			t.Fatal(err)
		}
		in := f.Info()
		if in.Orientation != k+1 || in.W != p.W || in.H != p.H || !slices.Equal(got, p.Samples()) {
			t.Errorf("orientation %d: %+v, %v", k+1, in, got)
		}
		turned := make([]uint16, w*h)
		for i, v := range got {
			x, y := upright(i/in.W, i%in.W)
			turned[y*w+x] = v
		}
		if !slices.Equal(turned, []uint16{1000, 2000, 3000, 4000, 5000, 6000, 7000, 8000}) {
			t.Errorf("orientation %d turns to %v", k+1, turned)
		}
	}
}

// Profile, resolution and orientation of a SubIFD don't reach the picture.
func TestOnlyTheMainDirectoryCounts(t *testing.T) {
	set := append(resolution(72, 1, 2), tifftest.Bytes(34675, 7, []byte("another profile")), tifftest.Tag{Tag: 274, Type: 3, Values: []uint64{6}}, tifftest.Tag{Tag: 254, Type: 4, Values: []uint64{1}})
	p := tifftest.Picture{W: 4, H: 2, C: 3, Bits: 16, SubIFDs: []tifftest.Picture{{W: 2, H: 1, C: 3, Bits: 8, Set: set}}}
	f, _, err := decodeAll(one(p).Bytes(), 1)
	if in := f.Info(); err != nil || in.ICC != nil || in.XPPI != nil || in.YPPI != nil || in.Orientation != 1 {
		t.Errorf("%+v, %v", in, err)
	}
}

// golang/go #80122 and #12512 for tiles, planes and every way of packing.
func TestInPlanesAndTiles(t *testing.T) {
	for _, pack := range []int{0, 5, 8, 32773} {
		for _, tile := range []int{0, 16} {
			offsets, counts := uint16(273), uint16(279)
			if tile > 0 {
				offsets, counts = 324, 325
			}
			base := tifftest.Picture{W: 16, H: 16, C: 3, Bits: 16, Planar: true, LZW: pack == 5, Packing: pack, TileW: tile, TileH: tile}
			set := func(says string, tag uint16, v ...uint64) {
				p := base
				p.Set = []tifftest.Tag{{Tag: tag, Type: 4, Values: v}}
				refused(t, fmt.Sprintf("packing %d tile %d tag %d %v", pack, tile, tag, v), one(p).Bytes(), says)
			}
			set("3 of 3 should stand", offsets, 8, 8, 0xFFFFFFF0)
			set("3 of 3 should begin at byte 4", offsets, 8, 8, 4)
			set("2 of 3 is empty", counts, 512, 0, 512)
			set("should stand", counts, 512, 0xFFFFFFFF, 512)
			set("names only 1", offsets, 8)
			set("names 2", counts, 8, 8)
			for _, side := range []uint64{65535, 300000} {
				for _, samples := range []int{3, 64} {
					p := base
					p.C = samples
					p.Set = []tifftest.Tag{{Tag: 256, Type: 4, Values: []uint64{side}}, {Tag: 257, Type: 4, Values: []uint64{side}}}
					refused(t, "size", one(p).Bytes(), fmt.Sprintf("%d x %d pixels", side, side))
					p.Planar = false
					refused(t, "size", one(p).Bytes(), fmt.Sprintf("%d x %d pixels", side, side))
				}
			}
			p := tifftest.Picture{W: 4, H: 4, C: 64, Bits: 64, Float: true, LZW: pack == 5, Packing: pack, TileW: 16, TileH: 16,
				Set: []tifftest.Tag{{Tag: 322, Type: 4, Values: []uint64{1 << 20}}, {Tag: 323, Type: 4, Values: []uint64{1 << 20}}}}
			refused(t, "tile of 2^20 x 2^20 x 512 bytes", one(p).Bytes(), "one row of a tile has 536870912 bytes")
		}
	}
}

// blank is a file with a head, and data at some place. What lies between is
// left as it is in memory, so that reading it takes no time.
type blank struct {
	head []byte
	at   int64
	data []byte
}

func (b blank) ReadAt(p []byte, off int64) (int, error) {
	if off >= b.at && b.data != nil {
		copy(p, b.data[off-b.at:])
	} else if off < b.at {
		copy(p, b.head[min(off, int64(len(b.head))):])
	}
	return len(p), nil
}

// A picture of 400 million pixels is decoded within a bound that has nothing
// to do with its height: at most 48 MiB of rows under way and 64 MiB of stored
// data, for the fastest machine. All that is ever set aside is measured.
func TestMemoryFor400MegapixelsIsBounded(t *testing.T) {
	const w, h = 24000, 16667
	strip := func(rows int) []byte { return make([]byte, w*6*rows) }
	for _, c := range []struct {
		name    string
		packing int
		rows, h int
		data    []byte
	}{
		{"uncompressed", 1, 16, h, nil},
		{"Deflate", 8, 16, 1600, tifftest.Zlib(strip(16))},
		{"LZW in one strip of 230 MB", 5, 1600, 1600, tifftest.LZW(strip(1600))},
	} {
		n := ceilDiv(c.h, c.rows)
		offsets, counts := make([]uint64, n), make([]uint64, n)
		const data = 1 << 20
		size := int64(data + len(c.data))
		for i := range n {
			offsets[i], counts[i] = data, uint64(len(c.data))
			if c.data == nil {
				counts[i] = uint64(min(c.rows, c.h-i*c.rows) * w * 6)
				offsets[i] = data + uint64(i*c.rows*w*6)
				size = int64(offsets[i] + counts[i])
			}
		}
		p := tifftest.Picture{W: 1, H: 1, C: 3, Bits: 16, Set: []tifftest.Tag{{Tag: 256, Type: 4, Values: []uint64{w}}, {Tag: 257, Type: 4, Values: []uint64{uint64(c.h)}},
			{Tag: 259, Type: 3, Values: []uint64{uint64(c.packing)}}, {Tag: 273, Type: 4, Values: offsets}, {Tag: 278, Type: 4, Values: []uint64{uint64(c.rows)}}, {Tag: 279, Type: 4, Values: counts}}}
		r := blank{one(p).Bytes(), data, c.data}
		f, err := Open(r, size)
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		var m0, m1 runtime.MemStats
		runtime.ReadMemStats(&m0)
		rows := 0
		err = f.Decode(context.Background(), 16, func(_ int, p []uint16) error { rows += len(p) / (3 * w); return nil })
		runtime.ReadMemStats(&m1)
		if err != nil || rows != c.h {
			t.Fatalf("%s: %d rows, %v", c.name, rows, err)
		}
		if got := m1.TotalAlloc - m0.TotalAlloc; got > 112<<20 {
			t.Errorf("%s: %d MiB set aside", c.name, got>>20)
		} else {
			t.Logf("%s: %d MiB set aside", c.name, got>>20)
		}
	}
}

// A zlib stream or a PackBits run that goes on far behind the pixels isn't
// unpacked, and what it should have had is checked.
func TestEndsOfPackedData(t *testing.T) {
	bomb := tifftest.Zlib(make([]byte, 32<<20))
	p := tifftest.Picture{W: 8, H: 2, C: 1, Bits: 8, Packing: 8}
	good := one(p).Bytes()
	f, err := Open(bytes.NewReader(good), int64(len(good)))
	if err != nil {
		t.Fatal(err)
	}
	at, n := int(f.chunks.offset[0]), int(f.chunks.count[0])

	b := append(slices.Clone(good), bomb...)
	put := func(tag uint16, v int) {
		x := valueOf(b, tag)[4:]
		x[0], x[1], x[2], x[3] = byte(v), byte(v>>8), byte(v>>16), byte(v>>24)
	}
	put(273, len(good))
	put(279, len(bomb))
	var m0, m1 runtime.MemStats
	runtime.ReadMemStats(&m0)
	_, got, err := decodeAll(b, 1)
	runtime.ReadMemStats(&m1)
	if err != nil || !slices.Equal(got, make([]uint16, 16)) || m1.TotalAlloc-m0.TotalAlloc > 1<<20 {
		t.Errorf("a stream of 32 MiB: %v, %d bytes set aside", err, m1.TotalAlloc-m0.TotalAlloc)
	}

	b = slices.Clone(good)
	b[at+n-1] ^= 1
	refused(t, "wrong checksum", b, "strip 1 of 1 doesn't agree with its checksum")
	b = slices.Clone(good)
	put(279, n-1)
	if _, got, err := decodeAll(b, 1); err != nil || !slices.Equal(got, p.Samples()) {
		t.Errorf("a checksum cut short: %v", err)
	}
	b = slices.Clone(good)
	put(279, n-12)
	refused(t, "cut short", b, "strip 1 of 1 ends before all of its pixels are there")
	b = slices.Clone(good)
	b[at+1] |= 0x20 // wants a dictionary
	refused(t, "dictionary", b, "isn't what a zlib stream can hold")

	// The checksum behind a tile's padding counts too.
	q := tifftest.Picture{W: 8, H: 2, C: 1, Bits: 8, Packing: 8, TileW: 16, TileH: 512}
	b = one(q).Bytes()
	if f, err = Open(bytes.NewReader(b), int64(len(b))); err != nil {
		t.Fatal(err)
	}
	b[f.chunks.offset[0]+f.chunks.count[0]-1] ^= 1
	refused(t, "checksum of a tile", b, "checksum")

	q.Packing = 32773
	b = one(q).Bytes()
	if f, err = Open(bytes.NewReader(b), int64(len(b))); err != nil {
		t.Fatal(err)
	}
	for i := range f.chunks.count[0] {
		b[f.chunks.offset[0]+i] = 128
	}
	refused(t, "PackBits no-ops only", b, "the PackBits data of tile 1 of 1 ends before")
	if _, err := Open(bytes.NewReader(b[:20]), 20); err == nil || !strings.Contains(err.Error(), "only 20 bytes") {
		t.Error(err)
	}
}

// TIFF 6.0 section 9's example (testdata/standards/tiff.csv).
func TestPackBitsExample(t *testing.T) {
	packed, want := unhex(t, example(t, "PackBits sec.9 packed")[2]), unhex(t, example(t, "PackBits sec.9 unpacked")[2])
	for piece := 1; piece <= len(want); piece++ {
		d := new(packBitsReader)
		d.reset(&codec.Source{R: bytes.NewReader(packed), Size: uint64(len(packed))}, 0, uint64(len(packed)))
		got := make([]byte, len(want))
		for i := 0; i < len(got); i += piece {
			if err := d.read(got[i:min(len(got), i+piece)]); err != nil {
				t.Fatal(err)
			}
		}
		if !bytes.Equal(got, want) {
			t.Errorf("% x", got)
		}
		if err := d.read(make([]byte, 1)); err != errShort {
			t.Error(err)
		}
	}
}
