package ops

import (
	"math/bits"
	"slices"
)

// axis says, for one direction, which input samples make each output sample:
// output i is the sum over t < count[i] of w[off[i]+t] times input start[i]+t.
// Outputs of the same phase share one run of w.
type axis struct {
	start, off, count []int32
	w                 []float32
	most              int     // the largest count
	low               []int32 // the smallest start from i on: it never falls
}

func newAxis(n int) *axis {
	return &axis{start: make([]int32, n), off: make([]int32, n), count: make([]int32, n)}
}

// taps returns the weights of output i.
func (a *axis) taps(i int) []float32 {
	o := a.off[i]
	return a.w[o : o+a.count[i]]
}

// add appends a run of weights and returns its offset.
func (a *axis) add(w []float32) int32 {
	o := int32(len(a.w))
	a.w = append(a.w, w...)
	a.most = max(a.most, len(w))
	return o
}

// done completes an axis once all runs are in.
func (a *axis) done() *axis {
	a.low = make([]int32, len(a.start))
	low := int32(0)
	for i := len(a.start) - 1; i >= 0; i-- {
		if i == len(a.start)-1 || a.start[i] < low {
			low = a.start[i]
		}
		a.low[i] = low
	}
	return a
}

// window returns an input range lo <= r < hi that holds output i's. Where
// zero weights were left out the range of output i may begin behind that of
// i+1; lo is that of whichever comes first, so that it never falls.
func (a *axis) window(i int) (lo, hi int) {
	return int(a.low[i]), a.end(i)
}

// reach is the range of inputs that outputs from <= i < till read.
func (a *axis) reach(from, till int) (lo, hi int) {
	lo = int(a.start[from])
	for i := from; i < till; i++ {
		lo, hi = min(lo, int(a.start[i])), max(hi, a.end(i))
	}
	return lo, hi
}

// part is the axis of the outputs from <= i < till, their inputs counted from lo.
func (a *axis) part(from, till, lo int) *axis {
	p := &axis{start: slices.Clone(a.start[from:till]), off: a.off[from:till], count: a.count[from:till], w: a.w, most: a.most}
	for i := range p.start {
		p.start[i] -= int32(lo)
	}
	return p.done()
}

// end is the first input behind output i's.
func (a *axis) end(i int) int { return int(a.start[i] + a.count[i]) }

// quo32 is num/den rounded once to float32, half to even. den is not 0; both
// are below 1<<63.
func quo32(num, den uint64) float32 {
	if num == 0 {
		return 0
	}
	// Scale so that the whole quotient has 26 or 27 bits, two more than a
	// float32 holds; an odd last bit then stands for whatever is left over.
	k := 26 - (bits.Len64(num) - bits.Len64(den))
	hi, lo, d := uint64(0), num, den
	switch {
	case k >= 64:
		hi, lo = num<<(k-64), 0
	case k > 0:
		hi, lo = num>>(64-k), num<<k
	default:
		d = den << -k
	}
	q, r := bits.Div64(hi, lo, d)
	if r != 0 {
		q |= 1
	}
	return float32(scale2(float64(q), -k))
}

// scale2 is f times 2 to the power k, for |k| < 128.
func scale2(f float64, k int) float64 {
	for ; k > 0; k-- {
		f *= 2
	}
	for ; k < 0; k++ {
		f *= 0.5
	}
	return f
}

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b != 0 && (a < 0) != (b < 0) {
		q--
	}
	return q
}

func ceilDiv(a, b int64) int64 { return -floorDiv(-a, b) }
