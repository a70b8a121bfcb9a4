package ops

import (
	"math/big"
	"slices"
	"sync"
)

// toneBlur is the blur of lightness behind local contrast: near enough a
// Gaussian of standard deviation radius, at a cost that grows little with it.
//
// With f = floor(radius / 6), at least 1, a plane is cut into blocks of f x f px
// from the upper left corner (the last ones may be smaller) and each becomes its
// mean; that small plane is blurred by the Gaussian of sharpen of standard
// deviation radius / f, rows and columns, its edge repeated; and the value at
// pixel i of an axis is read at place (i + 1/2)/f - 1/2, linear between blocks,
// first down, then across. Below a radius of 12 px f is 1 and this is the
// Gaussian itself; above, blocks and lines widen it by less than 1 %.
//
// Means are float64 sums along a block's rows from the top, divided and rounded
// once to float32; all else is float32.
type toneBlur struct {
	w, h   int // of the picture
	f      int
	bw, bh int // blocks
	taps   []float32
	x      []blurPlace
	// once and rows are, in a run, the rows of blocks blurred across that all
	// workers share, by number.
	once []sync.Once
	rows [][]float32
}

// sharedBlur is the side of a block from which on the rows of blocks are few
// enough to be shared: below, all of them would be a quarter of a picture and
// more.
const sharedBlur = 4

// memory is what a worker, and all of them, hold.
func (b *toneBlur) memory() (worker, shared int64) {
	rows := min(2*len(b.taps), b.bh)
	if b.f >= sharedBlur {
		rows, shared = 0, 4*int64(b.bw)*int64(b.bh)
	}
	return 4*int64(b.w) + 4*int64(rows+6)*int64(b.bw), shared
}

// columns are those of the input that columns from <= x < till of the blur read.
func (b *toneBlur) columns(from, till int) (lo, hi int) {
	r := len(b.taps) - 1
	first, last := int(b.x[from].at)-r, int(b.x[till-1].at)+1+r
	return b.f * max(0, first), min(b.w, b.f*(last+1))
}

// part is the blur of columns from <= x < till, of an input that is cut to what
// they read. The blocks at its ends repeat what isn't the picture's edge: they
// are wrong as far as the blur reaches, which is short of those read.
func (b *toneBlur) part(from, till int) *toneBlur {
	lo, hi := b.columns(from, till)
	p := &toneBlur{w: hi - lo, h: b.h, f: b.f, bw: (hi - lo + b.f - 1) / b.f, bh: b.bh, taps: b.taps, x: slices.Clone(b.x[from:till])}
	for i := range p.x {
		p.x[i].at -= int32(lo / b.f)
	}
	return p
}

// blurPlace is a block and the share of its right neighbour.
type blurPlace struct {
	at    int32
	share float32
}

func newToneBlur(w, h int, radius *big.Rat) *toneBlur {
	six := new(big.Rat).Quo(radius, big.NewRat(6, 1))
	f := max(1, int(new(big.Int).Div(six.Num(), six.Denom()).Int64()))
	b := &toneBlur{w: w, h: h, f: f, bw: (w + f - 1) / f, bh: (h + f - 1) / f}
	b.taps = gaussian(new(big.Rat).Quo(radius, big.NewRat(int64(f), 1)))
	b.x = make([]blurPlace, w)
	for i := range b.x {
		b.x[i] = b.place(i, b.bw)
	}
	return b
}

// place is where pixel i of an axis of n blocks is read.
func (b *toneBlur) place(i, n int) blurPlace {
	num, den := 2*i+1-b.f, 2*b.f
	if num <= 0 {
		return blurPlace{}
	}
	k := num / den
	if k >= n-1 {
		return blurPlace{at: int32(n - 1)}
	}
	return blurPlace{int32(k), float32(num%den) / float32(den)}
}

// window is which rows of the picture the blur at row y reads.
func (b *toneBlur) window(y int) (lo, hi int) {
	r := len(b.taps) - 1
	p := b.place(y, b.bh)
	last := int(p.at) + r
	if p.share > 0 {
		last++
	}
	return b.f * max(0, int(p.at)-r), min(b.h, b.f*(min(b.bh-1, last)+1))
}

// toneBlurWorker keeps block rows by number: those blurred across, and those
// blurred both ways.
type toneBlurWorker struct {
	*toneBlur
	level   func(dst []float32, row []uint16)
	line    []float32 // a row of the picture's lightness
	sums    []float64 // of a row of blocks
	wide    []float32 // a row of blocks, its ends repeated
	shifted [][]float32
	keys    []int // block row + 1 of each slot
	slots   [][]float32
	rows    [][]float32
	keys2   [2]int
	slots2  [2][]float32
	mixed   []float32 // the blocks read at the loaded row
}

