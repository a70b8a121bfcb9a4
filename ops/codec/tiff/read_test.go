package tiff

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/hex"
	"errors"
	"fmt"
	"image"
	"math/big"
	"os"
	"slices"
	"strings"
	"testing"

	xtiff "golang.org/x/image/tiff"

	"platemark/ops/codec"
	"platemark/ops/codec/tiff/tifftest"
)

// decodeAll opens and decodes a file, and checks the promises of Decode on
// the way.
func decodeAll(b []byte, workers int) (*File, []uint16, error) {
	f, err := Open(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		return nil, nil, err
	}
	in := f.Info()
	var got, into []uint16
	if workers > 2 {
		into = make([]uint16, in.W*in.H*in.Channels)
		f = f.Into(into)
	}
	next := 0
	err = f.Decode(context.Background(), workers, func(y0 int, rows []uint16) error {
		if y0 != next || len(rows) == 0 || len(rows)%(in.W*in.Channels) != 0 {
			return fmt.Errorf("rows from %d (%d samples) where %d was due", y0, len(rows), next)
		}
		next += len(rows) / (in.W * in.Channels)
		got = append(got, rows...)
		for i := range rows {
			if into == nil {
				rows[i] = 0xdead // the memory is ours during the call
			}
		}
		return nil
	})
	if err == nil && into != nil && !slices.Equal(into, got) {
		err = errors.New("other rows lie in the whole picture's room")
	}
	if err == nil && next != in.H {
		err = fmt.Errorf("%d of %d rows", next, in.H)
	}
	return f, got, err
}

func one(p tifftest.Picture) tifftest.File { return tifftest.File{Pictures: []tifftest.Picture{p}} }

// variants are all ways to store a picture that are read.
func variants(yield func(name string, f tifftest.File)) {
	for _, big := range []bool{false, true} {
		for _, be := range []bool{false, true} {
			for _, bits := range []int{8, 16} {
				for _, c := range []int{1, 3} {
					for _, lzw := range []int{0, 1, 2} { // none, LZW, LZW with predictor 2
						for _, cut := range [][3]int{{0, 0, 0}, {1, 0, 0}, {7, 0, 0}, {100, 0, 0}, {0, 16, 16}, {0, 16, 32}, {0, 48, 32}} {
							for _, white := range []bool{false, true} {
								if white && c == 3 {
									continue
								}
								p := tifftest.Picture{W: 40, H: 24, C: c, Bits: bits, LZW: lzw > 0, Predictor: lzw,
									RowsPerStrip: cut[0], TileW: cut[1], TileH: cut[2], Pad: 65535, WhiteIsZero: white}
								yield(fmt.Sprintf("big %v MM %v %d bit x %d lzw %d cut %v white %v", big, be, bits, c, lzw, cut, white),
									tifftest.File{BigTIFF: big, BigEndian: be, Pictures: []tifftest.Picture{p}})
							}
						}
					}
				}
			}
		}
	}
}

// Every combination that is accepted gives the samples that were written, and
// where golang.org/x/image/tiff can read the file it says the same.
func TestReadsEveryVariant(t *testing.T) {
	n, crossed := 0, 0
	variants(func(name string, tf tifftest.File) {
		n++
		want := tf.Pictures[0].Samples()
		b := tf.Bytes()
		for _, workers := range []int{1, 3} {
			f, got, err := decodeAll(b, workers)
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			if !slices.Equal(got, want) {
				t.Fatalf("%s, %d workers: other samples", name, workers)
			}
			in := f.Info()
			p := tf.Pictures[0]
			if in.W != 40 || in.H != 24 || in.Bits != p.Bits || in.Channels != p.C || in.BigTIFF != tf.BigTIFF || in.BigEndian != tf.BigEndian ||
				in.Orientation != 1 || in.XPPI != nil || in.ICC != nil || len(in.Warnings) != 0 ||
				(in.Compression == "LZW") != p.LZW || (in.Layout == "tiles") != (p.TileW > 0) {
				t.Fatalf("%s: %+v", name, in)
			}
		}
		if tf.BigTIFF {
			return
		}
		img, err := xtiff.Decode(bytes.NewReader(b))
		if err != nil {
			return
		}
		crossed++
		if !slices.Equal(samplesOf(img, tf.Pictures[0].C), want) {
			t.Errorf("%s: golang.org/x/image/tiff reads other samples", name)
		}
	})
	if crossed < n/4 {
		t.Errorf("only %d of %d files were read by golang.org/x/image/tiff", crossed, n)
	}
}

