package tiff

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"slices"
	"testing"

	"platemark/ops/codec/tiff/tifftest"
)

// reading is what a plain slow reader makes of a picture.
type reading struct {
	samples             []uint16
	clipped, notNumbers int64
	translucent         int64
}

var rat1 = big.NewRat(1, 1)

// value is the number that a stored sample stands for; nil where it is none,
// and beyond all bounds where it is infinite.
func value(p tifftest.Picture, raw uint64) *big.Rat {
	if !p.Float {
		return new(big.Rat).SetFrac(new(big.Int).SetUint64(raw), big.NewInt(1<<p.Bits-1))
	}
	// Bits of exponent: IEEE 754 binary16, 32 and 64; TIFF Technical Note 3.
	exps := map[int]int{16: 5, 24: 7, 32: 8, 64: 11}[p.Bits]
	frac := p.Bits - 1 - exps
	sign, exp, m := raw>>(p.Bits-1), int(raw>>frac&(1<<exps-1)), int64(raw&(1<<frac-1))
	v := big.NewRat(m, 1)
	switch bias := 1<<(exps-1) - 1; {
	case exp == 1<<exps-1 && m != 0:
		return nil
	case exp == 1<<exps-1:
		v.SetInt64(1 << 62)
	case exp == 0:
		v.Mul(v, power(1-bias-frac))
	default:
		v.Mul(v.Add(v, power(frac)), power(exp-bias-frac))
	}
	if sign == 1 {
		v.Neg(v)
	}
	return v
}

// power is 2^n.
func power(n int) *big.Rat {
	v := new(big.Rat).SetInt(new(big.Int).Lsh(big.NewInt(1), uint(max(n, -n))))
	if n < 0 {
		v.Inv(v)
	}
	return v
}

// clip is v from 0 to most.
func (r *reading) clip(v, most *big.Rat) *big.Rat {
	switch {
	case v == nil:
		r.notNumbers++
		return new(big.Rat)
	case v.Sign() < 0:
		r.clipped++
		return new(big.Rat)
	case v.Cmp(most) > 0:
		r.clipped++
		return most
	}
	return v
}

// round is v as a 16-bit sample, half up.
func round(v *big.Rat) uint16 {
	v = new(big.Rat).Mul(v, big.NewRat(65535*2, 1))
	v.Add(v, rat1)
	return uint16(new(big.Int).Div(v.Num(), new(big.Int).Mul(v.Denom(), big.NewInt(2))).Int64())
}

// read is the picture with colours of its samples, alpha the sample's number
// or -1, as fractions all the way.
func read(p tifftest.Picture, colours, alpha int, associated, onWhite bool, palette []uint64) reading {
	var r reading
	for y := range p.H {
		for x := range p.W {
			a := rat1
			if alpha >= 0 {
				if a = r.clip(value(p, p.Raw(x, y, alpha)), rat1); a.Cmp(rat1) < 0 {
					r.translucent++
				}
			}
			n := colours
			if palette != nil {
				n = 3
			}
			for c := range n {
				var v *big.Rat
				if palette != nil {
					v = big.NewRat(int64(palette[c<<p.Bits+int(p.Raw(x, y, 0))]), 65535)
				} else {
					v = value(p, p.Raw(x, y, c))
				}
				switch {
				case associated && a.Sign() == 0:
					v = new(big.Rat)
				case associated && onWhite:
					v = r.clip(v, a)
				case associated:
					v = new(big.Rat).Quo(r.clip(v, a), a)
				default:
					v = r.clip(v, rat1)
					if p.WhiteIsZero {
						v = new(big.Rat).Sub(rat1, v)
					}
					if onWhite {
						v = new(big.Rat).Mul(v, a)
					}
				}
				if onWhite {
					v = new(big.Rat).Add(v, new(big.Rat).Sub(rat1, a))
				}
				r.samples = append(r.samples, round(v))
			}
		}
	}
	return r
}

// rawFor makes stored samples of a kind: all over the range, with its ends and
// the values around them.
func rawFor(rng *rand.Rand, p tifftest.Picture) func(x, y, c int) uint64 {
	all := make([]uint64, p.W*p.H*p.C)
	for i := range all {
		most := uint64(1)<<p.Bits - 1
		if p.Bits == 64 {
			most = math.MaxUint64
		}
		v := rng.Uint64() & most
		if p.Float {
			exps := map[int]int{16: 5, 24: 7, 32: 8, 64: 11}[p.Bits]
			one := (uint64(1)<<(exps-1) - 1) << (p.Bits - 1 - exps)
			switch k := rng.IntN(12); {
			case k == 0:
				v = []uint64{0, 1 << (p.Bits - 1), one, one + 1, one - 1, 1, most, (1<<exps - 1) << (p.Bits - 1 - exps)}[rng.IntN(8)]
			case k > 1: // from 1/64 to 2
				v = one - 6<<(p.Bits-1-exps) + v%(7<<(p.Bits-1-exps))
			}
		} else if rng.IntN(8) == 0 {
			v = []uint64{0, 1, most, most - 1, most / 2}[rng.IntN(5)]
		}
		all[i] = v
	}
	return func(x, y, c int) uint64 { return all[(y*p.W+x)*p.C+c] }
}

