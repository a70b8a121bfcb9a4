package ops

import (
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"
	"testing"
)

func sharp(radius, amount string, more ...Arg) Args {
	return append(Args{{"radius", radius}, {"amount", amount}}, more...)
}

func TestSharpenAgainstTextbook(t *testing.T) {
	// Source: testdata/standards/sharpen.csv, the columns of radius 7 (scipy
	// and libvips within 5e-11 of them). Halo 1 is no limit but black and white are:
	// what would take more than half the room to them stays short of it, and on its
	// side.
	rows, _ := checkValues(t, "sharpen.csv")
	signals := map[string][][]string{}
	for _, r := range rows[1:] {
		signals[r[0]] = append(signals[r[0]], r)
	}
	if len(signals) != 2 {
		t.Fatalf("%d signals", len(signals))
	}
	for name, rows := range signals {
		for _, size := range [][2]int{{len(rows), 1}, {1, len(rows)}, {len(rows), 9}} {
			p := newImage(size[0], size[1], 1)
			for i := range p.data {
				v, _ := strconv.Atoi(rows[i%len(rows)][2])
				p.data[i] = uint16(v)
			}
			out := apply(t, sharpenV1, sharp("9/5", "19/10", Arg{"halo", "1"}, Arg{"quiet", "0"}), p)
			for i, v := range out.data {
				r := rows[i%len(rows)]
				in, full := float64(p.data[i]), num(t, r[6])
				room := in
				if full > in {
					room = 65535 - in
				}
				want, _ := strconv.Atoi(r[8])
				if got := float64(v); math.Abs(full-in) <= room/2 && int(v) != want || got < min(in, full)-1 || got > max(in, full)+1 {
					t.Errorf("%s %v at %d: %d, want %d", name, size, i, v, want)
				}
			}
		}
	}
	// The taps, as stated in that file.
	for i, want := range []float64{0.0001152474409547167, 0.0008568426677363584, 0.004678744955457913, 0.01876359940182698,
		0.05526643181093439, 0.1195542977671378, 0.1899448193979786, 0.2216400331159467} {
		if got := gaussian(big.NewRat(9, 5))[i]; got != float32(want) {
			t.Errorf("tap %d is %v, want %v", i, got, want)
		}
	}
}

// slowSharpen is the operation one pixel at a time in the same float32.
func slowSharpen(s *sharpen, in *canvas, mask func(x, y int) float32) *canvas {
	inside := func(x, y int) (int, int) { return max(0, min(x, in.W-1)), max(0, min(y, in.H-1)) }
	luma := func(x, y int) float32 {
		x, y = inside(x, y)
		i := (y*in.W + x) * in.C
		if in.C == 1 {
			return float32(in.data[i])
		}
		l := float32(s.luma[0] * float32(in.data[i]))
		l += float32(s.luma[1] * float32(in.data[i+1]))
		return l + float32(s.luma[2]*float32(in.data[i+2]))
	}
	r := s.reach()
	fold := func(v func(int) float32) float32 {
		sum := float32(s.taps[0] * (v(-r) + v(r)))
		for k := r - 1; k > 0; k-- {
			sum += float32(s.taps[r-k] * (v(-k) + v(k)))
		}
		return sum + float32(s.taps[r]*v(0))
	}
	held := make([]float32, in.W*in.H)
	across := func(x, y int) float32 {
		x, y = inside(x, y)
		return held[y*in.W+x]
	}
	for y := range in.H {
		for x := range in.W {
			held[y*in.W+x] = fold(func(k int) float32 { return luma(x+k, y) })
		}
	}
	blurred := make([]float32, in.W*in.H)
	for y := range in.H {
		for x := range in.W {
			blurred[y*in.W+x] = fold(func(k int) float32 { return across(x, y+k) })
		}
	}
	blur := func(x, y int) float32 {
		x, y = inside(x, y)
		return blurred[y*in.W+x]
	}
	share := func(x, y int) float32 {
		v := luma(x, y)
		d := v - blur(x, y)
		if s.damped {
			gx, gy := blur(x+s.near, y)-blur(x-s.near, y), blur(x, y+s.near)-blur(x, y-s.near)
			e := float32(d*d) + float32(float32(float32(gx*gx)+float32(gy*gy))/2)
			e = float32(e * e)
			d = float32(d * (e / (e + s.quiet)))
		} else if d > 0 {
			d = max(0, d-s.quiet)
		} else {
			d = min(0, d+s.quiet)
		}
		d = float32(s.amount * d)
		room, sign := v, float32(-1)
		if d > 0 {
			m := v
			if in.C == 3 {
				p := in.data[(y*in.W+x)*3:]
				m = float32(max(p[0], p[1], p[2]))
			}
			room, sign = float32(v*(65535-m))/max(m, 1), 1
		}
		h := max(min(s.half, room/2), 1.0/1024)
		if a := sign * d; a > h {
			d = sign * (h + float32((a-h)*h)/((a-h)+h))
		}
		d /= max(v, 1)
		if mask != nil {
			d *= mask(x, y)
		}
		return d
	}
	out := &canvas{in.Pic, make([]uint16, len(in.data))}
	return out.fill(func(x, y, c int) uint16 {
		v := float32(in.data[(y*in.W+x)*in.C+c])
		return uint16(max(0, min(65535, math.Floor(float64(v+float32(v*share(x, y))+0.5)))))
	})
}