func samplesOf(img image.Image, channels int) []uint16 {
	var out []uint16
	r := img.Bounds()
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			r, g, b, _ := img.At(x, y).RGBA()
			out = append(out, uint16(r))
			if channels == 3 {
				out = append(out, uint16(g), uint16(b))
			}
		}
	}
	return out
}

// golang/go #24657: tiled 16-bit pictures came out scrambled.
func TestTileRowsInPlace(t *testing.T) {
	for _, c := range []int{1, 3} {
		for _, tile := range [][2]int{{16, 16}, {16, 32}, {48, 32}} {
			p := tifftest.Picture{W: 40, H: 24, C: c, Bits: 16, TileW: tile[0], TileH: tile[1], Pad: 65535,
				At: func(x, y, _ int) uint16 { return uint16(1000*x + y) }}
			_, got, err := decodeAll(one(p).Bytes(), 2)
			if err != nil {
				t.Fatal(err)
			}
			if len(got) != 960*c {
				t.Fatalf("%d samples", len(got))
			}
			for i, v := range got {
				x, y := i/c%40, i/c/40
				if int(v) != 1000*x+y {
					t.Fatalf("tile %v, %d channels, (%d, %d): %d", tile, c, x, y, v)
				}
			}
		}
	}
}

// sparse is a file of which only some places are stored; the rest is zero.
type sparse struct {
	size  int64
	parts map[int64][]byte
}

func (s sparse) ReadAt(p []byte, off int64) (int, error) {
	clear(p)
	for at, b := range s.parts {
		lo, hi := max(at, off), min(at+int64(len(b)), off+int64(len(p)))
		if lo < hi {
			copy(p[lo-off:hi-off], b[lo-at:hi-at])
		}
	}
	return len(p), nil
}

// blink1073/tifffile #47: offsets above 2^31 in classic files.
func TestStripsAbove2GiB(t *testing.T) {
	rows := make([][]byte, 2)
	var want []uint16
	for y := range rows {
		for x := range 8 {
			v := uint16(40000 + 1000*y + x)
			want = append(want, v)
			rows[y] = append(rows[y], byte(v), byte(v>>8))
		}
	}
	p := tifftest.Picture{W: 8, H: 2, C: 1, Bits: 16, RowsPerStrip: 1,
		Set: []tifftest.Tag{{Tag: 273, Type: 4, Values: []uint64{1<<31 + 8, 1<<32 - 16}}}}
	r := sparse{1 << 32, map[int64][]byte{0: one(p).Bytes(), 1<<31 + 8: rows[0], 1<<32 - 16: rows[1]}}
	f, err := Open(r, r.size)
	if err != nil {
		t.Fatal(err)
	}
	var got []uint16
	if err := f.Decode(context.Background(), 2, func(_ int, rows []uint16) error { got = append(got, rows...); return nil }); err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(got, want) {
		t.Errorf("got %d, want %d", got, want)
	}
	if _, err := Open(r, r.size-1); err == nil {
		t.Error("a file one byte short was accepted")
	}
}

func resolution(xn, xd, unit uint64) []tifftest.Tag {
	return []tifftest.Tag{{Tag: 282, Type: 5, Values: []uint64{xn, xd}}, {Tag: 283, Type: 5, Values: []uint64{xn, xd}}, {Tag: 296, Type: 3, Values: []uint64{unit}}}
}

// libvips #4582: number and unit must go together.
func TestResolutionAndUnit(t *testing.T) {
	for _, c := range []struct {
		n, d, unit uint64
		want       string // pixels per inch
		warns      int
	}{
		{300, 1, 2, "300", 0}, {30000, 254, 3, "300", 0}, {11811, 100, 3, "1499997/5000", 0},
		{300, 1, 1, "", 1}, {300, 1, 9, "", 1}, {0, 1, 2, "", 2}, {300, 0, 2, "", 2},
	} {
		p := tifftest.Picture{W: 3, H: 2, C: 3, Bits: 16, Set: resolution(c.n, c.d, c.unit)}
		f, _, err := decodeAll(one(p).Bytes(), 1)
		if err != nil {
			t.Fatal(err)
		}
		in := f.Info()
		for _, got := range []*big.Rat{in.XPPI, in.YPPI} {
			s := ""
			if got != nil {
				s = got.RatString()
			}
			if s != c.want {
				t.Errorf("%d/%d unit %d: %q, want %q", c.n, c.d, c.unit, s, c.want)
			}
		}
		if len(in.Warnings) != c.warns {
			t.Errorf("%d/%d unit %d: warnings %q", c.n, c.d, c.unit, in.Warnings)
		}
	}
}

