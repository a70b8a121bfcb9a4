package ops

import (
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"
)

func maskArgs(w, h int, lines ...string) Args {
	a := Args{{"width", fmt.Sprint(w)}, {"height", fmt.Sprint(h)}}
	for i, l := range lines {
		a = append(a, Arg{fmt.Sprintf("shape-%d", i+1), l})
	}
	return a
}

func drawMask(t testing.TB, w, h int, lines ...string) []uint16 {
	t.Helper()
	s, err := MaskV1.New(maskArgs(w, h, lines...), nil, Env{})
	if err != nil {
		t.Fatal(err)
	}
	return build(t, s, nil)
}

func TestMaskHandWorked(t *testing.T) {
	// Worked by hand from the definitions in MaskV1's comment; 65535 times the
	// value, half up.
	type px struct {
		x, y int
		want uint16
	}
	for _, c := range []struct {
		lines []string
		px    []px
	}{
		// h = 4, fades over 2 px: d = 0.5, t = 1/4, 5/32; d = 1.5, t = 3/4, 27/32.
		{[]string{"add rectangle at 8 8 size 8 8 soft 1/2"},
			[]px{{3, 8, 0}, {4, 8, 10240}, {5, 8, 55295}, {6, 8, 65535}, {11, 8, 10240}, {12, 8, 0}, {8, 4, 10240}, {5, 5, 55295}, {4, 6, 10240}}},
		// Hard sides on pixel edges are sharp.
		{[]string{"add rectangle at 8 8 size 8 4 soft 0"}, []px{{3, 8, 0}, {4, 8, 65535}, {11, 9, 65535}, {12, 8, 0}, {8, 5, 0}, {8, 6, 65535}, {8, 10, 0}}},
		// Hard sides through pixel centres take half.
		{[]string{"add rectangle at 8 8 size 7 7 soft 0"}, []px{{3, 8, 0}, {4, 8, 32768}, {5, 8, 65535}, {11, 8, 32768}, {12, 8, 0}}},
		// Soft 1/10 of 4 px is less than a pixel: from d = -0.3 to 0.7. d = 0.5, t = 0.8, 0.896.
		{[]string{"add rectangle at 8 8 size 8 8 soft 1/10"}, []px{{3, 8, 0}, {4, 8, 58719}, {5, 8, 65535}}},
		// Half axes 20 and 10: rho 3/4 is t = 1/2; rho √½ is t = 2-√2, 0.627417; rho 1/2 is 1.
		{[]string{"add ellipse at 25 25 size 40 20 soft 1/2"},
			[]px{{24, 24, 65535}}},
		{[]string{"add ellipse at 49/2 49/2 size 40 20 soft 1/2"},
			[]px{{39, 24, 32768}, {34, 29, 41118}, {34, 24, 65535}, {44, 24, 0}, {4, 24, 0}, {24, 34, 0}, {9, 24, 32768}}},
		// Hard: the outline passes through the centre of pixel 44 and of row 34.
		{[]string{"add ellipse at 49/2 49/2 size 40 20 soft 0"}, []px{{44, 24, 32768}, {43, 24, 65535}, {45, 24, 0}, {24, 34, 32768}, {24, 33, 65535}, {24, 35, 0}}},
		// 19/20 at pixel 0, then 1/10 less each; before and behind 1 and 0.
		{[]string{"add gradient from 5 0 to 15 0"}, []px{{4, 3, 65535}, {5, 3, 62258}, {6, 0, 55705}, {14, 9, 3277}, {15, 0, 0}}},
		{[]string{"add gradient from 0 10 to 0 0"}, []px{{0, 9, 62258}, {7, 0, 3277}, {7, 10, 65535}}},
		// Slanted: 1 - (7.5·6 + 0.5·8)/(6² + 8²) = 0.51.
		{[]string{"add gradient from 0 0 to 6 8"}, []px{{7, 0, 33423}}},
		// Width 4, half soft: fades over 1 px from d = 0. Distance 1.5: d = 1/2, half.
		{[]string{"add stroke along 5 10 20 10 width 4 soft 1/2"}, []px{{10, 8, 32768}, {10, 9, 65535}, {10, 11, 32768}, {10, 12, 0}, {10, 7, 0}, {22, 9, 0}}},
		// A square within a square is a hole.
		{[]string{"add polygon 2 2 18 2 18 18 2 18 2 2 6 6 6 14 14 14 14 6 6 6 soft 0"}, []px{{4, 8, 65535}, {10, 10, 0}, {16, 4, 65535}, {1, 1, 0}, {5, 3, 65535}}},
		// 1/2 and 1/2: add 3/4, less 1/4, within 1/4.
		{[]string{"add gradient from 0 0 to 1 0", "add gradient from 0 0 to 1 0"}, []px{{0, 0, 49151}}},
		{[]string{"add gradient from 0 0 to 1 0", "less gradient from 0 0 to 1 0"}, []px{{0, 0, 16384}}},
		{[]string{"add gradient from 0 0 to 1 0", "within gradient from 0 0 to 1 0"}, []px{{0, 0, 16384}, {1, 0, 0}}},
		{[]string{"add gradient from 0 0 to 1 0", "invert"}, []px{{0, 0, 32768}, {1, 0, 65535}}},
		{[]string{"less ellipse at 5 5 size 4 4 soft 0"}, []px{{5, 5, 0}}},
	} {
		got := drawMask(t, 50, 50, c.lines...)
		for _, p := range c.px {
			if g := got[p.y*50+p.x]; g != p.want {
				t.Errorf("%q at %d,%d: %d, want %d", c.lines, p.x, p.y, g, p.want)
			}
		}
	}
}