func TestSharpenEqualsSlow(t *testing.T) {
	for _, size := range [][2]int{{1, 1}, {40, 31}, {5, 60}, {1100, 3}} {
		for _, c := range []int{1, 3} {
			for i, a := range []Args{
				sharp("9/5", "19/10"), sharp("9/10", "6/5", Arg{"quiet", "1/20"}, Arg{"halo", "1"}),
				sharp("1/10", "10", Arg{"halo", "1/3"}), sharp("61/10", "1/2", Arg{"halo", "0"}),
			} {
				in := newImage(size[0], size[1], c).noise(uint64(i))
				s := bind(t, sharpenV1, a, in).(*sharpen)
				same(t, fmt.Sprint(size, c, a), apply(t, sharpenV1, a, in), slowSharpen(s, in, nil))
				m := newImage(max(1, size[0]/2), max(1, size[1]/3), 1).noise(5)
				ms, err := newSampler("", m.Pic, in.Pic)
				if err != nil {
					t.Fatal(err)
				}
				k := ms.worker()
				got := apply(t, sharpenV1, a, in, m)
				same(t, fmt.Sprint("mask ", size, c, a), got, slowSharpen(s, in, func(x, y int) float32 { return maskAt(k, m, x, y) }))
			}
		}
	}
}

func maskAt(k *samplerWorker, m *canvas, x, y int) float32 {
	w, kind := k.row(y, []Rows{&rowsOf{pic: m.Pic, data: m.data, hi: m.H}})
	switch kind {
	case maskZero:
		return 0
	case maskOne:
		return 1
	}
	return w[x]
}

func TestSharpenAnyOrder(t *testing.T) {
	in, m := newImage(33, 41, 3).noise(1), newImage(11, 9, 1).noise(2)
	anyOrder(t, sharpenV1, sharp("9/5", "19/10"), in)
	anyOrder(t, sharpenV1, sharp("31/10", "2", Arg{"covers", "1/2 1 10 9"}), in, m)
}

func TestSharpenMirrors(t *testing.T) {
	for _, c := range []int{1, 3} {
		in := newImage(53, 37, c).noise(8)
		a := sharp("9/5", "19/10", Arg{"quiet", "1/50"})
		same(t, "mirror", apply(t, sharpenV1, a, in.mirrored(true)), apply(t, sharpenV1, a, in).mirrored(true))
	}
}