// Inch is the default unit (TIFF 6.0, ResolutionUnit).
func TestResolutionWithoutUnitTag(t *testing.T) {
	p := tifftest.Picture{W: 3, H: 2, C: 3, Bits: 8, Set: resolution(240, 1, 2)[:2]}
	f, _, err := decodeAll(one(p).Bytes(), 1)
	if err != nil || f.Info().XPPI.RatString() != "240" {
		t.Errorf("%v", err)
	}
}

func TestProfileOrientationAndOthers(t *testing.T) {
	icc := bytes.Repeat([]byte("profile!"), 40)
	small := tifftest.Picture{W: 16, H: 12, C: 3, Bits: 8, Set: []tifftest.Tag{{Tag: 254, Type: 4, Values: []uint64{1}}}}
	mask := tifftest.Picture{W: 40, H: 24, C: 1, Bits: 8, Set: []tifftest.Tag{{Tag: 254, Type: 4, Values: []uint64{4}}}}
	oldSmall := tifftest.Picture{W: 8, H: 6, C: 3, Bits: 8, Set: []tifftest.Tag{{Tag: 255, Type: 3, Values: []uint64{2}}}}
	main := tifftest.Picture{W: 40, H: 24, C: 3, Bits: 16, SubIFDs: []tifftest.Picture{small},
		Set: []tifftest.Tag{tifftest.Bytes(34675, 7, icc), {Tag: 274, Type: 3, Values: []uint64{6}}}}
	page := tifftest.Picture{W: 4, H: 5, C: 3, Bits: 8, Set: []tifftest.Tag{{Tag: 254, Type: 4, Values: []uint64{2}}}}
	tf := tifftest.File{Pictures: []tifftest.Picture{oldSmall, mask, main, page}}
	f, got, err := decodeAll(tf.Bytes(), 2)
	if err != nil {
		t.Fatal(err)
	}
	in := f.Info()
	if !slices.Equal(got, main.Samples()) || !bytes.Equal(in.ICC, icc) || in.Orientation != 6 {
		t.Errorf("%+v", in)
	}
	want := []string{"a reduced copy, 8 x 6", "a mask, 40 x 24", "a reduced copy, 16 x 12", "another picture, 4 x 5"}
	if !slices.Equal(in.Others, want) {
		t.Errorf("others %q, want %q", in.Others, want)
	}
	main.Set[1].Values[0] = 9
	f, _, err = decodeAll(one(main).Bytes(), 1)
	if err != nil || f.Info().Orientation != 1 || len(f.Info().Warnings) != 1 {
		t.Errorf("orientation 9: %v", err)
	}
}

func TestLooseFilesAreReadWithAWarning(t *testing.T) {
	base := tifftest.Picture{W: 40, H: 24, C: 3, Bits: 16, RowsPerStrip: 5}
	for _, c := range []struct {
		name string
		edit func(p *tifftest.Picture)
		want string // part of the only warning, "" for none
	}{
		{"rows per strip above the height", func(p *tifftest.Picture) { p.RowsPerStrip = 1 << 30 }, ""},
		{"no rows per strip, one strip", func(p *tifftest.Picture) { p.RowsPerStrip = 0; p.Drop = []uint16{278} }, ""},
		{"no byte counts", func(p *tifftest.Picture) { p.Drop = []uint16{279} }, "StripByteCounts is missing"},
		{"no rows per strip, strips of equal length", func(p *tifftest.Picture) { p.RowsPerStrip = 5; p.Drop = []uint16{278} }, "their height, 5 rows, follows"},
		{"the same in planes", func(p *tifftest.Picture) { p.Planar = true; p.Drop = []uint16{278} }, "their height, 5 rows, follows"},
		{"strips longer than their pixels", func(p *tifftest.Picture) {
			p.Set = []tifftest.Tag{{Tag: 258, Type: 3, Values: []uint64{8, 8, 8}}}
			p.Bits = 16
			p.At = func(int, int, int) uint16 { return 0 }
		}, "longer than their pixels need"},
		{"bits once", func(p *tifftest.Picture) { p.Set = []tifftest.Tag{{Tag: 258, Type: 3, Values: []uint64{16}}} }, "BitsPerSample stands once"},
		{"tiles of 20 x 10", func(p *tifftest.Picture) { p.TileW, p.TileH = 20, 10 }, "multiples of 16"},
		{"grey stored as planes", func(p *tifftest.Picture) { p.C = 1; p.Set = []tifftest.Tag{{Tag: 284, Type: 3, Values: []uint64{2}}} }, ""},
	} {
		p := base
		c.edit(&p)
		f, got, err := decodeAll(one(p).Bytes(), 2)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		w := f.Info().Warnings
		if !slices.Equal(got, p.Samples()) {
			t.Errorf("%s: other samples", c.name)
		}
		if c.want == "" && len(w) > 0 || c.want != "" && (len(w) != 1 || !strings.Contains(w[0], c.want)) {
			t.Errorf("%s: warnings %q", c.name, w)
		}
	}
}