// randomShape makes a line that fits a frame of about w x h.
func randomShape(rng *rand.Rand, w, h int) string {
	pos := func(n int) string { return big.NewRat(int64(rng.IntN(8*n)-2*n), 4).RatString() }
	point := func() string { return pos(w) + " " + pos(h) }
	size := func(n int) string { return big.NewRat(int64(1+rng.IntN(5*n)), 4).RatString() }
	soft := []string{"0", "1/10", "1/3", "7/10", "1"}[rng.IntN(5)]
	op := shapeOps[rng.IntN(3)]
	switch rng.IntN(5) {
	case 0:
		return fmt.Sprintf("%s ellipse at %s size %s %s soft %s", op, point(), size(w), size(h), soft)
	case 1:
		return fmt.Sprintf("%s rectangle at %s size %s %s soft %s", op, point(), size(w), size(h), soft)
	case 2:
		return fmt.Sprintf("%s gradient from %s to %s", op, point(), big.NewRat(int64(100*w+rng.IntN(99)), 97).RatString()+" "+pos(h))
	case 3:
		s := op + " polygon"
		for range 3 + rng.IntN(6) {
			s += " " + point()
		}
		return s + " soft " + soft
	}
	s := op + " stroke along"
	for range 2 + rng.IntN(6) {
		s += " " + point()
	}
	return s + " width " + size(w/3) + " soft " + soft
}

func TestMaskAgainstFloat64(t *testing.T) {
	// Source: the definitions, evaluated plainly in float64 in this file.
	rng := rand.New(rand.NewPCG(5, 6))
	for n := range 80 {
		w, h := 30+rng.IntN(50), 20+rng.IntN(30)
		if n%10 == 1 {
			w, h = 24, 18
		}
		lines := []string{"add gradient from -30 5 to 200 90"}
		var in []*plane
		for range 1 + n%5 {
			lines = append(lines, randomShape(rng, w, h))
		}
		if n%10 == 1 {
			lines = append(lines, "invert", "soften 3/2", "within mask", "add rectangle at 20 20 size 9 5 soft 0", "soften 5/8", "less file")
			in = append(in, noise(rng, Pic{W: w, H: h, C: 1}), noise(rng, Pic{W: 1 + rng.IntN(30), H: 1 + rng.IntN(20), C: 1}))
		}
		pics := []Pic{}
		for _, p := range in {
			pics = append(pics, p.pic)
		}
		s, err := MaskV1.New(maskArgs(w, h, lines...), pics, Env{})
		if err != nil {
			t.Fatal(err)
		}
		got := checkOrders(t, s, in...)
		for range 5 {
			checkPart(t, rng, s.(Partial), got, in...)
		}
		for i, v := range slowMaskPlane(t, w, h, lines, in) {
			if d := float64(got[i]) - 65535*v; d > 1 || d < -1 {
				t.Fatalf("%dx%d %q at %d,%d: %d, want %.3f", w, h, lines, i%w, i/w, got[i], 65535*v)
			}
		}
	}
}

