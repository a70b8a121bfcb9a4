package jpeg

import (
	"bytes"
	"math"
	"math/rand/v2"
	"testing"
)

// For all 8-bit colours, colour conversion equals the IJG library's, whose
// constants are T.871's factors times 65536 to the nearest whole (jccolor.c).
func TestColourEqualsLibjpeg(t *testing.T) {
	fix := func(x float64) int { return int(math.Floor(float64(x*65536) + 0.5)) }
	yr, yg, yb := fix(0.29900), fix(0.58700), fix(0.11400)
	br, bg, rg, rb, h := -fix(0.16874), -fix(0.33126), -fix(0.41869), -fix(0.08131), fix(0.5)
	const half = 1 << 15
	const centre = 128 << 16
	for r := range 256 {
		for g := range 256 {
			for b := range 256 {
				y, c := convert(byte(r), byte(g), byte(b))
				if int(y) != (yr*r+yg*g+yb*b+half)>>16 ||
					int(c&0xffffffff) != (br*r+bg*g+h*b+centre+half-1)>>16 ||
					int(c>>32) != (h*r+rg*g+rb*b+centre+half-1)>>16 {
					t.Fatalf("%d %d %d: %d %x", r, g, b, y, c)
				}
			}
		}
	}
}

// Two blocks at once equal one at a time, coefficient by coefficient, and no
// coefficient passes the bound that the quantiser relies on.
func TestForwardEqualsPlain(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	for range 4000 {
		a, b := block(random), block(random)
		var in [64]uint64
		var out [32]uint64
		for i := range in {
			in[i] = uint64(a.v[i]) | uint64(b.v[i])<<32
		}
		forward(&in, &out)
		pa, pb := plainDCT(a, 0, 0), plainDCT(b, 0, 0)
		for i := range 64 {
			word := out[i%32] >> (i / 32 * 16)
			ga, gb := int(word&0xffff)-bias, int(word>>32&0xffff)-bias
			if ga != pa[i] || gb != pb[i] {
				t.Fatalf("coefficient %d: %d %d, plain %d %d", i, ga, gb, pa[i], pb[i])
			}
			if max(ga, -ga, gb, -gb) > largest {
				t.Fatalf("coefficient %d: %d %d", i, ga, gb)
			}
		}
	}
}

// block is flat, extreme, a worst case for one coefficient, or noise.
func block(random *rand.Rand) plane {
	p := plane{8, 8, make([]int, 64)}
	kind, u, v, flip := random.IntN(4), random.IntN(8), random.IntN(8), random.IntN(2) == 1
	for i := range p.v {
		switch kind {
		case 0:
			p.v[i] = 255 * (u & 1)
		case 1:
			p.v[i] = 255 * random.IntN(2)
		case 2: // the signs of a basis function
			if (positive(i%8, u) == positive(i/8, v)) != flip {
				p.v[i] = 255
			}
		default:
			p.v[i] = random.IntN(256)
		}
	}
	return p
}

// positive says whether cos((2x+1) u pi/16) is above 0: whether the angle is
// within a quarter turn of 0.
func positive(x, u int) bool {
	turn := (2*x + 1) * u % 32
	return turn < 8 || turn > 24
}

// Eight rows of 16 pixels with assembly are what they are without: every colour
// of 16 steps a channel and random ones, in rows that lie apart.
func TestColoursEqualPlain(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	for n := range 2000 {
		stride := 48 + random.IntN(20)
		src := make([]byte, 7*stride+48)
		for i := range src {
			src[i] = byte(random.Uint32())
			if n < 4096/128 { // 128 pixels each
				k := n*128 + i/stride*16 + i%stride/3
				src[i] = byte(k >> (4 * (i % stride % 3)) & 15 * 17)
			}
		}
		var got, want [3][64]uint64
		colours(src, stride, &got[0], &got[1], &got[2])
		plainColours(src, stride, &want[0], &want[1], &want[2])
		if got != want {
			t.Fatalf("%v: %x, want %x", src, got, want)
		}
	}
}

// Two blocks with assembly come to the same words and maps as without, at every
// quality.
func TestCodeEqualsPlain(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 8))
	for n := range 20000 {
		steps := scaled([]*[64]byte{&quantLuminance, &quantChrominance}[n%2], 1+n/2%100)
		if n%5 == 0 {
			for i := range steps {
				steps[i] = byte(1 + random.IntN(255))
			}
		}
		q := newQuantiser(&steps)
		a, b := block(random), block(random)
		var in [64]uint64
		for i := range in {
			in[i] = uint64(a.v[i]) | uint64(b.v[i])<<32
		}
		copied := in
		var got, want [32]uint64
		first, second := q.code(&in, &got)
		forward(&copied, &want)
		rows := q.apply(&want)
		if got != want || first != zigzagged(rows[0]) || second != zigzagged(rows[1]) {
			t.Fatalf("%v\n%v by %v:\n%x, want\n%x\n%x %x, want %x", a.v, b.v, steps, got, want, first, second, rows)
		}
	}
}

