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
	// Worked by hand. # lies 30000 beyond '.', which is 45.8 % of full scale, 'o'
	// 5000 or 7.6 %.
	for _, c := range []struct {
		what, over string
		in, want   *plane
	}{
		{"one hot pixel goes", "1/10",
			drawn(".....", ".....", "..#..", ".....", "....."), drawn(".....", ".....", ".....", ".....", ".....")},
		{"the two outermost rows and columns stay", "1/10",
			drawn("#.....#", ".......", ".......", ".#...#.", ".......", "...#..."), drawn("#.....#", ".......", ".......", ".#...#.", ".......", "...#...")},
		{"a pair stays, as anything with company within two pixels", "1/10",
			drawn("......", "......", "..##..", "......", "......"), drawn("......", "......", "..##..", "......", "......")},
		{"so does a point two pixels from another", "1/10",
			drawn(".......", ".......", "..#.#..", ".......", "......."), drawn(".......", ".......", "..#.#..", ".......", ".......")},
		{"of two that are three pixels apart both go", "1/10",
			drawn("........", "........", "..#..#..", "........", "........"), drawn("........", "........", "........", "........", "........")},
		{"below the threshold it stays", "1/10",
			drawn(".....", ".....", "..o..", ".....", "....."), drawn(".....", ".....", "..o..", ".....", ".....")},
		{"a dark one over 7 % goes", "7/100",
			drawn(".....", ".....", "..o..", ".....", "....."), drawn(".....", ".....", ".....", ".....", ".....")},
		{"a twig stays, its end too", "1/10",
			drawn(".......", "..#....", "..#....", "..#....", "...#...", "....#..", ".....##"),
			drawn(".......", "..#....", "..#....", "..#....", "...#...", "....#..", ".....##")},
		{"a catchlight of 2 x 2 stays", "1/10",
			drawn("......", "......", "..##..", "..##..", "......"), drawn("......", "......", "..##..", "..##..", "......")},
	} {
		s := pixelStep(t, c.over, c.in.pic)
		if got := checkOrders(t, s, c.in); !slices.Equal(got, c.want.data) {
			t.Errorf("%s: %v, want %v", c.what, got, c.want.data)
		}
	}

	// A 5 x 5 of 10000 by channel, but for the middle, the 4 beside it, and one of
	// the rim; what becomes of the middle's red.
	type rgb [3]uint16
	none := rgb{10000, 10000, 10000}
	for _, c := range []struct {
		what                string
		middle, beside, rim rgb
		want                uint16
	}{
		// The rim's 30000 lies 20000 above: half of that is asked for.
		{"beyond the spread", rgb{40001, 10000, 10000}, none, rgb{30000, 10000, 10000}, 10000},
		{"within the spread", rgb{40000, 10000, 10000}, none, rgb{30000, 10000, 10000}, 40000},
		{"within the spread, which isn't of colour", rgb{40000, 10000, 10000}, none, rgb{30000, 30000, 30000}, 10000},
		{"within the spread, and white", rgb{40000, 40000, 40000}, none, rgb{30000, 30000, 30000}, 40000},
		// Those beside it share 5000: twice that is asked for, 5 times of white.
		{"a coloured light that spreads", rgb{25000, 10000, 10000}, rgb{15000, 10000, 10000}, none, 25000},
		{"one that hardly spreads", rgb{25001, 10000, 10000}, rgb{15000, 10000, 10000}, none, 12500},
		{"the same, and green is half as far", rgb{25001, 18751, 10000}, rgb{15000, 15000, 10000}, none, 25001},
		{"a white light that spreads", rgb{40000, 40000, 40000}, rgb{15000, 15000, 15000}, none, 40000},
		{"one that hardly spreads, white", rgb{40001, 40001, 40001}, rgb{15000, 15000, 15000}, none, 12500},
	} {
		p := &plane{pic: Pic{W: 5, H: 5, C: 3}}
		for i := range 25 {
			v := none
			switch i {
			case 12:
				v = c.middle
			case 7, 11, 13, 17:
				v = c.beside
			case 0:
				v = c.rim
			}
			p.data = append(p.data, v[:]...)
		}
		if got := checkOrders(t, pixelStep(t, "1/10", p.pic), p)[36]; got != c.want {
			t.Errorf("%s: %d, want %d", c.what, got, c.want)
		}
	}

	// Medians are the mean of the two in the middle, half up: of 1 2 3 4 | 7 8
	// 9 9 it is 11/2, so 6. Blue lies beyond its neighbours too, if not by T, and
	// is taken along; green doesn't.
	p := flat(5, 5, 5)
	for i, v := range []uint16{1, 9, 2, 8, 60000, 3, 7, 4, 9} {
		p.data[(i/3+1)*5+i%3+1] = v
	}
	grey := p.data
	p = &plane{pic: Pic{W: 5, H: 5, C: 3}}
	for _, v := range grey {
		p.data = append(p.data, v, 500, v)
	}
	p.data[38] = 10
	got := checkOrders(t, pixelStep(t, "1/2", p.pic), p)
	if !slices.Equal(got[36:39], []uint16{6, 500, 6}) {
		t.Errorf("middle pixel %v, want 6 500 6", got[36:39])
	}

	// A third of the way by the mask: 40000 + (10000 - 40000)/3 = 30000.
	p = drawn(".....", ".....", "..#..", ".....", ".....")
	for v, want := range map[uint16]uint16{0: 40000, 21845: 30000, 65535: 10000} {
		m := flat(5, 5, v)
		if got := checkOrders(t, pixelStep(t, "1/10", p.pic, m.pic), p, m); got[12] != want || got[11] != 10000 {
			t.Errorf("through a mask of %d: %d, want %d", v, got[12], want)
		}
	}
}

