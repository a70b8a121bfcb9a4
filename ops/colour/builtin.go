package colour

import (
	"bytes"
	"crypto/md5"
	"encoding/binary"
	"math/big"
	"sync"
	"unicode/utf16"

	"platemark/ops/exact"
)

// Space returns a built-in space by the name that recipes use. Its meaning is
// its profile's numbers: the published ones, rounded to a profile's
// fixed-point numbers.
func Space(name string) (*Profile, bool) {
	for i, n := range SpaceNames() {
		if n == name {
			return builtin()[i], true
		}
	}
	return nil, false
}

// SpaceNames lists the built-in spaces.
func SpaceNames() []string {
	return []string{"sRGB", "opRGB", "ROMM-RGB", "Display-P3", "grey-2.2"}
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

var builtin = sync.OnceValue(func() []*Profile {
	var out []*Profile
	for i := range spaceDefs {
		p, err := Parse(spaceDefs[i].profile())
		if err != nil {
			panic(err) // a test parses them all
		}
		for k, t := range p.tones {
			for _, q := range out {
				if q.tones[0].curve == t.curve {
					p.tones[k] = q.tones[0] // Display P3 has sRGB's curve
				}
			}
		}
		out = append(out, p)
	}
	return out
})

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

// profile builds the space's ICC v4.3 profile: display class, XYZ connection,
// created 2026-01-01T00:00:00, no maker, profile id computed.
func (s *spaceDef) profile() []byte {
	grey := s.xy == [4][2]int64{}
	type tag struct {
		sig  string
		data []byte
	}
	para := paraTag(s.para, s.curve)
	tags := []tag{
		{"desc", textTag(s.text)},
		{"cprt", textTag("No rights reserved")},
		{"wtpt", xyzTag(D50)},
	}
	if grey {
		tags = append(tags, tag{"kTRC", para})
	} else {
		m, chad := s.matrices()
		if s.xy[3] == d65 {
			tags = append(tags, tag{"chad", chadTag(chad)})
		}
		col := rounded(m)
		tags = append(tags, tag{"rXYZ", xyzTag(col[0])}, tag{"gXYZ", xyzTag(col[1])}, tag{"bXYZ", xyzTag(col[2])},
			tag{"rTRC", para}, tag{"gTRC", para}, tag{"bTRC", para})
	}

	head := make([]byte, 132, 1024)
	copy(head[8:], []byte{4, 0x30, 0, 0})
	copy(head[12:], "mntrRGB XYZ ")
	if grey {
		copy(head[16:], "GRAY")
	}
	binary.BigEndian.PutUint16(head[24:], 2026)
	head[27], head[29] = 1, 1 // month, day
	copy(head[36:], "acsp")
	head[67] = 1 // media-relative colorimetric
	for i, v := range D50 {
		binary.BigEndian.PutUint32(head[68+4*i:], uint32(v))
	}
	binary.BigEndian.PutUint32(head[128:], uint32(len(tags)))
	off := len(head) + 12*len(tags)
	var body []byte
	for i, t := range tags {
		at := off + len(body)
		if i > 0 && bytes.Equal(t.data, tags[i-1].data) { // the three curves share
			at -= len(t.data)
		} else {
			body = append(body, t.data...)
		}
		head = append(head, t.sig...)
		head = binary.BigEndian.AppendUint32(head, uint32(at))
		head = binary.BigEndian.AppendUint32(head, uint32(len(t.data)))
	}
	out := append(head, body...)
	binary.BigEndian.PutUint32(out, uint32(len(out)))
	// The id is the MD5 of the profile with flags, intent and id at zero
	// (ICC.1:2010, 7.2.18).
	blank := append([]byte(nil), out...)
	clear(blank[44:48])
	clear(blank[64:68])
	id := md5.Sum(blank)
	copy(out[84:], id[:])
	return out
}

func paraTag(kind uint16, params []string) []byte {
	d := append([]byte("para"), 0, 0, 0, 0, byte(kind>>8), byte(kind), 0, 0)
	for _, s := range params {
		r, _ := new(big.Rat).SetString(s)
		d = binary.BigEndian.AppendUint32(d, uint32(toFixed(r)))
	}
	return d
}

func xyzTag(v [3]int32) []byte {
	d := append([]byte("XYZ "), 0, 0, 0, 0)
	for _, x := range v {
		d = binary.BigEndian.AppendUint32(d, uint32(x))
	}
	return d
}

func chadTag(m matrix3) []byte {
	d := append([]byte("sf32"), 0, 0, 0, 0)
	for r := range 3 {
		for c := range 3 {
			d = binary.BigEndian.AppendUint32(d, uint32(toFixed(m[r][c])))
		}
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
	for len(d)%4 != 0 {
		d = append(d, 0)
	}
	return d
}
