package inspect

import (
	"cmp"
	"image"
	"math"
	"slices"
)

// Sides of squares, px: clipped pixels are counted in the smaller, sharpness is
// measured in the larger. A tile's core holds them whole.
const (
	clipSide  = 64
	sharpSide = 256
)

// Edges are told by their sigma, in bins of an eighth of a pixel.
const (
	blurBin  = 0.125
	blurBins = 64
	// edgeLeast is how high an edge is, of the range, and edgeWalk how far its ends
	// may lie from its middle, px.
	edgeLeast = 0.06
	edgeWalk  = 14
	// edgesLeast is how many edges a square's sharpness is told from.
	edgesLeast = 12
)

// measured is what is counted in a tile.
type measured struct {
	any, all [2][coreW / clipSide * coreH / clipSide]int16 // pixels at 0 and at the end: some channel, all
	blur     [coreW / sharpSide][blurBins]int32
	damage
}

// measure counts what there is of clipping and sharpness in the tile.
func (w *scanWorker) measure() {
	w.measured = measured{}
	c := w.pic.C
	for y := w.Min.Y; y < w.Max.Y; y++ {
		row := w.coreRow(y)
		for x := w.Min.X; x < w.Max.X; x++ {
			cell := (y-w.Min.Y)/clipSide*(coreW/clipSide) + (x-w.Min.X)/clipSide
			for end, v := range [2]uint16{0, 65535} {
				n := 0
				for _, s := range row[(x-w.Min.X)*c:][:c] {
					if s == v {
						n++
					}
				}
				if n > 0 {
					w.any[end][cell]++
				}
				if n == c {
					w.all[end][cell]++
				}
			}
		}
	}
	w.edges()
	w.findDamage()
}

// edges measures how steep the edges are that rows and columns cross, and how far
// light overshoots beside them.
func (w *scanWorker) edges() {
	p, r := &w.light[0], w.coreAt(0)
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			i := y*p.w + x
			square := (x - r.Min.X) / sharpSide
			for axis, step := range [2]int{1, p.w} {
				if axis == 0 && y&1 == 1 || axis == 1 && x&1 == 1 {
					continue // every second row, and column
				}
				// The steepest of its surroundings, between i and i + step.
				d := p.v[i+step] - p.v[i]
				sign := int32(1)
				if d < 0 {
					sign = -1
				}
				if d *= sign; d < full/256 || sign*(p.v[i]-p.v[i-step]) > d || sign*(p.v[i+2*step]-p.v[i+step]) >= d {
					continue
				}
				lo, hi := i, i+step
				for n := 0; n < edgeWalk && sign*(p.v[lo]-p.v[lo-step]) > 0; n++ {
					lo -= step
				}
				for n := 0; n < edgeWalk && sign*(p.v[hi+step]-p.v[hi]) > 0; n++ {
					hi += step
				}
				height := sign * (p.v[hi] - p.v[lo])
				if float64(height) < max(edgeLeast*full, 12*w.sigma(int64(p.v[i]))) {
					continue
				}
				// A Gaussian's edge is height / (root(2 pi) sigma) steep in its middle; a
				// pixel's own width takes 1/12 of a pixel's square.
				s := float64(height) / (2.5066 * float64(d))
				s = math.Sqrt(max(0, float64(s*s)-1.0/12))
				w.blur[square][min(int(s/blurBin), blurBins-1)]++
				w.overshoot(lo, hi, step, sign, height)
			}
		}
	}
}

// measures puts into the report what was counted in all tiles.
func (s *scan) measures(r *Report) {
	r.Shadows, r.Highlights = s.clipped(0), s.clipped(1)
	r.Sharpness = s.sharpness()
	r.Faults = s.faults()
}

