package ops

import (
	"math"
	"slices"
)

// outline is a polygon or a stroke: shapes by the distance to line segments.
type outline struct {
	seg    []segment
	closed bool    // polygon
	half   float64 // stroke: half the width
	z      zone
	reach  float64 // the value is settled by the side alone from this distance on
	x0, x1 float64 // the shape is 0 left and right of these
	y0, y1 float64 // and above and below these
}

// segment runs from (x, y) by (ux, uy).
type segment struct {
	x, y, ux, uy float64
	inv          float64 // 1/length², 0 for a point
	top, bottom  float64
	ex, ey       float64 // its end
}

// Distances in a chunk of columns are bounded by that of its middle, so that
// most segments are left out at once. slack is far above the rounding of any
// distance and costs next to nothing.
const (
	outlineChunk = 32
	outlineSlack = 1.0 / 16
)

func newOutline(s MaskShape) *outline {
	o := &outline{closed: s.Shape == "polygon"}
	n := len(s.Points)
	xs, ys := make([]float64, n), make([]float64, n)
	for i, p := range s.Points {
		xs[i], ys[i] = flt(p.X), flt(p.Y)
	}
	o.x0, o.x1 = slices.Min(xs), slices.Max(xs)
	o.y0, o.y1 = slices.Min(ys), slices.Max(ys)
	last, grow := n-1, 0.0
	if o.closed {
		last = n
		o.z = newZone(flt(s.Soft), float64(math.Min(o.x1-o.x0, o.y1-o.y0)/2))
		grow = -o.z.start
		o.reach = math.Max(-o.z.start, o.z.full())
	} else {
		o.half = float64(flt(s.W) / 2)
		o.z = newZone(flt(s.Soft), o.half)
		grow = o.half - o.z.start
		o.reach = grow
	}
	grow += 1
	o.x0, o.x1, o.y0, o.y1 = o.x0-grow, o.x1+grow, o.y0-grow, o.y1+grow
	for i := range last {
		j := (i + 1) % n
		g := segment{x: xs[i], y: ys[i], ux: xs[j] - xs[i], uy: ys[j] - ys[i], ex: xs[j], ey: ys[j]}
		if l := float64(g.ux*g.ux) + float64(g.uy*g.uy); l > 0 {
			g.inv = 1 / l
		}
		if math.IsInf(g.inv, 0) {
			g.ux, g.uy, g.inv = 0, 0, 0
		}
		g.top, g.bottom = math.Min(ys[i], ys[j]), math.Max(ys[i], ys[j])
		o.seg = append(o.seg, g)
	}
	return o
}

// dist2 is the square of the distance from (px, py) to the segment.
func (g *segment) dist2(px, py float64) float64 {
	dx, dy := px-g.x, py-g.y
	t := float64((float64(dx*g.ux) + float64(dy*g.uy)) * g.inv)
	if !(t > 0) {
		t = 0
	} else if t > 1 {
		t = 1
	}
	dx -= float64(t * g.ux)
	dy -= float64(t * g.uy)
	return float64(dx*dx) + float64(dy*dy)
}

// cut is the column where the segment crosses the row py, if it does.
func (g *segment) cut(py float64) (float64, bool) {
	if (g.y <= py) == (g.ey <= py) {
		return 0, false
	}
	return g.x + float64((py-g.y)*g.ux)/g.uy, true
}

// at is the value at the distance √d2, given the side.
func (o *outline) at(d2 float64, inside bool) float64 {
	d := math.Sqrt(d2)
	switch {
	case !o.closed:
		d = o.half - d
	case !inside:
		d = -d
	}
	return o.z.at(d)
}

func (o *outline) row(b []float32, left, y int, k *drawScratch) (lo, hi int) {
	py := float64(y) + 0.5
	if py < o.y0 || py > o.y1 {
		return 0, 0
	}
	lo, hi = columns(float64((o.x0+o.x1)/2)-float64(left), float64((o.x1-o.x0)/2), 0, len(b))
	k.live, k.cut = k.live[:0], k.cut[:0]
	for i := range o.seg {
		g := &o.seg[i]
		if py > g.top-o.reach-outlineSlack && py < g.bottom+o.reach+outlineSlack {
			k.live = append(k.live, int32(i))
		}
		if o.closed {
			if x, ok := g.cut(py); ok {
				k.cut = append(k.cut, x)
			}
		}
	}
	if !o.closed && len(k.live) == 0 {
		return 0, 0
	}
	slices.Sort(k.cut)
	inside, next := false, 0
	for x := lo; x < hi; x += outlineChunk {
		to := min(x+outlineChunk, hi)
		mid, wide := float64(float64(2*left+x+to)/2), float64(float64(to-x-1)/2)+outlineSlack
		// The distance anywhere in the chunk is within wide of the middle's.
		best := math.Inf(1)
		k.dist = k.dist[:0]
		for _, i := range k.live {
			d := o.seg[i].dist2(mid, py)
			k.dist = append(k.dist, d)
			best = math.Min(best, d)
		}
		best = math.Sqrt(best)
		if best-wide > o.reach {
			// No edge within reach: one value. No crossing lies among these
			// columns, so that the first one's side is everyone's.
			for next < len(k.cut) && k.cut[next] <= float64(left+x)+0.5 {
				inside = !inside
				next++
			}
			v := float32(0)
			if o.closed && inside {
				v = 1
			}
			for j := x; j < to; j++ {
				b[j] = v
			}
			continue
		}
		if !o.closed && best+wide < o.half-o.z.full() {
			fillOnes(b[x:to])
			continue
		}
		far := best + float64(2*wide)
		far = float64(far * far)
		k.near = k.near[:0]
		for n, i := range k.live {
			if k.dist[n] <= far {
				k.near = append(k.near, i)
			}
		}
		for j := x; j < to; j++ {
			px := float64(left+j) + 0.5
			d := o.seg[k.near[0]].dist2(px, py)
			for _, i := range k.near[1:] {
				d = math.Min(d, o.seg[i].dist2(px, py))
			}
			for next < len(k.cut) && k.cut[next] <= px {
				inside = !inside
				next++
			}
			b[j] = float32(o.at(d, inside))
		}
	}
	return lo, hi
}