// counted opens and decodes with the counts.
func counted(b []byte, workers int, onWhite bool) (*File, []uint16, Counts, error) {
	f, err := Open(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		return nil, nil, Counts{}, err
	}
	if onWhite {
		f = f.OnWhite()
	}
	var got []uint16
	n, err := f.DecodeCounted(context.Background(), workers, func(_ int, rows []uint16) error { got = append(got, rows...); return nil })
	return f, got, n, err
}

// Every kind of sample, with and without alpha, packed in every way and cut
// in every way, equals the plain reading in fractions. In integers the two are
// equal to the last bit; where float64 is in between they may differ by one
// where the fraction lies within 1e-9 of a half, which these samples don't.
func TestEveryKindEqualsPlainReading(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	type depth struct {
		bits  int
		float bool
	}
	depths := []depth{{1, false}, {2, false}, {4, false}, {8, false}, {12, false}, {16, false}, {24, false}, {32, false}, {16, true}, {24, true}, {32, true}, {64, true}}
	type kind struct {
		c, colours int
		extra      []uint64
		white      bool
		palette    bool
	}
	kinds := []kind{{c: 1, colours: 1}, {c: 1, colours: 1, white: true}, {c: 3, colours: 3}, {c: 1, colours: 1, palette: true},
		{c: 2, colours: 1, extra: []uint64{2}}, {c: 2, colours: 1, extra: []uint64{1}}, {c: 2, colours: 1, extra: []uint64{2}, white: true}, {c: 2, colours: 1, extra: []uint64{2}, palette: true},
		{c: 4, colours: 3, extra: []uint64{2}}, {c: 4, colours: 3, extra: []uint64{1}}, {c: 4, colours: 3}, {c: 5, colours: 3, extra: []uint64{0, 1}}, {c: 5, colours: 3, extra: []uint64{0}}}
	n, slow := 0, 0
	defer func() { testOnlyBlockMost = 0 }()
	for _, d := range depths {
		for _, k := range kinds {
			if k.palette && (d.float || d.bits > 16) {
				continue
			}
			p := tifftest.Picture{W: 18, H: 17, C: k.c, Bits: d.bits, Float: d.float, WhiteIsZero: k.white, Pad: 0x5555}
			p.Raw = rawFor(rng, p)
			alpha := slices.IndexFunc(k.extra, func(v uint64) bool { return v == 1 || v == 2 })
			associated := alpha >= 0 && k.extra[alpha] == 1
			if alpha >= 0 {
				alpha += k.colours
			}
			if k.extra != nil {
				p.Set = append(p.Set, tifftest.Tag{Tag: 338, Type: 3, Values: k.extra})
			}
			var colours []uint64
			if k.palette {
				colours = make([]uint64, 3<<d.bits)
				for i := range colours {
					colours[i] = rng.Uint64() & 65535
				}
				p.Set = append(p.Set, tifftest.Tag{Tag: 262, Type: 3, Values: []uint64{3}}, tifftest.Tag{Tag: 320, Type: 3, Values: colours})
			}
			want := read(p, k.colours, alpha, associated, false, colours)
			white := read(p, k.colours, alpha, associated, true, colours)
			if d.bits == 12 && alpha >= 0 { // mixed as 16-bit numbers
				want, white = twelve(p, k.colours, alpha, associated, colours)
			}
			for _, pack := range []int{0, 5, 8, 32946, 32773} {
				for predictor := 1; predictor <= 3; predictor++ {
					if predictor > 1 && (pack == 0 || pack == 32773) || predictor == 2 && d.bits != 8 && d.bits != 16 && d.bits != 32 && d.bits != 64 || predictor == 3 && !d.float {
						continue
					}
					q := p
					q.LZW, q.Packing, q.Predictor = pack == 5, pack, predictor
					cut := [][3]int{{0, 0, 0}, {7, 0, 0}, {1, 0, 0}, {0, 16, 16}, {0, 32, 48}}[rng.IntN(5)]
					q.RowsPerStrip, q.TileW, q.TileH = cut[0], cut[1], cut[2]
					q.Planar = rng.IntN(2) == 0
					order := rng.IntN(4)
					b := tifftest.File{BigEndian: order&1 != 0, BigTIFF: order&2 != 0, Pictures: []tifftest.Picture{q}}.Bytes()
					name := fmt.Sprintf("%+v %+v packing %d predictor %d cut %v planar %v order %d", d, k, pack, predictor, cut, q.Planar, order)
					n++
					testOnlyBlockMost = uint64(n % 2 * 300) // every other file in blocks of a few rows, piece by piece
					for i, want := range []reading{want, white} {
						f, got, c, err := counted(b, 1+n%3, i == 1)
						if err != nil {
							t.Fatalf("%s: %v", name, err)
						}
						if f.slow {
							slow++
						}
						if at := differ(got, want.samples); at != "" {
							t.Fatalf("%s, on white %v: %s", name, i == 1, at)
						}
						if c.Clipped != want.clipped || c.NotNumbers != want.notNumbers || c.Translucent != want.translucent {
							t.Fatalf("%s, on white %v: %+v, want %d clipped, %d no numbers, %d translucent", name, i == 1, c, want.clipped, want.notNumbers, want.translucent)
						}
						if w := len(f.Info().Warnings); (w == 1) != (k.c > k.colours && (k.extra == nil || k.c == 5)) || w > 1 {
							t.Fatalf("%s: warnings %q", name, f.Info().Warnings)
						}
						if alpha < 0 {
							break
						}
					}
				}
			}
		}
	}
	if n < 500 || slow < 100 {
		t.Errorf("only %d files, %d piece by piece", n, slow)
	}
}

