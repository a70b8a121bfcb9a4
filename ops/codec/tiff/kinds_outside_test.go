//go:build outside

package tiff

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	xtiff "golang.org/x/image/tiff"

	"platemark/ops/codec/tiff/tifftest"
)

// wave is the pattern that tifffile.py makes too: v, then the bits of a sample.
func wave(bits int, float bool) func(x, y, c int) uint64 {
	return func(x, y, c int) uint64 {
		v := uint64(x*997+y*3121+c*9000+x*x*y%511) & 65535
		switch {
		case float && bits == 16:
			return 0x2000 + v%0x1d00
		case float && bits == 24:
			return 0x380000 + v*8
		case float && bits == 32:
			return 0x3b000000 + v*1280
		case float:
			return 0x3f80000000000000 + v<<39
		case bits == 32:
			return v*65537 + v%65537/2
		}
		return v >> (16 - bits)
	}
}

const waveScript = `
import sys, numpy as np, tifffile
from PIL import Image
out = sys.argv[1] + '/'
W, H = 61, 37
y, x, c = np.mgrid[0:H, 0:W, 0:5].astype('u8')
v = (x*997 + y*3121 + c*9000 + x*x*y % 511) & 65535
kinds = {
  'u1': (v >> 8).astype('u1'), 'u2': v.astype('u2'), 'u4': (v*65537 + v % 65537 // 2).astype('u4'),
  'f2': (0x2000 + v % 0x1d00).astype('u2').view('f2'),
  'f4': (0x3b000000 + v*1280).astype('u4').view('f4'),
  'f8': (0x3f80000000000000 + (v << 39)).view('f8'),
}
n = 0
def put(name, a, **kw):
    global n
    tifffile.imwrite(out + 'tifffile-%03d-%s.tif' % (n, name), a, metadata=None, resolution=(300, 300), resolutionunit=2, **kw)
    n += 1
for name, a in kinds.items():
    for k in range(16):
        kw = dict(byteorder='<>'[k % 2], bigtiff=k % 3 == 0)
        if k & 2: kw.update(tile=(16, 32))
        elif k & 8: kw.update(rowsperstrip=5)
        if k & 4: kw.update(compression=[8, 32946][k >> 3 & 1], predictor=name in ('u1', 'u2', 'u4') and 2 or None)
        put(name + '-rgb', np.ascontiguousarray(a[..., :3]), photometric='rgb', **kw)
        put(name + '-grey', np.ascontiguousarray(a[..., 0]), photometric='minisblack', **kw)
        put(name + '-white', np.ascontiguousarray(a[..., 0]), photometric='miniswhite', **kw)
        put(name + '-rgb', np.ascontiguousarray(np.moveaxis(a[..., :3], 2, 0)), photometric='rgb', planarconfig='separate', **kw)
        for e, m in (('straight', 'unassalpha'), ('associated', 'assocalpha'), ('extra', 'unspecified')):
            put(name + '-rgb-' + e, np.ascontiguousarray(a[..., :4]), photometric='rgb', extrasamples=[m], **kw)
            put(name + '-rgb-' + e, np.ascontiguousarray(np.moveaxis(a[..., :4], 2, 0)), photometric='rgb', planarconfig='separate', extrasamples=[m], **kw)
map16 = ((np.arange(768) * 7919 + 300) & 65535).astype('u2').reshape(3, 256)
put('u1-palette', kinds['u1'][..., 0], photometric='palette', colormap=map16)
put('u1-palette', kinds['u1'][..., 0], photometric='palette', colormap=map16, tile=(16, 16), compression='zlib')
for c in (None, 'tiff_lzw', 'tiff_adobe_deflate', 'tiff_deflate', 'packbits'):
    def pil(name, a, **kw):
        global n
        im = a if isinstance(a, Image.Image) else Image.fromarray(np.ascontiguousarray(a), **kw)
        im.save(out + 'pil-%03d-%s.tif' % (n, name), compression=c)
        n += 1
    pil('u1-grey', kinds['u1'][..., 0])
    pil('u1-rgb', kinds['u1'][..., :3])
    pil('u1-rgb-straight', kinds['u1'][..., :4])
    pil('u2-grey', kinds['u2'][..., 0])
    pil('f4-grey', kinds['f4'][..., 0])
    pil('b1-grey', Image.fromarray(((kinds['u1'][..., 0] >> 7) * 255).astype('u1')).convert('1'))
    im = Image.fromarray(np.ascontiguousarray(kinds['u1'][..., 0]), mode='P')
    im.putpalette([int(map16[k, i] >> 8) for i in range(256) for k in range(3)])
    pil('u1-palette8', im)
`

