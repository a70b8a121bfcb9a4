package pdf

import (
	"bytes"
	"compress/zlib"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/image/font/gofont/goitalic"
	"golang.org/x/image/font/gofont/goregular"

	"platemark/ops/colour"
)

// sheet is a 19 x 13 in page with a red square of 2 in at 1 in from the corner, a
// ruler of 100 mm below, and words; then a small page.
func sheet(t *testing.T) *Document {
	t.Helper()
	d := &Document{Title: "Étude (I)"}
	face, err := d.Font(goregular.TTF)
	if err != nil {
		t.Fatal(err)
	}
	slanted, err := d.Font(goitalic.TTF)
	if err != nil {
		t.Fatal(err)
	}
	space, _ := colour.Space("opRGB")
	red := &Picture{W: 600, H: 600, Channels: 3, Bits: 16, ICC: space.Bytes(), Data: func(w io.Writer) error {
		_, err := w.Write(bytes.Repeat([]byte{0xff, 0xff, 0, 0, 0, 0}, 600*600))
		return err
	}}
	grey, _ := colour.Space("grey-2.2")
	dark := &Picture{W: 2, H: 1, Channels: 1, Bits: 8, ICC: grey.Bytes(), Data: bytesOf([]byte{0, 200})}
	for _, p := range []*Picture{red, dark} {
		if err := d.Picture(p); err != nil {
			t.Fatal(err)
		}
	}
	p := d.Page(1368, 936)
	p.Place(red, 72, 72, 144, 144)
	p.Line(72, 302, 72+100/25.4*72, 302, 4)
	p.Text(face, 12, 72, 330, "Étude n° 12, größer fi (100 mm)")
	p.Text(slanted, 12, 72, 350, "e\u0301 is é")
	p = d.Page(300, 200)
	p.Grey(0.5)
	p.Line(10, 10, 290, 10, 1)
	p.Place(dark, 10, 20, 100, 50)
	p.Text(face, 10, 10, 100, "日")
	if face.Missing() != "日" {
		t.Errorf("missing: %q", face.Missing())
	}
	return d
}

func written(t *testing.T, d *Document) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := d.Write(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// The same document is the same file; every object is where the table at the
// end says; pictures carry their profiles byte for byte.
func TestWrite(t *testing.T) {
	b := written(t, sheet(t))
	if !bytes.Equal(b, written(t, sheet(t))) {
		t.Error("two runs gave two files")
	}
	if regexp.MustCompile(`CreationDate|ModDate|D:20`).Match(b) {
		t.Error("the file has a date")
	}
	for _, want := range []string{"/MediaBox [0 0 1368 936]", "/PrintScaling /None", "/Title <FEFF00C900740075006400650020002800490029>", "/Count 2"} {
		if !bytes.Contains(b, []byte(want)) {
			t.Errorf("the file has no %s", want)
		}
	}
	from, err := strconv.Atoi(string(regexp.MustCompile(`startxref\n(\d+)\n%%EOF\n$`).FindSubmatch(b)[1]))
	if err != nil || !bytes.HasPrefix(b[from:], []byte("xref\n")) {
		t.Fatalf("no table at %d: %v", from, err)
	}
	entries := regexp.MustCompile(`(\d{10}) 00000 n `).FindAllSubmatch(b[from:], -1)
	for i, e := range entries {
		at, _ := strconv.Atoi(string(e[1]))
		if !bytes.HasPrefix(b[at:], fmt.Appendf(nil, "%d 0 obj\n", i+1)) {
			t.Errorf("object %d isn't at %d", i+1, at)
		}
	}
	if len(entries) < 20 {
		t.Errorf("%d objects", len(entries))
	}
	for _, space := range []string{"opRGB", "grey-2.2"} {
		want, _ := colour.Space(space)
		if !carries(b, want.Bytes()) {
			t.Errorf("the profile %s isn't in the file", space)
		}
	}
}

// carries says whether one of a file's packed streams is what.
func carries(b, what []byte) bool {
	for _, part := range bytes.Split(b, []byte(">>\nstream\n"))[1:] {
		if z, err := zlib.NewReader(bytes.NewReader(part)); err == nil {
			if s, _ := io.ReadAll(io.LimitReader(z, 1<<20)); bytes.Equal(s, what) {
				return true
			}
		}
	}
	return false
}

func TestRefusals(t *testing.T) {
	d := &Document{}
	grey, _ := colour.Space("grey-2.2")
	rgb, _ := colour.Space("sRGB")
	for _, p := range []Picture{
		{W: 1, H: 1, Channels: 3, Bits: 8, ICC: grey.Bytes()},
		{W: 1, H: 1, Channels: 1, Bits: 8, ICC: rgb.Bytes()},
		{W: 1, H: 1, Channels: 3, Bits: 8},
		{W: 1, H: 1, Channels: 3, Bits: 12, ICC: rgb.Bytes()},
		{W: 1, H: 1, Channels: 3, Bits: 16, ICC: rgb.Bytes(), JPEG: true},
	} {
		if err := d.Picture(&p); err == nil {
			t.Errorf("%+v is taken", p)
		}
	}
	if _, err := d.Font([]byte("no font")); err == nil {
		t.Error("any text is a font")
	}
	broken := sheet(t)
	broken.pictures[0].Data = func(io.Writer) error { return io.ErrUnexpectedEOF }
	if err := broken.Write(io.Discard); err != io.ErrUnexpectedEOF {
		t.Errorf("a picture that can't be read: %v", err)
	}
}

// Sides above 200 in are told by UserUnit (ISO 32000-1, annex C).
func TestLargePages(t *testing.T) {
	d := &Document{}
	d.Page(20000, 7200).Line(0, 0, 20000, 7200, 1)
	if b := written(t, d); !bytes.Contains(b, []byte("/MediaBox [0 0 10000 3600] /UserUnit 2 ")) {
		t.Errorf("%s", b)
	}
}

func TestWrap(t *testing.T) {
	d := &Document{}
	f, err := d.Font(goregular.TTF)
	if err != nil {
		t.Fatal(err)
	}
	lines := f.Wrap(10, 60, "How to check it, and "+strings.Repeat("ab", 20))
	for _, l := range lines {
		if f.Width(10, l) > 60 || l == "" {
			t.Errorf("%q is %.1f wide", l, f.Width(10, l))
		}
	}
	if got := strings.Join(lines, ""); len(lines) < 4 || !strings.HasSuffix(got, strings.Repeat("ab", 20)) {
		t.Errorf("%q", lines)
	}
}