// twelve is read for 12 bits, whose colours and alpha are rounded to 16 bits
// before they are mixed.
func twelve(p tifftest.Picture, colours, alpha int, associated bool, palette []uint64) (want, white reading) {
	raw := p.Raw
	q := p
	q.Bits = 16
	q.Raw = func(x, y, c int) uint64 {
		if palette != nil && c == 0 {
			return raw(x, y, c)
		}
		return uint64(round(value(p, raw(x, y, c))))
	}
	if palette != nil {
		wide := make([]uint64, 3<<16)
		for c := range 3 {
			copy(wide[c<<16:], palette[c<<12:][:1<<12])
		}
		palette = wide
	}
	return read(q, colours, alpha, associated, false, palette), read(q, colours, alpha, associated, true, palette)
}

func differ(got, want []uint16) string {
	if len(got) != len(want) {
		return fmt.Sprintf("%d samples, want %d", len(got), len(want))
	}
	for i := range got {
		if got[i] != want[i] {
			return fmt.Sprintf("sample %d is %d, want %d", i, got[i], want[i])
		}
	}
	return ""
}

// Values of 16-bit floating-point numbers as IEEE 754-2008 table 3.5 and its
// usual examples have them, and of 24-bit ones by TIFF Technical Note 3's
// widths (from memory).
func TestSmallFloats(t *testing.T) {
	for v, want := range map[uint16]float64{0x3c00: 1, 0x3c01: 1 + 1.0/1024, 0xc000: -2, 0x7bff: 65504, 0x0400: 1.0 / 16384, 0x0001: 1.0 / (1 << 24),
		0x03ff: 1023.0 / (1 << 24), 0x3555: 0.333251953125, 0x7c00: math.Inf(1), 0xfc00: math.Inf(-1), 0: 0} {
		if got := smallFloat(uint64(v), 5, 10); got != want {
			t.Errorf("%04x is %v, want %v", v, got, want)
		}
	}
	for v, want := range map[uint32]float64{0x3f0000: 1, 0xbf8000: -1.5, 0x3e0000: 0.5, 0x010000: math.Ldexp(1, -62), 0x000001: math.Ldexp(1, -78), 0x7f0000: math.Inf(1)} {
		if got := smallFloat(uint64(v), 7, 16); got != want {
			t.Errorf("%06x is %v, want %v", v, got, want)
		}
	}
	if !math.IsNaN(smallFloat(uint64(0x7e00), 5, 10)) || !math.IsNaN(smallFloat(uint64(0xff0001), 7, 16)) || !math.Signbit(smallFloat(uint64(0x8000), 5, 10)) {
		t.Error("NaN or -0")
	}
}

// The whole numbers that are brought from 32, 24 and 12 bits to 16 are those
// nearest to 65535 v / (2^n - 1).
func TestDeepWholeNumbers(t *testing.T) {
	for _, bits := range []int{12, 24, 32} {
		most := uint64(1)<<bits - 1
		var in []uint64
		for i := range uint64(4000) {
			// around the places where the result changes
			edge := (2*(i*16%65535)+1)*most/131070 + 2
			for k := range uint64(5) {
				in = append(in, min(edge-k, most))
			}
		}
		p := tifftest.Picture{W: len(in), H: 1, C: 1, Bits: bits, Raw: func(x, _, _ int) uint64 { return in[x] }}
		_, got, _, err := counted(one(p).Bytes(), 1, false)
		if err != nil {
			t.Fatal(err)
		}
		for i, v := range in {
			if want := (2*65535*v + most) / (2 * most); uint64(got[i]) != want {
				t.Fatalf("%d bits: %d is %d, want %d", bits, v, got[i], want)
			}
		}
	}
}

func TestCountsSay(t *testing.T) {
	c := Counts{Pixels: 50000, Samples: 200000, Clipped: 200000, NotNumbers: 3}
	want := []string{"100.00 % of the samples (200000 of 200000) lie outside the range from black to white and were clipped",
		"less than 0.01 % of the samples (3 of 200000) are no numbers (NaN) and were read as black"}
	if w := c.Warnings(); !slices.Equal(w, want) {
		t.Errorf("%q", w)
	}
	if w := (Counts{Samples: 9, Translucent: 3}).Warnings(); w != nil {
		t.Errorf("%q", w)
	}
}
