//go:build outside

package png

import (
	"bytes"
	"fmt"
	"math/big"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// These checks need libvips (vips), ImageMagick 6 (convert-im6) and Python 3
// with PIL as Debian packages it. They fail where those are missing.

func tool(t *testing.T, name string, args ...string) []byte {
	t.Helper()
	cmd := exec.Command(name, args...)
	var e bytes.Buffer
	cmd.Stderr = &e
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, e.String())
	}
	return out
}

// pil runs a Python program of Debian's interpreter.
func pil(t *testing.T, program string, args ...string) []byte {
	return tool(t, "/usr/bin/python3", append([]string{"-c", program}, args...)...)
}

// bare is a TIFF file of the samples, which the tools make PNG files of.
func bareTIFF(w, h, c, bits int, at func(i int) uint16) []byte {
	le := func(n int, v uint64) (b []byte) {
		for range n {
			b, v = append(b, byte(v)), v>>8
		}
		return b
	}
	photometric := uint64(1)
	if c >= 3 {
		photometric = 2
	}
	extra := c == 2 || c == 4
	n := 9
	if extra {
		n++
	}
	far := 8 + 2 + 12*n + 4
	b := append([]byte("II*\x00\x08\x00\x00\x00"), le(2, uint64(n))...)
	short := func(tag, v uint64) { b = slices.Concat(b, le(2, tag), le(2, 3), le(4, 1), le(4, v)) }
	short(256, uint64(w))
	short(257, uint64(h))
	if c <= 2 {
		b = slices.Concat(b, le(2, 258), le(2, 3), le(4, uint64(c)), le(2, uint64(bits)), le(2, uint64(bits)))
	} else {
		b = slices.Concat(b, le(2, 258), le(2, 3), le(4, uint64(c)), le(4, uint64(far)))
	}
	short(259, 1)
	short(262, photometric)
	b = slices.Concat(b, le(2, 273), le(2, 4), le(4, 1), le(4, uint64(far+8)))
	short(277, uint64(c))
	short(278, uint64(h))
	b = slices.Concat(b, le(2, 279), le(2, 4), le(4, 1), le(4, uint64(w*h*c*bits/8)))
	if extra {
		short(338, 2)
	}
	b = append(b, 0, 0, 0, 0)
	for range 4 {
		b = append(b, le(2, uint64(bits))...)
	}
	for i := range w * h * c {
		b = append(b, le(bits/8, uint64(at(i)))...)
	}
	return b
}

// What libvips, ImageMagick and PIL write is read to the samples that went in.
func TestOutsideWritten(t *testing.T) {
	dir := t.TempDir()
	in, out := filepath.Join(dir, "in.tif"), filepath.Join(dir, "out.png")
	const w, h = 203, 117
	for _, c := range []int{1, 2, 3, 4} {
		for _, bits := range []int{8, 16} {
			at := func(i int) uint16 {
				v := mix(bits)(i/c%w, i/c/w, i%c)
				return v
			}
			if err := os.WriteFile(in, bareTIFF(w, h, c, bits, at), 0o600); err != nil {
				t.Fatal(err)
			}
			p := picture{w: w, h: h, depth: bits, colour: map[int]int{1: 0, 2: 4, 3: 2, 4: 6}[c], at: func(x, y, ch int) uint16 { return at((y*w+x)*c + ch) }}
			expected := want(p, nil)
			writers := map[string][]string{
				"vips":            {"vips", "copy", in, out},
				"vips interlaced": {"vips", "copy", in, out + "[interlace]"},
				"vips filters":    {"vips", "copy", in, out + "[filter=all,compression=9]"},
				"vips none":       {"vips", "copy", in, out + "[compression=0]"},
				"magick":          {"convert-im6", in, "-define", fmt.Sprintf("png:color-type=%d", p.colour), "-define", fmt.Sprintf("png:bit-depth=%d", bits), out},
				"magick Adam7":    {"convert-im6", in, "-interlace", "PNG", "-define", fmt.Sprintf("png:color-type=%d", p.colour), "-define", fmt.Sprintf("png:bit-depth=%d", bits), out},
			}
			if bits == 8 && c != 2 || c == 1 {
				writers["PIL"] = []string{"/usr/bin/python3", "-c", "import sys; from PIL import Image; Image.open(sys.argv[1]).save(sys.argv[2])", in, out}
			}
			for name, args := range writers {
				os.Remove(out)
				tool(t, args[0], args[1:]...)
				b, err := os.ReadFile(out)
				if err != nil {
					t.Fatal(err)
				}
				f, got, err := decodeAll(b, true)
				if err != nil {
					t.Fatal(name, c, bits, err)
				}
				if f.info.Bits != bits || f.interlaced != (strings.Contains(name, "interlaced") || strings.Contains(name, "Adam7")) {
					t.Errorf("%s: %+v", name, f.info)
				}
				same(t, fmt.Sprint(name, " ", c, " ", bits), got, expected)
			}
		}
	}
}