func TestRefusalsNameTheProperty(t *testing.T) {
	set := func(tag, typ uint16, v ...uint64) func(*tifftest.Picture) {
		return func(p *tifftest.Picture) { p.Set = append(p.Set, tifftest.Tag{Tag: tag, Type: typ, Values: v}) }
	}
	drop := func(tag uint16) func(*tifftest.Picture) {
		return func(p *tifftest.Picture) { p.Drop = append(p.Drop, tag) }
	}
	palette := func(v []uint64) func(*tifftest.Picture) {
		return func(p *tifftest.Picture) {
			p.C, p.Bits = 1, 8
			set(262, 3, 3)(p)
			if v != nil {
				set(320, 3, v...)(p)
			}
		}
	}
	for _, c := range []struct {
		name, property, says string
		edit                 func(p *tifftest.Picture)
	}{
		{"strange planes", "PlanarConfiguration", "PlanarConfiguration is 3", set(284, 3, 3)},
		{"too few planes", "StripOffsets", "need 9 strips in 3 planes, but StripOffsets (tag 273) names only 3", set(284, 3, 2)},
		{"CMYK", "PhotometricInterpretation", "as CMYK or other inks (PhotometricInterpretation 5); a master is grey or RGB", func(p *tifftest.Picture) {
			p.C = 4
			set(262, 3, 5)(p)
		}},
		{"Lab", "PhotometricInterpretation", "as Lab (PhotometricInterpretation 8); a master is grey or RGB", set(262, 3, 8)},
		{"ICC Lab", "PhotometricInterpretation", "as Lab (ICC) (PhotometricInterpretation 9)", set(262, 3, 9)},
		{"ITU Lab", "PhotometricInterpretation", "convert it to a wide RGB space", set(262, 3, 10)},
		{"YCbCr", "PhotometricInterpretation", "YCbCr", set(262, 3, 6)},
		{"mask", "PhotometricInterpretation", "transparency mask", set(262, 3, 4)},
		{"palette without colours", "ColorMap", "ColorMap is missing", palette(nil)},
		{"short palette", "ColorMap", "has 767 values", palette(make([]uint64, 767))},
		{"palette of 8 bits", "ColorMap", "by mistake", palette(append(make([]uint64, 767), 255))},
		{"palette of 32-bit numbers", "BitsPerSample", "numbers of palette colours of", func(p *tifftest.Picture) { p.C = 1; set(262, 3, 3)(p); set(258, 3, 32)(p) }},
		{"sensor", "PhotometricInterpretation", "sensor", set(262, 3, 32803)},
		{"no photometric", "PhotometricInterpretation", "missing", drop(262)},
		{"kinds differ", "SampleFormat", "differ in kind", set(339, 3, 3, 3, 1)},
		{"complex", "SampleFormat", "complex", set(339, 3, 6)},
		{"float of 8 bits", "BitsPerSample", "floating-point numbers of [16 24 32 64] bits", func(p *tifftest.Picture) { p.Bits = 8; set(339, 3, 3)(p) }},
		{"signed", "SampleFormat", "signed", set(339, 3, 2)},
		{"alpha that isn't there", "ExtraSamples", "declares 1 extra samples (ExtraSamples), but its pixels have 0", set(338, 3, 2)},
		{"alpha in white-is-zero", "ExtraSamples", "grey with white as 0", func(p *tifftest.Picture) { p.C = 2; p.WhiteIsZero = true; set(338, 3, 1)(p) }},
		{"65 samples", "SamplesPerPixel", "65 samples", func(p *tifftest.Picture) { p.C = 65 }},
		{"two samples of RGB", "SamplesPerPixel", "2 samples", set(277, 3, 2)},
		{"JPEG", "Compression", "JPEG (Compression 7)", set(259, 3, 7)},
		{"old JPEG", "Compression", "JPEG, old style", set(259, 3, 6)},
		{"fax", "Compression", "fax compression (CCITT)", set(259, 3, 4)},
		{"Zstandard", "Compression", "Zstandard", set(259, 3, 50000)},
		{"no zlib", "Compression", "the Deflate data of strip 1 of 3 isn't what a zlib stream can hold", set(259, 3, 8)},
		{"unknown compression", "Compression", "unknown method (Compression 999)", set(259, 3, 999)},
		{"10 bit", "BitsPerSample", "10 bits", set(258, 3, 10, 10, 10)},
		{"64 bit", "BitsPerSample", "64 bits", set(258, 3, 64, 64, 64)},
		{"no depth", "BitsPerSample", "BitsPerSample is missing", drop(258)},
		{"depths differ", "BitsPerSample", "differ", set(258, 3, 16, 8, 8)},
		{"two depths", "BitsPerSample", "2 values", set(258, 3, 16, 16)},
		{"fill order", "FillOrder", "FillOrder 2", set(266, 3, 2)},
		{"predictor without LZW", "Predictor", "no agreed meaning", set(317, 3, 2)},
		{"predictor with PackBits", "Predictor", "no agreed meaning", func(p *tifftest.Picture) { p.Packing = 32773; set(317, 3, 2)(p) }},
		{"predictor 3 on whole numbers", "Predictor", "whole numbers", func(p *tifftest.Picture) { p.LZW = true; set(317, 3, 3)(p) }},
		{"predictor 2 on 12 bits", "Predictor", "12 bits", func(p *tifftest.Picture) { p.Bits = 12; p.LZW = true; set(317, 3, 2)(p) }},
		{"predictor 4", "Predictor", "unknown Predictor 4", set(317, 3, 4)},
		{"no size", "ImageWidth", "no picture", func(p *tifftest.Picture) { drop(256)(p); drop(257)(p) }},
		{"width 0", "ImageWidth", "0 x 24", set(256, 4, 0)},
		{"only a reduced copy", "NewSubfileType", "a reduced copy, 40 x 24", set(254, 4, 1)},
		{"wrong type", "ImageWidth", "field type 2", set(256, 2, 'a', 0)},
		{"unknown type", "ICCProfile", "field type 99", set(34675, 99, 1)},
		{"strips of odd lengths without height", "RowsPerStrip", "RowsPerStrip is missing", func(p *tifftest.Picture) { drop(278)(p); set(279, 4, 1920, 1921, 1920)(p) }},
		{"packed strips without height", "RowsPerStrip", "RowsPerStrip is missing", func(p *tifftest.Picture) { p.LZW = true; drop(278)(p) }},
		{"rows per strip 0", "RowsPerStrip", "RowsPerStrip 0", set(278, 3, 0)},
		{"no offsets", "StripOffsets", "StripOffsets is missing", drop(273)},
		{"tag twice", "ImageWidth", "twice", func(p *tifftest.Picture) { set(256, 4, 40)(p); set(256, 4, 41)(p) }},
		{"LZW without counts", "StripByteCounts", "StripByteCounts is missing", func(p *tifftest.Picture) { p.LZW = true; drop(279)(p) }},
	} {
		p := tifftest.Picture{W: 40, H: 24, C: 3, Bits: 16, RowsPerStrip: 8}
		c.edit(&p)
		_, _, err := decodeAll(one(p).Bytes(), 1)
		var e *codec.Error
		if !errors.As(err, &e) || e.Property != c.property || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

// standards reads the rows of testdata/standards/tiff.csv.
func standards(t *testing.T) [][]string {
	t.Helper()
	b, err := os.Open("../../../testdata/standards/tiff.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	r := csv.NewReader(b)
	r.Comment, r.FieldsPerRecord = '#', -1
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

func example(t *testing.T, name string) []string {
	t.Helper()
	for _, r := range standards(t) {
		if r[0] == "example" && strings.HasPrefix(r[1], name) {
			return r
		}
	}
	t.Fatalf("no example %q", name)
	return nil
}

func unhex(t *testing.T, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// The numbers of tags as published: testdata/standards/tiff.csv.
func TestTagsAsPublished(t *testing.T) {
	tags := map[string]string{}
	for _, r := range standards(t) {
		if r[0] == "tag" {
			tags[r[1]] = r[2]
		}
	}
	for tag, name := range tagNames {
		if tag == tagSubfileType {
			continue // TIFF 6.0 section 8, not in the table
		}
		if tag == tagColorMap {
			continue // TIFF 6.0 section 5, not in the table
		}
		if tags[fmt.Sprint(tag)] != name {
			t.Errorf("%d is %q in the table, %q here", tag, tags[fmt.Sprint(tag)], name)
		}
	}
	if tags["270"] != "ImageDescription" || tags["700"] != "XMP" || tags["33432"] != "Copyright" {
		t.Error("tags that are only written")
	}
}
