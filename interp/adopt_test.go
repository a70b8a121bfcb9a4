package interp

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"image"
	"image/color"
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"platemark/interp/master"
	"platemark/ops/codec/tiff"
	"platemark/ops/colour"
)

// A JPEG file is taken over with its profile, resolution, title and rights,
// and said so; a second time nothing is overwritten.
func TestAdopt(t *testing.T) {
	folder := t.TempDir()
	from := filepath.Join(folder, "salt.jpg")
	op, _ := colour.Space("opRGB")
	icc := string(op.Bytes())
	xmp := `<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"><rdf:Description xmlns:dc="http://purl.org/dc/elements/1.1/">
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">Salt road</rdf:li></rdf:Alt></dc:title><dc:rights><rdf:Alt><rdf:li xml:lang="x-default">© invented</rdf:li></rdf:Alt></dc:rights>
</rdf:Description></rdf:RDF></x:xmpmeta>`
	img := image.NewRGBA(image.Rect(0, 0, 37, 21))
	for i := range img.Pix {
		img.Pix[i] = byte(i * 3)
	}
	data := jpegFile(t, img, jpegSegment(0xe0, "JFIF\x00\x01\x02\x01\x01\x2c\x01\x2c\x00\x00"),
		jpegSegment(0xe2, "ICC_PROFILE\x00\x02\x02"+icc[300:]), jpegSegment(0xe2, "ICC_PROFILE\x00\x01\x02"+icc[:300]), // out of order
		jpegSegment(0xe1, "http://ns.adobe.com/xap/1.0/\x00"+xmp))
	write(t, from, string(data))
	a, err := master.Adopt(context.Background(), from, "", "")
	if err != nil {
		t.Fatal(err)
	}
	to := filepath.Join(folder, "salt.tif")
	in, px := decodeFile(t, to)
	if a.To != to || in.W != 37 || in.H != 21 || in.Bits != 16 || in.Channels != 3 || string(in.ICC) != icc ||
		in.XPPI.Cmp(big.NewRat(300, 1)) != 0 || in.Orientation != 1 || len(in.Others) != 0 {
		t.Errorf("%+v", in)
	}
	if len(px) != 37*21*3 {
		t.Error(len(px))
	}
	sum := func(b []byte) string { s := sha256.Sum256(b); return hex.EncodeToString(s[:]) }
	whole := read(t, to)
	if a.FromSHA256 != sum(data) || a.ToSHA256 != sum(whole) {
		t.Error("digests")
	}
	if a.Title != "Salt road" || a.Rights != "© invented" || a.PPI != "300" || a.Profile != op.Description() || a.Recipe != `master "salt.tif"` ||
		!strings.Contains(a.Decoder, "image/jpeg of go") || len(a.Notes) != 0 {
		t.Errorf("%+v", a)
	}
	for _, text := range []string{"Salt road", "© invented"} {
		if !bytes.Contains(whole, []byte(text)) {
			t.Errorf("%q isn't in the TIFF file", text)
		}
	}
	if _, err := master.Adopt(context.Background(), from, "", ""); err == nil || !strings.Contains(err.Error(), "exists already") {
		t.Error(err)
	}
	if !bytes.Equal(read(t, to), whole) {
		t.Error("overwritten")
	}
	// The same file again gives the same bytes.
	again := filepath.Join(folder, "again.tif")
	if _, err := master.Adopt(context.Background(), from, again, ""); err != nil || !bytes.Equal(read(t, again), whole) {
		t.Error(err)
	}
	// It stands in a recipe as it is said.
	recipe := filepath.Join(folder, "r.recipe")
	write(t, recipe, "recipe 1 draft\n"+a.Recipe+"\nprint p {\n    size 1 in wide at 50 ppi\n    enlarge with linear\n    save tiff \"p.tif\"\n}\n")
	mustBuild(t, recipe, LoadOptions{}, BuildOptions{Workers: 1})
	list, err := filepath.Glob(filepath.Join(folder, ".*"))
	if err != nil || len(list) != 0 {
		t.Error("left behind:", list)
	}
}

