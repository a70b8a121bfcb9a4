package ops

import (
	"bytes"
	"fmt"
	"image"
	"math/big"
	"sort"
	"sync"
	"unsafe"
)

// A mask is a plane of 16-bit shares (65535 is all) on the frame, the whole
// upright master. A step whose picture shows only a part of the frame, at
// another size, reads it through a sampler.
//
// Pixel i of n has its centre at x0 + (2i+1)(x1-x0)/(2n) in frame pixels
// (edges whole, centres at .5), held inside the outermost frame centres. Where
// the picture is larger than the part, the two neighbours are mixed by
// distance; where it is smaller, the same triangle is widened by (x1-x0)/n and
// the taps outside the frame are dropped. Weights are exact quotients of whole
// numbers, rounded once to float32; of two weights the larger is rounded and
// the smaller is what is left to 1. Horizontal first, then vertical, the taps
// added from the outside in; from nearlyAll on a weight is 1.

// Kinds of a mask row.
const (
	maskMixed = iota // anything
	maskZero         // every weight is exactly 0
	maskOne          // every weight is exactly 1
)

// sampler is the immutable part: weights for every column and row.
type sampler struct {
	x, y func() *axis // made when a row or its need is asked for
	w    int          // picture width
	mask Pic
}

// maskFor is the sampler for the mask that in holds, nil where it is empty.
func maskFor(covers string, in []Pic, out Pic) (*sampler, error) {
	if len(in) == 0 {
		return nil, nil
	}
	return newSampler(covers, in[0], out)
}

// newSampler binds the part of the frame that a picture shows. covers is
// "x0 y0 x1 y1" in frame pixels as reduced fractions, "" for the whole frame;
// mask is the mask's kind (1 channel, the frame's size), out the picture's.
func newSampler(covers string, mask Pic, out Pic) (*sampler, error) {
	if mask.C != 1 {
		return nil, fmt.Errorf("a mask has 1 channel, this input has %d", mask.C)
	}
	if mask.W < 1 || mask.H < 1 || out.W < 1 || out.H < 1 {
		return nil, fmt.Errorf("a mask of %d x %d px can't serve a picture of %d x %d px", mask.W, mask.H, out.W, out.H)
	}
	if covers == "" {
		covers = fmt.Sprintf("0 0 %d %d", mask.W, mask.H)
	}
	c, err := Args{{"covers", covers}}.Rats("covers", 4)
	if err != nil {
		return nil, err
	}
	for i, side := range []int{mask.W, mask.H} {
		if c[i].Sign() < 0 || c[i].Cmp(c[i+2]) >= 0 || c[i+2].Cmp(new(big.Rat).SetInt64(int64(side))) > 0 {
			return nil, fmt.Errorf("covers is %q, expected left, top, right and bottom inside the frame of %d x %d px",
				covers, mask.W, mask.H)
		}
	}
	s := &sampler{w: out.W, mask: mask}
	if s.x, err = coverAxis(c[0], c[2], mask.W, out.W); err != nil {
		return nil, err
	}
	if s.y, err = coverAxis(c[1], c[3], mask.H, out.H); err != nil {
		return nil, err
	}
	return s, nil
}

// coverAxis gives the weights for n samples over x0..x1 of a side of m.
func coverAxis(x0, x1 *big.Rat, m, n int) (func() *axis, error) {
	// In units of 1/den of a frame pixel every place is a whole number.
	q := new(big.Int).Mul(x0.Denom(), x1.Denom())
	q.Div(q, new(big.Int).GCD(nil, nil, x0.Denom(), x1.Denom()))
	bigDen := new(big.Int).Mul(q, big.NewInt(2*int64(n)))
	// The largest sum below: a frame of m taps, each at most m.
	if room := new(big.Int).Mul(bigDen, big.NewInt(4*int64(m)*int64(m))); room.BitLen() > 62 {
		return nil, fmt.Errorf("the part of the frame from %s to %s has too many decimals for exact positions; use at most 4",
			x0.FloatString(12), x1.FloatString(12))
	}
	den := bigDen.Int64()
	whole := func(r *big.Rat) int64 { // r in units of 1/q
		z := new(big.Int).Mul(r.Num(), new(big.Int).Div(q, r.Denom()))
		return z.Int64()
	}
	a, b := whole(x0), whole(x1)
	return sync.OnceValue(func() *axis { return triangles(a, b, den, m, n) }), nil
}

// triangles makes the weights for n samples over a..b of a side of m; a and b are in
// parts of a pixel, of which it has den/2n.
func triangles(a, b, den int64, m, n int) *axis {
	reach := max(den, 2*(b-a)) // half-width of the triangle
	ax := newAxis(n)
	ax.w = make([]float32, 0, 2*n) // as many, or a few more, unless the picture is smaller
	var w []float32
	var share []uint64
	for i := range n {
		// Centre in index coordinates, where sample j has its centre at j.
		c := 2*int64(n)*a + int64(2*i+1)*(b-a) - den/2
		c = max(0, min(c, int64(m-1)*den))
		lo := max(0, floorDiv(c-reach, den)+1)
		hi := min(int64(m), ceilDiv(c+reach, den))
		share = share[:0]
		var sum uint64
		for j := lo; j < hi; j++ {
			d := j*den - c
			if d < 0 {
				d = -d
			}
			share = append(share, uint64(reach-d))
			sum += uint64(reach - d)
		}
		w = w[:0]
		for _, v := range share {
			w = append(w, quo32(v, sum))
		}
		if len(w) == 2 {
			if share[0] >= share[1] {
				w[1] = 1 - w[0]
			} else {
				w[0] = 1 - w[1]
			}
		}
		ax.start[i], ax.count[i] = int32(lo), int32(len(w))
		ax.off[i] = ax.add(w)
	}
	return ax.done()
}

