package ops

import (
	"math/big"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

func pixelStep(t testing.TB, over string, in ...Pic) Step {
	t.Helper()
	s, err := SpotPixelsV1.New(Args{{"over", over}}, in, Env{})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// drawn makes a grey picture of rows of letters: '.' 10000, '#' 40000, 'o' 5000.
func drawn(rows ...string) *plane {
	p := &plane{pic: Pic{W: len(rows[0]), H: len(rows), C: 1}}
	for _, r := range strings.Join(rows, "") {
		p.data = append(p.data, map[rune]uint16{'.': 10000, '#': 40000, 'o': 5000}[r])
	}
	return p
}

func TestSpotPixelsHandWorked(t *testing.T) {
	// T = 1/10: further than 6553.5 from the median. Worked by hand.
	for _, c := range []struct {
		what, over string
		in, want   *plane
	}{
		{"one hot pixel goes", "1/10",
			drawn(".....", ".....", "..#..", ".....", "....."), drawn(".....", ".....", ".....", ".....", ".....")},
		{"a pair goes", "1/10",
			drawn(".....", ".....", "..##.", ".....", "....."), drawn(".....", ".....", ".....", ".....", ".....")},
		{"below the threshold it stays", "1/10",
			drawn(".....", ".....", "..o..", ".....", "....."), drawn(".....", ".....", "..o..", ".....", ".....")},
		{"5000 is over 7 %", "7/100",
			drawn(".....", ".....", "..o..", ".....", "....."), drawn(".....", ".....", ".....", ".....", ".....")},
		{"a twig stays", "1/10",
			drawn(".......", "..#....", "..#....", "..#....", "...#...", "....#..", ".....##"),
			// but its end in the open goes: one neighbour only
			drawn(".......", ".......", "..#....", "..#....", "...#...", "....#..", ".....##")},
		{"a twig across the picture stays", "1/10",
			drawn("..#..", "..#..", ".#...", "#....", "....."), drawn("..#..", "..#..", ".#...", "#....", ".....")},
		{"a catchlight of 2 x 2 stays", "1/10",
			drawn("......", "......", "..##..", "..##..", "......"), drawn("......", "......", "..##..", "..##..", "......")},
		{"a corner pixel has itself for neighbours and stays", "1/10",
			drawn("#....", ".....", "....."), drawn("#....", ".....", ".....")},
	} {
		s := pixelStep(t, c.over, c.in.pic)
		if got := checkOrders(t, s, c.in); !slices.Equal(got, c.want.data) {
			t.Errorf("%s: %v, want %v", c.what, got, c.want.data)
		}
	}

	// Medians are the mean of the two in the middle, half up: of 1 2 3 4 | 7 8
	// 9 9 it is 11/2, so 6. One channel that stands out takes all three along.
	p := &plane{pic: Pic{W: 3, H: 3, C: 3}}
	for _, v := range []uint16{1, 9, 2, 8, 60000, 3, 7, 4, 9} {
		p.data = append(p.data, v, 500, v)
	}
	p.data[4*3+1], p.data[4*3+2] = 501, 5
	s := pixelStep(t, "1/2", p.pic)
	got := checkOrders(t, s, p)
	if !slices.Equal(got[12:15], []uint16{6, 500, 6}) {
		t.Errorf("middle pixel %v, want 6 500 6", got[12:15])
	}

	// A third of the way by the mask: 40000 + (10000 - 40000)/3 = 30000.
	p = drawn(".....", ".....", "..#..", ".....", ".....")
	m := flat(5, 5, 21845)
	s = pixelStep(t, "1/10", p.pic, m.pic)
	if got := checkOrders(t, s, p, m); got[12] != 30000 || got[11] != 10000 {
		t.Errorf("through a mask: %d, want 30000", got[12])
	}
	for v, want := range map[uint16]uint16{0: 40000, 65535: 10000} {
		m = flat(5, 5, v)
		if got := checkOrders(t, s, p, m); got[12] != want {
			t.Errorf("through a mask of %d: %d, want %d", v, got[12], want)
		}
	}
}

// slowPixels is the rule in plain steps, comparing exact fractions.
func slowPixels(p *plane, over *big.Rat) []uint16 {
	w, h, c := p.pic.W, p.pic.H, p.pic.C
	at := func(x, y, j int) int {
		return int(p.data[(max(0, min(y, h-1))*w+max(0, min(x, w-1)))*c+j])
	}
	t := new(big.Rat).Mul(over, big.NewRat(65535, 1))
	half := new(big.Rat).Mul(t, big.NewRat(1, 2))
	out := slices.Clone(p.data)
	for y := range h {
		for x := range w {
			med := make([]int, c)
			hit := false
			for j := range c {
				var n []int
				for dy := -1; dy <= 1; dy++ {
					for dx := -1; dx <= 1; dx++ {
						if dx != 0 || dy != 0 {
							n = append(n, at(x+dx, y+dy, j))
						}
					}
				}
				slices.Sort(n)
				med[j] = (n[3] + n[4] + 1) / 2
				for _, sign := range []int{1, -1} {
					far := 0
					for _, v := range n {
						if big.NewRat(int64(sign*(v-med[j])), 1).Cmp(half) > 0 {
							far++
						}
					}
					if big.NewRat(int64(sign*(at(x, y, j)-med[j])), 1).Cmp(t) > 0 && far <= 1 {
						hit = true
					}
				}
			}
			if hit {
				for j := range c {
					out[(y*w+x)*c+j] = uint16(med[j])
				}
			}
		}
	}
	return out
}

func TestSpotPixelsAgainstPlain(t *testing.T) {
	rng := rand.New(rand.NewPCG(31, 32))
	changed := 0
	for n := range 40 {
		p := noise(rng, Pic{W: 1 + rng.IntN(20), H: 1 + rng.IntN(20), C: 1 + 2*(n%2)})
		if n%4 > 1 { // quiet with a few specks, so that both branches are met
			for i := range p.data {
				p.data[i] = 20000 + p.data[i]%3000
				if rng.IntN(9) == 0 {
					p.data[i] = uint16(rng.IntN(65536))
				}
			}
		}
		over := []*big.Rat{new(big.Rat), big.NewRat(1, 50), big.NewRat(3, 25), big.NewRat(1, 2), big.NewRat(1, 1)}[n%5]
		got := checkOrders(t, pixelStep(t, over.RatString(), p.pic), p)
		if !slices.Equal(got, slowPixels(p, over)) {
			t.Fatalf("%+v over %v differs from the plain rule", p.pic, over)
		}
		if !slices.Equal(got, p.data) {
			changed++
		}
	}
	if changed < 10 {
		t.Errorf("only %d of 40 pictures changed: the test shows little", changed)
	}
}

func TestSpotPixelsRefuses(t *testing.T) {
	p := Pic{W: 5, H: 5, C: 3}
	for _, c := range []struct {
		a    Args
		in   []Pic
		want string
	}{
		{nil, []Pic{p}, "over is missing"},
		{Args{{"over", "-1/10"}}, []Pic{p}, "expected 0 to 1"},
		{Args{{"over", "11/10"}}, []Pic{p}, "expected 0 to 1"},
		{Args{{"over", "1/10"}}, nil, "got 0"},
		{Args{{"over", "1/10"}}, []Pic{p, p}, "1 channel"},
		{Args{{"over", "1/10"}}, []Pic{{}}, "no pixels"},
		{Args{{"over", "1/10"}, {"covers", "0 0 5 5"}}, []Pic{p}, "without a mask"},
		{Args{{"over", "1/10"}, {"covers", "0 0 5 6"}}, []Pic{p, {W: 5, H: 5, C: 1}}, "covers"},
	} {
		if _, err := SpotPixelsV1.New(c.a, c.in, Env{}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: %v, want %q", c.a, err, c.want)
		}
	}
}

func BenchmarkSpotPixels(b *testing.B) {
	p := gradient16(6000, 4000, 3)
	rng := rand.New(rand.NewPCG(1, 1))
	for i := range p.data {
		p.data[i] = uint16(30000 + i%600 + rng.IntN(2500))
	}
	p.hi = 4000
	for _, over := range []string{"3/25", "1/100"} {
		b.Run(over, func(b *testing.B) {
			s := pixelStep(b, over, p.pic)
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
