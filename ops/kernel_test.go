package ops

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"platemark/ops/colour"
)

// canvas is a picture in memory for tests.
type canvas struct {
	Pic
	data []uint16
}

func newImage(w, h, c int) *canvas {
	p := Pic{W: w, H: h, C: c}
	if c == 3 {
		p.Profile, _ = colour.Space("sRGB")
	}
	return &canvas{p, make([]uint16, w*h*c)}
}

func (p *canvas) fill(f func(x, y, c int) uint16) *canvas {
	for i := range p.data {
		p.data[i] = f(i/p.C%p.W, i/p.C/p.W, i%p.C)
	}
	return p
}

// scene fills with something like a photograph: slopes, edges, a little noise.
func (p *canvas) scene() *canvas {
	rng := rand.New(rand.NewPCG(4, 4))
	return p.fill(func(x, y, c int) uint16 {
		v := 20000 + 3*x + 50*y + 2000*c + rng.IntN(400)
		if x/37%5 == 0 {
			v /= 3
		}
		return uint16(v)
	})
}

// noise fills with a mix of noise, extremes and flat parts.
func (p *canvas) noise(seed uint64) *canvas {
	rng := rand.New(rand.NewPCG(seed, 77))
	return p.fill(func(x, y, c int) uint16 {
		switch rng.IntN(6) {
		case 0:
			return 0
		case 1:
			return 65535
		}
		return uint16(rng.IntN(65536))
	})
}

// mirrored is the picture flipped left to right (and top to bottom with both).
func (p *canvas) mirrored(both bool) *canvas {
	q := &canvas{p.Pic, make([]uint16, len(p.data))}
	return q.fill(func(x, y, c int) uint16 {
		if both {
			y = p.H - 1 - y
		}
		return p.data[(y*p.W+p.W-1-x)*p.C+c]
	})
}

