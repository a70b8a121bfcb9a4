package colour

import (
	"math/big"
	"slices"
)

// matrix3 is a 3 x 3 matrix of exact numbers, [row][column].
type matrix3 [3][3]*big.Rat

func (m matrix3) minor(r, c int) *big.Rat {
	r1, r2 := (r+1)%3, (r+2)%3
	c1, c2 := (c+1)%3, (c+2)%3
	a := new(big.Rat).Mul(m[r1][c1], m[r2][c2])
	return a.Sub(a, new(big.Rat).Mul(m[r1][c2], m[r2][c1])) // sign included
}

func (m matrix3) det() *big.Rat {
	d := new(big.Rat)
	for c := range 3 {
		d.Add(d, new(big.Rat).Mul(m[0][c], m.minor(0, c)))
	}
	return d
}

// inverse needs a determinant other than 0.
func (m matrix3) inverse() (out matrix3) {
	d := m.det()
	for r := range 3 {
		for c := range 3 {
			out[r][c] = new(big.Rat).Quo(m.minor(c, r), d)
		}
	}
	return out
}

func (m matrix3) times(n matrix3) (out matrix3) {
	for r := range 3 {
		for c := range 3 {
			s := new(big.Rat)
			for k := range 3 {
				s.Add(s, new(big.Rat).Mul(m[r][k], n[k][c]))
			}
			out[r][c] = s
		}
	}
	return out
}

func (m matrix3) apply(v [3]*big.Rat) (out [3]*big.Rat) {
	for r := range 3 {
		s := new(big.Rat)
		for k := range 3 {
			s.Add(s, new(big.Rat).Mul(m[r][k], v[k]))
		}
		out[r] = s
	}
	return out
}

// Link converts codes of one profile to codes of another: each code to light,
// light by one matrix, light to the nearest code (halves up, clipped). It is
// immutable and safe for many goroutines.
//
// The matrix is inverse(destination colorants) x source colorants, in exact
// fractions, each entry rounded once to float64. Where both profiles' whites
// (the sums of their colorants) agree within 2^-12 in X, Y and Z, which is
// what rounding in profiles leaves, they are the same white: each row of the
// matrix is divided by its sum before rounding, and a row (a, 1-a-c, c) is
// computed as G + a(R-G) + c(B-G). So greys of equal codes stay greys of equal
// codes, exactly, wherever a profile has one curve for all its channels.
//
// From grey, the light k is k times the connection space's white; to grey, it
// is the luminance: G + l0(R-G) + l2(B-G) with the source's Luma.
//
// Between such profiles the relative, perceptual and saturation intents are
// one and the same.
type Link struct {
	src, dst *Profile
	same     bool // the same profile bytes
	balanced bool // the same white
	m        [3][3]float64
	// compensated is the source's light with its black brought to the
	// destination's, by channel; nil where both are the same.
	compensated [3][]float64
}

// NewLink prepares the conversion from src to dst. Profiles with the same
// digest give a link that changes nothing.
func NewLink(src, dst *Profile) *Link {
	l := &Link{src: src, dst: dst, same: src.digest == dst.digest}
	if l.same {
		return l
	}
	l.balanced = sameWhite(src.whiteSum(), dst.whiteSum())
	if dst.Channels() == 1 {
		return l
	}
	back := dst.matrix().inverse()
	var rows matrix3
	if src.Channels() == 3 {
		rows = back.times(src.matrix())
	} else {
		// One column: the light of grey 1 in the destination's channels.
		var w [3]*big.Rat
		for i, v := range D50 {
			w[i] = big.NewRat(int64(v), 65536)
		}
		w = back.apply(w)
		for r := range 3 {
			rows[r] = [3]*big.Rat{w[r], new(big.Rat), new(big.Rat)}
		}
	}
	for r := range 3 {
		sum := new(big.Rat).Add(rows[r][0], rows[r][1])
		sum.Add(sum, rows[r][2])
		for c := range 3 {
			v := rows[r][c]
			if l.balanced {
				v = new(big.Rat).Quo(v, sum)
			}
			l.m[r][c], _ = v.Float64()
		}
	}
	return l
}

// whiteRounding is 2^-12 in 65536ths.
const whiteRounding = 16

