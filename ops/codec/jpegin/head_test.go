package jpegin

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"math/big"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"platemark/ops/codec"
)

// plain is a small JPEG file as Go's library writes it, w x h.
func plain(w, h int, grey bool) []byte {
	var b bytes.Buffer
	var img image.Image
	if g := image.NewGray(image.Rect(0, 0, w, h)); grey {
		for i := range g.Pix {
			g.Pix[i] = byte(i * 5)
		}
		img = g
	} else {
		c := image.NewRGBA(image.Rect(0, 0, w, h))
		for y := range h {
			for x := range w {
				c.Set(x, y, color.RGBA{byte(x * 9), byte(y * 7), byte(x ^ y), 255})
			}
		}
		img = c
	}
	if err := jpeg.Encode(&b, img, nil); err != nil {
		panic(err)
	}
	return b.Bytes()
}

func segment(marker byte, body []byte) []byte {
	b := append([]byte{0xff, marker}, byte((len(body)+2)>>8), byte(len(body)+2))
	return append(b, body...)
}

// with puts segments behind SOI.
func with(b []byte, segments ...[]byte) []byte {
	return slices.Concat(b[:2], slices.Concat(segments...), b[2:])
}

// before puts segments right before the segment of a marker.
func before(b []byte, marker byte, segments ...[]byte) []byte {
	for i := 2; ; i += 2 + int(b[i+2])<<8 + int(b[i+3]) {
		if b[i+1] == marker {
			return slices.Concat(b[:i], slices.Concat(segments...), b[i:])
		}
	}
}

func icc(n, of int, part []byte) []byte {
	return segment(0xe2, slices.Concat([]byte(iccMark), []byte{byte(n), byte(of)}, part))
}

func open(b []byte) (Info, error) { return Open(bytes.NewReader(b), int64(len(b))) }

// spent runs f and says what it allocated in all, and how long it took.
func spent(f func()) (uint64, time.Duration) {
	var a, b runtime.MemStats
	runtime.ReadMemStats(&a)
	began := time.Now()
	f()
	took := time.Since(began)
	runtime.ReadMemStats(&b)
	return b.TotalAlloc - a.TotalAlloc, took
}

// refused checks that reading b ends with an *Error, within a second and under
// 64 MiB.
func refused(t *testing.T, name string, b []byte, words ...string) {
	t.Helper()
	var err error
	memory, took := spent(func() {
		var in Info
		if in, err = open(b); err == nil {
			err = in.Decodable()
		}
	})
	var e *codec.Error
	if !errors.As(err, &e) {
		t.Errorf("%s: %v", name, err)
		return
	}
	for _, w := range words {
		if !strings.Contains(err.Error(), w) {
			t.Errorf("%s: %q doesn't say %q", name, err, w)
		}
	}
	if memory > 64<<20 || took > time.Second {
		t.Errorf("%s: took %d MiB and %v", name, memory>>20, took)
	}
}

func TestHead(t *testing.T) {
	in, err := open(plain(33, 17, false))
	if err != nil {
		t.Fatal(err)
	}
	if in.W != 33 || in.H != 17 || in.Bits != 8 || in.Channels != 3 || in.Kind != baseline || in.Scans != 1 ||
		in.Sampling != "half" || in.Adobe != -1 || in.ICC != nil || in.XPPI != nil || in.Orientation != 1 || in.Decodable() != nil {
		t.Errorf("%+v", in)
	}
	if in, err = open(plain(5, 4, true)); err != nil || in.Channels != 1 || in.Sampling != "" {
		t.Error(err, in)
	}
	for _, c := range []struct {
		unit, x, y byte
		want       *big.Rat
	}{{0, 72, 72, nil}, {1, 72, 72, big.NewRat(72, 1)}, {2, 118, 118, big.NewRat(118*254, 100)}, {1, 0, 72, nil}} {
		in, err := open(with(plain(5, 4, true), segment(0xe0, []byte("JFIF\x00\x01\x02"+string([]byte{c.unit, 0, c.x, 0, c.y, 0, 0})))))
		if err != nil || (in.XPPI == nil) != (c.want == nil) || c.want != nil && in.XPPI.Cmp(c.want) != 0 {
			t.Errorf("%v: %v %v", c, in.XPPI, err)
		}
	}
	// Fill bytes before a marker, and restart markers in the data, are lawful.
	b := plain(5, 4, true)
	b = before(b, 0xda, []byte{0xff, 0xff})
	b = slices.Concat(b[:len(b)-2], []byte{0xff, 0xd0, 1, 0xff, 0, 0xff, 0xff, 0xd9})
	if _, err := open(b); err != nil {
		t.Error(err)
	}
}