// tone is the grey of each of 4 x 2 fields.
func tone(x, y int) uint8 { return uint8(20 + 28*(4*y+x)) }

const field = 16 // pixels on each side of a field, whole JPEG blocks

// fieldsStored is the picture of 4 x 2 fields stored so that the orientation brings
// it upright; by the words of TIFF 6.0 for tag 274, apart from the code.
func fieldsStored(orientation int) *image.Gray {
	w, h := 4, 2
	if orientation >= 5 {
		w, h = h, w
	}
	g := image.NewGray(image.Rect(0, 0, w*field, h*field))
	for r := range h {
		for c := range w {
			// Where the stored row r and column c lie in the upright picture.
			var x, y int
			switch orientation {
			case 1: // row 0 at the top, column 0 at the left
				x, y = c, r
			case 2: // top, right
				x, y = 3-c, r
			case 3: // bottom, right
				x, y = 3-c, 1-r
			case 4: // bottom, left
				x, y = c, 1-r
			case 5: // row 0 at the left, column 0 at the top
				x, y = r, c
			case 6: // right, top
				x, y = 3-r, c
			case 7: // right, bottom
				x, y = 3-r, 1-c
			case 8: // left, bottom
				x, y = r, 1-c
			}
			for j := range field {
				for i := range field {
					g.SetGray(c*field+i, r*field+j, color.Gray{Y: tone(x, y)})
				}
			}
		}
	}
	return g
}

func tiffOf(t testing.TB, g *image.Gray, orientation int) []byte {
	t.Helper()
	l, err := tiff.NewLayout(tiff.Options{W: g.Rect.Dx(), H: g.Rect.Dy(), C: 1, Bits: 8})
	if err != nil {
		t.Fatal(err)
	}
	b := bytes.Clone(l.Header())
	row := make([]uint16, g.Rect.Dx())
	for y := range g.Rect.Dy() {
		for x := range row {
			row[x] = uint16(g.GrayAt(x, y).Y) * 257
		}
		b = l.AppendRow(b, row, y)
	}
	// The writer's orientation is 1; here the tag is set to another.
	tag := []byte{0x12, 1, 3, 0, 1, 0, 0, 0, 1, 0, 0, 0}
	at := bytes.Index(b, tag)
	if at < 0 {
		t.Fatal("the file has no orientation")
	}
	b[at+8] = byte(orientation)
	return b
}

// One picture in all eight orientations as TIFF, PNG and JPEG comes to one and
// the same print: 24 files, one file's bytes; and what was adopted, described
// or printed is upright and isn't turned again.
func TestOrientationOnce(t *testing.T) {
	folder := t.TempDir()
	var first []byte
	for o := 1; o <= 8; o++ {
		g := fieldsStored(o)
		write(t, filepath.Join(folder, "t.tif"), string(tiffOf(t, g, o)))
		write(t, filepath.Join(folder, "p.png"), string(pngWith(t, g, "eXIf", exifOf(o))))
		write(t, filepath.Join(folder, "j.jpg"), string(jpegFile(t, g, jpegSegment(0xe1, "Exif\x00\x00"+exifOf(o)))))
		adopted := filepath.Join(folder, "j.tif")
		a, err := master.Adopt(context.Background(), filepath.Join(folder, "j.jpg"), adopted, "")
		if err != nil {
			t.Fatal(err)
		}
		if a.Width != 4*field || a.Height != 2*field {
			t.Fatalf("orientation %d: adopted as %d x %d", o, a.Width, a.Height)
		}
		in, px := decodeFile(t, adopted)
		if in.Orientation != 1 {
			t.Errorf("the adopted file has orientation %d", in.Orientation)
		}
		for y := range 2 * field {
			for x := range 4 * field {
				if got, want := px[y*4*field+x], uint16(tone(x/field, y/field))*257; got != want {
					t.Fatalf("orientation %d, adopted: (%d, %d) is %d, want %d", o, x, y, got, want)
				}
			}
		}
		for _, m := range []string{"t.tif", "p.png", "j.tif"} {
			recipe := filepath.Join(folder, "r.recipe")
			write(t, recipe, fmt.Sprintf("recipe 1 draft\nmaster %q space grey-2.2\nprint p {\n    size 4 in x 2 in at 16 ppi\n    save tiff \"out.tif\"\n}\n", m))
			mustBuild(t, recipe, LoadOptions{}, BuildOptions{Workers: 1, Force: true})
			out := read(t, filepath.Join(folder, "out.tif"))
			if first == nil {
				first = out
			}
			if !bytes.Equal(out, first) {
				t.Errorf("%s with orientation %d makes another print", m, o)
			}
		}
		os.Remove(adopted)
	}
	// A print fed through again stays as it is.
	write(t, filepath.Join(folder, "again.tif"), string(first))
	recipe := filepath.Join(folder, "r.recipe")
	write(t, recipe, "recipe 1 draft\nmaster \"again.tif\"\nprint p {\n    size 4 in x 2 in at 16 ppi\n    save tiff \"out.tif\"\n}\n")
	mustBuild(t, recipe, LoadOptions{}, BuildOptions{Workers: 1, Force: true})
	if !bytes.Equal(read(t, filepath.Join(folder, "out.tif")), first) {
		t.Error("the second time another print")
	}
}