// Few bits and palettes, as PIL and ImageMagick write them, are read as they
// read them back themselves.
func TestOutsideFewBits(t *testing.T) {
	dir := t.TempDir()
	out := filepath.Join(dir, "out.png")
	program := `
import sys
from PIL import Image
kind, bits, path = sys.argv[1], int(sys.argv[2]), sys.argv[3]
im = Image.new('L', (61, 45))
im.putdata([(x * x + 7 * y + x * y) % 256 for y in range(45) for x in range(61)])
if kind == 'P':
    im = im.convert('RGB').quantize(1 << bits)
    im.save(path, bits=bits, transparency=0) if len(sys.argv) > 4 else im.save(path, bits=bits)
elif kind == '1':
    im.convert('1').save(path)
im = Image.open(path)
im.load()
if len(sys.argv) > 4:
    white = Image.new('RGBA', im.size, (255, 255, 255, 255))
    im = Image.alpha_composite(white, im.convert('RGBA'))
sys.stdout.buffer.write(im.convert('RGB').tobytes())
`
	for _, c := range [][]string{{"1", "1"}, {"P", "1"}, {"P", "2"}, {"P", "4"}, {"P", "8"}, {"P", "4", "clear"}, {"P", "8", "clear"}} {
		rgb := pil(t, program, slices.Concat(c[:2], []string{out}, c[2:])...)
		compareRGB(t, fmt.Sprint("PIL ", c), out, rgb)
	}
	for _, bits := range []string{"1", "2", "4", "8", "16"} {
		tool(t, "convert-im6", "-size", "61x45", "gradient:", "-define", "png:color-type=0", "-define", "png:bit-depth="+bits, out)
		compareRGB(t, "magick "+bits, out, tool(t, "convert-im6", out, "-depth", "16", "-endian", "MSB", "rgb:-"))
	}
}

// compareRGB compares a file with RGB bytes, 8 or 16 bits a sample.
func compareRGB(t *testing.T, name, path string, rgb []byte) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	f, got, err := decodeAll(b, true)
	if err != nil {
		t.Fatal(name, err)
	}
	pixels := f.info.W * f.info.H
	var expected []uint16
	for i := range pixels * 3 {
		if f.info.Channels == 1 && i%3 != 0 {
			continue
		}
		if len(rgb) == pixels*6 {
			expected = append(expected, be.Uint16(rgb[2*i:]))
		} else {
			expected = append(expected, uint16(rgb[i])*257)
		}
	}
	same(t, name, got, expected)
}

// Profile, resolution and orientation as other programs write them.
func TestOutsideProperties(t *testing.T) {
	dir := t.TempDir()
	out := filepath.Join(dir, "out.png")
	icc := pil(t, `
import sys
from PIL import Image, ImageCms
p = ImageCms.ImageCmsProfile(ImageCms.createProfile('sRGB')).tobytes()
im = Image.new('RGB', (9, 7))
ex = Image.Exif()
ex[0x112] = 6
im.save(sys.argv[1], icc_profile=p, dpi=(300, 300), exif=ex)
sys.stdout.buffer.write(p)
`, out)
	b, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	f, err := open(b)
	if err != nil {
		t.Fatal(err)
	}
	in := f.Info()
	if !bytes.Equal(in.ICC, icc) || in.Orientation != 6 || in.XPPI == nil || Shown(in.XPPI).Cmp(big.NewRat(300, 1)) != 0 {
		t.Errorf("%+v", in)
	}
	tool(t, "convert-im6", "-size", "9x7", "gradient:red-blue", "-density", "240", "-units", "PixelsPerInch", out)
	if b, err = os.ReadFile(out); err != nil {
		t.Fatal(err)
	}
	if f, err = open(b); err != nil || Shown(f.Info().XPPI).Cmp(big.NewRat(240, 1)) != 0 {
		t.Errorf("%+v %v", f.Info(), err)
	}
}
