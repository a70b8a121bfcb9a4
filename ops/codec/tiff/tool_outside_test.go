//go:build outside

package tiff

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"math/big"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"platemark/ops/codec/tiff/tifftest"
)

// These checks need libtiff's tools (tiffcp, tiffinfo), libvips (vips,
// vipsheader), ImageMagick (convert), and Python with PIL and tifffile. They
// fail where those are missing.

func tool(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, out)
	}
	return string(out)
}

func put(t *testing.T, name string, b []byte) string {
	t.Helper()
	p := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(p, b, 0o600); err != nil {
		t.Fatal(err)
	}
	return p
}

func readBack(t *testing.T, path string) (*File, []uint16) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	f, got, err := decodeAll(b, 2)
	if err != nil {
		t.Fatal(err)
	}
	return f, got
}

// photo is a picture with noise and smooth parts, so that LZW takes all ways.
func photo(c, bits int) tifftest.Picture {
	return tifftest.Picture{W: 403, H: 217, C: c, Bits: bits, At: func(x, y, ch int) uint16 {
		v := uint16(x*97+y*31) + uint16(ch*9000)
		if y > 100 {
			v += uint16(x*x*7919+y*y*y*31) & 511
		}
		if x > 200 && y < 60 {
			v = 65535
		}
		if bits == 8 {
			v >>= 8
		}
		return v
	}}
}

// What libtiff writes is read back to equal samples.
func TestOutsideLibtiffWrites(t *testing.T) {
	for _, bits := range []int{8, 16} {
		for _, c := range []int{1, 3} {
			p := photo(c, bits)
			want := p.Samples()
			in := put(t, "in.tif", one(p).Bytes())
			for _, layout := range [][]string{{"-r", "1"}, {"-r", "13"}, {"-r", "100000"}, {"-t"}, {"-t", "-w", "64", "-l", "32"}, {"-t", "-w", "512", "-l", "512"}} {
				for _, pack := range []string{"none", "lzw", "lzw:1", "lzw:2"} {
					for _, order := range [][]string{{"-L"}, {"-B"}, {"-8"}} {
						out := filepath.Join(t.TempDir(), "out.tif")
						args := append(append(append([]string{"-c", pack}, layout...), order...), in, out)
						tool(t, "tiffcp", args...)
						f, got := readBack(t, out)
						info := f.Info()
						if !slices.Equal(got, want) || len(info.Warnings) > 0 {
							t.Errorf("tiffcp %q: other samples (%+v)", args, info)
						}
						if (pack == "none") != (info.Compression == "uncompressed") || (layout[0] == "-t") != (info.Layout == "tiles") || (order[0] == "-B") != info.BigEndian || (order[0] == "-8") != info.BigTIFF {
							t.Errorf("tiffcp %q: %+v", args, info)
						}
					}
				}
			}
			if c == 3 && bits == 8 { // tiffcp splits 8 bits only
				for _, layout := range [][]string{{"-r", "7"}, {"-t", "-w", "64", "-l", "32"}} {
					out := filepath.Join(t.TempDir(), "planes.tif")
					tool(t, "tiffcp", append(append([]string{"-p", "separate", "-c", "lzw:2"}, layout...), in, out)...)
					if f, got := readBack(t, out); !slices.Equal(got, want) || !f.Info().Planes {
						t.Errorf("planes: other samples (%+v)", f.Info())
					}
				}
			}
		}
	}
}

// What libvips writes is read back to equal samples.
func TestOutsideLibvipsWrites(t *testing.T) {
	for _, bits := range []int{8, 16} {
		for _, c := range []int{1, 3} {
			p := photo(c, bits)
			in := put(t, "in.tif", one(p).Bytes())
			for _, how := range []string{"compression=none", "compression=lzw", "compression=lzw,predictor=horizontal", "compression=none,tile", "compression=lzw,predictor=horizontal,tile,tile-width=64,tile-height=48",
				"compression=lzw,bigtiff", "compression=none,pyramid,tile"} {
				out := filepath.Join(t.TempDir(), "out.tif")
				tool(t, "vips", "copy", in, out+"["+how+"]")
				f, got := readBack(t, out)
				if !slices.Equal(got, p.Samples()) {
					t.Errorf("%s: other samples (%+v)", how, f.Info())
				}
				if strings.Contains(how, "pyramid") != (len(f.Info().Others) > 0) {
					t.Errorf("%s: others %q", how, f.Info().Others)
				}
			}
		}
	}
}