// slowPixels is the rule in plain steps, comparing exact fractions.
func slowPixels(p *plane, over *big.Rat) []uint16 {
	w, h, c := p.pic.W, p.pic.H, p.pic.C
	t := new(big.Rat).Mul(over, big.NewRat(65535, 1))
	out := slices.Clone(p.data)
	for y := 2; y < h-2; y++ {
		for x := 2; x < w-2; x++ {
			var med, far, gap, clear, tint [3]int
			var share [3]*big.Rat
			tinge := func(x, y, j int) (t int) {
				for i := range c {
					t -= int(p.data[(y*w+x)*c+i])
				}
				return t + 3*int(p.data[(y*w+x)*c+j])
			}
			for j := range c {
				var n8, n24, t24 []int
				sum4, sum16 := 0, 0
				for dy := -2; dy <= 2; dy++ {
					for dx := -2; dx <= 2; dx++ {
						v := int(p.data[((y+dy)*w+x+dx)*c+j])
						if dx == 0 && dy == 0 {
							continue
						}
						n24, t24 = append(n24, v), append(t24, tinge(x+dx, y+dy, j))
						if dx*dx == 4 || dy*dy == 4 {
							sum16 += v
							continue
						}
						n8 = append(n8, v)
						if dx*dy == 0 {
							sum4 += v
						}
					}
				}
				slices.Sort(n8)
				slices.Sort(n24)
				slices.Sort(t24)
				v := int(p.data[(y*w+x)*c+j])
				med[j] = (n8[3] + n8[4] + 1) / 2
				far[j], gap[j] = v-med[j], max(v-n24[23], n24[0]-v)
				clear[j] = 2*gap[j] - (n24[23] - n24[0])
				v = tinge(x, y, j)
				tint[j] = 2*max(v-t24[23], t24[0]-v) - (t24[23] - t24[0])
				share[j] = new(big.Rat).Sub(big.NewRat(int64(sum4), 4), big.NewRat(int64(sum16), 16))
			}
			hit := false
			for j := range c {
				k := int64(5)
				if c == 3 {
					k = 2
					for i := range 3 {
						if i != j && (far[j] > 0 && 2*far[i] >= far[j] || far[j] < 0 && 2*far[i] <= far[j]) {
							k = 5
						}
					}
				}
				apart := clear[j] > 0 || k == 2 && tint[j] > 0
				if far[j] < 0 {
					k = -k
				}
				g := big.NewRat(int64(gap[j]), 1)
				share := new(big.Rat).Mul(share[j], big.NewRat(k, 1))
				hit = hit || g.Cmp(t) > 0 && apart && g.Cmp(share) > 0
			}
			for j := range c {
				if hit && gap[j] > 0 {
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
	for n := range 80 {
		p := noise(rng, Pic{W: 1 + rng.IntN(20), H: 1 + rng.IntN(20), C: 1 + 2*(n%2)})
		if n%4 > 1 { // quiet with a few specks, so that both branches are met
			for i := range p.data {
				p.data[i] = 20000 + p.data[i]%3000
				if rng.IntN(25) == 0 {
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
		t.Errorf("only %d of 80 pictures changed: the test shows little", changed)
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
