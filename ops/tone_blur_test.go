package ops

import (
	"math"
	"math/big"
	"testing"
)

// lights is a toneBlur over a plane of codes as they are.
func lights(t *testing.T, in *canvas, radius *big.Rat) [][]float32 {
	t.Helper()
	b := newToneBlur(in.W, in.H, radius)
	k := b.worker(func(dst []float32, row []uint16) { floatRow(dst, row[:in.W]) })
	var out [][]float32
	for y := range in.H {
		lo, hi := b.window(y)
		rows := &rowsOf{t: t, pic: in.Pic, data: in.data, lo: lo, hi: hi}
		k.load(y, rows)
		v := make([]float32, in.W)
		for x := 0; x < in.W; x += 100 {
			k.read(v[x:min(x+100, in.W)], x)
		}
		out = append(out, v)
	}
	return out
}

func TestToneBlurEqualsDefinition(t *testing.T) {
	for _, radius := range []*big.Rat{big.NewRat(1, 2), big.NewRat(119, 10), big.NewRat(12, 1), big.NewRat(31, 2), big.NewRat(20, 1)} {
		in := newImage(83, 61, 1).noise(3)
		got := lights(t, in, radius)
		f := 1
		if r, _ := radius.Float64(); r >= 12 {
			f = int(r / 6)
		}
		bw, bh := (in.W+f-1)/f, (in.H+f-1)/f
		block := func(i int) (m float64) {
			n := 0.0
			for y := i / bw * f; y < min(in.H, (i/bw+1)*f); y++ {
				for x := i % bw * f; x < min(in.W, (i%bw+1)*f); x++ {
					m += float64(in.data[y*in.W+x])
					n++
				}
			}
			return m / n
		}
		small := slowBlur(bw, bh, gaussian(new(big.Rat).Quo(radius, big.NewRat(int64(f), 1))), block)
		memo := make([]float64, bw*bh)
		for i := range memo {
			memo[i] = small(i%bw, i/bw)
		}
		read := func(i, n int) (int, float64) {
			p := math.Max(0, math.Min(float64(n-1), (float64(i)+0.5)/float64(f)-0.5))
			k := min(int(p), max(0, n-2))
			return k, p - float64(k)
		}
		for y := range in.H {
			j, v := read(y, bh)
			for x := range in.W {
				i, u := read(x, bw)
				at := func(i, j int) float64 { return memo[min(j, bh-1)*bw+min(i, bw-1)] }
				want := (1-v)*((1-u)*at(i, j)+u*at(i+1, j)) + v*((1-u)*at(i, j+1)+u*at(i+1, j+1))
				if math.Abs(float64(got[y][x])-want) > 0.1 {
					t.Fatalf("radius %v at %d,%d: %v, want %v", radius, x, y, got[y][x], want)
				}
			}
		}
	}
}

func TestToneBlurIsNearlyGaussian(t *testing.T) {
	// Source: the error function of math, for an upright edge; the textbook's
	// Gaussian. What the blocks do stays below 0.1 % of the edge.
	for _, radius := range []int64{5, 11, 12, 17, 18, 40, 64} {
		in := newImage(601, 40, 1).fill(func(x, _, _ int) uint16 {
			if x >= 300 {
				return 50000
			}
			return 10000
		})
		worst := 0.0
		for _, row := range lights(t, in, big.NewRat(radius, 1))[19:21] {
			for x := 40; x < 560; x++ {
				want := 30000 + 20000*math.Erf((float64(x)-299.5)/(float64(radius)*math.Sqrt2))
				worst = math.Max(worst, math.Abs(float64(row[x])-want))
			}
		}
		t.Logf("radius %d: at most %.2f %% of the edge off", radius, worst/400)
		if worst > 40 {
			t.Errorf("radius %d: %v off an edge of 40000", radius, worst)
		}
	}
}

func TestToneWithLargeRadius(t *testing.T) {
	a := Args{{"local", "1"}, {"local-radius", "14"}, {"chroma", "1/10"}}
	in := newImage(53, 67, 3).noise(8)
	anyOrder(t, toneV1, a, in)
	anyOrder(t, toneV1, a, in, newImage(20, 20, 1).noise(2))
	anyOrder(t, toneV1, a[:2], inSpace(newImage(70, 33, 1).noise(8), "grey-2.2"))
	anyOrder(t, toneV1, Args{{"local", "1"}, {"local-radius", "400"}}, in)
	for _, c := range []int{1, 3} {
		f := newImage(90, 70, c).fill(func(x, y, c int) uint16 { return uint16(700 + 31000*c) })
		if c == 1 {
			f = inSpace(f, "grey-2.2")
		}
		same(t, "flat", f, apply(t, toneV1, Args{{"local", "2"}, {"local-radius", "30"}}, f))
	}
	// Windows: ends never fall, and rows outside are never asked for (rowsIn).
	for _, radius := range []string{"1", "12", "25", "70"} {
		s := bind(t, toneV1, Args{{"local", "1"}, {"local-radius", radius}}, in)
		lo0, hi0 := 0, 0
		for y := range in.H {
			lo, hi := s.Window(0, y)
			if lo < lo0 || hi < hi0 || lo > y || hi <= y || hi > in.H {
				t.Errorf("radius %s: row %d asks for %d to %d after %d to %d", radius, y, lo, hi, lo0, hi0)
			}
			lo0, hi0 = lo, hi
		}
	}
}