// A profile is put together in any order and from anywhere before the data;
// what is missing or contradictory is refused by name.
func TestProfileSegments(t *testing.T) {
	profile := make([]byte, 140000)
	for i := range profile {
		profile[i] = byte(i*i>>7 ^ i)
	}
	p1, p2, p3 := profile[:65519], profile[65519:2*65519], profile[2*65519:]
	if len(p3) != 8962 {
		t.Fatal(len(p3))
	}
	b := plain(9, 9, false)
	s1, s2, s3 := icc(1, 3, p1), icc(2, 3, p2), icc(3, 3, p3)
	good := map[string][]byte{
		"1-2-3":                     with(b, s1, s2, s3),
		"3-1-2":                     with(b, s3, s1, s2),
		"behind the frame's header": before(b, 0xda, s1, s2, s3),
		"around the frame's header": before(with(b, s3, s1), 0xda, s2),
		"1 twice":                   with(b, s1, s2, s1, s3),
	}
	for name, file := range good {
		in, err := open(file)
		if err != nil || !bytes.Equal(in.ICC, profile) {
			t.Errorf("%s: %v, %d bytes", name, err, len(in.ICC))
		}
		if want := strings.Count(name, "twice"); len(in.Warnings) != want {
			t.Errorf("%s: %q", name, in.Warnings)
		}
	}
	refused(t, "2 missing", with(b, s1, s3), "segment 2 of 3 is missing")
	refused(t, "4 of 3", with(b, s1, s2, s3, icc(4, 3, p3)), "number 4 of 3")
	refused(t, "0 of 3", with(b, icc(0, 3, p1), s2, s3), "number 0 of 3")
	refused(t, "1 of 0", with(b, icc(1, 0, p1)), "number 1 of 0")
	refused(t, "mixed counts", with(b, s1, s2, icc(3, 4, p3)), "3 of them, another that it has 4")
	refused(t, "two kinds of 2", with(b, s1, s2, icc(2, 3, p1), s3), "two different segments number 2")
	refused(t, "no number", with(b, segment(0xe2, []byte(iccMark+"\x01"))), "no number")

	// The limits: one segment, two, and as many as there are numbers.
	for _, n := range []int{1, 65519, 65520, 16707345} {
		whole := bytes.Repeat([]byte{1, 2, 3, 4, 5, 6, 7}, n/7+1)[:n]
		of := (n + 65518) / 65519
		var parts [][]byte
		k := of
		for part := range slices.Chunk(whole, 65519) {
			parts = append(parts, icc(of-k+1, of, part))
			k--
		}
		if want := map[int]int{1: 1, 65519: 1, 65520: 2, 16707345: 255}[n]; of != want {
			t.Fatalf("%d bytes in %d segments", n, of)
		}
		slices.Reverse(parts)
		in, err := open(with(b, parts...))
		if err != nil || !bytes.Equal(in.ICC, whole) {
			t.Errorf("%d bytes: %v", n, err)
		}
	}
	// Behind the first scan begins the picture: nothing there describes it.
	if in, err := open(slices.Concat(b[:len(b)-2], s1, b[len(b)-2:])); err != nil || in.ICC != nil {
		t.Error(err)
	}
}

// inks is an 8 x 8 file with four channels: head and marker only, as it is
// refused before its data are looked at.
func inks(app14 int) []byte {
	b := []byte{0xff, 0xd8}
	if app14 >= 0 {
		b = append(b, segment(0xee, []byte("Adobe\x00\x64\x00\x00\x00\x00"+string([]byte{byte(app14)})))...)
	}
	b = append(b, segment(0xc0, []byte{8, 0, 8, 0, 8, 4, 1, 0x11, 0, 2, 0x11, 0, 3, 0x11, 0, 4, 0x11, 0})...)
	b = append(b, segment(0xda, []byte{4, 1, 0, 2, 0, 3, 0, 4, 0, 0, 63, 0})...)
	return append(b, 0, 0, 0, 0, 0xff, 0xd9)
}