// What Python's tifffile and PIL write from a pattern is read as fractions of
// the same pattern say.
func TestOutsidePythonWrites(t *testing.T) {
	dir := t.TempDir()
	script := put(t, "wave.py", []byte(waveScript))
	tool(t, "/usr/bin/python3", script, dir)
	files, _ := filepath.Glob(dir + "/*.tif")
	slices.Sort(files)
	if len(files) < 900 {
		t.Fatalf("%d files", len(files))
	}
	wants := map[string]reading{}
	seen := map[string]int{}
	for _, path := range files {
		// writer-number-type-colour[-extra].tif
		part := strings.Split(strings.TrimSuffix(filepath.Base(path), ".tif"), "-")
		key := strings.Join(part[2:], "-")
		part = append(part, "")
		want, ok := wants[key]
		if !ok {
			p := tifftest.Picture{W: 61, H: 37, C: 1, Bits: int(part[2][1]-'0') * 8, Float: part[2][0] == 'f', WhiteIsZero: part[3] == "white"}
			if part[2] == "b1" {
				p.Bits = 1
			}
			p.Raw = wave(p.Bits, p.Float)
			colours, alpha := 1, -1
			if part[3] == "rgb" {
				colours = 3
			}
			if part[4] == "straight" || part[4] == "associated" {
				alpha = 3
			}
			var palette []uint64
			if strings.HasPrefix(part[3], "palette") {
				for i := range uint64(768) {
					v := (i*7919 + 300) & 65535
					if part[3] == "palette8" {
						v = v >> 8 * 257
					}
					palette = append(palette, v)
				}
			}
			want = read(p, colours, alpha, part[4] == "associated", false, palette)
			wants[key] = want
		}
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		f, got, n, err := counted(b, 2, false)
		if err != nil {
			t.Errorf("%s: %v", filepath.Base(path), err)
			continue
		}
		if at := differ(got, want.samples); at != "" || n.Clipped != want.clipped || n.Translucent != want.translucent {
			if part[3] == "palette8" && slices.Equal(eight(got), eight(want.samples)) {
				continue // PIL writes colour map entries v * 256
			}
			t.Errorf("%s: %s; %+v; %+v", filepath.Base(path), at, n, f.Info())
		}
		if w := len(f.Info().Warnings); w > 1 || (w == 1) != (part[4] == "extra") {
			t.Errorf("%s: warnings %q", filepath.Base(path), f.Info().Warnings)
		}
		in := f.Info()
		seen[fmt.Sprint(part[0], " ", in.Compression)]++
		second(t, path, b, in, got)
	}
	t.Logf("%v", seen)
}

// eight are the high bytes.
func eight(p []uint16) []uint16 {
	q := slices.Clone(p)
	for i := range q {
		q[i] >>= 8
	}
	return q
}

var crossed int // files that golang.org/x/image/tiff has read too

// second compares with golang.org/x/image/tiff where that can read the file
// and says what it means: no alpha, no planes, which it doesn't know.
func second(t *testing.T, name string, b []byte, in Info, got []uint16) {
	t.Helper()
	if in.Alpha != AlphaNone || in.Planes || in.BigTIFF || in.Float || in.Bits > 16 {
		return
	}
	img, err := xtiff.Decode(bytes.NewReader(b))
	if err != nil {
		return
	}
	crossed++
	want := samplesOf(img, in.Channels)
	if in.Palette { // it has the high bytes of the colour map
		got, want = eight(got), eight(want)
	}
	if !slices.Equal(got, want) {
		t.Errorf("%s: golang.org/x/image/tiff reads other samples", filepath.Base(name))
	}
}

