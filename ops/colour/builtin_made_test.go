package colour

import (
	"bytes"
	"crypto/md5"
	"encoding/binary"
	"math/big"
	"testing"
	"unicode/utf16"

	"platemark/ops/exact"
)

// The embedded profiles are what the published numbers below make.
func TestBuiltinsAreMadeOfPublishedNumbers(t *testing.T) {
	for i := range spaceDefs {
		d := &spaceDefs[i]
		if d.name != SpaceNames()[i] || !bytes.Equal(d.profile(), space(t, d.name).Bytes()) {
			t.Errorf("%s: its profile has other bytes", d.name)
		}
	}
}

// spaceDef states a space by published numbers. Chromaticities are x, y of
// red, green, blue and white in 10000ths.
type spaceDef struct {
	name, text string
	xy         [4][2]int64
	para       uint16
	curve      []string // parameters as fractions, to be rounded to 65536ths
}

var (
	d65      = [2]int64{3127, 3290}
	srgbPara = []string{"12/5", "1000/1055", "55/1055", "100/1292", "4045/100000"}
)

var spaceDefs = []spaceDef{
	// IEC 61966-2-1:1999
	{"sRGB", "sRGB IEC 61966-2-1", [4][2]int64{{6400, 3300}, {3000, 6000}, {1500, 600}, d65}, 3, srgbPara},
	// IEC 61966-2-5:2007
	{"opRGB", "opRGB IEC 61966-2-5", [4][2]int64{{6400, 3300}, {2100, 7100}, {1500, 600}, d65}, 0, []string{"563/256"}},
	// ISO 22028-2:2013
	{"ROMM-RGB", "ROMM RGB ISO 22028-2", [4][2]int64{{7347, 2653}, {1596, 8404}, {366, 1}, {3457, 3585}}, 3,
		[]string{"9/5", "1", "0", "1/16", "1/32"}},
	// W3C CSS Color Module Level 4; primaries of SMPTE EG 432-1
	{"Display-P3", "Display P3 (CSS Color 4)", [4][2]int64{{6800, 3200}, {2650, 6900}, {1500, 600}, d65}, 3, srgbPara},
	// no standard of its own: the customary plain exponent
	{"grey-2.2", "Grey, gamma 2.2", [4][2]int64{}, 0, []string{"11/5"}},
}

// matrices gives the space's colorants (columns of RGB -> XYZ D50) and its
// chromatic adaptation, exactly: the primaries scaled to add up to white, then
// adapted to the connection space's white 0.9642 1 0.8249 by linear Bradford.
func (s *spaceDef) matrices() (colorants, chad matrix3) {
	var prim matrix3
	var xyz [4][3]*big.Rat
	for i, c := range s.xy {
		x, y := c[0], c[1]
		xyz[i] = [3]*big.Rat{big.NewRat(x, y), big.NewRat(1, 1), big.NewRat(10000-x-y, y)}
	}
	for r := range 3 {
		for c := range 3 {
			prim[r][c] = xyz[c][r]
		}
	}
	scale := prim.inverse().apply(xyz[3])
	for r := range 3 {
		for c := range 3 {
			prim[r][c] = new(big.Rat).Mul(prim[r][c], scale[c])
		}
	}
	chad = Adaptation(xyz[3], [3]*big.Rat{big.NewRat(9642, 10000), big.NewRat(1, 1), big.NewRat(8249, 10000)})
	return chad.times(prim), chad
}

// toFixed rounds to 65536ths, halves up.
func toFixed(r *big.Rat) int32 {
	return int32(exact.HalfUp(new(big.Rat).Mul(r, big.NewRat(one, 1))).Int64())
}

// rounded is the colorants in 65536ths. Where a row then misses D50 by some
// counts, as many entries whose rounding went furthest that way are set one
// back, so that white is white exactly.
func rounded(m matrix3) (out [3][3]int32) {
	for r := range 3 {
		var left [3]*big.Rat // value - rounded
		miss := D50[r]
		for c := range 3 {
			out[c][r] = toFixed(m[r][c])
			left[c] = new(big.Rat).Sub(m[r][c], big.NewRat(int64(out[c][r]), one))
			miss -= out[c][r]
		}
		for miss != 0 {
			best, dir := 0, int32(1)
			if miss < 0 {
				dir = -1
			}
			for c := 1; c < 3; c++ {
				if left[c].Cmp(left[best])*int(dir) > 0 {
					best = c
				}
			}
			out[best][r] += dir
			left[best].Sub(left[best], big.NewRat(int64(dir), one))
			miss -= dir
		}
	}
	return out
}

