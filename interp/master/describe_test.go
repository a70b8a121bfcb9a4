package master

import (
	"bytes"
	"compress/zlib"
	"context"
	"errors"
	"image"
	"image/color"
	stdpng "image/png"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"platemark/ops/codec/tiff"
	"platemark/ops/colour"
)

func mustDescribe(t *testing.T, path string) *Description {
	t.Helper()
	d, err := Describe(context.Background(), path, 2)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// writeSamples writes a 16-bit TIFF whose samples are f(i).
func writeSamples(t *testing.T, path string, w, h, c int, f func(i int) uint16) {
	t.Helper()
	l, err := tiff.NewLayout(tiff.Options{W: w, H: h, C: c, Bits: 16})
	if err != nil {
		t.Fatal(err)
	}
	b := bytes.Clone(l.Header())
	row := make([]uint16, w*c)
	for y := range h {
		for i := range row {
			row[i] = f(y*w*c + i)
		}
		b = l.AppendRow(b, row, y)
	}
	write(t, path, string(append(b, l.Trailer()...)))
}

// The depth that is really used is told.
func TestDescribeDepth(t *testing.T) {
	path := filepath.Join(t.TempDir(), "d.tif")
	spread := func(i int) uint16 { return uint16(i * 40503) }
	for _, c := range []struct {
		name string
		f    func(i int) uint16
		used int
		says string
	}{
		{"all", spread, 16, "all of it is used"},
		{"8 bits times 257", func(i int) uint16 { return spread(i) >> 8 * 257 }, 8, "really 8 bits: the numbers are 8-bit ones widened to 16"},
		{"8 bits shifted", func(i int) uint16 { return spread(i) &^ 255 }, 8, "really 8 bits: the lowest 8 are 0"},
		{"12 bits shifted", func(i int) uint16 { return spread(i) &^ 15 }, 12, "really 12 bits: the lowest 4 are 0"},
		{"12 bits widened", func(i int) uint16 { v := spread(i) >> 4; return v<<4 | v>>8 }, 12, "really 12 bits: the numbers are 12-bit ones widened"},
		{"14 bits widened", func(i int) uint16 { v := spread(i) >> 2; return v<<2 | v>>12 }, 14, "really 14 bits"},
		{"15 bits shifted", func(i int) uint16 { return spread(i) &^ 1 }, 15, "really 15 bits: the lowest one is 0"},
		{"12 bits as they are", func(i int) uint16 { return spread(i) >> 4 }, 12, "no sample is above 409"},
		{"flat", func(int) uint16 { return 4711 }, 16, "every sample is the same"},
	} {
		for _, ch := range []int{1, 3} {
			writeSamples(t, path, 70, 60, ch, c.f)
			d := mustDescribe(t, path)
			if d.BitsUsed != c.used || !strings.HasPrefix(d.Depth, c.says) {
				t.Errorf("%s: %d, %q", c.name, d.BitsUsed, d.Depth)
			}
			if d.Neutral != (ch == 3 && c.name == "flat") {
				t.Errorf("%s: neutral %v", c.name, d.Neutral)
			}
		}
	}
	writeSamples(t, path, 70, 60, 3, func(i int) uint16 { return spread(i / 3) })
	if d := mustDescribe(t, path); !d.Neutral {
		t.Error("an RGB picture without colour isn't told")
	}
	g := image.NewGray(image.Rect(0, 0, 9, 9))
	g.Pix[3] = 77
	png := filepath.Join(filepath.Dir(path), "d.png")
	write(t, png, string(pngWith(t, g, "pHYs", "\x00\x00\x2e\x23\x00\x00\x2e\x23\x01")))
	if d := mustDescribe(t, png); d.BitsUsed != 8 || !strings.HasPrefix(d.Depth, "few tones") {
		t.Errorf("%+v", d)
	} else if d.PPI != "300" { // 299.9994 by the stored number
		t.Errorf("11811 pixels a metre are shown as %s", d.PPI)
	}
}

// Sizes, profile and what a recipe needs.
func TestDescribe(t *testing.T) {
	folder := t.TempDir()
	at := func(name string) string { return filepath.Join(folder, name) }
	writeMaster(t, at("tagged.tif"), 600, 450, 3, "opRGB")
	d := mustDescribe(t, at("tagged.tif"))
	op, _ := colour.Space("opRGB")
	if d.Kind != "a TIFF file" || d.Width != 600 || d.Height != 450 || d.Colour != "RGB" || d.Bits != 16 || d.PPI != "300" || d.Profile != op.Description() ||
		d.Recipe != `master "tagged.tif"` || len(d.Needs) != 0 || d.Refused != "" {
		t.Errorf("%+v", d)
	}
	// 600/300 in = 2.0 in = 5.08 cm and so on, by hand.
	want := []PrintSize{{PPI: 300, WidthIn: "2.0", HeightIn: "1.5", WidthCM: "5.1", HeightCM: "3.8"}, {PPI: 240, WidthIn: "2.5", HeightIn: "1.9", WidthCM: "6.4", HeightCM: "4.8"}, {PPI: 180, WidthIn: "3.3", HeightIn: "2.5", WidthCM: "8.5", HeightCM: "6.4"}}
	if !slices.Equal(d.Sizes, want) {
		t.Errorf("%+v", d.Sizes)
	}

	writeMaster(t, at("bare.tif"), 6, 4, 1, "")
	if d := mustDescribe(t, at("bare.tif")); d.Recipe != `master "bare.tif" space grey-2.2` || len(d.Needs) != 1 || d.Profile != "" {
		t.Errorf("%+v", d)
	}
	writeMaster(t, at("wrong.tif"), 6, 4, 1, "opRGB")
	if d := mustDescribe(t, at("wrong.tif")); d.Recipe != "" || !strings.Contains(strings.Join(d.Needs, ""), "the picture is grey, but its profile is for RGB") {
		t.Errorf("%+v", d)
	}

	img := image.NewNRGBA64(image.Rect(0, 0, 40, 30))
	for y := range 30 {
		for x := range 40 {
			img.SetNRGBA64(x, y, color.NRGBA64{R: uint16(x * 1600), G: uint16(y * 2100), B: 9, A: 65535})
		}
	}
	write(t, at("srgb.png"), string(withChunk(pngWith(t, img, "sRGB", "\x00"), "eXIf", exifOf(6))))
	d = mustDescribe(t, at("srgb.png"))
	if d.Kind != "a PNG file" || d.Profile != "sRGB" || d.Recipe != `master "srgb.png"` || d.Orientation != 6 || d.Sizes[0].WidthIn != "0.1" || d.Sizes[2].HeightCM != "0.6" {
		t.Errorf("%+v", d)
	}
	write(t, at("gamma.png"), string(pngWith(t, img, "gAMA", "\x00\x00\xb1\x8f")))
	if d = mustDescribe(t, at("gamma.png")); d.Profile != "" || !strings.Contains(d.Says, "gamma 0.45455") || !strings.HasSuffix(d.Recipe, "space SPACE") {
		t.Errorf("%+v", d)
	}
	var z bytes.Buffer
	zw := zlib.NewWriter(&z)
	zw.Write(op.Bytes())
	zw.Close()
	write(t, at("tagged.png"), string(pngWith(t, img, "iCCP", "x\x00\x00"+z.String())))
	if d = mustDescribe(t, at("tagged.png")); d.Profile != op.Description() || d.Recipe != `master "tagged.png"` {
		t.Errorf("%+v", d)
	}
	img.SetNRGBA64(17, 20, color.NRGBA64{R: 3, A: 40000})
	var b bytes.Buffer
	if err := stdpng.Encode(&b, img); err != nil {
		t.Fatal(err)
	}
	write(t, at("clear.png"), b.String())
	if d = mustDescribe(t, at("clear.png")); !strings.Contains(d.Alpha, "translucent") || !strings.Contains(d.Needs[0], "flatten") {
		t.Errorf("%+v", d)
	}

	write(t, at("j.jpg"), string(jpegFile(t, img, jpegSegment(0xe1, "Exif\x00\x00"+exifOf(8)))))
	d = mustDescribe(t, at("j.jpg"))
	if d.Kind != "a JPEG file" || d.Orientation != 8 || d.Bits != 8 || d.Recipe != "" || !strings.Contains(d.Needs[0], "platemark adopt") || len(d.Others) != 1 {
		t.Errorf("%+v", d)
	}

	write(t, at("p.icc"), string(op.Bytes()))
	if d = mustDescribe(t, at("p.icc")); d.Kind != "a colour profile" || d.Profile != op.Description() || d.Class == "" || d.Colour != "RGB" || d.Refused != "" {
		t.Errorf("%+v", d)
	}
	for name, c := range map[string][2]string{
		"cut.icc":  {string(op.Bytes()[:200]), "cut short"},
		"cut.png":  {b.String()[:b.Len()-20], "damaged"},
		"cut.tif":  {"II*\x00\x08\x00", "too few"},
		"cut.jpg":  {"\xff\xd8\xff\xe0", "ends at byte"},
		"doc.tif":  {"%PDF-1.7 and so on", "aren't read"},
		"note.tif": {"dear diary", "neither"},
		"none.tif": {"", "aren't read"},
	} {
		write(t, at(name), c[0])
		if d := mustDescribe(t, at(name)); !strings.Contains(d.Refused, c[1]) || d.Recipe != "" {
			t.Errorf("%s: %+v", name, d)
		}
	}
	if _, err := Describe(context.Background(), at("missing.tif"), 1); err == nil {
		t.Error("a missing file")
	}
	if _, err := Describe(context.Background(), folder, 1); err == nil {
		t.Error("a folder")
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Describe(ctx, at("tagged.tif"), 1); !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
}