func bind(t testing.TB, op Operation, a Args, in ...*canvas) Step {
	t.Helper()
	var pics []Pic
	for _, p := range in {
		pics = append(pics, p.Pic)
	}
	s, err := op.New(a, pics, Env{})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// apply computes every row in order with one worker.
func apply(t testing.TB, op Operation, a Args, in ...*canvas) *canvas {
	t.Helper()
	s := bind(t, op, a, in...)
	order := make([]int, s.Pic().H)
	for i := range order {
		order[i] = i
	}
	return rowsIn(t, s, order, 1, in...)
}

// rowsIn computes the rows in the given order, dealt to several workers, and
// checks that no worker asks for rows outside the windows or writes past a row.
func rowsIn(t testing.TB, s Step, order []int, workers int, in ...*canvas) *canvas {
	t.Helper()
	out := &canvas{s.Pic(), make([]uint16, s.Pic().Stride()*s.Pic().H)}
	var ws []Worker
	for range workers {
		ws = append(ws, s.Worker())
	}
	n := s.Pic().Stride()
	for i, y := range order {
		var rows []Rows
		for j, p := range in {
			lo, hi := s.Window(j, y)
			rows = append(rows, &rowsOf{t: t, pic: p.Pic, data: p.data, lo: lo, hi: hi})
		}
		dst := make([]uint16, n+8)
		for j := range dst {
			dst[j] = 0xa5a5
		}
		ws[i%workers].Row(dst[:n], y, rows)
		for _, v := range dst[n:] {
			if v != 0xa5a5 {
				t.Fatalf("row %d: written past its end", y)
			}
		}
		copy(out.data[y*n:], dst[:n])
	}
	return out
}

func same(t *testing.T, what string, a, b *canvas) {
	t.Helper()
	if a.W != b.W || a.H != b.H || a.C != b.C {
		t.Fatalf("%s: %d x %d x %d against %d x %d x %d", what, a.W, a.H, a.C, b.W, b.H, b.C)
	}
	for i := range a.data {
		if a.data[i] != b.data[i] {
			t.Fatalf("%s: pixel %d,%d channel %d is %d and %d", what, i/a.C%a.W, i/a.C/a.W, i%a.C, a.data[i], b.data[i])
		}
	}
}

// anyOrder checks that order and number of workers change nothing.
func anyOrder(t *testing.T, op Operation, a Args, in ...*canvas) {
	t.Helper()
	s := bind(t, op, a, in...)
	want := apply(t, op, a, in...)
	rng := rand.New(rand.NewPCG(9, 9))
	for _, workers := range []int{1, 2, 7} {
		same(t, op.Name, want, rowsIn(t, s, rng.Perm(s.Pic().H), workers, in...))
	}
	back := make([]int, s.Pic().H)
	for i := range back {
		back[i] = len(back) - 1 - i
	}
	same(t, op.Name, want, rowsIn(t, s, back, 1, in...))
}

// checkValues reads a file of check values.
func checkValues(t *testing.T, name string) (rows [][]string, notes []string) {
	t.Helper()
	b, err := os.ReadFile("../testdata/standards/" + name)
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range strings.Split(string(b), "\n") {
		if strings.HasPrefix(l, "#") {
			notes = append(notes, l)
		}
	}
	r := csv.NewReader(strings.NewReader(string(b)))
	r.Comment, r.FieldsPerRecord = '#', -1
	if rows, err = r.ReadAll(); err != nil {
		t.Fatal(err)
	}
	return rows, notes
}

// benchSteps computes the first rows of a step's result, and reports processor
// time for a print of 18000 x 12000 px.
func benchSteps(b *testing.B, rows int, op Operation, a Args, in ...*canvas) {
	s := bind(b, op, a, in...)
	var r []Rows
	for _, p := range in {
		r = append(r, &rowsOf{t: b, pic: p.Pic, data: p.data, hi: p.H})
	}
	dst := make([]uint16, s.Pic().Stride())
	b.ResetTimer()
	began := cpuSeconds()
	for b.Loop() {
		w := s.Worker()
		for y := range rows {
			w.Row(dst, y, r)
		}
	}
	b.ReportMetric((cpuSeconds()-began)*1e9/float64(b.N*s.Pic().W*rows), "cpu-ns/px")
}

func num(t *testing.T, s string) float64 {
	t.Helper()
	f, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// Names of the check values' kernels in our words.
var kernelWords = map[string]string{
	"mitchell": "mitchell", "catmullrom": "cubic", "bspline": "b-spline",
	"lanczos2": "lanczos2", "lanczos3": "lanczos3", "lanczos4": "lanczos4", "triangle": "linear",
}

func TestKernelsAgainstPublishedFormulas(t *testing.T) {
	// Source: testdata/standards/resample.csv.
	rows, _ := checkValues(t, "resample.csv")
	head, n := rows[0], 0
	for _, row := range rows[1:] {
		if row[0] != "h" {
			continue
		}
		x := num(t, row[1])
		// The positions are decimals of these fractions.
		d := int64(120)
		p := int64(math.Floor(x*float64(d) + 0.5))
		if math.Abs(float64(p)/float64(d)-x) > 1e-12 {
			t.Fatalf("position %v isn't in 120ths", x)
		}
		for i := 2; i < len(head); i++ {
			k := kernelNamed(kernelWords[head[i]])
			if got, want := k.at(p, d).Float64(), num(t, row[i]); math.Abs(got-want) > 5e-13 {
				t.Errorf("%s at %v: %v, want %v", k.name, x, got, want)
			}
			n++
		}
	}
	if n < 200 {
		t.Errorf("only %d values compared", n)
	}
}

func TestAxisFollowsTheDefinition(t *testing.T) {
	// Source: the definition in float64, kernels by Go's math package.
	h := func(name string, x float64) float64 {
		x = math.Abs(x)
		sinc := func(v float64) float64 {
			if v == 0 {
				return 1
			}
			return math.Sin(math.Pi*v) / (math.Pi * v)
		}
		bc := func(b, c float64) float64 {
			switch {
			case x < 1:
				return ((12-9*b-6*c)*x*x*x + (-18+12*b+6*c)*x*x + 6 - 2*b) / 6
			case x < 2:
				return ((-b-6*c)*x*x*x + (6*b+30*c)*x*x + (-12*b-48*c)*x + 8*b + 24*c) / 6
			}
			return 0
		}
		switch name {
		case "linear":
			return max(0, 1-x)
		case "cubic":
			return bc(0, 0.5)
		case "mitchell":
			return bc(1./3, 1./3)
		case "b-spline":
			return bc(1, 0)
		}
		n := float64(name[len(name)-1] - '0')
		if x >= n {
			return 0
		}
		return sinc(x) * sinc(x/n)
	}
	for _, k := range kernels {
		if k.support == 0 {
			continue
		}
		for _, c := range [][2]int{{6, 18}, {1, 5}, {2, 3}, {7, 7}, {50, 71}, {73, 74}, {40, 9}, {300, 7}, {9, 100}, {5, 1}} {
			m, n := c[0], c[1]
			ax := k.axis(m, n)
			wide := max(1, float64(m)/float64(n))
			for i := range n {
				centre := (float64(i)+0.5)*float64(m)/float64(n) - 0.5
				var sum float64
				want := make([]float64, m)
				for j := range m {
					want[j] = h(k.name, (float64(j)-centre)/wide)
					sum += want[j]
				}
				lo, hi := int(ax.start[i]), ax.end(i)
				if l, h := ax.window(i); l > lo || h < hi || i > 0 && l < int(ax.low[i-1]) {
					t.Fatalf("%s %d to %d, column %d: window %d..%d for %d..%d", k.name, m, n, i, l, h, lo, hi)
				}
				if lo < 0 || hi > m || lo >= hi {
					t.Fatalf("%s %d to %d, column %d: window %d..%d", k.name, m, n, i, lo, hi)
				}
				for j := range m {
					got := 0.0
					if j >= lo && j < hi {
						got = float64(ax.taps(i)[j-lo])
					}
					if math.Abs(got-want[j]/sum) > 1e-7 {
						t.Fatalf("%s %d to %d, column %d, tap %d: %v, want %v", k.name, m, n, i, j, got, want[j]/sum)
					}
				}
				// The mirrored column has the mirrored weights, bit for bit.
				a, b := ax.taps(i), ax.taps(n-1-i)
				if len(a) != len(b) || int(ax.start[n-1-i]) != m-hi {
					t.Fatalf("%s %d to %d: columns %d and %d don't mirror", k.name, m, n, i, n-1-i)
				}
				for j := range a {
					if a[j] != b[len(b)-1-j] {
						t.Fatalf("%s %d to %d, column %d: weights don't mirror", k.name, m, n, i)
					}
				}
			}
		}
	}
}

func TestNearestIsNearest(t *testing.T) {
	for m := 1; m < 20; m++ {
		for n := 1; n < 40; n++ {
			for i := range n {
				j := nearest(m, n, i)
				// Distances of centres in units of 1/2n.
				d := func(j int) int {
					v := (2*i+1)*m - n - 2*n*j
					return max(v, -v)
				}
				for o := range m {
					if d(o) < d(j) {
						t.Fatalf("%d of %d from %d: %d, but %d is nearer", i, n, m, j, o)
					}
				}
				if 2*i+1 != n && nearest(m, n, n-1-i) != m-1-j {
					t.Fatalf("%d of %d from %d doesn't mirror", i, n, m)
				}
			}
		}
	}
}