// plainRow is a shape's row by its plain function, nothing skipped.
func plainRow(d drawer, b []float32, y int) {
	py := float64(y) + 0.5
	for x := range b {
		px := float64(x) + 0.5
		var v float64
		switch d := d.(type) {
		case *ellipse:
			v = d.at(px, float64((py-d.cy)*d.ib))
		case *rectangle:
			v = d.at(px, d.hh-math.Abs(py-d.cy))
		case *gradient:
			v = d.at(px, float64((py-d.y)*d.uy))
		case *outline:
			best, in := math.Inf(1), false
			for i := range d.seg {
				best = math.Min(best, d.seg[i].dist2(px, py))
				if c, ok := d.seg[i].cut(py); ok && d.closed && c <= px {
					in = !in
				}
			}
			v = d.at(best, in)
		}
		b[x] = float32(v)
	}
}

func TestMaskSkipsEqualPlain(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	var k drawScratch
	for range 1500 {
		w, h := 30+rng.IntN(400), 30+rng.IntN(300)
		left := rng.IntN(w)
		text := randomShape(rng, w, h)
		s, err := ParseShape(text)
		if err != nil {
			t.Fatal(err)
		}
		var d drawer
		switch s.Shape {
		case "ellipse":
			d = newEllipse(s)
		case "rectangle":
			d = newRectangle(s)
		case "gradient":
			d = newGradient(s)
		default:
			d = newOutline(s)
		}
		got, want := make([]float32, 1+rng.IntN(w-left)), make([]float32, w)
		for range 6 {
			y := rng.IntN(h)
			for i := range got {
				got[i] = 9 // what row leaves alone counts as 0
			}
			lo, hi := d.row(got, left, y, &k)
			clear(got[:lo])
			clear(got[hi:])
			plainRow(d, want, y)
			for x := range got {
				if got[x] != want[left+x] {
					t.Fatalf("%q, width %d, pixel %d,%d: %v, plain %v", text, w, left+x, y, got[x], want[left+x])
				}
			}
		}
	}
}

func TestMaskSoftenWeights(t *testing.T) {
	// Source: the Gaussian by math.Exp.
	for _, sigma := range []*big.Rat{big.NewRat(1, 8), big.NewRat(9, 5), big.NewRat(12, 1), big.NewRat(1000, 1)} {
		s := newSoftener(sigma, 10, 10)
		f, _ := sigma.Float64()
		if want := int(math.Floor(4*f + 0.5)); s.radius != want {
			t.Errorf("σ %v: radius %d, want %d", sigma, s.radius, want)
		}
		sum := 0.0
		for k := -s.radius; k <= s.radius; k++ {
			sum += math.Exp(-float64(k*k) / (2 * f * f))
		}
		for k, w := range s.w {
			want := math.Exp(-float64(k*k)/(2*f*f)) / sum
			if d := math.Abs(float64(w) - want); d > 1e-7*want {
				t.Errorf("σ %v: weight %d is %v, want %v", sigma, k, w, want)
			}
		}
	}
}

func TestMaskPassesMaskThrough(t *testing.T) {
	// Every one of the 65536 values comes through as it was.
	p := &plane{pic: Pic{W: 256, H: 256, C: 1}, data: make([]uint16, 65536)}
	for i := range p.data {
		p.data[i] = uint16(i)
	}
	for _, line := range []string{"add mask", "add file"} {
		s, err := MaskV1.New(maskArgs(256, 256, line), []Pic{p.pic}, Env{})
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(build(t, s, nil, p), p.data) {
			t.Errorf("%q changes values", line)
		}
	}
	full := drawMask(t, 300, 200, "invert", "soften 20")
	for i, v := range full {
		if v != 65535 {
			t.Fatalf("a full mask softened has %d at %d", v, i)
		}
	}
}

