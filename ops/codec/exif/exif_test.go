package exif

import (
	"encoding/binary"
	"math/big"
	"strings"
	"testing"
	"time"
)

type entry struct {
	tag, typ uint16
	count    uint32
	value    []byte // inline, or where it is longer than 4 bytes behind the directory
}

// block is one directory at byte 8 in either order, with its values behind it.
func block(big bool, next uint32, entries ...entry) []byte {
	var o binary.AppendByteOrder = binary.LittleEndian
	b := []byte("II*\x00\x08\x00\x00\x00")
	if big {
		o, b = binary.BigEndian, []byte("MM\x00*\x00\x00\x00\x08")
	}
	b = o.AppendUint16(b, uint16(len(entries)))
	far := len(b) + 12*len(entries) + 4
	var values []byte
	for _, e := range entries {
		b = o.AppendUint32(o.AppendUint16(o.AppendUint16(b, e.tag), e.typ), e.count)
		if len(e.value) <= 4 {
			b = append(b, append(e.value, 0, 0, 0, 0)[:4]...)
			continue
		}
		b = o.AppendUint32(b, uint32(far+len(values)))
		values = append(values, e.value...)
	}
	return append(o.AppendUint32(b, next), values...)
}

func u16(big bool, v uint16) []byte {
	if big {
		return []byte{byte(v >> 8), byte(v)}
	}
	return []byte{byte(v), byte(v >> 8)}
}

func ratio(big bool, n, d uint32) []byte {
	if big {
		return binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, n), d)
	}
	return binary.LittleEndian.AppendUint32(binary.LittleEndian.AppendUint32(nil, n), d)
}

func TestRead(t *testing.T) {
	for _, be := range []bool{false, true} {
		for o := uint16(0); o <= 9; o++ {
			in, err := Read(block(be, 0,
				entry{0x10e, 2, 10, []byte("  a marsh\x00")}, entry{0x112, 3, 1, u16(be, o)},
				entry{0x11a, 5, 1, ratio(be, 600, 2)}, entry{0x11b, 5, 1, ratio(be, 300, 1)}, entry{0x128, 3, 1, u16(be, 2)},
				entry{0x8298, 2, 4, []byte("me\x00\x00")}))
			if err != nil {
				t.Fatal(err)
			}
			want, warns := int(o), 0
			if o < 1 || o > 8 {
				want, warns = 1, 1
			}
			if in.Orientation != want || len(in.Warnings) != warns || in.Title != "a marsh" || in.Rights != "me" ||
				in.XPPI == nil || in.XPPI.Cmp(big.NewRat(300, 1)) != 0 || in.Preview || in.Space != "" {
				t.Errorf("%+v", in)
			}
		}
		for _, c := range []struct {
			unit uint16
			n, d uint32
			want *big.Rat
		}{{3, 100, 1, big.NewRat(254, 1)}, {1, 300, 1, nil}, {2, 0, 1, nil}, {2, 300, 0, nil}, {7, 300, 1, nil}} {
			in, err := Read(block(be, 0, entry{0x11a, 5, 1, ratio(be, c.n, c.d)}, entry{0x11b, 5, 1, ratio(be, c.n, c.d)}, entry{0x128, 3, 1, u16(be, c.unit)}))
			if err != nil || (in.XPPI == nil) != (c.want == nil) || c.want != nil && in.XPPI.Cmp(c.want) != 0 {
				t.Errorf("%+v: %v %v", c, in.XPPI, err)
			}
		}
	}
}

// The camera's colour space: ColorSpace 1 is sRGB; uncalibrated with the
// interoperability index R03 is the space of DCF's second option, opRGB's
// colours (Exif 2.32, 4.6.5 and annex E).
func TestSpace(t *testing.T) {
	for _, c := range []struct {
		space uint16
		index string
		want  string
	}{{1, "R98\x00", "sRGB"}, {65535, "R03\x00", "opRGB"}, {65535, "R98\x00", ""}, {1, "R03\x00", "sRGB"}} {
		b := block(true, 0, entry{0x8769, 4, 1, []byte{0, 0, 0, 26}})
		sub := block(true, 0, entry{0xa001, 3, 1, u16(true, c.space)}, entry{0xa005, 4, 1, []byte{0, 0, 0, 56}})[8:]
		b = append(b, sub...)
		b = append(b, block(true, 0, entry{1, 2, 4, []byte(c.index)})[8:]...)
		in, err := Read(b)
		if err != nil || in.Space != c.want || len(in.Warnings) != 0 {
			t.Errorf("%+v: %+v %v", c, in, err)
		}
	}
}

// Every block cut short is read or refused, and values outside it are missing.
func TestCut(t *testing.T) {
	b := block(false, 200, entry{0x10e, 2, 8, []byte("a marsh\x00")}, entry{0x112, 3, 1, []byte{6, 0}}, entry{0x8769, 4, 1, []byte{0xff, 0xff, 0, 0}})
	for i := range b {
		in, err := Read(b[:i])
		if whole := 8 + 2 + 36 + 4; (err == nil) != (i >= whole) {
			t.Errorf("cut at %d: %v", i, err)
		} else if err == nil && (in.Orientation != 6 || in.Title != "") {
			t.Errorf("cut at %d: %+v", i, in)
		}
	}
	in, err := Read(b)
	if err != nil || in.Title != "a marsh" || len(in.Warnings) != 2 {
		t.Errorf("%+v %v", in, err)
	}
	if _, err := Read([]byte("II+\x00\x08\x00\x00\x00\x00\x00\x00\x00\x00\x00")); err == nil {
		t.Error("another signature")
	}
}

// A long chain of directories ends.
func TestChain(t *testing.T) {
	b := []byte("MM\x00*\x00\x00\x00\x08")
	for i := range uint32(10000) {
		b = binary.BigEndian.AppendUint32(append(b, 0, 0), 8+6*(i+1))
	}
	began := time.Now()
	in, err := Read(b)
	if err != nil || len(in.Warnings) != 1 || time.Since(began) > time.Second {
		t.Errorf("%+v %v", in, err)
	}
}

func FuzzRead(f *testing.F) {
	for _, be := range []bool{false, true} {
		f.Add(block(be, 0, entry{0x10e, 2, 8, []byte("a marsh\x00")}, entry{0x112, 3, 1, u16(be, 6)}, entry{0x11a, 5, 1, ratio(be, 300, 1)}, entry{0x11b, 5, 1, ratio(be, 300, 1)}))
		f.Add(block(be, 8, entry{0x8769, 4, 1, ratio(be, 26, 0)[:4]}))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		in, err := Read(b)
		if err == nil && (in.Orientation < 1 || in.Orientation > 8 || strings.Contains(in.Title, "\x00") || (in.XPPI == nil) != (in.YPPI == nil)) {
			t.Fatalf("%+v", in)
		}
	})
}
