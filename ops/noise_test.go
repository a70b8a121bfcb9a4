package ops

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// levelsOf is the noise of a picture: light by class, then colour.
func levelsOf(t testing.TB, pix []uint16, w, h, c int) (light, colour []float64) {
	t.Helper()
	p := Pic{W: w, H: h, C: c}
	figures := build(t, NoiseLevels.Figures(p), nil, &plane{pic: p, data: pix})
	for i, f := range strings.Fields(NoiseLevels.Value(figures)) {
		v := 0.0
		if _, err := fmt.Sscan(f, &v); err != nil {
			t.Fatal(err)
		}
		if i < noiseClasses {
			light = append(light, v)
		} else {
			colour = append(colour, v)
		}
	}
	return light, colour
}

// added is a picture with normal noise of deviation sigma in each channel for
// itself, cut off at the ends, in steps of code.
func added(pix []uint16, sigma float64, code int) []uint16 {
	rng := rand.New(rand.NewPCG(7, 11))
	out := make([]uint16, len(pix))
	for i, v := range pix {
		f := math.Floor((float64(v)+rng.NormFloat64()*sigma)/float64(code)+0.5) * float64(code)
		out[i] = uint16(min(max(f, 0), 65535))
	}
	return out
}

// What light and colour have of noise that is one in each channel: the roots of
// the sums of the squares of their weights.
var (
	lightOfEach  = math.Sqrt(1+4+1) / 4
	colourOfEach = math.Sqrt(9+4+1) / 4
)

// The noise that was added is found, on even ground and on slopes, in 8 and 16
// bits, near the ends of the range too, and where there is none, what rounding
// makes.
func TestNoiseIsWhatWasAdded(t *testing.T) {
	const w, h = 512, 384
	field := func(c int, at func(x, y int) float64) []uint16 {
		pix := make([]uint16, w*h*c)
		for i := range pix {
			pix[i] = uint16(min(max(at(i/c%w, i/c/w), 0), 65535))
		}
		return pix
	}
	even := func(level float64) func(x, y int) float64 {
		return func(x, y int) float64 { return level * 257 }
	}
	slope := func(x, y int) float64 { return 8000 + 90*float64(x) + 20*float64(y) }
	for _, c := range []struct {
		name     string
		pix      []uint16
		channels int
		sigma    float64 // of 255
		code     int
	}{
		{"grey, even", field(1, even(120)), 1, 5, 1},
		{"grey, even, 8 bits", field(1, even(120)), 1, 2, 257},
		{"RGB, even", field(3, even(40)), 3, 10, 257},
		{"RGB, even, finer than a code", field(3, even(200)), 3, 0.25, 1},
		{"RGB, a slope", field(3, slope), 3, 2, 1},
		{"RGB, a slope, 8 bits", field(3, slope), 3, 2, 257},
		{"near black", field(3, func(x, y int) float64 { return 257 * float64(x) / 10 }), 3, 10, 257},
		{"near white", field(3, func(x, y int) float64 { return 65535 - 257*float64(x)/10 }), 3, 10, 257},
	} {
		light, colour := levelsOf(t, added(c.pix, c.sigma*257, c.code), w, h, c.channels)
		want := c.sigma * 257
		if c.channels == 3 {
			want *= lightOfEach
		}
		for k, got := range light {
			if math.Abs(got/want-1) > 0.1 {
				t.Errorf("%s: light of class %d has %.0f, %.0f was added", c.name, k, got, want)
			}
			if want := c.sigma * 257 * colourOfEach; c.channels == 3 && math.Abs(colour[k]/want-1) > 0.1 {
				t.Errorf("%s: colour of class %d has %.0f, %.0f was added", c.name, k, colour[k], want)
			}
		}
	}
	// Rounding: a code over the root of 12, of 8 bits 74 of 65535. It isn't a
	// matter of how far apart the tones of a drawing are.
	for name, c := range map[string]struct {
		pix  []uint16
		want float64
	}{
		"too little to be seen in 8 bits": {added(field(3, slope), 0.2*257, 257), 74},
		"steps of 8 bits":                 {added(field(3, slope), 0, 257), 74},
		"a clean slope of 16 bits":        {field(1, func(x, y int) float64 { return 9000 + float64(x) }), 1},
		"quite even":                      {field(3, even(9)), 1},
		"all black":                       {field(3, even(0)), 1},
		"all white":                       {field(3, even(255)), 1},
	} {
		light, colour := levelsOf(t, c.pix, w, h, len(c.pix)/w/h)
		for k, got := range slices.Concat(light, colour) {
			if got < c.want || got > 1.35*c.want {
				t.Errorf("%s: number %d is %.0f, expected %.0f", name, k, got, c.want)
			}
		}
	}
}

