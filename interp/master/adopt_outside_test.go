//go:build outside

package master

import (
	"bytes"
	"context"
	"fmt"
	"math/big"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// These checks need libjpeg-turbo's tools (cjpeg, djpeg), ImageMagick 6
// (convert-im6) and Python 3 with PIL as Debian packages it.

func outsideTool(t *testing.T, name string, args ...string) []byte {
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

// What cjpeg writes is adopted to nearly the samples that djpeg decodes: two
// decoders differ, but by no more than 3 of 255 (measured with libjpeg-turbo
// 2.1.5: 1.0 for grey and RGB, 2.3 to 2.9 for colour differences).
func TestOutsideAdopt(t *testing.T) {
	folder := t.TempDir()
	ppm, pgm := filepath.Join(folder, "in.ppm"), filepath.Join(folder, "in.pgm")
	const w, h = 131, 93
	var colour, grey bytes.Buffer
	fmt.Fprintf(&colour, "P6 %d %d 255\n", w, h)
	fmt.Fprintf(&grey, "P5 %d %d 255\n", w, h)
	for y := range h {
		for x := range w {
			colour.Write([]byte{byte(x + y), byte(x*x/130 + y), byte(255 - x - y/2)})
			grey.WriteByte(byte(x + 2*y))
		}
	}
	write(t, ppm, colour.String())
	write(t, pgm, grey.String())
	for name, args := range map[string][]string{
		"half":        {"-quality", "95", "-sample", "2x2", ppm},
		"full":        {"-quality", "95", "-sample", "1x1", ppm},
		"across":      {"-quality", "95", "-sample", "2x1", ppm},
		"down":        {"-quality", "95", "-sample", "1x2", ppm},
		"progressive": {"-progressive", "-sample", "1x1", ppm},
		"restarts":    {"-restart", "3B", "-sample", "1x1", ppm},
		"RGB":         {"-rgb", "-quality", "95", ppm},
		"grey":        {"-grayscale", pgm},
	} {
		from, to := filepath.Join(folder, name+".jpg"), filepath.Join(folder, name+".tif")
		outsideTool(t, "cjpeg", append([]string{"-outfile", from}, args...)...)
		if _, err := Adopt(context.Background(), from, "", ""); err != nil {
			t.Fatal(name, err)
		}
		_, px := decodeFile(t, to)
		raw := outsideTool(t, "djpeg", "-dct", "int", from)
		raw = raw[len(raw)-len(px):]
		most := 0
		for i, v := range px {
			d := int(v) - int(raw[i])*257
			most = max(most, d, -d)
		}
		t.Logf("%s: at most %.2f of 255 apart", name, float64(most)/257)
		if most > 3*257 {
			t.Errorf("%s: %d of 65535 apart", name, most)
		}
	}
	outsideTool(t, "cjpeg", "-arithmetic", "-outfile", filepath.Join(folder, "a.jpg"), ppm)
	if _, err := Adopt(context.Background(), filepath.Join(folder, "a.jpg"), "", ""); err == nil || !strings.Contains(err.Error(), "arithmetically coded") {
		t.Error(err)
	}
}

// Inks, as three programs write them, are refused by name.
func TestOutsideInks(t *testing.T) {
	folder := t.TempDir()
	at := func(n string) string { return filepath.Join(folder, n) }
	outsideTool(t, "/usr/bin/python3", "-c", "import sys; from PIL import Image; Image.new('CMYK', (8, 8), (255, 0, 0, 0)).save(sys.argv[1])", at("pil.jpg"))
	outsideTool(t, "convert-im6", "-size", "8x8", "xc:cyan", "-colorspace", "CMYK", at("magick.jpg"))
	outsideTool(t, "vips", "black", at("b.v"), "8", "8", "--bands", "4")
	outsideTool(t, "vips", "copy", at("b.v"), at("c.v"), "--interpretation", "cmyk")
	outsideTool(t, "vips", "copy", at("c.v"), at("vips.jpg"))
	for _, n := range []string{"pil.jpg", "magick.jpg", "vips.jpg"} {
		if _, err := Adopt(context.Background(), at(n), "", ""); err == nil || !strings.Contains(err.Error(), "CMYK not accepted") {
			t.Errorf("%s: %v", n, err)
		}
	}
}

// Restart markers in scans of one channel, and sampling factors of three, are
// whole files that Go's decoder doesn't read: the property is named, and nobody
// is sent to a backup. Everything else that cjpeg can do to a file is read.
func TestOutsideJPEGsOfAllKinds(t *testing.T) {
	folder := t.TempDir()
	ppm, to := filepath.Join(folder, "p.ppm"), filepath.Join(folder, "p.tif")
	outsideTool(t, "convert-im6", "-size", "200x150", "gradient:teal-orange", ppm)
	for _, sample := range []string{"1x1", "2x1", "1x2", "2x2", "4x1", "3x1"} {
		for _, restart := range []string{"0", "1B", "4"} {
			for _, kind := range []string{"-baseline", "-progressive"} {
				from := filepath.Join(folder, "p.jpg")
				outsideTool(t, "cjpeg", kind, "-sample", sample, "-restart", restart, "-outfile", from, ppm)
				_, err := Adopt(context.Background(), from, to, "")
				os.Remove(to)
				want := ""
				switch {
				case kind == "-progressive" && restart != "0" && sample != "1x1":
					want = "restart markers"
				case sample == "3x1":
					want = "subsampling ratio"
				}
				if want == "" && err != nil || want != "" && (err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "not damaged")) {
					t.Errorf("%s %s, restart %s: %v", kind, sample, restart, err)
				}
			}
		}
	}
}

// Profile, resolution, orientation and rights as PIL writes them.
func TestOutsideAdoptProperties(t *testing.T) {
	folder := t.TempDir()
	from := filepath.Join(folder, "p.jpg")
	icc := outsideTool(t, "/usr/bin/python3", "-c", `
import sys
from PIL import Image, ImageCms
p = ImageCms.ImageCmsProfile(ImageCms.createProfile('sRGB')).tobytes()
p = p + bytes(i * 7 & 255 for i in range(140000 - len(p)))
ex = Image.Exif()
ex[0x112] = 6
ex[0x8298] = 'invented, free to use'
ex[0x10e] = 'Salt road'
Image.new('RGB', (40, 24)).save(sys.argv[1], icc_profile=p, dpi=(300, 300), exif=ex, progressive=True)
sys.stdout.buffer.write(p)
`, from)
	a, err := Adopt(context.Background(), from, "", "")
	if err != nil {
		t.Fatal(err)
	}
	in, _ := decodeFile(t, a.To)
	if !bytes.Equal(in.ICC, icc) || in.W != 24 || in.H != 40 || in.XPPI.Cmp(big.NewRat(300, 1)) != 0 || a.Rights != "invented, free to use" || a.Title != "Salt road" {
		t.Errorf("%+v %+v", a, in)
	}
	if _, err := os.Stat(a.To); err != nil {
		t.Error(err)
	}
}
