package ops

import (
	"image"
	"math/rand/v2"
	"slices"
	"testing"
)

// failer is what testing.TB and rapid.T share.
type failer interface {
	Helper()
	Fatalf(format string, args ...any)
}

// plane is a picture in memory that refuses rows outside a window.
type plane struct {
	tb     failer
	pic    Pic
	data   []uint16
	lo, hi int
}

func (p *plane) Row(y int) []uint16 {
	if y < p.lo || y >= p.hi {
		p.tb.Fatalf("row %d asked for, the window is %d to %d", y, p.lo, p.hi)
	}
	n := p.pic.Stride()
	return p.data[y*n : (y+1)*n : (y+1)*n]
}

// build runs a step over whole pictures, row by row in the order given (nil:
// top to bottom), and checks each window.
func build(tb failer, s Step, order []int, in ...*plane) []uint16 {
	tb.Helper()
	p := s.Pic()
	out := make([]uint16, p.Stride()*p.H)
	w := s.Worker()
	rows := make([]Rows, len(in))
	for i := range in {
		rows[i] = in[i]
	}
	if order == nil {
		for y := range p.H {
			order = append(order, y)
		}
	}
	for _, y := range order {
		for i := range in {
			in[i].tb = tb
			in[i].lo, in[i].hi = s.Window(i, y)
			if in[i].lo < 0 || in[i].hi > in[i].pic.H || in[i].lo > in[i].hi {
				tb.Fatalf("row %d: window %d to %d of %d rows", y, in[i].lo, in[i].hi, in[i].pic.H)
			}
		}
		w.Row(out[y*p.Stride():(y+1)*p.Stride()], y, rows)
	}
	return out
}

// checkOrders builds in three orders, with workers cut at odd places, and
// checks that the low end of every window never falls.
func checkOrders(t *testing.T, s Step, in ...*plane) []uint16 {
	t.Helper()
	want := build(t, s, nil, in...)
	h, n := s.Pic().H, s.Pic().Stride()
	up := make([]int, h)
	for i := range up {
		up[i] = h - 1 - i
	}
	rng := rand.New(rand.NewPCG(1, uint64(h)))
	for _, order := range [][]int{up, rng.Perm(h), append(rng.Perm(h), rng.Perm(h)...)} {
		if got := build(t, s, order, in...); !slices.Equal(got, want) {
			t.Fatal("rows depend on the order they are asked for")
		}
	}
	for y0 := 0; y0 < h; y0 += 7 { // a worker for each 7 rows
		var band []int
		for y := y0; y < min(y0+7, h); y++ {
			band = append(band, y)
		}
		got := build(t, s, band, in...)
		if !slices.Equal(got[y0*n:min(y0+7, h)*n], want[y0*n:min(y0+7, h)*n]) {
			t.Fatalf("rows from %d on depend on the rows before", y0)
		}
	}
	for i := range in {
		last := 0
		for y := range h {
			lo, _ := s.Window(i, y)
			if lo < last {
				t.Fatalf("input %d: the window of row %d starts at %d, above that of the row before (%d)", i, y, lo, last)
			}
			last = lo
		}
	}
	return want
}

// checkPart computes a part of a step's result from what it needs alone and holds it
// against the whole.
func checkPart(t *testing.T, rng *rand.Rand, s Partial, whole []uint16, in ...*plane) {
	t.Helper()
	w, h, c := s.Pic().W, s.Pic().H, s.Pic().C
	x, y := rng.IntN(w), rng.IntN(h)
	r := image.Rect(x, y, x+1+rng.IntN(w-x), y+1+rng.IntN(h-y))
	rows := make([]Rows, len(in))
	for i, p := range in {
		need := s.Needs(i, r)
		cut := &plane{tb: t, pic: p.pic.wide(need.Dx()), lo: need.Min.Y, hi: need.Max.Y}
		for y := range p.pic.H {
			cut.data = append(cut.data, p.data[(y*p.pic.W+need.Min.X)*p.pic.C:(y*p.pic.W+need.Max.X)*p.pic.C]...)
		}
		rows[i] = cut
	}
	part, left := s.Part(r)
	worker, row := part.Worker(), make([]uint16, part.Pic().Stride())
	for y := r.Min.Y; y < r.Max.Y; y++ {
		worker.Row(row, y, rows)
		if !slices.Equal(row[(r.Min.X-left)*c:(r.Max.X-left)*c], whole[(y*w+r.Min.X)*c:(y*w+r.Max.X)*c]) {
			t.Fatalf("row %d of the part %v differs", y, r)
		}
	}
}

func noise(rng *rand.Rand, p Pic) *plane {
	d := make([]uint16, p.Stride()*p.H)
	for i := range d {
		d[i] = uint16(rng.IntN(65536))
	}
	return &plane{pic: p, data: d}
}
