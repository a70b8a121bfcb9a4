package meta

import (
	"encoding/binary"
	"encoding/xml"
	"math/big"
	"strings"
	"testing"
)

// entry is one directory entry, read as TIFF 6.0 states it.
type entry struct {
	kind  uint16
	value []byte
}

// parse reads a big-endian TIFF directory by hand. Sizes by type: 2 ASCII 1,
// 3 SHORT 2, 5 RATIONAL 8.
func parse(t *testing.T, b []byte) map[uint16]entry {
	t.Helper()
	if string(b[:8]) != "MM\x00\x2a\x00\x00\x00\x08" {
		t.Fatalf("header % x", b[:8])
	}
	n := int(binary.BigEndian.Uint16(b[8:]))
	out, last := map[uint16]entry{}, uint16(0)
	for i := range n {
		f := b[10+12*i:]
		tag, kind := binary.BigEndian.Uint16(f), binary.BigEndian.Uint16(f[2:])
		size := int(binary.BigEndian.Uint32(f[4:])) * map[uint16]int{2: 1, 3: 2, 5: 8}[kind]
		if tag <= last {
			t.Errorf("tag %04x after %04x", tag, last)
		}
		last = tag
		v := f[8:12]
		if size > 4 {
			at := binary.BigEndian.Uint32(v)
			if at%2 != 0 {
				t.Errorf("tag %04x: value at odd place %d", tag, at)
			}
			v = b[at:]
		}
		out[tag] = entry{kind, v[:size]}
	}
	if next := binary.BigEndian.Uint32(b[10+12*n:]); next != 0 {
		t.Errorf("next directory at %d", next)
	}
	return out
}

func rat(s string) *big.Rat { r, _ := new(big.Rat).SetString(s); return r }

// Tags and types: Exif 2.32, table 4.
func TestExif(t *testing.T) {
	d := parse(t, Exif(rat("601/2"), "Reeds", "all rights reserved"))
	for tag, want := range map[uint16]entry{
		0x010e: {2, []byte("Reeds\x00")},
		0x0112: {3, []byte{0, 1}},
		0x011a: {5, []byte{0, 0, 2, 0x59, 0, 0, 0, 2}},
		0x011b: {5, []byte{0, 0, 2, 0x59, 0, 0, 0, 2}},
		0x0128: {3, []byte{0, 2}},
		0x8298: {2, []byte("all rights reserved\x00")},
	} {
		if got := d[tag]; got.kind != want.kind || string(got.value) != string(want.value) {
			t.Errorf("tag %04x: %v, expected %v", tag, got, want)
		}
	}
	if len(d) != 6 {
		t.Errorf("%d tags, expected 6", len(d))
	}
}

// Short texts stay inside their entries, text beyond ASCII is left to XMP, and
// without a resolution there is none.
func TestExifLeavesOut(t *testing.T) {
	d := parse(t, Exif(nil, "Sea", "© someone"))
	if len(d) != 2 || string(d[0x010e].value) != "Sea\x00" || string(d[0x0112].value) != "\x00\x01" {
		t.Errorf("%v", d)
	}
	d = parse(t, Exif(nil, "two\nlines", ""))
	if len(d) != 1 {
		t.Errorf("%v", d)
	}
}

func TestRational(t *testing.T) {
	for _, c := range []struct {
		ppi  string
		n, d uint32
		ok   bool
	}{
		{"300", 300, 1, true}, {"601/2", 601, 2, true}, {"720/7", 720, 7, true},
		{"4294967295", 4294967295, 1, true}, {"4294967296", 0, 0, false}, {"0", 0, 0, false}, {"-1", 0, 0, false},
		{"30000000000001/100000000000", 300000000, 1000000, true},       // 300.00000000001
		{"123456789123456789/10000000000000", 1234567891, 100000, true}, // 12345.678..., 6 places would pass 2^32
		{"1/100000000000", 0, 1000000, false},
	} {
		n, d, ok := Rational(rat(c.ppi))
		if ok != c.ok || ok && (n != c.n || d != c.d) {
			t.Errorf("%s: %d/%d %v", c.ppi, n, d, ok)
		}
	}
	if _, _, ok := Rational(nil); ok {
		t.Error("nil gives a number")
	}
}

// The packet, in the one form it has (ISO 16684-1 clause 7).
func TestXMPBytes(t *testing.T) {
	want := "<?xpacket begin=\"\xef\xbb\xbf\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>\n" +
		`<x:xmpmeta xmlns:x="adobe:ns:meta/">
<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/">
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">Reeds</rdf:li></rdf:Alt></dc:title>
<dc:rights><rdf:Alt><rdf:li xml:lang="x-default">mine</rdf:li></rdf:Alt></dc:rights>
</rdf:Description>
</rdf:RDF>
</x:xmpmeta>
<?xpacket end="r"?>`
	if got := string(XMP("Reeds", "mine")); got != want {
		t.Errorf("%s", got)
	}
	if XMP("", "") != nil {
		t.Error("a packet for nothing")
	}
}

// An XML reader gives texts back as they were.
func TestXMPReadsBack(t *testing.T) {
	type alt struct {
		Lang string `xml:"http://www.w3.org/XML/1998/namespace lang,attr"`
		Text string `xml:",chardata"`
	}
	for _, c := range [][2]string{{"Étude <3> & \"5\" 'x' ]]>", "a\r\nb\tc\rd"}, {"葦 🌾", ""}, {"", " spaces "}} {
		var doc struct {
			Title  *alt `xml:"RDF>Description>title>Alt>li"`
			Rights *alt `xml:"RDF>Description>rights>Alt>li"`
		}
		if err := xml.Unmarshal(XMP(c[0], c[1]), &doc); err != nil {
			t.Fatal(err)
		}
		for i, a := range []*alt{doc.Title, doc.Rights} {
			switch {
			case c[i] == "" && a != nil:
				t.Errorf("%q: an empty text is written", c)
			case c[i] != "" && (a == nil || a.Text != c[i] || a.Lang != "x-default"):
				t.Errorf("%q: read back as %v", c[i], a)
			}
		}
	}
	if s := string(XMP("a\x01b\xffc", "")); !strings.Contains(s, "a\uFFFDb\uFFFDc") {
		t.Errorf("refused characters: %q", s)
	}
}

func TestCheck(t *testing.T) {
	for _, s := range []string{"", "plain", "© 葦 🌾", "a\tb\r\nc"} {
		if err := Check("title", s); err != nil {
			t.Error(err)
		}
	}
	for _, s := range []string{"a\x00", "\x1b[1m", "\xff", "\u0085", "\ufffe", "\x7f"} {
		if err := Check("title", s); err == nil || !strings.HasPrefix(err.Error(), "title ") {
			t.Errorf("%q: %v", s, err)
		}
	}
}
