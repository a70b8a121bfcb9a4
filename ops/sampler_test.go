package ops

import (
	"math/big"
	"math/rand/v2"
	"strings"
	"testing"
)

// rowsOf is a picture in memory for tests; it fails on rows outside lo..hi.
type rowsOf struct {
	t      testing.TB
	pic    Pic
	data   []uint16
	lo, hi int
}

func (r *rowsOf) Row(y int) []uint16 {
	if y < r.lo || y >= r.hi {
		r.t.Fatalf("row %d asked for, window is %d..%d", y, r.lo, r.hi)
	}
	s := r.pic.Stride()
	return r.data[y*s : (y+1)*s : (y+1)*s]
}

func TestQuo32IsRoundedOnce(t *testing.T) {
	// Source: math/big.
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range 200000 {
		num := rng.Uint64() >> (1 + rng.IntN(62))
		den := rng.Uint64()>>(1+rng.IntN(62)) | 1
		if i%3 == 0 { // ties and near-ties
			num = uint64(rng.IntN(1<<25))*2 + 1
			den = 1 << (rng.IntN(30) + 1)
		}
		want, _ := new(big.Rat).SetFrac(new(big.Int).SetUint64(num), new(big.Int).SetUint64(den)).Float32()
		if got := quo32(num, den); got != want {
			t.Fatalf("quo32(%d, %d) = %v, want %v", num, den, got, want)
		}
	}
}

// slowMask is the definition in exact fractions, one pixel at a time.
func slowMask(data []uint16, m Pic, c [4]*big.Rat, out Pic, x, y int) float64 {
	type tap struct {
		j int
		w *big.Rat
	}
	side := func(x0, x1 *big.Rat, m, n, i int) []tap {
		span := new(big.Rat).Sub(x1, x0)
		pos := new(big.Rat).Mul(big.NewRat(int64(2*i+1), int64(2*n)), span)
		pos.Add(pos, x0).Sub(pos, big.NewRat(1, 2))
		if pos.Sign() < 0 {
			pos.SetInt64(0)
		}
		if last := big.NewRat(int64(m-1), 1); pos.Cmp(last) > 0 {
			pos = last
		}
		reach := new(big.Rat).Quo(span, big.NewRat(int64(n), 1))
		if reach.Cmp(big.NewRat(1, 1)) < 0 {
			reach.SetInt64(1)
		}
		var taps []tap
		sum := new(big.Rat)
		for j := range m {
			d := new(big.Rat).Sub(pos, big.NewRat(int64(j), 1))
			w := new(big.Rat).Sub(reach, d.Abs(d))
			if w.Sign() > 0 {
				taps = append(taps, tap{j, w})
				sum.Add(sum, w)
			}
		}
		for i := range taps {
			taps[i].w.Quo(taps[i].w, sum)
		}
		return taps
	}
	tx := side(c[0], c[2], m.W, out.W, x)
	ty := side(c[1], c[3], m.H, out.H, y)
	sum := new(big.Rat)
	for _, v := range ty {
		for _, h := range tx {
			p := new(big.Rat).Mul(v.w, h.w)
			sum.Add(sum, p.Mul(p, big.NewRat(int64(data[v.j*m.W+h.j]), 65535)))
		}
	}
	f, _ := sum.Float64()
	return f
}

