package ops

import (
	"math/big"
	"sync"
)

// toneAround is the surroundings of lightness behind local contrast: a guided
// filter of the lightness by itself (K. He, J. Sun and X. Tang, "Guided image
// filtering", ECCV 2010), on means of blocks (K. He and J. Sun, "Fast guided
// filter", 2015), so that edges keep their place and its cost doesn't grow.
//
// With f = floor(radius / 3), one less where that is even, at least 1, a plane is
// cut into blocks of f x f px, as many as cover it when as much is left over on
// either side (the outermost are smaller), and each becomes its mean. In windows
// of blocks up to r = floor(1.225 radius / f + 1/2) away, as far as there are any,
//
//	a = V / (V + 100),  b = (1 - a) M
//
// with mean M and variance V in L*; a and b are averaged over the same windows,
// and read at pixel i of an axis at place (i + 1/2 + left over)/f - 1/2, linear
// between blocks. The surroundings of lightness L are a L + b: its mean where it
// hardly varies, itself beside an edge far above 10 L*. Two windows of r spread as
// a Gaussian of the radius does.
//
// All sums are of whole numbers: L* in 65536ths, in 256ths for V, a in 65536ths.
// So no order matters, a mirrored plane gives mirrored surroundings, and a flat
// one itself, to its border.
type toneAround struct {
	blockGrid
	r int
	// once and rows are, in a run, the rows of means that all workers share.
	once []sync.Once
	rows [][]int32
}

// toneEdge is the difference in L* that the surroundings begin to take for an
// edge.
const toneEdge = 10

// sharedAround is the side of a block from which on the rows of means are few
// enough to be shared: below, all of them would be a tenth of a picture and more.
const sharedAround = 5

func newToneAround(w, h int, radius *big.Rat) *toneAround {
	f := max(1, floorRat(times(radius, big.NewRat(1, 3))))
	f -= 1 - f%2
	a := &toneAround{blockGrid: newBlockGrid(w, h, f)}
	reach := new(big.Rat).Quo(radius, big.NewRat(int64(f), 1))
	a.r = halfUp(reach.Mul(reach, big.NewRat(1225, 1000)))
	return a
}

// memory is what a worker, and all of them, hold.
func (a *toneAround) memory() (worker, shared int64) {
	ring := int64(min(2*a.r+2, a.bh))
	worker = 4*int64(a.w) + int64(a.bw)*(16*ring+8*12)
	if a.f >= sharedAround {
		return worker, 4 * int64(a.bw) * int64(a.bh)
	}
	return worker + 4*ring*int64(a.bw), 0
}

// window is which rows of the picture the surroundings of row y come from.
func (a *toneAround) window(y int) (lo, hi int) { return a.rowsFor(y, 2*a.r) }

// columns are those of the input that columns from <= x < till come from.
func (a *toneAround) columns(from, till int) (lo, hi int) { return a.columnsFor(from, till, 2*a.r) }

// part is the surroundings of columns from <= x < till, of an input that is cut to
// what they come from. Blocks near a cut are wrong as far as two windows reach,
// which is short of those read.
func (a *toneAround) part(from, till int) *toneAround {
	return &toneAround{blockGrid: a.cut(from, till, 2*a.r), r: a.r}
}

// aroundWorker keeps rows of blocks by number: means, a and b, and both averaged.
type aroundWorker struct {
	*toneAround
	level  func(dst []int32, row []uint16)
	in     Rows
	line   []int32         // a row of the picture's lightness
	block  []int64         // sums of a row of blocks
	kept   rowCache[int32] // means
	ab     rowCache[int64]
	smooth rowCache[int64]
	sums   [2]rowSums // of means, their 256ths and squares; of a and b
	mixed  []int64    // a and b at the loaded row, times 2f
}

func (a *toneAround) worker(level func([]int32, []uint16)) *aroundWorker {
	ring := min(2*a.r+2, a.bh)
	k := &aroundWorker{toneAround: a, level: level, line: make([]int32, a.w), block: make([]int64, a.bw),
		ab: newRowCache[int64](ring, 2*a.bw), smooth: newRowCache[int64](2, 2*a.bw), mixed: make([]int64, 2*a.bw)}
	if a.rows == nil {
		k.kept = newRowCache[int32](ring, a.bw)
	}
	k.sums[0].sum, k.sums[1].sum = make([]int64, 3*a.bw), make([]int64, 2*a.bw)
	return k
}