// Inks are refused by name in all three forms.
func TestInks(t *testing.T) {
	for _, app14 := range []int{-1, 0, 2} {
		b := inks(app14)
		if in, err := open(b); err != nil || in.Adobe != app14 || in.Channels != 4 {
			t.Errorf("%+v %v", in, err)
		}
		refused(t, fmt.Sprint("APP14 ", app14), b, "CMYK not accepted")
	}
}

func TestExifLoopInJPEG(t *testing.T) {
	for name, dirs := range map[string]string{
		"itself":      "\x00\x00\x00\x00\x00\x08",
		"a to b to a": "\x00\x00\x00\x00\x00\x0e\x00\x00\x00\x00\x00\x08",
		"its parent":  "\x00\x01\x87\x69\x00\x04\x00\x00\x00\x01\x00\x00\x00\x08\x00\x00\x00\x00",
	} {
		refused(t, name, with(plain(5, 4, true), segment(0xe1, []byte("Exif\x00\x00MM\x00*\x00\x00\x00\x08"+dirs))), "circle")
	}
}

func TestClaimsOfSize(t *testing.T) {
	for _, kind := range []byte{0xc0, 0xc1, 0xc2, 0xc3, 0xc9} {
		for _, side := range []int{65535, 20000} {
			b := slices.Concat([]byte{0xff, 0xd8}, segment(kind, []byte{8, byte(side >> 8), byte(side), byte(side >> 8), byte(side), 3, 1, 0x22, 0, 2, 0x11, 0, 3, 0x11, 0}),
				segment(0xda, []byte{3, 1, 0, 2, 0, 3, 0, 0, 63, 0}), make([]byte, 16), []byte{0xff, 0xd9})
			word := fmt.Sprintf("%d x %d pixels", side, side)
			if side == 20000 && kind > 0xc2 {
				word = "JPEG; baseline and progressive" // read, and refused as that
			}
			refused(t, fmt.Sprintf("%x %d", kind, side), b, word)
		}
	}
}

const xmpText = `<?xpacket begin=""?><x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description xmlns:dc="http://purl.org/dc/elements/1.1/" xmlns:tiff="http://ns.adobe.com/tiff/1.0/" tiff:Orientation="6">
<tiff:Orientation>6</tiff:Orientation>
<dc:title><rdf:Alt><rdf:li xml:lang="de">Salzstraße</rdf:li><rdf:li xml:lang="x-default">Salt road &amp; marsh</rdf:li><rdf:li xml:lang="fr">La route</rdf:li></rdf:Alt></dc:title>
<dc:rights><rdf:Alt><rdf:li xml:lang="x-default">invented, free to use</rdf:li></rdf:Alt></dc:rights>
<dc:creator><rdf:Seq><rdf:li>nobody</rdf:li></rdf:Seq></dc:creator>
</rdf:Description></rdf:RDF></x:xmpmeta>`

// exifBody has an orientation, title, rights, 240 pixels an inch, a colour
// space and an empty preview.
func exifBody(orientation, space byte) []byte {
	e := func(tag, typ, count, value string) string { return tag + typ + count + value }
	b := "MM\x00*\x00\x00\x00\x08" + "\x00\x07" +
		e("\x01\x0e", "\x00\x02", "\x00\x00\x00\x05", "\x00\x00\x00\x78") + // at 120
		e("\x01\x12", "\x00\x03", "\x00\x00\x00\x01", "\x00"+string([]byte{orientation})+"\x00\x00") +
		e("\x01\x1a", "\x00\x05", "\x00\x00\x00\x01", "\x00\x00\x00\x80") + // at 128
		e("\x01\x1b", "\x00\x05", "\x00\x00\x00\x01", "\x00\x00\x00\x80") +
		e("\x01\x28", "\x00\x03", "\x00\x00\x00\x01", "\x00\x02\x00\x00") +
		e("\x82\x98", "\x00\x02", "\x00\x00\x00\x04", "own\x00") +
		e("\x87\x69", "\x00\x04", "\x00\x00\x00\x01", "\x00\x00\x00\x88") // at 136
	b += "\x00\x00\x00\xa0" // the preview's directory at 160
	b += strings.Repeat("\x00", 120-len(b)) + "Salt\x00" + "\x00\x00\x00" + "\x00\x00\x00\xf0\x00\x00\x00\x01"
	b += "\x00\x01" + e("\xa0\x01", "\x00\x03", "\x00\x00\x00\x01", "\x00"+string([]byte{space})+"\x00\x00") + "\x00\x00\x00\x00"
	b += strings.Repeat("\x00", 160-len(b)) + "\x00\x00\x00\x00\x00\x00"
	return []byte("Exif\x00\x00" + b)
}