// Print files are read by libtiff and libvips: samples, profile bytes and 300
// pixels per inch intact.
func TestOutsideReadsPrintFiles(t *testing.T) {
	icc, err := os.ReadFile("../../../testdata/standards/profiles/srgb_v4.icc")
	if err != nil {
		t.Fatal(err)
	}
	for _, bits := range []int{8, 16} {
		for _, c := range []int{1, 3} {
			o := Options{W: 301, H: 457, C: c, Bits: bits, PPI: big.NewRat(300, 1), Title: "Salt road, November", Rights: "by the photographer"}
			if c == 3 {
				o.ICC = icc
			}
			b := file(t, o, samplesFor(o))
			in := put(t, "print.tif", b)
			_, want := readBack(t, in)
			says := tool(t, "tiffinfo", "-D", in)
			for _, s := range []string{"Image Width: 301 Image Length: 457", "Resolution: 300, 300 pixels/inch", fmt.Sprintf("Bits/Sample: %d", bits), "Compression Scheme: None",
				"Orientation: row 0 top, col 0 lhs", "ImageDescription: Salt road, November", "Copyright: by the photographer", "Planar Configuration: single image plane"} {
				if !strings.Contains(says, s) {
					t.Errorf("tiffinfo doesn't say %q:\n%s", s, says)
				}
			}
			if strings.Contains(strings.ToLower(says), "warning") {
				t.Errorf("tiffinfo warns:\n%s", says)
			}
			again := filepath.Join(t.TempDir(), "again.tif")
			tool(t, "tiffcp", "-c", "lzw", in, again)
			f, got := readBack(t, again)
			if !slices.Equal(got, want) || !bytes.Equal(f.Info().ICC, o.ICC) || f.Info().XPPI.Cmp(o.PPI) != 0 {
				t.Error("another file through libtiff")
			}
			raw := filepath.Join(t.TempDir(), "out.v")
			tool(t, "vips", "copy", in, raw)
			if s := strings.TrimSpace(tool(t, "vipsheader", "-f", "xres", in)); !strings.HasPrefix(s, "11.811") {
				t.Errorf("vips: %s pixels per mm", s)
			}
			if c == 3 {
				b64 := tool(t, "vipsheader", "-f", "icc-profile-data", in)
				got, err := base64.StdEncoding.DecodeString(strings.Join(strings.Fields(b64), ""))
				if err != nil || !bytes.Equal(got, icc) {
					t.Errorf("vips: another profile (%v, %d bytes)", err, len(got))
				}
			}
			v := filepath.Join(t.TempDir(), "vips.tif")
			tool(t, "vips", "copy", in, v)
			if _, got := readBack(t, v); !slices.Equal(got, want) {
				t.Error("another picture through libvips")
			}
		}
	}
}

// A BigTIFF print file, sparse, as libtiff sees it.
func TestOutsideReadsBigTIFF(t *testing.T) {
	l, err := NewLayout(Options{W: 36000, H: 24000, C: 3, Bits: 16, PPI: big.NewRat(300, 1)})
	if err != nil {
		t.Fatal(err)
	}
	p := put(t, "big.tif", l.Header())
	if err := os.Truncate(p, l.Size()); err != nil {
		t.Fatal(err)
	}
	says := tool(t, "tiffinfo", p)
	if !strings.Contains(says, "Image Width: 36000 Image Length: 24000") || !strings.Contains(says, "Resolution: 300, 300 pixels/inch") || strings.Contains(strings.ToLower(says), "warning") {
		t.Errorf("tiffinfo says:\n%s", says)
	}
}