// What libtiff writes from files of every kind, in every packing and order, is
// read to the same samples.
func TestOutsideLibtiffCopiesEveryKind(t *testing.T) {
	type kind struct {
		c, bits int
		float   bool
		extra   uint64 // ExtraSamples of the last sample, 9 for none
		special string
	}
	for _, k := range []kind{{1, 1, false, 9, ""}, {1, 2, false, 9, ""}, {1, 4, false, 9, ""}, {1, 12, false, 9, ""}, {3, 12, false, 9, ""}, {1, 32, false, 9, ""}, {3, 32, false, 9, ""},
		{1, 16, true, 9, ""}, {3, 16, true, 9, ""}, {1, 24, true, 9, ""}, {3, 24, true, 9, ""}, {1, 32, true, 9, ""}, {3, 32, true, 9, ""}, {3, 64, true, 9, ""},
		{4, 8, false, 2, ""}, {4, 16, false, 1, ""}, {4, 16, false, 0, ""}, {2, 16, false, 2, ""}, {4, 32, true, 1, ""},
		{1, 8, false, 9, "palette"}, {1, 4, false, 9, "palette"}, {1, 8, false, 9, "white"}, {1, 1, false, 9, "white"}} {
		p := tifftest.Picture{W: 61, H: 37, C: k.c, Bits: k.bits, Float: k.float, WhiteIsZero: k.special == "white", Raw: wave(k.bits, k.float)}
		if k.extra != 9 {
			p.Set = []tifftest.Tag{{Tag: 338, Type: 3, Values: []uint64{k.extra}}}
		}
		var palette []uint64
		if k.special == "palette" {
			for i := range 3 << k.bits {
				palette = append(palette, uint64(i*7919+300)&65535)
			}
			p.Set = []tifftest.Tag{{Tag: 262, Type: 3, Values: []uint64{3}}, {Tag: 320, Type: 3, Values: palette}}
		}
		colours, alpha := min(k.c, 3), -1
		if k.c == 2 {
			colours = 1
		}
		if k.extra == 1 || k.extra == 2 {
			alpha = colours
		}
		want := read(p, colours, alpha, k.extra == 1, false, palette)
		in := put(t, "in.tif", one(p).Bytes())
		packs := []string{"none", "packbits", "lzw", "zip"}
		if k.bits == 8 || k.bits == 16 || k.bits == 32 || k.bits == 64 {
			packs = append(packs, "lzw:2", "zip:2")
		}
		if k.float {
			packs = append(packs, "lzw:3", "zip:3")
		}
		for _, pack := range packs {
			for _, layout := range [][]string{{"-r", "5"}, {"-r", "100"}, {"-t", "-w", "32", "-l", "16"}} {
				for _, order := range []string{"-L", "-B", "-8"} {
					if layout[0] == "-t" && k.bits%8 != 0 {
						continue // tiffcp cuts tiles at whole bytes only
					}
					if pack[0] == 'z' && pack[len(pack)-1] == '2' && k.bits == 64 || pack == "lzw:2" && k.bits == 64 {
						continue // libtiff 4.5 differences up to 32 bits
					}
					if pack[len(pack)-1] == '3' && order == "-B" {
						continue // libtiff 4.5 can't read back what it then writes: its bytes are swapped twice
					}
					out := filepath.Join(t.TempDir(), "out.tif")
					args := append(append([]string{"-c", pack}, layout...), order, in, out)
					tool(t, "tiffcp", args...)
					b, err := os.ReadFile(out)
					if err != nil {
						t.Fatal(err)
					}
					f, got, n, err := counted(b, 2, false)
					if err != nil {
						t.Errorf("%+v tiffcp %q: %v", k, args, err)
						continue
					}
					if at := differ(got, want.samples); at != "" || n.Clipped != want.clipped || n.Translucent != want.translucent {
						t.Errorf("%+v tiffcp %q: %s, %+v, %+v", k, args, at, n, f.Info())
					}
					second(t, out, b, f.Info(), got)
				}
			}
		}
	}
}

