package colour

import (
	"math"
	"math/rand"
	"sort"
	"strings"
	"testing"
)

// lookupPlain reads a table by its definition: multilinear as repeated straight
// lines from the last input to the first; tetrahedral as a walk from the cell's
// lowest corner along the inputs in the order of falling fractions.
func lookupPlain(l *lut, x []float64) []float64 {
	at, f := make([]int, l.in), make([]float64, l.in)
	for i := range at {
		p := float64(hold16(x[i]) * (float64(l.grid[i]-1) / 65535))
		at[i] = min(int(p), l.grid[i]-2)
		f[i] = p - float64(at[i])
	}
	node := func(pos []int, k int) float64 {
		i := 0
		for d, p := range pos {
			i = i*l.grid[d] + p
		}
		return float64(l.table[i*l.out+k])
	}
	var line func(pos []int, d, k int) float64
	line = func(pos []int, d, k int) float64 {
		if d == l.in {
			return node(pos, k)
		}
		hi := append([]int(nil), pos...)
		hi[d]++
		a, b := line(pos, d+1, k), line(hi, d+1, k)
		return a + float64(f[d]*(b-a))
	}
	walk := func(pos []int, first, k int) float64 {
		order := []int{}
		for d := first; d < l.in; d++ {
			order = append(order, d)
		}
		sort.SliceStable(order, func(i, j int) bool { return f[order[i]] > f[order[j]] })
		pos = append([]int(nil), pos...)
		v := node(pos, k)
		last := v
		for _, d := range order {
			pos[d]++
			c := node(pos, k)
			v += float64(f[d] * (c - last))
			last = c
		}
		return v
	}
	out := make([]float64, l.out)
	for k := range out {
		switch {
		case l.linear || l.in == 1:
			out[k] = line(at, 0, k)
		case l.in == 4:
			hi := append([]int(nil), at...)
			hi[0]++
			a, b := walk(at, 1, k), walk(hi, 1, k)
			out[k] = a + float64(f[0]*(b-a))
		default:
			out[k] = walk(at, 0, k)
		}
	}
	return out
}

func TestTablesAgainstPlainReading(t *testing.T) {
	rng := rand.New(rand.NewSource(9))
	for _, l := range []*lut{
		{in: 1, out: 3, grid: [4]int{9}},
		{in: 3, out: 3, grid: [4]int{3, 4, 5}},
		{in: 3, out: 4, grid: [4]int{3, 2, 6}, linear: true},
		{in: 3, out: 1, grid: [4]int{2, 2, 2}, linear: true},
		{in: 4, out: 3, grid: [4]int{3, 4, 2, 5}},
	} {
		n, err := l.tableSize()
		if err != nil {
			t.Fatal(err)
		}
		for range n {
			l.table = append(l.table, uint16(rng.Intn(65536)))
		}
		for i := range 20000 {
			var v [4]float64
			for k := range v {
				switch i % 4 {
				case 0:
					v[k] = float64(rng.Intn(9)) * 65535 / 8 // ties and nodes
				case 1:
					v[k] = rng.Float64()*90000 - 10000
				default:
					v[k] = rng.Float64() * 65535
				}
			}
			want := lookupPlain(l, v[:])
			in := v
			l.lookup(&v)
			for k := range want {
				if v[k] != want[k] {
					t.Fatalf("%d to %d at %v: %v, expected %v", l.in, l.out, in, v, want)
				}
			}
		}
	}
}

// Lab in the three encodings: where white and grey lie (ICC.1:2010, tables 12
// and 43: FF00 and 8000, or FFFF and 8080).
func TestConnectionCodes(t *testing.T) {
	for _, c := range []struct {
		pcs  pcsCode
		in   [4]float64
		want [3]float64
	}{
		{pcsLab2, [4]float64{100, 0, 0}, [3]float64{0xff00, 0x8000, 0x8000}},
		{pcsLab, [4]float64{100, 0, 0}, [3]float64{0xffff, 0x8080, 0x8080}},
		{pcsLab, [4]float64{0, -128, 127}, [3]float64{0, 0, 0xffff}},
		{pcsLab2, [4]float64{0, -128, 127}, [3]float64{0, 0, 0xff00}},
		{pcsXYZ, [4]float64{1, 1, 1}, [3]float64{0x7b6b, 0x8000, 0x6996 + 0.5}},
	} {
		v := c.in
		c.pcs.encode(&v)
		for i := range c.want {
			if math.Abs(v[i]-c.want[i]) > 1e-6 {
				t.Errorf("%v %v: %v, expected %v", c.pcs, c.in, v, c.want)
			}
		}
		c.pcs.decode(&v)
		for i := range 3 {
			if math.Abs(v[i]-c.in[i]) > 1e-10 {
				t.Errorf("%v %v comes back as %v", c.pcs, c.in, v)
			}
		}
	}
}