// clipped sums up the pixels at one end.
func (s *scan) clipped(end int) (c Clipped) {
	g := newGrid(s.pic.W, s.pic.H, clipSide)
	any, all := 0, 0
	for t := range s.tiles {
		core := s.core(t)
		for i, n := range s.tiles[t].any[end] {
			any, all = any+int(n), all+int(s.tiles[t].all[end][i])
			x, y := core.Min.X/clipSide+i%(coreW/clipSide), core.Min.Y/clipSide+i/(coreW/clipSide)
			if x < g.cols && y < g.rows {
				in := g.square(y*g.cols + x)
				g.v[y*g.cols+x] = float64(n) / float64(in.Dx()*in.Dy())
			}
		}
	}
	pixels := float64(s.pic.W) * float64(s.pic.H)
	c.Share, c.Whole = float64(any)/pixels, float64(all)/pixels
	c.Parts = g.parts(func(v float64) bool { return v > 0.2 })
	return c
}

// sharpness tells each square's from the sharpest tenth of its edges.
func (s *scan) sharpness() Sharpness {
	g := newGrid(s.pic.W, s.pic.H, sharpSide)
	for t := range s.tiles {
		core := s.core(t)
		for i := range s.tiles[t].blur {
			x := core.Min.X/sharpSide + i
			if x < g.cols {
				g.v[core.Min.Y/sharpSide*g.cols+x] = blurOf(&s.tiles[t].blur[i])
			}
		}
	}
	out := Sharpness{Side: sharpSide, Cols: g.cols, Rows: g.rows, Blur: g.v}
	var known []float64
	for _, v := range g.v {
		if v > 0 {
			known = append(known, v)
		}
	}
	if len(known) == 0 {
		return out
	}
	slices.Sort(known)
	best := known[len(known)/20]
	out.Focus = g.parts(func(v float64) bool { return v > 0 && v <= best+2*blurBin })
	out.Soft = g.parts(func(v float64) bool { return v > float64(2.5*best)+blurBin })
	slices.SortStableFunc(out.Focus, func(a, b Part) int { return cmp.Compare(area(b.In), area(a.In)) })
	return out
}

// blurOf is the sigma that a tenth of the edges are below, 0 where there are too few.
func blurOf(bins *[blurBins]int32) float64 {
	var n, sum int32
	for _, v := range bins {
		n += v
	}
	if n < edgesLeast {
		return 0
	}
	for i, v := range bins {
		if sum += v; 10*sum >= n {
			return blurBin * (float64(i) + 0.5)
		}
	}
	return 0
}

func area(r image.Rectangle) int { return r.Dx() * r.Dy() }

// A grid is a number for each square of a picture.
type grid struct {
	w, h, side, cols, rows int
	v                      []float64
}

func newGrid(w, h, side int) *grid {
	g := &grid{w: w, h: h, side: side, cols: (w + side - 1) / side, rows: (h + side - 1) / side}
	g.v = make([]float64, g.cols*g.rows)
	return g
}

func (g *grid) square(i int) image.Rectangle {
	x, y := i%g.cols*g.side, i/g.cols*g.side
	return image.Rect(x, y, min(x+g.side, g.w), min(y+g.side, g.h))
}

// partsMost is how many parts of a picture are named of one thing.
const partsMost = 5

// parts are the rectangles around squares that hang together and belong, with the
// mean of their numbers: those with the greatest sum first, at most partsMost.
func (g *grid) parts(belongs func(v float64) bool) []Part {
	type sized struct {
		Part
		sum float64
	}
	var list []sized
	seen := make([]bool, len(g.v))
	for i := range g.v {
		if seen[i] || !belongs(g.v[i]) {
			continue
		}
		seen[i] = true
		var p sized
		n := 0
		for stack := []int{i}; len(stack) > 0; n++ {
			k := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			p.In, p.sum = p.In.Union(g.square(k)), p.sum+g.v[k]
			for _, d := range [4]image.Point{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
				x, y := k%g.cols+d.X, k/g.cols+d.Y
				if x < 0 || y < 0 || x >= g.cols || y >= g.rows {
					continue
				}
				if j := y*g.cols + x; !seen[j] && belongs(g.v[j]) {
					seen[j] = true
					stack = append(stack, j)
				}
			}
		}
		p.Amount = p.sum / float64(n)
		list = append(list, p)
	}
	slices.SortStableFunc(list, func(a, b sized) int { return cmp.Compare(b.sum, a.sum) })
	var out []Part
	for _, p := range list[:min(len(list), partsMost)] {
		out = append(out, p.Part)
	}
	return out
}
