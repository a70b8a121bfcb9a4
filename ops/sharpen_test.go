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
	// and libvips within 5e-11 of them); halo 1 is no limit.
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
			out := apply(t, sharpenV1, sharp("9/5", "19/10", Arg{"halo", "1"}), p)
			for i, v := range out.data {
				if want, _ := strconv.Atoi(rows[i%len(rows)][8]); int(v) != want {
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

// slowSharpen is the operation one sample at a time in the same float32.
func slowSharpen(s *sharpen, in *canvas, mask func(x, y int) float32) *canvas {
	luma := func(x, y int) float32 {
		x, y = max(0, min(x, in.W-1)), max(0, min(y, in.H-1))
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
	across := make([]float32, in.W*in.H)
	for y := range in.H {
		for x := range in.W {
			across[y*in.W+x] = fold(func(k int) float32 { return luma(x+k, y) })
		}
	}
	out := &canvas{in.Pic, make([]uint16, len(in.data))}
	return out.fill(func(x, y, c int) uint16 {
		d := luma(x, y) - fold(func(k int) float32 { return across[max(0, min(y+k, in.H-1))*in.W+x] })
		switch {
		case d > s.quiet:
			d -= s.quiet
		case d < -s.quiet:
			d += s.quiet
		default:
			d = 0
		}
		e := max(-s.halo, min(s.halo, float32(s.amount*d)))
		if mask != nil {
			e *= mask(x, y)
		}
		v := float32(in.data[(y*in.W+x)*in.C+c]) + e + 0.5
		return uint16(max(0, min(65535, math.Floor(float64(v)))))
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

func TestFaultG01SharpenWideSignedSums(t *testing.T) {
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
	// Random against exact fractions: clamped, and within what float32 may do
	// to a sum; never wrapped.
	in := newImage(64, 64, 1).noise(4)
	a := sharp("9/5", "19/10", Arg{"halo", "1"})
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
			want := max(0, min(65535, v+1.9*(v-blur)))
			if d := math.Abs(float64(out.data[y*64+x]) - want); d > 0.55 {
				t.Fatalf("%d,%d: %d, want %v", x, y, out.data[y*64+x], want)
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
	// halo 10 % is the default: 6553.5 of 65535, rounded.
	if got := apart(sharp("9/5", "10")); got != 6553 && got != 6554 {
		t.Errorf("the default halo lets %d through", got)
	}
	if got := apart(sharp("9/5", "10", Arg{"halo", "1/100"})); got != 655 {
		t.Errorf("halo 1 %% lets %d through", got)
	}
	// quiet above the whole step leaves everything.
	if got := apart(sharp("9/5", "10", Arg{"quiet", "1/2"})); got != 0 {
		t.Errorf("quiet 50 %% lets %d through", got)
	}
	// The same difference goes to R, G and B.
	out := apply(t, sharpenV1, sharp("9/5", "1"), in)
	for i := 0; i < len(out.data); i += 3 {
		d := int(out.data[i]) - int(in.data[i])
		if int(out.data[i+1])-int(in.data[i+1]) != d || int(out.data[i+2])-int(in.data[i+2]) != d {
			t.Fatalf("colour shifts at %d", i)
		}
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

func TestFaultG03SharpenNothing(t *testing.T) {
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
		{sharp("0", "1"), []Pic{p}, "radius is 0, expected 0.1 to 100 px"},
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