func sameWhite(a, b [3]int64) bool {
	for i := range a {
		if d := a[i] - b[i]; d > whiteRounding || d < -whiteRounding {
			return false
		}
	}
	return true
}

// compensate has light v of the source count as scale v + offset, in all
// channels. That is the scaling of X, Y and Z only where the link is balanced
// and white is the connection space's.
func (l *Link) compensate(scale, offset float64) {
	for k, t := range l.src.tones {
		if k > 0 && t == l.src.tones[0] {
			l.compensated[k] = l.compensated[0]
			continue
		}
		l.compensated[k] = slices.Clone(t.Decode64())
		for i, v := range l.compensated[k] {
			l.compensated[k][i] = float64(scale*v) + offset
		}
	}
}

// light is the light of each of the source's codes in channel k.
func (l *Link) light(k int) []float64 {
	if l.compensated[k] != nil {
		return l.compensated[k]
	}
	return l.src.tones[k].Decode64()
}

// Row converts n pixels: src holds n times the source's channels, interleaved,
// dst n times the destination's.
func (l *Link) Row(dst, src []uint16) {
	switch {
	case l.same:
		copy(dst, src)
	case l.src.Channels() == 3 && l.dst.Channels() == 3:
		if l.balanced {
			l.rowBalanced(dst, src)
		} else {
			l.rowPlain(dst, src)
		}
	case l.src.Channels() == 3:
		l.rowToGrey(dst, src)
	default:
		l.rowFromGrey(dst, src)
	}
}

// rowBlock is how many pixels go through a chain of inner loops at a time, so that
// their light stays in the nearest cache.
const rowBlock = 256

func (l *Link) rowBalanced(dst, src []uint16) {
	tables := [3][]float64{l.light(0), l.light(1), l.light(2)}
	var light [3][rowBlock]float64
	for len(src) >= 3 && len(dst) >= 3 {
		n := min(rowBlock, len(src)/3, len(dst)/3)
		r, g, b := light[0][:n], light[1][:n], light[2][:n]
		DecodeRow(r, g, b, &tables, src)
		mixRow(r, g, b, &l.m)
		for c, t := range l.dst.tones {
			t.EncodeRow(dst[c:], 3, light[c][:n])
		}
		src, dst = src[3*n:], dst[3*n:]
	}
}

// mixRow takes light through a matrix each row of which adds up to 1.
func mixRow(r, g, b []float64, m *[3][3]float64) {
	for i := fastMixRow(r, g, b, m); i < len(r); i++ {
		y := g[i]
		x, z := r[i]-y, b[i]-y
		r[i] = y + (float64(m[0][0]*x) + float64(m[0][2]*z))
		g[i] = y + (float64(m[1][0]*x) + float64(m[1][2]*z))
		b[i] = y + (float64(m[2][0]*x) + float64(m[2][2]*z))
	}
}

func (l *Link) rowPlain(dst, src []uint16) {
	var d [3][]float64
	var e [3]*Tone
	for i := range 3 {
		d[i], e[i] = l.light(i), l.dst.tones[i].ready()
	}
	for len(src) >= 3 && len(dst) >= 3 {
		r, g, b := d[0][src[0]], d[1][src[1]], d[2][src[2]]
		for i := range 3 {
			m := &l.m[i]
			v := float64(m[0]*r) + float64(m[1]*g)
			dst[i] = e[i].encode(v + float64(m[2]*b))
		}
		src, dst = src[3:], dst[3:]
	}
}

func (l *Link) rowToGrey(dst, src []uint16) {
	dr, dg, db := l.light(0), l.light(1), l.light(2)
	e := l.dst.tones[0].ready()
	a, c := l.src.luma[0], l.src.luma[2]
	for i := range min(len(dst), len(src)/3) {
		g := dg[src[3*i+1]]
		r, b := dr[src[3*i]]-g, db[src[3*i+2]]-g
		dst[i] = e.encode(g + (float64(a*r) + float64(c*b)))
	}
}

func (l *Link) rowFromGrey(dst, src []uint16) {
	d, n := l.light(0), l.dst.Channels()
	for k := range n {
		e, m := l.dst.tones[k].ready(), 1.0
		if n == 3 && !l.balanced {
			m = l.m[k][0]
		}
		for i := range min(len(src), len(dst)/n) {
			dst[i*n+k] = e.encode(float64(d[src[i]] * m))
		}
	}
}
