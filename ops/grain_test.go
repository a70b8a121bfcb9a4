package ops

import (
	"math"
	"math/big"
	"testing"
)

func grained(amount, size, seed string) Args {
	return Args{{"amount", amount}, {"size", size}, {"seed", seed}}
}

// slowGrain is the operation one pixel at a time.
func slowGrain(a Args, in *canvas) []uint16 {
	size, _ := a.Get("size")
	amount, _ := a.Get("amount")
	seedText, _ := a.Get("seed")
	seed, _ := new(big.Int).SetString(seedText, 10)
	scatter := func(n uint64) uint64 {
		z := (n + 1) * 0x9e3779b97f4a7c15
		z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
		z = (z ^ z>>27) * 0x94d049bb133111eb
		return z ^ z>>31
	}
	taps := gaussian(times(ratOf(size), big.NewRat(3, 10)))
	r := len(taps) - 1
	white := func(x, y int) float32 {
		z := scatter(scatter(seed.Uint64()) + uint64(uint32(y))<<32 + uint64(uint32(x)))
		return float32((z&0xffff+z>>16&0xffff+z>>32&0xffff+z>>48)/4) - 32767
	}
	sum := func(at func(k int) float32) float32 {
		s := float32(taps[0] * (at(-r) + at(r)))
		for k := r - 1; k > 0; k-- {
			s += float32(taps[r-k] * (at(-k) + at(k)))
		}
		return s + float32(taps[r]*at(0))
	}
	squares := 0.0
	for _, w := range taps[:r] {
		squares += 2 * float64(float64(w)*float64(w))
	}
	squares += float64(float64(taps[r]) * float64(taps[r]))
	gain := float32(4 * flt(ratOf(amount)) / (squares * 9459.3))
	out := make([]uint16, len(in.data))
	for y := range in.H {
		for x := range in.W {
			n := sum(func(j int) float32 { return sum(func(k int) float32 { return white(x+k, y+j) }) })
			px := in.data[(y*in.W+x)*in.C:][:in.C]
			most := float32(0)
			for _, v := range px {
				most = max(most, float32(v))
			}
			s := float32(max(-1, min(1, float32(n*gain))) * (1 - most/65535))
			for c, v := range px {
				out[(y*in.W+x)*in.C+c] = uint16(math.Floor(float64(float32(v)+float32(float32(v)*s)) + 0.5))
			}
		}
	}
	return out
}

func TestGrainEqualsSlow(t *testing.T) {
	for _, c := range []int{1, 3} {
		in := newImage(70, 41, c)
		in.fill(func(x, y, ch int) uint16 { return uint16(x*930 + y*31 + ch*17) })
		for _, a := range []Args{grained("1/20", "3", "7"), grained("1/4", "9", "4294967295"), grained("1/4", "1/100", "0")} {
			got := apply(t, grainV1, a, in)
			for i, want := range slowGrain(a, in) {
				if got.data[i] != want {
					t.Fatalf("%v: sample %d is %d, want %d", a, i, got.data[i], want)
				}
			}
		}
	}
}

// Middle greys deviate by amount, others by 4 t (1 - t) of it; the mean stays, hue
// too, black, white and full colours don't change at all.
func TestGrainIsWeighted(t *testing.T) {
	level := func(v uint16) *canvas {
		in := newImage(400, 300, 1)
		in.fill(func(_, _, _ int) uint16 { return v })
		return in
	}
	for _, share := range []float64{0.1, 0.25, 0.5, 0.75, 0.9} {
		v := share * 65535
		out := apply(t, grainV1, grained("1/25", "2", "5"), level(uint16(v)))
		sum, squares := 0.0, 0.0
		for _, s := range out.data {
			d := float64(s) - v
			sum, squares = sum+d, squares+d*d
		}
		n := float64(len(out.data))
		want := 4 * share * (1 - share) / 25
		if got := math.Sqrt(squares/n) / 65535; math.Abs(got/want-1) > 0.03 {
			t.Errorf("at %v: a deviation of %.4f, expected %.4f", share, got, want)
		}
		if mean := sum / n / 65535; math.Abs(mean) > 0.0005 {
			t.Errorf("at %v: the mean moves by %.5f", share, mean)
		}
	}
	for _, v := range []uint16{0, 65535} {
		for _, s := range apply(t, grainV1, grained("1/4", "2", "5"), level(v)).data {
			if s != v {
				t.Fatalf("%d becomes %d", v, s)
			}
		}
	}
	in := newImage(50, 40, 3)
	in.fill(func(_, _, c int) uint16 { return []uint16{40000, 20000, 10000}[c] })
	out := apply(t, grainV1, grained("1/4", "2", "5"), in)
	for i := 0; i < len(out.data); i += 3 {
		if r := float64(out.data[i]); math.Abs(r-2*float64(out.data[i+1])) > 2 || math.Abs(r-4*float64(out.data[i+2])) > 4 {
			t.Fatalf("the hue changes: %v", out.data[i:i+3])
		}
	}
}

// The grain's likeness to itself, k px apart, is exp(-k^2 / 4 sigma^2), sigma = 3/10
// size, whose spectrum is the model's (the Wiener-Khinchin theorem), across and down;
// other seeds, and the same seed elsewhere, are nothing alike.
func TestGrainSpectrum(t *testing.T) {
	const w, h = 500, 400
	in := newImage(w, h, 1)
	in.fill(func(_, _, _ int) uint16 { return 32768 })
	for _, size := range []float64{3, 4, 10} { // finer ones are coarse beside the pixels
		a := apply(t, grainV1, grained("1/50", big.NewRat(int64(size), 1).RatString(), "1"), in).data
		other := apply(t, grainV1, grained("1/50", big.NewRat(int64(size), 1).RatString(), "2"), in).data
		like := func(b []uint16, dx, dy int) float64 {
			sum, own := 0.0, 0.0
			for y := range h - dy {
				for x := range w - dx {
					u := float64(a[y*w+x]) - 32768
					sum, own = sum+u*(float64(b[(y+dy)*w+x+dx])-32768), own+u*u
				}
			}
			return sum / own
		}
		sigma := 0.3 * size
		for k := range 2*int(size) + 1 {
			want := math.Exp(-float64(k*k) / (4 * sigma * sigma))
			for _, got := range []float64{like(a, k, 0), like(a, 0, k)} {
				if math.Abs(got-want) > 0.03+0.005*size {
					t.Errorf("size %v, %d px apart: %.3f alike, expected %.3f", size, k, got, want)
				}
			}
		}
		if got := like(other, 0, 0); math.Abs(got) > 0.02*size {
			t.Errorf("size %v: another seed is %.3f alike", size, got)
		}
		if got := like(a, 256, 0); math.Abs(got) > 0.03*size {
			t.Errorf("size %v: it repeats: %.3f alike", size, got)
		}
	}
}

func TestGrainOrders(t *testing.T) {
	in := &plane{pic: Pic{W: 33, H: 40, C: 3}, data: make([]uint16, 33*40*3)}
	for i := range in.data {
		in.data[i] = uint16(i * 977)
	}
	s, err := grainV1.New(grained("1/10", "4", "9"), []Pic{in.pic}, Env{})
	if err != nil {
		t.Fatal(err)
	}
	checkOrders(t, s, in)
}

func BenchmarkGrain(b *testing.B) {
	benchSteps(b, 400, grainV1, grained("1/20", "3", "7"), newImage(4000, 400, 3).scene())
}
