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

	// Copies: offsets are rounded half up (5/2 to 3, -5/2 to -2) and held inside
	// the picture. What lies at the other place lands where the rest is alike. The
	// places 2 px away are of the rim as well, which asks for 4000 (1/4) of 8.35
	// more; but 5000 is all that it or they have.
	for _, c := range []struct {
		from  string
		x, y  int // pixel that lands on 8,8
		wants uint16
	}{
		{"11 17/2", 11, 8, 5000}, {"6 17/2", 6, 8, 5000}, {"17/2 6", 8, 6, 5000},
	} {
		p := flat(20, 20, 1000)
		p.data[c.y*20+c.x] = 5000
		want := slices.Clone(p.data)
		want[8*20+8] = c.wants
		if got := checkOrders(t, spotsStepOf(t, p.pic, "at 17/2 17/2 radius 1 soft 0 from "+c.from), p); !slices.Equal(got, want) {
			t.Errorf("from %s: %d, want %d and no other change", c.from, got[8*20+8], c.wants)
		}
	}
	// The pixel (19, 8) stands for four of the rim too, two at 1 and two at 2: the
	// rim asks for -4000 (2 + 2/4)/8.6 = -1162.8. All of the rim lies where (0, 0)
	// does: it asks for -4000.
	for _, c := range []struct {
		from  string
		i     int
		wants uint16
	}{{"100 17/2", 8*20 + 19, 3837}, {"-100 -100", 0, 1000}} {
		p := flat(20, 20, 1000)
		p.data[c.i] = 5000
		if got := checkOrders(t, spotsStepOf(t, p.pic, "at 17/2 17/2 radius 1 soft 0 from "+c.from), p); got[8*20+8] != c.wants {
			t.Errorf("from %s: %d, want %d", c.from, got[8*20+8], c.wants)
		}
	}
	// On a slope any place fits, and the slope goes on.
	g := gradient16(60, 60, 3)
	for _, text := range []string{"at 30 30 radius 6 soft 0", "at 30 30 radius 6 soft 0 from 50 12", "at 2 59 radius 6 soft 3/10 from 40 30"} {
		got := checkOrders(t, spotsStepOf(t, g.pic, text), g)
		for i, v := range got {
			if d := math.Abs(float64(v) - float64(g.data[i])); d > 300 {
				t.Fatalf("%s: sample %d is %d of %d", text, i, v, g.data[i])
			}
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

func TestSpotsAgainstFloat64(t *testing.T) {
	// Source: the definition, evaluated plainly in float64 in spots_slow_test.go.
	rng := rand.New(rand.NewPCG(21, 22))
	for n, text := range []string{"at 71 279/4 radius 21/2 soft 3/10", "at 3 80 radius 17 soft 0", "at 281/2 62 radius 39/2 soft 1"} {
		againstSlow(t, rng, noise(rng, Pic{W: 211, H: 203, C: 1 + n%2*2}), []string{text})
	}
	n := 0
	for n < 24 {
		p := noise(rng, Pic{W: 15 + rng.IntN(50), H: 15 + rng.IntN(50), C: 1 + 2*rng.IntN(2)})
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
		if againstSlow(t, rng, p, text) {
			n++
		}
	}
}

// againstSlow checks a run of spots; it is false where they overlap.
func againstSlow(t *testing.T, rng *rand.Rand, p *plane, text []string) bool {
	t.Helper()
	s, err := SpotsV1.New(spotArgs(text...), []Pic{p.pic}, Env{})
	if err != nil {
		if !strings.Contains(err.Error(), "overlap") {
			t.Fatal(err)
		}
		return false
	}
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
		v = math.Max(0, math.Min(v, 65535))
		if d := float64(got[i]) - v; d > 0.501 || d < -0.501 {
			t.Fatalf("%+v %q sample %d: %d, want %.3f", p.pic, text, i, got[i], v)
		}
	}
	// The order of a run means nothing.
	slices.Reverse(text)
	s = spotsStepOf(t, p.pic, text...)
	if !slices.Equal(build(t, s, nil, p), got) {
		t.Fatal("the order of the spots matters")
	}
	checkPart(t, rng, s.(Partial), got, p)
	return true
}

func TestSpotsWindows(t *testing.T) {
	// A spot at row 50 copied from row 10 reads the rims of both places, and keeps
	// the upper in reach up to its last row; after it the window is the row alone.
	s := spotsStepOf(t, Pic{W: 30, H: 100, C: 1}, "at 10 101/2 radius 2 soft 0 from 10 21/2")
	for _, c := range [][3]int{{0, 0, 1}, {5, 5, 6}, {30, 6, 31}, {49, 6, 55}, {51, 6, 55}, {52, 52, 53}, {99, 99, 100}} {
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

// A picture made small for looking has sides in whole pixels: no spot may become too
// small for the centre of one, and spots that touch may not come to overlap.
func TestSpotsReduced(t *testing.T) {
	full := Pic{W: 4223, H: 997, C: 1}
	a := spotArgs("at 1274311/6250 2024127/25000 radius 9/2 soft 0", "at 300 100 radius 20 soft 0", "at 300 140 radius 20 soft 0", "at 340 100 radius 20 soft 0")
	for w := 1; w < 1000; w++ {
		small := Pic{W: w, H: max(1, (w*full.H+full.W/2)/full.W), C: 1}
		args, seen, err := SpotsV1.Reduced(a, Reduction{From: full, Pic: small})
		if err != nil {
			t.Fatal(err)
		}
		if !seen {
			continue
		}
		if _, err := SpotsV1.New(args, []Pic{small}, Env{}); err != nil {
			t.Fatalf("%d x %d px: %v", small.W, small.H, err)
		}
	}
}