// What ImageMagick writes. Its numbers are of 16 bits, so that depths below
// are asked for values that they can hold; 12 bits it writes up to 3 steps
// too low. Where it calls white 0 it leaves numbers of more than one bit as
// they are, as libvips and itself see them too.
func TestOutsideImageMagickWrites(t *testing.T) {
	of := func(c, bits int) tifftest.Picture {
		raw := wave(bits, false)
		return tifftest.Picture{W: 61, H: 37, C: c, Bits: 16, At: func(x, y, k int) uint16 {
			return uint16((2*65535*raw(x, y, k) + 1<<bits - 1) / (2*(1<<bits) - 2))
		}}
	}
	for _, k := range []struct {
		c, values, bits int
		float           bool
		near            int
	}{{1, 1, 1, false, 0}, {1, 2, 2, false, 0}, {1, 4, 4, false, 0}, {3, 4, 4, false, 0}, {1, 8, 8, false, 0}, {3, 8, 8, false, 0}, {1, 12, 12, false, 48}, {3, 12, 12, false, 48},
		{1, 16, 16, false, 0}, {3, 16, 16, false, 0}, {1, 16, 32, false, 0}, {3, 16, 32, false, 0}, {3, 16, 32, true, 0}, {1, 16, 32, true, 0}, {3, 16, 64, true, 0}} {
		p := of(k.c, k.values)
		in := put(t, "in.tif", one(p).Bytes())
		for _, pack := range []string{"None", "LZW", "Zip", "RLE"} {
			for _, more := range [][]string{nil, {"-interlace", "Plane"}, {"-define", "tiff:tile-geometry=32x16"}, {"-define", "tiff:rows-per-strip=3"}, {"-define", "tiff:endian=msb"}, {"-define", "quantum:polarity=min-is-white"}} {
				switch def := strings.Join(more, " "); {
				case strings.Contains(def, "polarity") && k.c == 3:
					continue
				case strings.Contains(def, "tile") && k.bits%8 != 0:
					continue // ImageMagick scrambles them, and reads them back scrambled
				case k.float && (pack == "None" || pack == "RLE"):
					continue // it asks libtiff for a predictor, which isn't had there
				case k.float && strings.Contains(def, "msb"):
					continue // see above: libtiff swaps the bytes twice
				}
				out := filepath.Join(t.TempDir(), "out.tif")
				args := append([]string{in}, more...)
				if k.float {
					args = append(args, "-define", "quantum:format=floating-point")
				}
				args = append(args, "-depth", fmt.Sprint(k.bits), "-compress", pack, out)
				tool(t, "convert", args...)
				b, err := os.ReadFile(out)
				if err != nil {
					t.Fatal(err)
				}
				f, got, _, err := counted(b, 2, false)
				if err != nil {
					t.Errorf("convert %q: %v", args, err)
					continue
				}
				want, info := p.Samples(), f.Info()
				if k.bits > 1 && strings.Contains(strings.Join(more, " "), "polarity") {
					invert(want)
				}
				if info.Bits != k.bits || info.Float != k.float || info.Planes != (more != nil && more[0] == "-interlace" && k.c == 3) || info.Channels != k.c {
					t.Errorf("convert %q: %+v", args, info)
				}
				for i, v := range got {
					if d := int(v) - int(want[i]); d > k.near || d < -k.near || len(got) != len(want) {
						t.Errorf("convert %q: sample %d is %d, want %d (%+v)", args, i, v, want[i], info)
						break
					}
				}
				second(t, out, b, info, got)
			}
		}
	}

	// Alpha of 40000 of 65535 everywhere.
	p := of(3, 16)
	in := put(t, "in.tif", one(p).Bytes())
	for _, kind := range []string{"associated", "unassociated"} {
		for _, more := range []string{"None", "Plane"} {
			if kind == "associated" && more == "Plane" {
				continue // ImageMagick multiplies twice, and reads it back so
			}
			out := filepath.Join(t.TempDir(), "alpha.tif")
			tool(t, "convert", in, "-alpha", "set", "-channel", "A", "-evaluate", "set", "40000", "+channel", "-define", "tiff:alpha="+kind, "-interlace", more, "-compress", "Zip", out)
			b, _ := os.ReadFile(out)
			f, got, n, err := counted(b, 2, false)
			if err != nil {
				t.Fatal(err)
			}
			if (f.Info().Alpha == AlphaAssociated) != (kind == "associated") || n.Translucent != 61*37 {
				t.Errorf("%+v, %+v", f.Info(), n)
			}
			for i, v := range got { // multiplied and divided again: rounded to 40000 steps
				if d := int(v) - int(p.Samples()[i]); d > 1 || d < -1 || kind != "associated" && d != 0 {
					t.Fatalf("%s: sample %d is %d, want %d", kind, i, v, p.Samples()[i])
				}
			}
		}
	}

	// A palette.
	q := tifftest.Picture{W: 61, H: 37, C: 3, Bits: 8, At: func(x, y, c int) uint16 { return uint16([]int{x / 8 * 30, y / 8 * 50, (x + y) / 30 * 60}[c]) }}
	in = put(t, "in.tif", one(q).Bytes())
	for _, pack := range []string{"None", "LZW", "Zip", "RLE"} {
		out := filepath.Join(t.TempDir(), "palette.tif")
		tool(t, "convert", in, "-type", "Palette", "-compress", pack, out)
		f, got := readBack(t, out)
		if !f.Info().Palette || !slices.Equal(got, q.Samples()) {
			t.Errorf("palette: %+v", f.Info())
		}
	}
	for _, space := range []string{"CMYK", "Lab"} {
		out := filepath.Join(t.TempDir(), "other.tif")
		tool(t, "convert", in, "-colorspace", space, out)
		b, _ := os.ReadFile(out)
		if _, err := Open(bytes.NewReader(b), int64(len(b))); err == nil || !strings.Contains(err.Error(), "stored as "+space) || !strings.Contains(err.Error(), "convert it to") {
			t.Errorf("%s: %v", space, err)
		}
	}
}