func TestShapeText(t *testing.T) {
	for _, s := range []string{
		"add ellipse at 3000 2000 size 4800 2400 soft 3/5",
		"less rectangle at -5/2 0 size 1/100 3 soft 0",
		"within polygon 0 0 10 0 10 10 soft 1/10",
		"add stroke along 0 0 4413/10 7 width 360 soft 7/10",
		"add gradient from 0 0 to 0 12",
		"add file", "less mask", "invert", "soften 12",
	} {
		v, err := ParseShape(s)
		if err != nil || v.String() != s {
			t.Errorf("%q: %q, %v", s, v.String(), err)
		}
	}
	for _, c := range [][2]string{
		{"", "ends too early"},
		{"add", "ends too early"},
		{"ellipse at 1 1 size 2 2 soft 0", "expected add, less"},
		{"add star at 1 1", "found \"star\""},
		{"add ellipse at 1 1 size 2 2", "ends too early"},
		{"add ellipse at 1 1 size 2 2 soft 0 0", "end before"},
		{"add ellipse at 1 1 size 2 2 soft 0.5", "reduced fraction"},
		{"add ellipse at 1 1 size 2 2 soft 3/2", "between 0 and 1"},
		{"add  ellipse at 1 1 size 2 2 soft 0", "expected it written as"},
		{"add ellipse at 1 1 size 0 2 soft 0", "width 0"},
		{"add rectangle at 1 1 size 2 -2 soft 0", "height -2"},
		{"add ellipse at 1 100000000 size 2 2 soft 0", "further than"},
		{"add polygon 1 1 2 2 soft 0", "at least 3"},
		{"add polygon 1 1 2 2 3 soft 0", "reduced fraction"},
		{"add stroke along 1 1 width 2 soft 0", "at least 2"},
		{"add stroke along 1 1 2 2 wide 2 soft 0", "reduced fraction"},
		{"add gradient from 1 1 to 1 1", "two different"},
		{"add gradient from 1 1 to 1 2 soft 0", "end before"},
		{"soften 0", "isn't above 0"},
		{"soften 30001", "isn't above 0 and up to 30000 px"},
		{"add soften 3", "found \"soften\""},
		{"invert 3", "end before"},
	} {
		if _, err := ParseShape(c[0]); err == nil || !strings.Contains(err.Error(), c[1]) {
			t.Errorf("%q: %v, want %q", c[0], err, c[1])
		}
	}
}

func TestMaskRefuses(t *testing.T) {
	one := Pic{W: 9, H: 7, C: 1}
	for _, c := range []struct {
		a    Args
		in   []Pic
		want string
	}{
		{Args{{"width", "9"}}, nil, "height is missing"},
		{maskArgs(0, 7, "invert"), nil, "width is 0"},
		{maskArgs(9, 7), nil, "shape-1 is missing"},
		{maskArgs(9, 7, "invert", "add x"), nil, "shape-2"},
		{maskArgs(9, 7, "add file"), nil, "none left"},
		{maskArgs(9, 7, "invert"), []Pic{one}, "take 0 pictures, got 1"},
		{maskArgs(9, 7, "add file"), []Pic{{W: 9, H: 7, C: 3}}, "3 channels"},
		{maskArgs(9, 8, "add mask"), []Pic{one}, "9 x 7 px, the frame 9 x 8"},
		{maskArgs(9, 7, "add file"), []Pic{{C: 1}}, "0 x 0"},
	} {
		if _, err := MaskV1.New(c.a, c.in, Env{}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: %v, want %q", c.a, err, c.want)
		}
	}
}

func grassStroke() string {
	s := "add stroke along"
	for i := range 30 {
		s += fmt.Sprintf(" %d %d", 200+i*190, 2700+(i*i*37)%400)
	}
	return s + " width 360 soft 7/10"
}

func BenchmarkMask(b *testing.B) {
	for _, c := range []struct {
		name  string
		lines []string
	}{
		{"ellipse", []string{"add ellipse at 3000 2000 size 4800 2400 soft 3/5"}},
		{"ellipse hard", []string{"add ellipse at 3000 2000 size 4800 2400 soft 0"}},
		{"rectangle", []string{"add rectangle at 3000 2000 size 4800 2400 soft 3/5"}},
		{"stroke", []string{grassStroke()}},
		{"polygon", []string{"add polygon 3660 2320 4440 2200 4800 2680 3780 2800 1000 3900 2000 100 soft 1/10"}},
		{"polygon soft", []string{"add polygon 3660 2320 4440 2200 4800 2680 3780 2800 1000 3900 2000 100 soft 1"}},
		{"gradient", []string{"add gradient from 0 0 to 3000 4000"}},
		{"soften 12", []string{grassStroke(), "soften 12"}},
		{"invert soften 12", []string{"add ellipse at 3000 2000 size 4800 2400 soft 0", "invert", "soften 12"}},
	} {
		b.Run(c.name, func(b *testing.B) {
			s, err := MaskV1.New(maskArgs(6000, 4000, c.lines...), nil, Env{})
			if err != nil {
				b.Fatal(err)
			}
			row := make([]uint16, 6000)
			for b.Loop() {
				w := s.Worker()
				t := time.Now()
				for y := range 4000 {
					w.Row(row, y, nil)
				}
				b.ReportMetric(time.Since(t).Seconds(), "s/24MP")
			}
		})
	}
}