// A mask in another orientation than its master lies where it belongs.
func TestMaskAndMaster(t *testing.T) {
	folder := t.TempDir()
	var first []byte
	for k := range 3 {
		om, ok := []int{1, 6, 8}[k], []int{1, 3, 5}[k]
		write(t, filepath.Join(folder, "m.png"), string(pngWith(t, fieldsStored(om), "eXIf", exifOf(om))))
		write(t, filepath.Join(folder, "k.png"), string(pngWith(t, fieldsStored(ok), "eXIf", exifOf(ok))))
		recipe := filepath.Join(folder, "r.recipe")
		write(t, recipe, "recipe 1 draft\nmaster \"m.png\" space grey-2.2\nmask k {\n    file \"k.png\"\n}\nprint p {\n    size 4 in x 2 in at 32 ppi\n"+
			"    enlarge with lanczos3 as a\n    enlarge with b-spline as b\n    blend a over b through k\n    save tiff \"out.tif\"\n}\n")
		mustBuild(t, recipe, LoadOptions{}, BuildOptions{Workers: 1, Force: true})
		out := read(t, filepath.Join(folder, "out.tif"))
		if first == nil {
			first = out
		}
		if !bytes.Equal(out, first) {
			t.Errorf("master turned %d and mask %d make another print", om, ok)
		}
	}
}

// No preview and no orientation other than 1 survives in the adopted file,
// whatever stood in Exif and XMP.
func TestNothingStale(t *testing.T) {
	folder := t.TempDir()
	from := filepath.Join(folder, "s.jpg")
	xmp := `<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"><rdf:Description xmlns:tiff="http://ns.adobe.com/tiff/1.0/" tiff:Orientation="6"/>
<rdf:Description xmlns:tiff="http://ns.adobe.com/tiff/1.0/" xmlns:dc="http://purl.org/dc/elements/1.1/"><tiff:Orientation>6</tiff:Orientation><dc:title><rdf:Alt><rdf:li xml:lang="x-default">T</rdf:li></rdf:Alt></dc:title></rdf:Description></rdf:RDF></x:xmpmeta>`
	write(t, from, string(jpegFile(t, fieldsStored(6), jpegSegment(0xe1, "Exif\x00\x00"+exifOf(6)), jpegSegment(0xe1, "http://ns.adobe.com/xap/1.0/\x00"+xmp))))
	a, err := master.Adopt(context.Background(), from, "", "")
	if err != nil {
		t.Fatal(err)
	}
	b := read(t, a.To)
	in, _ := decodeFile(t, a.To)
	if in.Orientation != 1 || len(in.Others) != 0 || bytes.Contains(b, []byte("rientation")) || bytes.Contains(b, []byte("Exif")) || bytes.Contains(b, []byte("\xff\xd8\xff")) {
		t.Errorf("%+v", in)
	}
	if s := strings.Join(a.Notes, "\n"); !strings.Contains(s, "turned upright") || !strings.Contains(s, "left out: a preview in Exif") {
		t.Errorf("%q", s)
	}
}