// What Exif and XMP say is taken; an orientation in XMP is never applied, and
// is told where it differs.
func TestExifAndXMP(t *testing.T) {
	b := plain(9, 9, false)
	in, err := open(with(b, segment(0xe1, exifBody(6, 1))))
	if err != nil {
		t.Fatal(err)
	}
	if in.Orientation != 6 || in.Title != "Salt" || in.Rights != "own" || in.Space != "sRGB" ||
		in.XPPI == nil || in.XPPI.Cmp(big.NewRat(240, 1)) != 0 || len(in.Warnings) != 0 || !slices.Equal(in.Others, []string{"a preview in Exif"}) {
		t.Errorf("%+v", in)
	}
	in, err = open(with(b, segment(0xe1, exifBody(6, 255)), segment(0xe1, []byte(xmpMark+xmpText))))
	if err != nil || in.Orientation != 6 || in.Title != "Salt road & marsh" || in.Rights != "invented, free to use" || in.Space != "" || len(in.Warnings) != 0 {
		t.Errorf("%+v %v", in, err)
	}
	in, err = open(with(b, segment(0xe1, []byte(xmpMark+xmpText))))
	if err != nil || in.Orientation != 1 || len(in.Warnings) != 1 || !strings.Contains(in.Warnings[0], "XMP says orientation 6") {
		t.Errorf("%+v %v", in, err)
	}
	for _, bad := range []string{"<a", "<a>" + strings.Repeat("<b>", 100), "\xff"} {
		if in, err := open(with(b, segment(0xe1, []byte(xmpMark+bad)))); err != nil || len(in.Warnings) != 1 {
			t.Errorf("%q: %v %q", bad, err, in.Warnings)
		}
	}
	in, err = open(with(b, segment(0xe0, []byte("JFIF\x00\x01\x02\x01\x00\x48\x00\x48\x00\x00")), segment(0xe1, exifBody(1, 1))))
	if err != nil || in.XPPI.Cmp(big.NewRat(72, 1)) != 0 || len(in.Warnings) != 1 {
		t.Errorf("two resolutions: %+v %v", in, err)
	}
}

func seeds() [][]byte {
	b := plain(9, 9, false)
	return [][]byte{
		plain(5, 4, true), b,
		with(b, segment(0xe1, exifBody(6, 1)), segment(0xe1, []byte(xmpMark+xmpText))),
		with(b, icc(2, 2, []byte("of a profile")), icc(1, 2, []byte("two parts "))),
		inks(2), inks(-1),
		with(b, segment(0xe2, []byte("MPF\x00MM"))),
	}
}

// Files cut at every byte are errors.
func TestCut(t *testing.T) {
	for n, b := range seeds() {
		for i := range b {
			var e *codec.Error
			if _, err := open(b[:i]); !errors.As(err, &e) {
				t.Fatalf("file %d cut at %d: %v", n, i, err)
			}
		}
		if in, err := open(append(bytes.Clone(b), "more"...)); err != nil || len(in.Others) == 0 {
			t.Error(n, err)
		}
	}
}