// Noise that grows with brightness is told by brightness.
func TestNoiseByBrightness(t *testing.T) {
	const w, h = 1024, 512
	rng := rand.New(rand.NewPCG(3, 4))
	pix := make([]uint16, w*h)
	of := func(k int) float64 { return 150 + 100*float64(k) }
	for i := range pix {
		at := i % w / 128
		pix[i] = uint16(float64(at)*8192 + 4096 + rng.NormFloat64()*of(at))
	}
	light, _ := levelsOf(t, pix, w, h, 1)
	for k, got := range light {
		if math.Abs(got/of(k)-1) > 0.1 {
			t.Errorf("class %d has %.0f, added %.0f", k, got, of(k))
		}
	}
}

// Figures are those of a plain program, in any order; small pictures have none.
func TestNoiseFigures(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 5))
	for _, p := range []Pic{{W: 50, H: 70, C: 3}, {W: 33, H: 1200, C: 1}, {W: 15, H: 90, C: 3}, {W: 90, H: 15, C: 1}, {W: 1, H: 1, C: 3}, {W: 16, H: 16, C: 3}} {
		in := noise(rng, p)
		for i := range in.data {
			in.data[i] = in.data[i]/8 + 25000
		}
		in.data[0] = 0 // the first square doesn't count
		s := NoiseLevels.Figures(p)
		got := checkOrders(t, s, in)
		for j := range s.Pic().H {
			for i := range s.Pic().W {
				want := [4]uint16{}
				if y0, _ := s.Window(0, j); p.W >= 16 && p.H >= 16 && (i > 0 || y0 > 0) {
					want = slowSquare(in, 16*i, y0)
				}
				if g := [4]uint16(got[4*(j*s.Pic().W+i):]); g != want {
					t.Fatalf("%v: square %d, %d has %v, expected %v", p, i, j, g, want)
				}
			}
		}
		if f := strings.Fields(NoiseLevels.Value(got)); len(f) != 2*noiseClasses || slices.Contains(f, "0") {
			t.Errorf("%v: the noise is %v", p, f)
		}
	}
}

// slowSquare is the figures in floating point, from their definition.
func slowSquare(in *plane, x0, y0 int) (f [4]uint16) {
	c := in.pic.C
	at := func(x, y, i int) float64 { return float64(in.data[((y0+y)*in.pic.W+x0+x)*c+i%c]) }
	light := func(x, y int) float64 { return (at(x, y, 0) + 2*at(x, y, 1) + at(x, y, 2)) / 4 }
	red := func(x, y int) float64 { return at(x, y, 0) - light(x, y) }
	blue := func(x, y int) float64 { return at(x, y, 2) - light(x, y) }
	deviation := func(planes ...func(x, y int) float64) float64 {
		var sum float64
		for _, v := range planes {
			for y := 1; y < 16; y++ {
				for x := 1; x < 16; x++ {
					d := v(x, y) - v(x-1, y) - v(x, y-1) + v(x-1, y-1)
					sum += d * d / 4 / 225 / float64(len(planes))
				}
			}
		}
		return math.Floor(math.Sqrt(math.Floor(sum)) + 0.5)
	}
	var mean float64
	least := math.Inf(1)
	for y := range 16 {
		for x := range 16 {
			mean += light(x, y) / 256
			for i := range c {
				if d := math.Abs(at(x, y, i) - at(max(x-1, 0), y, i)); d > 0 {
					least = min(least, d)
				}
			}
		}
	}
	return [4]uint16{uint16(mean), uint16(deviation(light)), uint16(deviation(red, blue)), uint16(least)}
}