// What libvips writes, in floating point and 32 bits too.
func TestOutsideLibvipsWritesDeep(t *testing.T) {
	p := photo(3, 16)
	dir := t.TempDir()
	in := put(t, "in.tif", one(p).Bytes())
	double, unit, float := dir+"/double.v", dir+"/unit.v", dir+"/float.v"
	long, whole := dir+"/long.v", dir+"/whole.v"
	tool(t, "vips", "cast", in, double, "double")
	tool(t, "vips", "linear", double, unit, fmt.Sprint(1.0/65535), "0")
	tool(t, "vips", "cast", unit, float, "float")
	tool(t, "vips", "linear", double, long, "65537", "0")
	tool(t, "vips", "cast", long, whole, "uint")
	straight := photo(4, 16)
	straight.Set = []tifftest.Tag{{Tag: 338, Type: 3, Values: []uint64{2}}}
	alpha := put(t, "alpha.tif", one(straight).Bytes())
	for _, src := range []string{in, unit, float, whole, alpha} {
		for _, pack := range []string{"none", "lzw", "deflate", "packbits"} {
			for _, predictor := range []string{"none", "horizontal", "float"} {
				for _, layout := range []string{"", ",tile,tile-width=64,tile-height=32"} {
					if predictor == "float" && src != unit && src != float || predictor == "horizontal" && src == unit || predictor != "none" && (pack == "none" || pack == "packbits") {
						continue
					}
					how := "compression=" + pack + ",predictor=" + predictor + layout
					out := filepath.Join(t.TempDir(), "out.tif")
					tool(t, "vips", "copy", src, out+"["+how+"]")
					f, got := readBack(t, out)
					want := p.Samples()
					if src == alpha {
						want = nil
						for i, v := range straight.Samples() {
							if i%4 < 3 {
								want = append(want, v)
							}
						}
						if f.Info().Alpha != AlphaStraight {
							t.Errorf("%s: %+v", how, f.Info())
						}
					}
					if at := differ(got, want); at != "" {
						t.Errorf("%s %s: %s (%+v)", filepath.Base(src), how, at, f.Info())
					}
				}
			}
		}
	}
}

// The test pictures of golang.org/x/image, as its own reader reads them.
func TestOutsideGoTestPictures(t *testing.T) {
	dir, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "golang.org/x/image").Output()
	if err != nil {
		t.Fatal(err)
	}
	files, _ := filepath.Glob(strings.TrimSpace(string(dir)) + "/testdata/*.tiff")
	crossed = 0
	for _, path := range files {
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		f, got, err := decodeAll(b, 2)
		if err != nil {
			t.Logf("%s: %v", filepath.Base(path), err)
			continue
		}
		second(t, path, b, f.Info(), got)
	}
	if crossed < 12 {
		t.Errorf("%d of %d pictures compared", crossed, len(files))
	}
}