// Every kind of table: read, and colours as the invented device gives them.
func TestKindsOfTables(t *testing.T) {
	for name, icc := range madeProfiles() {
		p, err := Parse(icc)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if !p.HasTables() {
			t.Errorf("%s: no tables", name)
		}
		if p.Channels() != 4 && (p.Tone(0) == nil || p.Tone(0).Encode64(1) != 65535) || p.Channels() == 4 && p.Tone(0) != nil {
			t.Errorf("%s: tone", name)
		}
		if name == "input" || strings.HasPrefix(name, "mAB") || strings.Contains(name, "XYZ") {
			continue
		}
		to, err := NewToLab(p, Relative)
		if err != nil {
			t.Fatal(err)
		}
		from, err := NewFromLab(p, Relative)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range []float64{0, 25, 50, 80, 100} {
			tolerance := 0.02
			if strings.HasPrefix(name, "lut8") || l == 100 {
				tolerance = 0.8 // 8 bits; in 16 white isn't a point of the grid
			}
			codes := make([]uint16, p.Channels())
			from.Row(codes, []Lab{{L: l}})
			var got [1]Lab
			to.Row(got[:], codes)
			if d := apart(got[0], Lab{L: l}); d > tolerance {
				t.Errorf("%s: L* %v comes back as %.3f", name, l, got[0])
			}
		}
	}
	if p, err := Parse(madeProfiles()["input"]); err != nil || p.Class() != "input" {
		t.Error(err)
	} else if _, err := NewTransform(space(t, "sRGB"), p, Relative, true); err == nil || !strings.Contains(err.Error(), "no table from colours to its device") {
		t.Errorf("a way to a scanner: %v", err)
	}
}

// sRGB written as a matrix and formulas of a lutAToB equals sRGB as colorants
// and curves; back within two codes.
func TestMatrixInPartsEqualsColorants(t *testing.T) {
	p, err := Parse(madeProfiles()["mAB matrix"])
	if err != nil {
		t.Fatal(err)
	}
	srgb := space(t, "sRGB")
	a, _ := NewToLab(p, Relative)
	b, _ := NewToLab(srgb, Relative)
	back, _ := NewFromLab(p, Relative)
	rng := rand.New(rand.NewSource(10))
	for range 5000 {
		in := [3]uint16{uint16(rng.Intn(65536)), uint16(rng.Intn(65536)), uint16(rng.Intn(65536))}
		var x, y [1]Lab
		a.Row(x[:], in[:])
		b.Row(y[:], in[:])
		// The matrix has 16 bits behind the point: L* of the darkest moves most.
		if d := apart(x[0], y[0]); d > 0.02 {
			t.Fatalf("%v: %.5f and %.5f", in, x[0], y[0])
		}
		var out [3]uint16
		back.Row(out[:], x[:])
		for i := range out {
			if d := int(out[i]) - int(in[i]); d > 60 || d < -60 {
				t.Fatalf("%v comes back as %v", in, out)
			}
		}
	}
}

// Formulas in tables at any place, against package math.
func TestFormulasAtAnyPlace(t *testing.T) {
	rng := rand.New(rand.NewSource(13))
	for _, g := range []float64{0.3, 1, 1.8, 2.4, 7, 25} {
		c := gammaCurve(int64(math.Round(g * one)))
		for range 2000 {
			x := rng.Float64()
			if got, want := c.at(x), math.Pow(x, float64(c.g)/one); math.Abs(got-want) > 1e-12 {
				t.Fatalf("%v^%v: %v, expected %v", x, g, got, want)
			}
		}
	}
	for _, c := range []curve{{g: -one, a: one}, {g: 0, a: 0}, {g: 1 << 31, a: -1 << 31, b: 1 << 31, c: 1 << 31, d: 1 << 31, e: -1 << 31, f: 1 << 31}} {
		for _, x := range []float64{0, 1e-300, 0.5, 1} {
			if y := c.at(x); !(y >= 0 && y <= 1) {
				t.Errorf("%+v at %v: %v", c, x, y)
			}
		}
	}
}
