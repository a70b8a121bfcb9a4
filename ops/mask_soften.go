package ops

import (
	"math/big"
	"slices"
)

// softener blurs the plane by a Gaussian of standard deviation σ, cut at
// r = floor(4σ + 1/2), the edge repeated, across and then down. Weight k is
// exp(-k²/2σ²) over the sum of all, worked out with 106 bits and rounded once
// to float32. Each sum starts with the outermost pair and ends
// with the middle, w_r(p_-r + p_r) + … + w_0 p_0; a hair above 1 is cut.
type softener struct {
	radius int
	w      []float32 // w[k] for the pair at ±k
	pw, ph int       // of the result
	lead   int       // columns that the first sum reaches left of the plane
}

func newSoftener(sigma *big.Rat, w, h int) *softener {
	taps := gaussian(sigma)
	slices.Reverse(taps)
	return &softener{radius: len(taps) - 1, w: taps, pw: w, ph: h, lead: len(taps) - 1}
}

// part is the softener for w columns of the result, of a plane that begins at
// column at of these: not after -radius, and later only at the frame's edge.
func (s *softener) part(at, w int) *softener {
	p := *s
	p.pw, p.lead = w, s.radius+at
	return &p
}

func (s *softener) worker() *softenWorker {
	n := min(2*s.radius+1, s.ph)
	return &softenWorker{s: s, slots: make([]softenSlot, n), pad: make([]float32, s.pw+2*s.radius)}
}

// softenWorker keeps the rows last blurred across, by row number: enough for
// one output row.
type softenWorker struct {
	s     *softener
	slots []softenSlot
	pad   []float32
}

type softenSlot struct {
	key int // row number + 1
	shapeRow
}

// row adds the blurred row y to dst, which is empty. plane gives the rows of
// the plane before.
func (k *softenWorker) row(dst *shapeRow, y int, plane func(y int) *shapeRow) {
	s := k.s
	lo, hi := s.pw, 0
	for r := max(0, y-s.radius); r <= min(s.ph-1, y+s.radius); r++ {
		m := k.fetch(r, plane)
		if m.lo < m.hi {
			lo, hi = min(lo, m.lo), max(hi, m.hi)
		}
	}
	if lo >= hi {
		return
	}
	at := func(r int) *shapeRow {
		return &k.slots[max(0, min(r, s.ph-1))%len(k.slots)].shapeRow
	}
	out := dst.v[lo:hi]
	for d := s.radius; d > 0; d-- {
		a, b := at(y-d), at(y+d)
		if a.lo >= a.hi && b.lo >= b.hi {
			continue // adds exactly 0
		}
		addPair(out, a.v[lo:hi], b.v[lo:hi], s.w[d])
	}
	w0 := s.w[0]
	for i, v := range at(y).v[lo:hi] {
		t := out[i] + float32(w0*v)
		if t > 1 {
			t = 1
		}
		out[i] = t
	}
	dst.lo, dst.hi = lo, hi
}

// addPair adds w(a + b) to out.
func addPair(out, a, b []float32, w float32) {
	a, b = a[:len(out)], b[:len(out)]
	for i, v := range out {
		out[i] = v + float32(w*(a[i]+b[i]))
	}
}

// fetch returns the slot that holds row r blurred across.
func (k *softenWorker) fetch(r int, plane func(y int) *shapeRow) *softenSlot {
	m := &k.slots[r%len(k.slots)]
	if m.key == r+1 {
		return m
	}
	m.key = r + 1
	if m.v == nil {
		m.v = make([]float32, k.s.pw)
	}
	m.clear()
	src := plane(r)
	if src.lo >= src.hi {
		return m
	}
	lead, last := k.s.lead, len(src.v)-1
	for i := range lead {
		k.pad[i] = src.v[0]
	}
	copy(k.pad[lead:], src.v)
	for i := lead + last + 1; i < len(k.pad); i++ {
		k.pad[i] = src.v[last]
	}
	m.lo, m.hi = max(0, src.lo+lead-2*k.s.radius), min(k.s.pw, src.hi+lead)
	k.across(m.v, m.lo, m.hi)
	return m
}

// across blurs the padded row into out[lo:hi], four pixels at a time so that
// each weight is loaded once.
func (k *softenWorker) across(out []float32, lo, hi int) {
	n, w := k.s.radius, k.s.w
	x := lo
	for ; x+4 <= hi; x += 4 {
		p := k.pad[x : x+2*n+4] // p[n+j] is pixel x+j
		var a, b, c, d float32
		for i := n; i > 0; i-- {
			l, r, f := p[n-i:n-i+4], p[n+i:n+i+4], w[i]
			a += float32(f * (l[0] + r[0]))
			b += float32(f * (l[1] + r[1]))
			c += float32(f * (l[2] + r[2]))
			d += float32(f * (l[3] + r[3]))
		}
		m := p[n : n+4]
		out[x] = a + float32(w[0]*m[0])
		out[x+1] = b + float32(w[0]*m[1])
		out[x+2] = c + float32(w[0]*m[2])
		out[x+3] = d + float32(w[0]*m[3])
	}
	for ; x < hi; x++ {
		p := k.pad[x : x+2*n+1]
		var a float32
		for i := n; i > 0; i-- {
			a += float32(w[i] * (p[n-i] + p[n+i]))
		}
		out[x] = a + float32(w[0]*p[n])
	}
}