// profile builds the space's ICC v4.3 profile: display class, XYZ connection.
func (s *spaceDef) profile() []byte {
	para := paraTag(s.para, s.curve)
	tags := []tag{
		{"desc", textTag(s.text)},
		{"cprt", textTag("No rights reserved")},
		{"wtpt", fixedTag("XYZ ", D50[:]...)},
	}
	if s.xy == [4][2]int64{} {
		return assemble([2]byte{4, 0x30}, "mntrGRAYXYZ ", append(tags, tag{"kTRC", para}))
	}
	m, chad := s.matrices()
	if s.xy[3] == d65 {
		var fixed []int32
		for _, row := range chad {
			for _, v := range row {
				fixed = append(fixed, toFixed(v))
			}
		}
		tags = append(tags, tag{"chad", fixedTag("sf32", fixed...)})
	}
	for i, xyz := range rounded(m) {
		tags = append(tags, tag{"rgb"[i:i+1] + "XYZ", fixedTag("XYZ ", xyz[:]...)})
	}
	return assemble([2]byte{4, 0x30}, "mntrRGB XYZ ", append(tags, tag{"rTRC", para}, tag{"gTRC", para}, tag{"bTRC", para}))
}

func paraTag(kind uint16, params []string) []byte {
	d := append([]byte("para"), 0, 0, 0, 0, byte(kind>>8), byte(kind), 0, 0)
	for _, s := range params {
		r, _ := new(big.Rat).SetString(s)
		d = binary.BigEndian.AppendUint32(d, uint32(toFixed(r)))
	}
	return d
}

// fixedTag is a tag of numbers of 65536ths: an XYZ number or an array.
func fixedTag(kind string, v ...int32) []byte {
	d := append([]byte(kind), 0, 0, 0, 0)
	for _, x := range v {
		d = binary.BigEndian.AppendUint32(d, uint32(x))
	}
	return d
}

// textTag is a multi-localised text with one record, English of the US,
// padded to four bytes.
func textTag(s string) []byte {
	u := utf16.Encode([]rune(s))
	d := append([]byte("mluc"), 0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 0, 12, 'e', 'n', 'U', 'S')
	d = binary.BigEndian.AppendUint32(d, uint32(2*len(u)))
	d = binary.BigEndian.AppendUint32(d, 28)
	for _, c := range u {
		d = binary.BigEndian.AppendUint16(d, c)
	}
	return append(d, make([]byte, -len(d)&3)...)
}

// tag is one tag of a profile that is written: its signature of four letters,
// and its data.
type tag struct {
	signature string
	data      []byte
}

// assemble writes a profile of a version as headers have it, with class, device
// and connection space of four letters each, media-relative, created
// 2026-01-01T00:00:00, with no maker. Equal tags share their data; all begin on
// four bytes. A profile of version 4 has its id computed.
func assemble(version [2]byte, kind string, tags []tag) []byte {
	head := make([]byte, 132, 1024)
	copy(head[8:], version[:])
	copy(head[12:], kind)
	binary.BigEndian.PutUint16(head[24:], 2026)
	head[27], head[29] = 1, 1 // month, day
	copy(head[36:], "acsp")
	head[67] = 1 // media-relative colorimetric
	for i, v := range D50 {
		binary.BigEndian.PutUint32(head[68+4*i:], uint32(v))
	}
	binary.BigEndian.PutUint32(head[128:], uint32(len(tags)))
	start := len(head) + 12*len(tags)
	var body []byte
	at := map[string]int{} // by data
	for _, t := range tags {
		off, shared := at[string(t.data)]
		if !shared {
			off = start + len(body)
			at[string(t.data)] = off
			body = append(body, t.data...)
			body = append(body, make([]byte, -len(body)&3)...)
		}
		head = append(head, t.signature...)
		head = binary.BigEndian.AppendUint32(head, uint32(off))
		head = binary.BigEndian.AppendUint32(head, uint32(len(t.data)))
	}
	out := append(head, body...)
	binary.BigEndian.PutUint32(out, uint32(len(out)))
	if version[0] == 4 {
		// The id is the MD5 of the profile with flags, intent and id at zero
		// (ICC.1:2010, 7.2.18).
		blank := bytes.Clone(out)
		clear(blank[44:48])
		clear(blank[64:68])
		id := md5.Sum(blank)
		copy(out[84:], id[:])
	}
	return out
}
