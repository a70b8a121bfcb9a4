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

func spotArgs(spots ...string) Args {
	var a Args
	for i, s := range spots {
		a = append(a, Arg{fmt.Sprintf("spot-%d", i+1), s})
	}
	return a
}

func spotsStepOf(t testing.TB, p Pic, spots ...string) Step {
	t.Helper()
	s, err := SpotsV1.New(spotArgs(spots...), []Pic{p}, Env{})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func flat(w, h int, v uint16) *plane {
	p := &plane{pic: Pic{W: w, H: h, C: 1}, data: make([]uint16, w*h)}
	for i := range p.data {
		p.data[i] = v
	}
	return p
}

func TestSpotsHandWorked(t *testing.T) {
	// Worked by hand from SpotsV1's comment.
	p := flat(9, 9, 0)
	p.data[4*9+4] = 60000
	for _, i := range []int{3*9 + 4, 5*9 + 4, 4*9 + 3, 4*9 + 5} {
		p.data[i] = 1000
	}
	// R = 1 holds one pixel. Its rim up to 2.5: four pixels at 1 (weight 1
	// each), four at √2 (1/2), four at 2 (1/4), eight at √5 (1/5), in all 8.6.
	// 4000/8.6 = 465.1.
	got := checkOrders(t, spotsStepOf(t, p.pic, "at 9/2 9/2 radius 1 soft 0"), p)
	want := slices.Clone(p.data)
	want[4*9+4] = 465
	if !slices.Equal(got, want) {
		t.Errorf("one pixel: %d, want 465 and no other change", got[4*9+4])
	}

	// R = 2, half soft: full up to 1 px; at √2, t = 2 - √2, w = 0.627417.
	p = flat(9, 9, 1000)
	for y := 3; y <= 5; y++ {
		for x := 3; x <= 5; x++ {
			p.data[y*9+x] = 5000
		}
	}
	got = checkOrders(t, spotsStepOf(t, p.pic, "at 9/2 9/2 radius 2 soft 1/2"), p)
	for y := range 9 {
		for x := range 9 {
			want := uint16(1000)
			if x != 4 && y != 4 && x >= 3 && x <= 5 && y >= 3 && y <= 5 {
				want = 2490 // 5000 - 0.627417·4000 = 2490.3
			}
			if got[y*9+x] != want {
				t.Errorf("soft disc at %d,%d: %d, want %d", x, y, got[y*9+x], want)
			}
		}
	}

	// Copies: offsets are rounded half up (5/2 to 3, -5/2 to -2) and held
	// inside the picture.
	g := gradient16(20, 20, 1)
	for _, c := range []struct {
		from string
		x, y int // pixel that lands on 8,8
	}{
		{"11 17/2", 11, 8}, {"6 17/2", 6, 8}, {"17/2 6", 8, 6}, {"100 17/2", 19, 8}, {"-100 -100", 0, 0},
	} {
		s := spotsStepOf(t, g.pic, "at 17/2 17/2 radius 1 soft 0 from "+c.from)
		got := checkOrders(t, s, g)
		if want := uint16(1000*c.y + 3*c.x); got[8*20+8] != want {
			t.Errorf("from %s: %d, want %d", c.from, got[8*20+8], want)
		}
	}

	// A corner: only the rim inside counts, here the same value everywhere.
	p = flat(9, 9, 700)
	p.data[0] = 9
	if got := checkOrders(t, spotsStepOf(t, p.pic, "at 0 0 radius 1 soft 0"), p); got[0] != 700 {
		t.Errorf("corner: %d, want 700", got[0])
	}
	// Cropped away: no change, no complaint.
	if got := checkOrders(t, spotsStepOf(t, p.pic, "at -40 3 radius 2 soft 0"), p); !slices.Equal(got, p.data) {
		t.Error("a spot outside the picture changes it")
	}
}

// slowSpots is the definition, pixel by pixel.
func slowSpots(p *plane, spots []SpotShape) []float64 {
	f := func(r *big.Rat) float64 { v, _ := r.Float64(); return v }
	w, h, c := p.pic.W, p.pic.H, p.pic.C
	out := make([]float64, len(p.data))
	for i, v := range p.data {
		out[i] = float64(v)
	}
	for _, s := range spots {
		r := f(s.Radius)
		dist := func(x, y int) float64 { return math.Hypot(float64(x)+0.5-f(s.At.X), float64(y)+0.5-f(s.At.Y)) }
		for i := range out {
			x, y := i/c%w, i/c/w
			d := dist(x, y)
			if d >= r {
				continue
			}
			var v float64
			if s.From != nil {
				fx := x + int(math.Floor(f(s.From.X)-f(s.At.X)+0.5))
				fy := y + int(math.Floor(f(s.From.Y)-f(s.At.Y)+0.5))
				v = float64(p.data[(max(0, min(fy, h-1))*w+max(0, min(fx, w-1)))*c+i%c])
			} else {
				var sum float64
				for j := i % c; j < len(p.data); j += c {
					rx, ry := j/c%w, j/c/w
					if e := dist(rx, ry); e >= r && e <= r+1.5 {
						k := math.Pow(math.Hypot(float64(rx-x), float64(ry-y)), -2)
						v += k * float64(p.data[j])
						sum += k
					}
				}
				v /= sum
			}
			share := 1.0
			if soft := f(s.Soft); soft > 0 {
				t := math.Min(1, (1-d/r)/soft)
				share = 3*math.Pow(t, 2) - 2*math.Pow(t, 3)
			}
			out[i] += share * (v - out[i])
		}
	}
	return out
}

func TestSpotsAgainstFloat64(t *testing.T) {
	// Source: the definition, evaluated plainly in float64 in this file.
	rng := rand.New(rand.NewPCG(21, 22))
	n := 0
	for n < 24 {
		p := noise(rng, Pic{W: 15 + rng.IntN(25), H: 15 + rng.IntN(25), C: 1 + 2*rng.IntN(2)})
		q := func(n int) string { return big.NewRat(int64(rng.IntN(6*n)-n), 4).RatString() }
		var text []string
		for range 1 + rng.IntN(4) {
			s := fmt.Sprintf("at %s %s radius %s soft %s", q(p.pic.W), q(p.pic.H), big.NewRat(int64(4+rng.IntN(16)), 4).RatString(),
				[]string{"0", "3/10", "1"}[rng.IntN(3)])
			if rng.IntN(2) == 0 {
				s += " from " + q(p.pic.W) + " " + q(p.pic.H)
			}
			text = append(text, s)
		}
		s, err := SpotsV1.New(spotArgs(text...), []Pic{p.pic}, Env{})
		if err != nil {
			if !strings.Contains(err.Error(), "overlap") {
				t.Fatal(err)
			}
			continue
		}
		n++
		var shapes []SpotShape
		for _, v := range text {
			sh, err := ParseSpot(v)
			if err != nil {
				t.Fatal(err)
			}
			shapes = append(shapes, sh)
		}
		got := checkOrders(t, s, p)
		for i, v := range slowSpots(p, shapes) {
			if d := float64(got[i]) - v; d > 0.501 || d < -0.501 {
				t.Fatalf("%+v %q sample %d: %d, want %.3f", p.pic, text, i, got[i], v)
			}
		}
		// The order of a run means nothing.
		slices.Reverse(text)
		if !slices.Equal(build(t, spotsStepOf(t, p.pic, text...), nil, p), got) {
			t.Fatal("the order of the spots matters")
		}
	}
}

func TestSpotsWindows(t *testing.T) {
	// A spot at row 50 copied from row 10 keeps row 10 in reach from there on
	// up to row 50; after it the window is the row alone again.
	s := spotsStepOf(t, Pic{W: 30, H: 100, C: 1}, "at 10 101/2 radius 2 soft 0 from 10 21/2")
	for _, c := range [][3]int{{0, 0, 1}, {9, 9, 10}, {30, 9, 31}, {50, 10, 51}, {51, 11, 52}, {52, 52, 53}, {99, 99, 100}} {
		if lo, hi := s.Window(0, c[0]); lo != c[1] || hi != c[2] {
			t.Errorf("row %d: %d to %d, want %d to %d", c[0], lo, hi, c[1], c[2])
		}
	}
}

func TestSpotsRefuse(t *testing.T) {
	p := Pic{W: 30, H: 30, C: 3}
	for _, c := range []struct {
		spots []string
		want  string
	}{
		{nil, "spot-1 is missing"},
		{[]string{"at 5 5 radius 2 soft 0", "at 9 9 radius 2 soft 0", "at 8 5 radius 2 soft 0"}, "spot-1 (at 5 5 radius 2 soft 0) and spot-3"},
		{[]string{"at 15 15 radius 100 soft 0"}, "covers the whole picture"},
		{[]string{"at 15 15 radius 1/2 soft 0"}, "too small"},
		{[]string{"at 15 15 radius 0 soft 0"}, "radius 0"},
		{[]string{"at 15 15 radius 3001 soft 0"}, "radius 3001"},
		{[]string{"at 15 15 radius 5 soft 2"}, "softness 2"},
		{[]string{"at 15 100000000 radius 5 soft 1"}, "further than"},
		{[]string{"at 15 15 radius 5 soft 1 from 3 100000000"}, "further than"},
		{[]string{"at 15 15 radius 5"}, "expected at X Y"},
		{[]string{"at 15 15 radius 5 hard 1"}, "expected soft, found hard"},
		{[]string{"at 15 15.0 radius 5 soft 1"}, "reduced fraction"},
		{[]string{"at 15 15 radius 5  soft 1"}, "expected it written"},
	} {
		if _, err := SpotsV1.New(spotArgs(c.spots...), []Pic{p}, Env{}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: %v, want %q", c.spots, err, c.want)
		}
	}
	// Discs that only touch don't overlap.
	spotsStepOf(t, p, "at 5 5 radius 2 soft 0", "at 9 5 radius 2 soft 0")
	if _, err := SpotsV1.New(spotArgs("at 5 5 radius 2 soft 0"), nil, Env{}); err == nil {
		t.Error("spots without a picture were accepted")
	}
}

func BenchmarkSpots(b *testing.B) {
	for _, c := range []struct{ n, r int }{{1000, 4}, {100, 60}} {
		b.Run(fmt.Sprintf("%d of %d px", c.n, c.r), func(b *testing.B) {
			p := gradient16(6000, 4000, 3)
			p.hi = 4000
			var text []string
			for i := range c.n {
				text = append(text, fmt.Sprintf("at %d %d radius %d soft 3/10", 70+(i%45)*130, 70+(i/45)*130, c.r))
			}
			t := time.Now()
			s := spotsStepOf(b, p.pic, text...)
			b.ReportMetric(time.Since(t).Seconds(), "s/New")
			dst := make([]uint16, p.pic.Stride())
			for b.Loop() {
				w := s.Worker()
				for y := range p.pic.H {
					w.Row(dst, y, []Rows{p})
				}
			}
		})
	}
}