func TestSamplerAgainstFractions(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for _, c := range []struct {
		covers string
		out    Pic
	}{
		{"", Pic{W: 9, H: 7}},
		{"", Pic{W: 27, H: 21}},
		{"", Pic{W: 20, H: 11}},
		{"", Pic{W: 4, H: 3}},
		{"", Pic{W: 1, H: 30}},
		{"1/3 5/4 17/2 6", Pic{W: 13, H: 3}},
		{"2 2 3 3", Pic{W: 5, H: 5}},
	} {
		m := Pic{W: 9, H: 7, C: 1}
		data := make([]uint16, m.W*m.H)
		for i := range data {
			data[i] = uint16(rng.IntN(65536))
			if rng.IntN(3) == 0 || i/m.W == 3 {
				data[i] = 65535
			}
			if i/m.W >= 5 {
				data[i] = 0
			}
		}
		s, err := newSampler(c.covers, m, c.out)
		if err != nil {
			t.Fatal(err)
		}
		cov := c.covers
		if cov == "" {
			cov = "0 0 9 7"
		}
		rats, _ := Args{{"c", cov}}.Rats("c", 4)
		k := s.worker()
		for _, y := range rng.Perm(c.out.H) {
			in := &rowsOf{t: t, pic: m, data: data}
			in.lo, in.hi = s.window(y)
			w, kind := k.row(y, []Rows{in})
			for x := range c.out.W {
				want := slowMask(data, m, [4]*big.Rat(rats), c.out, x, y)
				got := 0.0
				switch kind {
				case maskOne:
					got = 1
				case maskMixed:
					got = float64(w[x])
				}
				if d := got - want; d > 3e-7 || d < -3e-7 || got > 1 || got < 0 {
					t.Fatalf("%q to %dx%d, pixel %d,%d: %v, want %v", c.covers, c.out.W, c.out.H, x, y, got, want)
				}
			}
		}
	}
}

func TestSamplerOnesStayOne(t *testing.T) {
	// A picture whose right half is all ones and whose first column isn't:
	// rows are mixed, yet the full part must be exactly 1, enlarged and reduced.
	m := Pic{W: 50, H: 40, C: 1}
	data := make([]uint16, m.W*m.H)
	for i := range data {
		if i%m.W > 0 {
			data[i] = 65535
		}
	}
	for _, n := range []int{3, 7, 11, 13, 50, 51, 99, 150, 333, 365} {
		s, err := newSampler("", m, Pic{W: n, H: 7})
		if err != nil {
			t.Fatal(err)
		}
		k := s.worker()
		for y := range 7 {
			w, _ := k.row(y, []Rows{&rowsOf{t: t, pic: m, data: data, hi: m.H}})
			for x := n / 2; x < n; x++ {
				if w[x] != 1 {
					t.Fatalf("width %d: pixel %d,%d is %v", n, x, y, w[x])
				}
			}
		}
	}
}

func TestSamplerRefuses(t *testing.T) {
	m := Pic{W: 9, H: 7, C: 1}
	for _, c := range []struct{ covers, part string }{
		{"0 0 10 7", "inside the frame"},
		{"-1 0 9 7", "inside the frame"},
		{"3 0 3 7", "inside the frame"},
		{"0 0 9", "expected 4"},
		{"0 0 9 x", "fraction"},
		{"1/1000000000000000003 0 9 7", "too many decimals"},
	} {
		if _, err := newSampler(c.covers, m, Pic{W: 5, H: 5}); err == nil || !strings.Contains(err.Error(), c.part) {
			t.Errorf("%q: %v, want %q", c.covers, err, c.part)
		}
	}
	if _, err := newSampler("", Pic{W: 9, H: 7, C: 3}, Pic{W: 5, H: 5}); err == nil {
		t.Error("a mask of 3 channels was accepted")
	}
}

func BenchmarkSampler(b *testing.B) {
	m := Pic{W: 6000, H: 64, C: 1}
	data := make([]uint16, m.W*m.H)
	for i := range data {
		data[i] = uint16(i)
	}
	s, _ := newSampler("", m, Pic{W: 18000, H: 192})
	k := s.worker()
	in := &rowsOf{t: b, pic: m, data: data, hi: m.H}
	b.SetBytes(18000 * 192)
	for b.Loop() {
		for y := range 192 {
			k.row(y, []Rows{in})
		}
	}
	b.ReportMetric(float64(b.Elapsed().Seconds())/float64(b.N)*216e6/(18000*192), "s/216MP")
}