func TestRefused(t *testing.T) {
	b := plain(9, 9, false)
	sof := func(marker byte, body ...byte) []byte {
		return slices.Concat([]byte{0xff, 0xd8}, segment(marker, body), segment(0xda, []byte{1, 1, 0, 0, 63, 0}), []byte{1, 2, 0xff, 0xd9})
	}
	scans := slices.Concat(b[:len(b)-2], bytes.Repeat(segment(0xda, []byte{1, 1, 0, 0, 63, 0}), 100), b[len(b)-2:])
	many := slices.Concat(b[:len(b)-2], bytes.Repeat(segment(0xda, []byte{1, 1, 0, 0, 63, 0}), maxScans), b[len(b)-2:])
	for name, c := range map[string]struct {
		b    []byte
		word string
	}{
		"empty":          {nil, "ends at byte 0"},
		"another kind":   {[]byte("II*\x00        "), "not a JPEG file"},
		"no frame":       {slices.Concat(b[:2], []byte{0xff, 0xd9}), "no picture"},
		"no marker":      {slices.Concat(b[:2], []byte("abc"), b[2:]), "begin with FF"},
		"SOI twice":      {with(b, []byte{0xff, 0xd8}), "marker D8"},
		"size 1":         {with(b, []byte{0xff, 0xe5, 0, 1}), "claims 1 bytes"},
		"no height":      {sof(0xc0, 8, 0, 0, 0, 8, 1, 1, 0x11, 0), "8 x 0 pixels"},
		"short frame":    {sof(0xc0, 8, 0, 8, 0, 8, 3, 1, 0x11, 0), "don't fit"},
		"two frames":     {with(b, segment(0xc0, []byte{8, 0, 8, 0, 8, 1, 1, 0x11, 0})), "said twice"},
		"12 bits":        {sof(0xc1, 12, 0, 8, 0, 8, 1, 1, 0x11, 0), "12 bits a sample"},
		"two channels":   {sof(0xc0, 8, 0, 8, 0, 8, 2, 1, 0x11, 0, 2, 0x11, 0), "2 channels"},
		"lossless":       {sof(0xc3, 8, 0, 8, 0, 8, 1, 1, 0x11, 0), "lossless"},
		"arithmetic":     {sof(0xc9, 8, 0, 8, 0, 8, 1, 1, 0x11, 0), "arithmetically coded"},
		"hierarchical":   {sof(0xc5, 8, 0, 8, 0, 8, 1, 1, 0x11, 0), "hierarchical"},
		"transform 2":    {with(b, segment(0xee, []byte("Adobe\x00\x64\x00\x00\x00\x00\x02"))), "transform 2"},
		"two transforms": {with(b, segment(0xee, []byte("Adobe\x00\x64\x00\x00\x00\x00\x01")), segment(0xee, []byte("Adobe\x00\x64\x00\x00\x00\x00\x00"))), "stands twice"},
		"101 scans":      {scans, "101 scans"},
		"1001 scans":     {many, "more than 1000 scans"},
		"bad Exif":       {with(b, segment(0xe1, []byte("Exif\x00\x00rubbish!"))), "Exif block can't be read"},
	} {
		refused(t, name, c.b, c.word)
	}
}

// without is a file without its segments of one marker.
func without(b []byte, marker byte) []byte {
	out := b[:2:2]
	for i := 2; ; {
		n := 2 + int(b[i+2])<<8 + int(b[i+3])
		if b[i+1] != marker {
			out = append(out, b[i:i+n]...)
		}
		if b[i+1] == 0xda {
			return append(out, b[i+n:]...)
		}
		i += n
	}
}

// A picture whose quantisation tables are gone is refused, also where they
// stand behind the scan or one of two is missing (T.81 B.2.4.1: a table stands
// before the first scan that needs it).
func TestQuantisationTables(t *testing.T) {
	b := plain(9, 9, false)
	tables := b[2 : 4+int(b[4])<<8+int(b[5])]
	if tables[1] != 0xdb {
		t.Fatalf("% X", tables[:4])
	}
	none := without(b, 0xdb)
	refused(t, "none", none, "quantisation table", "missing")
	refused(t, "behind the scan", slices.Concat(none[:len(none)-2], tables, none[len(none)-2:]), "missing")
	refused(t, "the first alone", with(none, segment(0xdb, tables[4:4+65])), "missing")
	refused(t, "cut short", with(none, segment(0xdb, tables[4:4+64])), "cut short")
	if in, err := open(with(none, tables)); err != nil || in.Decodable() != nil {
		t.Error(err)
	}
}

// Whatever the bytes: no panic, and an *Error or a picture within the limits.
func FuzzHead(f *testing.F) {
	for _, b := range seeds() {
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		in, err := open(b)
		var e *codec.Error
		if err != nil && !errors.As(err, &e) {
			t.Fatal(err)
		}
		if err == nil && (in.W < 1 || in.H < 1 || in.W*in.H > maxPixels || in.Orientation < 1 || in.Orientation > 8 || in.Scans < 1) {
			t.Fatalf("%+v", in)
		}
	})
}