// load makes what row y of the picture reads.
func (k *aroundWorker) load(y int, in Rows) {
	k.in = in
	p := k.place(y+k.ey, k.bh)
	above := k.smoothRow(int(p.at))
	if p.share == 0 {
		for i, v := range above {
			k.mixed[i] = v * int64(2*k.f)
		}
		return
	}
	below := k.smoothRow(int(p.at) + 1)
	for i, v := range above {
		k.mixed[i] = v*int64(2*k.f-int(p.share)) + below[i]*int64(p.share)
	}
}

// read sets a and b to those of the columns from x on of the loaded row: the
// surroundings of lightness l are a l + b.
func (k *aroundWorker) read(a, b []float64, x int) {
	two := int64(2 * k.f)
	ma, mb := k.mixed[:k.bw], k.mixed[k.bw:]
	scale := 1 / float64(two*two*65536)
	scaleB := scale / 65536
	at := int32(-1)
	var fromA, fromB, riseA, riseB int64 // at the block, and for each share of its neighbour
	for i, p := range k.x[x:][:len(a)] {
		if p.at != at {
			at = p.at
			j := int(at)
			fromA, fromB, riseA, riseB = ma[j]*two, mb[j]*two, 0, 0
			if j+1 < len(ma) {
				riseA, riseB = ma[j+1]-ma[j], mb[j+1]-mb[j]
			}
		}
		s := int64(p.share)
		a[i], b[i] = float64(float64(fromA+riseA*s)*scale), float64(float64(fromB+riseB*s)*scaleB)
	}
}

// smoothRow is row j of a and b averaged: first every a, then every b.
func (k *aroundWorker) smoothRow(j int) []int64 {
	out, there := k.smooth.row(j)
	if there {
		return out
	}
	rows := k.sums[1].around(j, k.r, k.bh, k.addAB)
	for part := range 2 {
		sum := k.sums[1].sum[part*k.bw:][:k.bw]
		total, n := openSum(k.r, sum), int64(0)
		for i := range sum {
			total += slideSum(k.r, sum, i)
			n = int64(rows) * k.columnsAround(k.r, i)
			out[part*k.bw+i] = (2*total + n) / (2 * n)
		}
	}
	return out
}

func (k *aroundWorker) addAB(sum []int64, j int, sign int64) {
	for i, v := range k.abRow(j) {
		sum[i] += sign * v
	}
}

// abRow is row j of a and b.
func (k *aroundWorker) abRow(j int) []int64 {
	out, there := k.ab.row(j)
	if there {
		return out
	}
	rows := int64(k.sums[0].around(j, k.r, k.bh, k.addMeans))
	sum, coarse, square := k.sums[0].sum[:k.bw], k.sums[0].sum[k.bw:][:k.bw], k.sums[0].sum[2*k.bw:]
	s, c, q := openSum(k.r, sum), openSum(k.r, coarse), openSum(k.r, square)
	for i := range sum {
		s, c, q = s+slideSum(k.r, sum, i), c+slideSum(k.r, coarse, i), q+slideSum(k.r, square, i)
		n := rows * k.columnsAround(k.r, i)
		v := float64(n*q - c*c)
		a := int64(float64(65536*(v/(v+float64(n*n*(toneEdge*toneEdge*65536))))) + 0.5)
		out[i], out[k.bw+i] = a, (2*s+n)/(2*n)*(65536-a)
	}
	return out
}

func (k *aroundWorker) addMeans(sum []int64, j int, sign int64) {
	a, b, c := sum[:k.bw], sum[k.bw:][:k.bw], sum[2*k.bw:]
	for i, v := range k.meanRow(j) {
		w := int64(v >> 8)
		a[i] += sign * int64(v)
		b[i] += sign * w
		c[i] += sign * w * w
	}
}

// meanRow is row j of the blocks' means.
func (k *aroundWorker) meanRow(j int) []int32 {
	if k.rows != nil {
		k.once[j].Do(func() {
			k.rows[j] = make([]int32, k.bw)
			k.mean(k.rows[j], j)
		})
		return k.rows[j]
	}
	out, there := k.kept.row(j)
	if !there {
		k.mean(out, j)
	}
	return out
}

func (k *aroundWorker) mean(dst []int32, j int) {
	k.blockGrid.means(dst, k.block, k.line, j, k.in, k.level)
}
