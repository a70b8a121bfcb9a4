package interp

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"path/filepath"
	"strings"
	"testing"

	"platemark/lang"
	"platemark/ops/colour"
)

// A file that can't be a master is refused by what it is, whatever its name
// ends in.
func TestKindsRefused(t *testing.T) {
	folder := t.TempDir()
	recipe := filepath.Join(folder, "r.recipe")
	write(t, recipe, "recipe 1 draft\nmaster \"m.tif\" space opRGB\nprint p {\n    size 1 in wide at 10 ppi\n    save tiff \"p.tif\"\n}\n")
	op, _ := colour.Space("opRGB")
	box := func(brand string) string { return "\x00\x00\x00\x18ftyp" + brand + "\x00\x00\x00\x00mif1heic" }
	for head, c := range map[string]string{
		"%PDF-1.7\n":                     "a PDF document",
		box("heic"):                      "a HEIF picture",
		box("mif1"):                      "a HEIF picture",
		box("avif"):                      "an AVIF picture",
		box("isom"):                      "a film",
		"GIF89a":                         "a GIF picture",
		"RIFF\x24\x00\x00\x00WEBPVP8 ":   "a WebP picture",
		"\x00\x00\x00\x0cjP  \r\n\x87\n": "a JPEG 2000 picture",
		"\xff\x0a\xfa":                   "a JPEG XL picture",
		"BM\x46\x00\x00\x00\x00\x00\x00\x00\x36\x00\x00\x00": "a BMP picture",
		"":                 "an empty file",
		string(op.Bytes()): "it is a colour profile, not a picture",
		"something else":   "not a TIFF file",
		string(jpegFile(t, image.NewGray(image.Rect(0, 0, 8, 8)))): "it is a JPEG file",
	} {
		write(t, filepath.Join(folder, "m.tif"), head)
		j, err := Load(context.Background(), recipe, LoadOptions{})
		if err != nil {
			t.Fatal(err)
		}
		j.Close()
		found := false
		for _, d := range j.Diags {
			all := fmt.Sprint(d.Summary, d.Detail, d.Hints)
			found = found || d.Severity == lang.Error && strings.Contains(all, c)
			if c == "it is a JPEG file" && strings.Contains(all, c) && !strings.Contains(all, "platemark adopt m.tif") {
				t.Errorf("the error doesn't name the way out: %s", all)
			}
		}
		if !found {
			t.Errorf("%.20q: %+v", head, j.Diags)
		}
	}
}

// A PNG master makes the print that a TIFF master of the same samples makes,
// and the log records both alike but for the file.
func TestPNGMaster(t *testing.T) {
	folder := t.TempDir()
	img := image.NewNRGBA64(image.Rect(0, 0, 90, 60))
	for y := range 60 {
		for x := range 90 {
			img.SetNRGBA64(x, y, color.NRGBA64{R: noise(x, y, 0), G: noise(x, y, 1), B: noise(x, y, 2), A: 65535})
		}
	}
	writeMaster(t, filepath.Join(folder, "m.tif"), 90, 60, 3, "sRGB")
	write(t, filepath.Join(folder, "m.png"), string(pngWith(t, img, "sRGB", "\x00")))
	var first []byte
	for _, m := range []string{"m.tif", "m.png"} {
		recipe := filepath.Join(folder, "r.recipe")
		write(t, recipe, fmt.Sprintf("recipe 1 draft\nmaster %q\nprint p {\n    size 3 in x 2 in at 50 ppi\n    enlarge with lanczos3\n    convert to opRGB\n    save tiff \"out.tif\"\n}\n", m))
		b := mustBuild(t, recipe, LoadOptions{}, BuildOptions{Workers: 2, Force: true})
		out := read(t, filepath.Join(folder, "out.tif"))
		if first == nil {
			first = out
		}
		if !bytes.Equal(out, first) {
			t.Errorf("%s makes another print", m)
		}
		if v, err := Verify(context.Background(), b[0].Log, VerifyOptions{Strict: true}); err != nil || !v.OK {
			t.Errorf("%+v %v", v, err)
		}
		if _, err := Reprint(context.Background(), b[0].Log, ReprintOptions{BuildOptions: BuildOptions{Workers: 1, Force: true}}); err != nil {
			t.Error(err)
		}
	}
	// Alpha does no harm as long as everything is opaque; else the build stops.
	img.SetNRGBA64(50, 59, color.NRGBA64{R: 9, A: 65534})
	write(t, filepath.Join(folder, "m.png"), string(pngWith(t, img, "sRGB", "\x00")))
	j := mustLoad(t, filepath.Join(folder, "r.recipe"), LoadOptions{Force: true})
	if _, err := Build(context.Background(), j, BuildOptions{Workers: 1, Force: true}); err == nil || !strings.Contains(err.Error(), "isn't opaque everywhere") {
		t.Error(err)
	}
}