// The codes of a block by assembly are the bits that they are without: values up
// to the largest, few coefficients and many, whatever bits wait.
func TestCodesEqualPlain(t *testing.T) {
	random := rand.New(rand.NewPCG(9, 10))
	fast, plain := writer{buf: make([]byte, 2*blockRoom)}, writer{buf: make([]byte, 2*blockRoom)}
	for n := range 50000 {
		var w [32]uint64
		for i := range w {
			w[i] = random.Uint64()>>(n%8)&(0x7ff*four) + (zero-0x400)*four
		}
		some := random.Uint64()
		for range random.IntN(6) {
			some &= random.Uint64()
		}
		some &^= 1
		which, kind := uint(n%2*32), &annexK[n/2%2]
		first := kind.dc[random.IntN(12)]
		fast.at, plain.at = 0, 0
		plain.codes(&w, which, some, kind, first)
		if !fast.fastCodes(&w, which, some, kind, first) {
			fast.codes(&w, which, some, kind, first)
		}
		wait := uint64(1)<<fast.n - 1
		if fast.n != plain.n || fast.acc&wait != plain.acc&wait || !bytes.Equal(fast.buf[:fast.at], plain.buf[:plain.at]) {
			t.Fatalf("%x of %x: %x, want %x", some, w, fast.buf[:fast.at], plain.buf[:plain.at])
		}
	}
}

// Quantising is exact for every step and every coefficient there can be.
func TestQuantiserEqualsPlain(t *testing.T) {
	for q := 1; q <= 255; q++ {
		l := newLane(uint64(q))
		var steps [64]byte
		for i := range steps {
			steps[i] = byte(q)
		}
		var by [3]uint64
		for k, t := range newQuantiser(&steps).by {
			by[k] = t[31] >> 48
		}
		for v := -largest; v <= largest; v++ {
			a, b := uint64(v+bias), uint64(bias-v)
			got := l.divide(a | b<<32)
			want := plainDivide(v, q)
			if int(got&0xffffffff)-zero != want || int(got>>32)-zero != -want {
				t.Fatalf("%d by %d: %d and %d, expected %d", v, q, int(got&0xffffffff)-zero, int(got>>32)-zero, want)
			}
			x := uint64(max(v, -v)) + by[0]
			if got := x * by[1] >> 16 * by[2] >> 16; x >= 1<<15 || max(by[1], by[2]) >= 1<<16 || int(got) != max(want, -want) {
				t.Fatalf("%d by %d for assembly: %d, expected %d", v, q, got, want)
			}
		}
	}
}

// The way with all steps 1 equals the general one.
func TestQuantiserOfOnes(t *testing.T) {
	var steps [64]byte
	for i := range steps {
		steps[i] = 1
	}
	ones, general := newQuantiser(&steps), newQuantiser(&steps)
	general.ones = false
	for v := -largest; v <= largest; v++ {
		var a [32]uint64
		for i := range a {
			a[i] = uint64(v+bias) | uint64(bias-v)<<16 | uint64(bias+v/1000)<<32 | uint64(bias)<<48
		}
		b := a
		a1, b1 := ones.apply(&a), general.apply(&b)
		if a != b || a1 != b1 {
			t.Fatalf("%d: %x, %x", v, a1, b1)
		}
	}
}

// Each place in zigzag order has its bit in the map and is found by it.
func TestPlaces(t *testing.T) {
	var steps [64]byte
	for i := range steps {
		steps[i] = 1
	}
	q := newQuantiser(&steps)
	for z, at := range zigzag {
		word, lane := wordOf(int(at))
		for which := range 2 {
			var w [32]uint64
			for i := range w {
				w[i] = bias * four
			}
			w[word] += 8 << (16*lane + 32*which)
			got := q.apply(&w)
			if got = [2]uint64{zigzagged(got[0]), zigzagged(got[1])}; got[which] != 1<<z || got[1-which] != 0 {
				t.Fatalf("place %d of block %d: %x", z, which, got)
			}
			if w[places[z]/8]>>(int(places[z]%8*8)+32*which)&0xffff != zero+1 {
				t.Fatalf("place %d of block %d isn't found", z, which)
			}
		}
	}
}
