package jpeg

import (
	"bytes"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"math/big"
	"strings"
	"testing"
)

func mustEncode(t *testing.T, o Options, pix []uint16) []byte {
	t.Helper()
	b, err := encode(o, pix)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Go's decoder reads every shape and gives back about what went in.
func TestReadByGo(t *testing.T) {
	for _, s := range shapes {
		o := Options{W: s.w, H: s.h, C: s.c, Quality: 100, HalfChroma: s.half, PPI: ratOf("300"), Title: "A", Rights: "B"}
		pix := picture("smooth", s.w, s.h, s.c)
		for i := range pix {
			pix[i] /= 2 // slopes without the wrap at 255
		}
		m, err := jpeg.Decode(bytes.NewReader(mustEncode(t, o, wide(pix))))
		if err != nil {
			t.Fatalf("%v: %v", s, err)
		}
		if m.Bounds() != image.Rect(0, 0, s.w, s.h) {
			t.Fatalf("%v: read as %v", s, m.Bounds())
		}
		for i := 0; !s.half && i < s.w*s.h; i++ {
			r, g, b, _ := m.At(i%s.w, i/s.w).RGBA()
			for c, v := range []uint32{r, g, b}[:s.c] {
				if d := int(v>>8) - int(pix[i*s.c+c]); d < -4 || d > 4 {
					t.Fatalf("%v pixel %d channel %d: off by %d", s, i, c, d)
				}
			}
		}
	}
}

// Rows of blocks may be coded in any order, by any worker, into a used slice.
func TestOrderOfRowsMeansNothing(t *testing.T) {
	for _, o := range []Options{{W: 70, H: 155, C: 3, Quality: 90}, {W: 70, H: 155, C: 3, Quality: 90, HalfChroma: true}, {W: 70, H: 155, C: 1, Quality: 90}} {
		pix := wide(picture("noise", o.W, o.H, o.C))
		want := mustEncode(t, o, pix)
		e, err := New(o)
		if err != nil {
			t.Fatal(err)
		}
		parts := make([][]byte, e.Rows())
		workers := []*Worker{e.Worker(), e.Worker()}
		for i := e.Rows() - 1; i >= 0; i-- {
			prefix := []byte("before")
			b := workers[i%3%2].Encode(prefix, i, rowsOf(o, pix, i*e.RowHeight(), e.RowHeight()))
			parts[i] = bytes.TrimPrefix(b, prefix)
		}
		got := append(e.Header(), bytes.Join(parts, nil)...)
		if !bytes.Equal(append(got, e.Trailer()...), want) {
			t.Errorf("%+v: other bytes from another order", o)
		}
	}
}

// segments lists the marker segments up to the scan.
func segments(t *testing.T, file []byte) (out []struct {
	marker byte
	body   []byte
}) {
	t.Helper()
	if !bytes.HasPrefix(file, []byte{0xff, 0xd8}) {
		t.Fatal("no SOI")
	}
	for i := 2; ; {
		if file[i] != 0xff {
			t.Fatalf("no marker at %d", i)
		}
		n := int(file[i+2])<<8 | int(file[i+3])
		out = append(out, struct {
			marker byte
			body   []byte
		}{file[i+1], file[i+4 : i+2+n]})
		if file[i+1] == 0xda {
			return out
		}
		i += 2 + n
	}
}

// Header bytes as T.81, T.871 and Exif state them; the table in the check
// values' rows "header" gives the same.
func TestHeader(t *testing.T) {
	o := Options{W: 32, H: 32, C: 3, Quality: 50, PPI: ratOf("300"), ICC: []byte("profile"), Title: "T", Rights: "R"}
	e, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	list := segments(t, e.Header())
	var order string
	for _, s := range list {
		order += fmt.Sprintf("%02x ", s.marker)
	}
	if order != "e0 e1 e1 e2 db db c0 c4 c4 c4 c4 dd da " {
		t.Errorf("order of segments: %s", order)
	}
	for i, want := range map[int]string{
		0:  "JFIF\x00\x01\x02\x01\x01\x2c\x01\x2c\x00\x00",
		3:  "ICC_PROFILE\x00\x01\x01profile",
		6:  "\x08\x00\x20\x00\x20\x03\x01\x11\x00\x02\x11\x01\x03\x11\x01",
		11: "\x00\x04", // 4 units of 8 pixels
		12: "\x03\x01\x00\x02\x11\x03\x11\x00\x3f\x00",
	} {
		if string(list[i].body) != want {
			t.Errorf("segment %d: % x, expected % x", i, list[i].body, want)
		}
	}
	if !bytes.HasPrefix(list[1].body, []byte("Exif\x00\x00MM\x00\x2a\x00\x00\x00\x08")) {
		t.Errorf("Exif: % x", list[1].body[:14])
	}
	if !bytes.HasPrefix(list[2].body, []byte("http://ns.adobe.com/xap/1.0/\x00<?xpacket")) {
		t.Errorf("XMP: %q", list[2].body[:40])
	}
	if !bytes.Equal(e.Trailer(), []byte{0xff, 0xd9}) {
		t.Error("trailer isn't EOI")
	}

	o.HalfChroma = true
	e, _ = New(o)
	list = segments(t, e.Header())
	if got := list[6].body[7]; got != 0x22 {
		t.Errorf("half chroma: luma sampling %02x", got)
	}
	if got := list[11].body; !bytes.Equal(got, []byte{0, 2}) {
		t.Errorf("half chroma: restart interval % x", got)
	}

	e, _ = New(Options{W: 9, H: 1, C: 1, Quality: 50})
	list = segments(t, e.Header())
	order = ""
	for _, s := range list {
		order += fmt.Sprintf("%02x ", s.marker)
	}
	if order != "e0 e1 db c0 c4 c4 dd da " {
		t.Errorf("grey: order of segments: %s", order)
	}
	if got := list[0].body[7:12]; !bytes.Equal(got, []byte{0, 0, 1, 0, 1}) {
		t.Errorf("no resolution: density % x", got)
	}
}

func TestRestartMarkers(t *testing.T) {
	o := Options{W: 8, H: 8 * 11, C: 1, Quality: 80}
	data := entropyOf(mustEncode(t, o, make([]uint16, 8*8*11)))
	var got []byte
	for i := 0; i+1 < len(data); i++ {
		if data[i] == 0xff && data[i+1] != 0 {
			got = append(got, data[i+1])
		}
	}
	if want := []byte{0xd0, 0xd1, 0xd2, 0xd3, 0xd4, 0xd5, 0xd6, 0xd7, 0xd0, 0xd1}; !bytes.Equal(got, want) {
		t.Errorf("restart markers % x", got)
	}
}

func TestDensity(t *testing.T) {
	for _, c := range []struct {
		ppi  string
		want int // -1 = refused
	}{{"300", 300}, {"601/2", 301}, {"3004999/10000", 300}, {"1/2", 1}, {"49/100", -1}, {"0", -1}, {"-300", -1},
		{"65535", 65535}, {"131071/2", -1}, {"1000000000000", -1}, {"131069/2", 65535}} {
		got, err := Density(ratOf(c.ppi))
		if err != nil {
			got = -1
		}
		if got != c.want {
			t.Errorf("%s ppi: %d, %v", c.ppi, got, err)
		}
	}
	if got, err := Density(nil); got != 0 || err != nil {
		t.Errorf("none: %d, %v", got, err)
	}
}

// Written: 300 ppi is unit 1, 300 x 300; 300.5 ppi is rounded in
// the whole numbers of JFIF, which Density tells, and exact in Exif.
func TestDensityIsWhole(t *testing.T) {
	for ppi, want := range map[string][2]string{
		"300":   {"\x01\x01\x2c\x01\x2c", "\x00\x00\x01\x2c\x00\x00\x00\x01"},
		"601/2": {"\x01\x01\x2d\x01\x2d", "\x00\x00\x02\x59\x00\x00\x00\x02"},
	} {
		e, err := New(Options{W: 8, H: 8, C: 1, Quality: 90, PPI: ratOf(ppi)})
		if err != nil {
			t.Fatal(err)
		}
		list := segments(t, e.Header())
		if string(list[0].body[7:12]) != want[0] || !bytes.Contains(list[1].body, []byte(want[1]+want[1])) {
			t.Errorf("%s ppi: % x, % x", ppi, list[0].body, list[1].body)
		}
		if e.Density() != int(want[0][1])<<8|int(want[0][2]) {
			t.Errorf("%s ppi: told %d", ppi, e.Density())
		}
	}
}

// The longest sides are written and read back, longer ones refused
// before any work, and above 65,500 there is a warning.
func TestLongSides(t *testing.T) {
	for _, s := range [][2]int{{65535, 1}, {1, 65535}} {
		for _, half := range []bool{false, true} {
			o := Options{W: s[0], H: s[1], C: 3, Quality: 90, HalfChroma: half}
			m, err := jpeg.Decode(bytes.NewReader(mustEncode(t, o, make([]uint16, 65535*3))))
			if err != nil || m.Bounds() != image.Rect(0, 0, s[0], s[1]) {
				t.Errorf("%v: %v", s, err)
			}
		}
	}
	for _, s := range [][2]int{{65536, 1}, {1, 65536}, {13200, 65700}, {math.MaxInt, math.MaxInt}} {
		_, err := New(Options{W: s[0], H: s[1], C: 3, Quality: 90})
		if err == nil || !strings.Contains(err.Error(), "65535") || !strings.Contains(err.Error(), "TIFF") {
			t.Errorf("%v: %v", s, err)
		}
	}
	for _, s := range []struct {
		w, h int
		warn bool
	}{{65500, 8, false}, {65501, 8, true}, {8, 65501, true}, {65535, 65535, true}, {18000, 12000, false}} {
		e, err := New(Options{W: s.w, H: s.h, C: 3, Quality: 90})
		if err != nil {
			t.Fatal(err)
		}
		if got := e.Warning(); (got != "") != s.warn || s.warn && !strings.Contains(got, "65500") {
			t.Errorf("%v: warning %q", s, got)
		}
	}
}

// Written: how a profile is cut into segments, and the most that
// there may be.
func TestProfileSegments(t *testing.T) {
	for _, c := range []struct {
		size  int
		parts []int
	}{{0, nil}, {1, []int{1}}, {65519, []int{65519}}, {65520, []int{65519, 1}}, {140000, []int{65519, 65519, 8962}}} {
		profile := make([]byte, c.size)
		for i := range profile {
			profile[i] = byte(i * i >> 4)
		}
		e, err := New(Options{W: 8, H: 8, C: 3, Quality: 90, ICC: profile})
		if err != nil {
			t.Fatal(err)
		}
		n, back := 0, []byte(nil)
		for _, s := range segments(t, e.Header()) {
			if s.marker != 0xe2 {
				continue
			}
			if n >= len(c.parts) || len(s.body) != 14+c.parts[n] || string(s.body[:14]) != "ICC_PROFILE\x00"+string([]byte{byte(n + 1), byte(len(c.parts))}) {
				t.Fatalf("%d bytes: segment %d has %d bytes, % x", c.size, n+1, len(s.body), s.body[:14])
			}
			back = append(back, s.body[14:]...)
			n++
		}
		if n != len(c.parts) || !bytes.Equal(back, profile) {
			t.Errorf("%d bytes: %d segments, other bytes", c.size, n)
		}
	}
	profile := make([]byte, 16707345+1)
	e, err := New(Options{W: 8, H: 8, C: 3, Quality: 90, ICC: profile[1:]})
	if err != nil {
		t.Fatal(err)
	}
	if n := bytes.Count(e.Header(), []byte("ICC_PROFILE")); n != 255 {
		t.Errorf("longest profile: %d segments", n)
	}
	if _, err := New(Options{W: 8, H: 8, C: 3, Quality: 90, ICC: profile}); err == nil || !strings.Contains(err.Error(), "16707345") {
		t.Errorf("one byte more: %v", err)
	}
}

func TestRefused(t *testing.T) {
	good := Options{W: 8, H: 8, C: 3, Quality: 90}
	for name, change := range map[string]func(*Options){
		"no width":         func(o *Options) { o.W = 0 },
		"negative height":  func(o *Options) { o.H = -1 },
		"two channels":     func(o *Options) { o.C = 2 },
		"four channels":    func(o *Options) { o.C = 4 },
		"quality 0":        func(o *Options) { o.Quality = 0 },
		"quality 101":      func(o *Options) { o.Quality = 101 },
		"no ppi":           func(o *Options) { o.PPI = new(big.Rat) },
		"endless title":    func(o *Options) { o.Title = strings.Repeat("a", 70000) },
		"escapes too long": func(o *Options) { o.Rights = strings.Repeat("&", 20000) },
		"NUL in title":     func(o *Options) { o.Title = "a\x00b" },
		"not UTF-8":        func(o *Options) { o.Rights = "\xff" },
	} {
		o := good
		change(&o)
		if _, err := New(o); err == nil {
			t.Errorf("%s: not refused", name)
		}
	}
}