func TestSharpenWideSignedSums(t *testing.T) {
	// Source: libvips issue 4955.
	for _, c := range []int{1, 3} {
		for _, x := range []struct{ centre, field, want uint16 }{{0, 65535, 0}, {65535, 0, 65535}, {40000, 40000, 40000}} {
			in := newImage(31, 31, c).fill(func(x0, y, _ int) uint16 {
				if x0 == 15 && y == 15 {
					return x.centre
				}
				return x.field
			})
			for _, amount := range []string{"1", "19/10", "10"} {
				out := apply(t, sharpenV1, sharp("9/5", amount, Arg{"halo", "1"}), in)
				if got := out.data[(15*31+15)*c]; got != x.want {
					t.Errorf("centre %d in %d: %d, want %d", x.centre, x.field, got, x.want)
				}
				if x.centre == x.field {
					same(t, "flat", in, out)
				}
			}
		}
	}
	// Random against exact fractions: within what float32 may do to a sum where the
	// room to black and white isn't half used; never wrapped.
	in := newImage(64, 64, 1).noise(4)
	a := sharp("9/5", "2/5", Arg{"halo", "1"}, Arg{"quiet", "0"})
	s := bind(t, sharpenV1, a, in).(*sharpen)
	out := apply(t, sharpenV1, a, in)
	r := s.reach()
	off := 0
	for y := range 64 {
		for x := range 64 {
			blur := 0.0 // float64 holds these sums to 1e-7
			for i := -r; i <= r; i++ {
				for j := -r; j <= r; j++ {
					v := in.data[max(0, min(63, y+i))*64+max(0, min(63, x+j))]
					blur += float64(v) * float64(s.taps[r-max(i, -i)]) * float64(s.taps[r-max(j, -j)])
				}
			}
			v := float64(in.data[y*64+x])
			e := 0.4 * (v - blur)
			if got := float64(out.data[y*64+x]) - v; e < -v/2 || e > (65535-v)/2 {
				if got*e < 0 || math.Abs(got) > math.Abs(e)+1 {
					t.Fatalf("%d,%d: %v is added, not part of %v", x, y, got, e)
				}
				continue
			}
			if d := math.Abs(float64(out.data[y*64+x]) - (v + e)); d > 0.55 {
				t.Fatalf("%d,%d: %d, want %v", x, y, out.data[y*64+x], v+e)
			} else if d > 0.5 {
				off++
			}
		}
	}
	t.Logf("%d of 4096 rounded to the farther neighbour", off)
}

func TestSharpenLimits(t *testing.T) {
	in := newImage(40, 40, 3).fill(func(x, y, c int) uint16 { return uint16(20000 + x/20*20000 + c*500) })
	apart := func(a Args) (most int) {
		for i, v := range apply(t, sharpenV1, a, in).data {
			d := int(v) - int(in.data[i])
			most = max(most, d, -d)
		}
		return most
	}
	// halo 10 % is the default, 6553.5 of 65535. Asked for are up to 10 x 8000 or so,
	// which comes to 95 % of it: h + u h/(u + h) with u = 80000 - h, h = 6553.5/2.
	// Green and blue are 500 and 1000 more than red, and get 2.5 % more here.
	if got := apart(sharp("9/5", "10")); got < 6000 || got > 6750 {
		t.Errorf("the default halo lets %d through", got)
	}
	if got := apart(sharp("9/5", "10", Arg{"halo", "1/100"})); got < 640 || got > 675 {
		t.Errorf("halo 1 %% lets %d through", got)
	}
	// quiet above the whole step leaves everything.
	if got := apart(sharp("9/5", "10", Arg{"quiet", "1/2"})); got != 0 {
		t.Errorf("quiet 50 %% lets %d through", got)
	}
	// R, G and B keep their ratios, to rounding; a colour with a channel at its bound
	// gets no lighter, and darker as others do.
	in.fill(func(x, y, c int) uint16 { return []uint16{20000, 65535, 9000}[(c+x/20*2)%3] })
	out, more, less := apply(t, sharpenV1, sharp("9/5", "1"), in), 0, 0
	for i := 0; i < len(out.data); i += 3 {
		for c := 1; c < 3; c++ {
			a, b, x, y := int(in.data[i]), int(in.data[i+c]), int(out.data[i]), int(out.data[i+c])
			if d := a*y - b*x; d > a+b || d < -a-b {
				t.Fatalf("colour shifts at %d: %v to %v", i, in.data[i:i+3], out.data[i:i+3])
			}
		}
		more, less = max(more, int(out.data[i])-int(in.data[i])), max(less, int(in.data[i])-int(out.data[i]))
	}
	if more > 0 || less < 500 {
		t.Errorf("lighter by %d and darker by %d", more, less)
	}
}