func (b *toneBlur) worker(level func([]float32, []uint16)) *toneBlurWorker {
	r := len(b.taps) - 1
	k := &toneBlurWorker{toneBlur: b, level: level, line: make([]float32, b.w), sums: make([]float64, b.bw),
		wide: make([]float32, b.bw+2*r), keys: make([]int, min(2*r+2, b.bh)), rows: make([][]float32, 2*r+1)}
	for i := range 2*r + 1 {
		k.shifted = append(k.shifted, k.wide[i:i+b.bw])
	}
	if b.rows != nil {
		k.keys = nil
	}
	for range k.keys {
		k.slots = append(k.slots, make([]float32, b.bw))
	}
	for i := range k.slots2 {
		k.slots2[i] = make([]float32, b.bw)
	}
	return k
}

// load makes what row y of the picture reads.
func (k *toneBlurWorker) load(y int, in Rows) {
	p := k.place(y, k.bh)
	k.mixed = k.blurred(int(p.at), in)
	if p.share == 0 {
		return
	}
	below := k.blurred(int(p.at)+1, in)
	above := k.mixed
	k.mixed = k.wide[:k.bw]
	for i := range k.mixed {
		k.mixed[i] = above[i] + float32(p.share*(below[i]-above[i]))
	}
}

// read sets dst to the blur of the loaded row from column x on.
func (k *toneBlurWorker) read(dst []float32, x int) {
	if k.f == 1 {
		copy(dst, k.mixed[k.x[x].at:])
		return
	}
	for i, p := range k.x[x : x+len(dst)] {
		v := k.mixed[p.at]
		if p.share != 0 {
			v += float32(p.share * (k.mixed[p.at+1] - v))
		}
		dst[i] = v
	}
}

// blurred is a row of blocks blurred both ways.
func (k *toneBlurWorker) blurred(j int, in Rows) []float32 {
	slot := j & 1
	out := k.slots2[slot]
	if k.keys2[slot] == j+1 {
		return out
	}
	k.keys2[slot] = j + 1
	r := len(k.taps) - 1
	for t := range k.rows {
		k.rows[t] = k.across(max(0, min(k.bh-1, j-r+t)), in)
	}
	for x := 0; x < k.bw; x += pixelBlock {
		symRows(out[x:min(x+pixelBlock, k.bw)], k.rows, x, k.taps)
	}
	return out
}

// across is a row of blocks blurred along x.
func (k *toneBlurWorker) across(j int, in Rows) []float32 {
	if k.toneBlur.rows != nil {
		k.once[j].Do(func() {
			out := make([]float32, k.bw)
			k.blocks(out, j, in)
			k.toneBlur.rows[j] = out
		})
		return k.toneBlur.rows[j]
	}
	slot := j % len(k.slots)
	out := k.slots[slot]
	if k.keys[slot] != j+1 {
		k.keys[slot] = j + 1
		k.blocks(out, j, in)
	}
	return out
}

// blocks sets out to row j of the blocks blurred along x.
func (k *toneBlurWorker) blocks(out []float32, j int, in Rows) {
	r := len(k.taps) - 1
	k.means(k.wide[r:r+k.bw], j, in)
	first, last := k.wide[r], k.wide[r+k.bw-1]
	for i := range r {
		k.wide[i], k.wide[r+k.bw+i] = first, last
	}
	for x := 0; x < k.bw; x += pixelBlock {
		symRows(out[x:min(x+pixelBlock, k.bw)], k.shifted, x, k.taps)
	}
}

// means sets dst to row j of the small plane.
func (k *toneBlurWorker) means(dst []float32, j int, in Rows) {
	if k.f == 1 {
		k.level(dst, in.Row(j))
		return
	}
	clear(k.sums)
	y0, y1 := j*k.f, min(k.h, (j+1)*k.f)
	for y := y0; y < y1; y++ {
		k.level(k.line, in.Row(y))
		for i := range k.sums {
			s := k.sums[i]
			for _, v := range k.line[i*k.f : min(k.w, (i+1)*k.f)] {
				s += float64(v)
			}
			k.sums[i] = s
		}
	}
	for i, s := range k.sums {
		n := (y1 - y0) * (min(k.w, (i+1)*k.f) - i*k.f)
		dst[i] = float32(s / float64(n))
	}
}