// window returns the mask rows lo <= r < hi that picture row y needs.
func (s *sampler) window(y int) (lo, hi int) { return s.y().window(y) }

// needs is the part of the mask that the part r of the picture reads.
func (s *sampler) needs(r image.Rectangle) image.Rectangle {
	x0, x1 := s.x().reach(r.Min.X, r.Max.X)
	y0, y1 := s.y().reach(r.Min.Y, r.Max.Y)
	return image.Rect(x0, y0, x1, y1)
}

// part is the sampler for the columns of r, of a mask cut to its needs; nil for
// none.
func (s *sampler) part(r image.Rectangle) *sampler {
	if s == nil {
		return nil
	}
	lo, hi := s.x().reach(r.Min.X, r.Max.X)
	x := sync.OnceValue(func() *axis { return s.x().part(r.Min.X, r.Max.X, lo) })
	return &sampler{x: x, y: s.y, w: r.Dx(), mask: s.mask.wide(hi - lo)}
}

// memory is what a worker holds, in bytes; 0 without a sampler.
func (s *sampler) memory() int64 {
	if s == nil {
		return 0
	}
	return 4 * (int64(s.y().most+1)*int64(s.w) + int64(s.mask.W))
}

// worker returns private state for one worker; nil without a sampler.
func (s *sampler) worker() *samplerWorker {
	if s == nil {
		return nil
	}
	y := s.y()
	return &samplerWorker{s: s, x: s.x(), y: y, slots: make([]maskRow, y.most), rows: make([][]float32, y.most), out: make([]float32, s.w)}
}

// samplerWorker keeps the mask rows last resampled, by row number.
type samplerWorker struct {
	s     *sampler
	x, y  *axis
	slots []maskRow
	rows  [][]float32
	in    []float32
	out   []float32
}

type maskRow struct {
	key    int // row number + 1
	kind   int
	filled bool // row holds the one value of a kind that isn't mixed
	row    []float32
}

// row returns the weights of picture row y, 0 to 1, one a pixel, and what kind
// of row it is; for maskZero and maskOne the weights are nil. They are valid
// until the next call. The mask is the first of in; without a sampler all is 1.
func (k *samplerWorker) row(y int, in []Rows) (w []float32, kind int) {
	if k == nil {
		return nil, maskOne
	}
	mask := in[0]
	lo, hi := int(k.y.start[y]), k.y.end(y)
	zero, one := true, true
	for r := lo; r < hi; r++ {
		m := k.fetch(r, mask)
		zero = zero && m.kind == maskZero
		one = one && m.kind == maskOne
	}
	if zero {
		return nil, maskZero
	}
	if one {
		return nil, maskOne
	}
	t := k.y.taps(y)
	if len(t) == 1 {
		return k.level(lo).row, maskMixed
	}
	for r := lo; r < hi; r++ {
		k.rows[r-lo] = k.level(r).row
	}
	sumRows(k.out, k.rows[:len(t)], 0, t)
	holdRow(k.out)
	return k.out, maskMixed
}

// fetch returns the slot of mask row r, resampled across if need be.
func (k *samplerWorker) fetch(r int, mask Rows) *maskRow {
	m := &k.slots[r%len(k.slots)]
	if m.key == r+1 {
		return m
	}
	m.key, m.filled = r+1, false
	src := mask.Row(r)[:k.s.mask.W]
	m.kind = maskKind(src, 65535)
	if m.kind == maskMixed {
		k.across(m, src)
	}
	return m
}

// level returns the slot of row r, which was fetched before, with its weights
// filled in even where they are all 0 or all 1.
func (k *samplerWorker) level(r int) *maskRow {
	m := &k.slots[r%len(k.slots)]
	if m.kind != maskMixed && !m.filled {
		m.filled = true
		m.ready(k.s.w)
		v := float32(0)
		if m.kind == maskOne {
			v = 1
		}
		for i := range m.row {
			m.row[i] = v
		}
	}
	return m
}

func (m *maskRow) ready(w int) {
	if m.row == nil {
		m.row = make([]float32, w)
	}
}

// maskKind is the kind of a row, or a part of one, whose weights are up to one.
func maskKind[T uint16 | float32](w []T, one T) int {
	v := w[0]
	if v != 0 && v != one {
		return maskMixed
	}
	b := unsafe.Slice((*byte)(unsafe.Pointer(&w[0])), len(w)*int(unsafe.Sizeof(v)))
	if next := b[unsafe.Sizeof(v):]; !bytes.Equal(next, b[:len(next)]) {
		return maskMixed
	}
	if v == 0 {
		return maskZero
	}
	return maskOne
}

// across resamples one mask row to the picture's width, but for its ends that come
// from nothing but 0.
func (k *samplerWorker) across(m *maskRow, src []uint16) {
	if k.in == nil {
		k.in = make([]float32, k.s.mask.W)
	}
	m.ready(k.s.w)
	lo, hi := 0, len(src)
	for ; src[lo] == 0; lo++ {
	}
	for ; src[hi-1] == 0; hi-- {
	}
	x := k.x
	from := sort.Search(k.s.w, func(i int) bool { return x.end(i) > lo })
	till := sort.Search(k.s.w, func(i int) bool { return int(x.start[i]) >= hi })
	clear(m.row[:from])
	clear(m.row[max(from, till):])
	if from >= till { // a picture's part may show none of the rest
		return
	}
	for i := int(x.start[from]); i < x.end(till-1); i++ {
		k.in[i] = float32(src[i]) / 65535
	}
	row := m.row[from:till]
	across(row, k.in, &axis{start: x.start[from:till], off: x.off[from:till], count: x.count[from:till], w: x.w}, 1)
	holdRow(row)
}