func TestSharpenFlatStaysFlat(t *testing.T) {
	for _, radius := range []string{"1/10", "3/10", "9/10", "9/5", "37/10", "20", "100"} {
		for _, v := range []uint16{1, 777, 37777, 65534, 65535} {
			in := newImage(70, 9, 3).fill(func(x, y, c int) uint16 { return v })
			same(t, "flat at radius "+radius, in, apply(t, sharpenV1, sharp(radius, "10", Arg{"halo", "1"}), in))
		}
	}
}

func TestSharpenNothing(t *testing.T) {
	in := newImage(64, 64, 3).fill(func(x, y, c int) uint16 { return uint16((y*64 + x) * 16) })
	same(t, "amount 0", in, apply(t, sharpenV1, sharp("9/5", "0"), in))
	same(t, "halo 0", in, apply(t, sharpenV1, sharp("9/5", "2", Arg{"halo", "0"}), in))
	same(t, "mask 0", in, apply(t, sharpenV1, sharp("9/5", "2"), in, newImage(8, 8, 1)))
	levels := map[uint16]bool{}
	for _, v := range apply(t, sharpenV1, sharp("9/5", "2"), in).data {
		levels[v] = true
	}
	if len(levels) <= 256 {
		t.Errorf("%d levels left", len(levels))
	}
}

func TestSharpenRefuses(t *testing.T) {
	p := newImage(5, 5, 3).Pic
	for _, c := range []struct {
		a    Args
		in   []Pic
		part string
	}{
		{sharp("0", "1"), []Pic{p}, "radius is 0, expected above 0 to 400 px"},
		{sharp("1", "11"), []Pic{p}, "amount is 11, expected 0 to 10"},
		{sharp("1", "1", Arg{"halo", "2"}), []Pic{p}, "halo is 2"},
		{sharp("1", "1", Arg{"quiet", "-1"}), []Pic{p}, "quiet is -1"},
		{sharp("1.5", "1"), []Pic{p}, "reduced fraction"},
		{Args{{"radius", "1"}}, []Pic{p}, "amount is missing"},
		{sharp("1", "1"), []Pic{{W: 5, H: 5, C: 3}}, "profile"},
		{sharp("1", "1"), []Pic{p, p}, "1 channel"},
		{sharp("1", "1"), nil, "1 picture"},
	} {
		if _, err := sharpenV1.New(c.a, c.in, Env{}); err == nil || !strings.Contains(err.Error(), c.part) {
			t.Errorf("%v: %v, want %q", c.a, err, c.part)
		}
	}
}

func BenchmarkSharpen(b *testing.B) {
	in := newImage(18000, 96, 3)
	in.scene()
	b.Run("radius 1.8", func(b *testing.B) { benchSteps(b, 80, sharpenV1, sharp("9/5", "19/10"), in) })
	b.Run("grey", func(b *testing.B) {
		benchSteps(b, 80, sharpenV1, sharp("9/5", "19/10"), newImage(18000, 96, 1).scene())
	})
}
