package ops

import (
	"cmp"
	"image"
	"math"
	"slices"
)

// Places like a spot's are looked for in blocks; SpotsV1 says how.
const (
	likeRadius = 8  // blocks at most, of a disc
	likeRing   = 3  // blocks around it that are compared
	likeFound  = 24 // places most like it, to be aligned
	likeKept   = 9  // of them, those that fit best; one is taken
)

// likeness measures a spot in blocks: their side, the radius of the disc, and how
// far a like place may be.
func likeness(r float64) (side int, radius float64, reach int) {
	for side = 1; r > float64(likeRadius*side); side *= 2 {
	}
	radius = r/float64(side) + 1
	return side, radius, int(float64(5*radius)) + 8
}

// likeBox is what of a picture is read for a spot.
func likeBox(p *spot, w, h int) image.Rectangle {
	side, radius, reach := likeness(p.r)
	n := side * (reach + int(radius) + likeRing + 2)
	x, y := int(math.Floor(p.x)), int(math.Floor(p.y))
	return image.Rect(x-n, y-n, x+n+1, y+n+1).Intersect(image.Rect(0, 0, w, h))
}

// blocks are the mean lights of a part of a picture, by block.
type blocks struct {
	side int
	at   image.Rectangle // in blocks
	mean []int64
}

// light is one number for a pixel: the sum of red, blue and twice the green.
func light(px []uint16) int64 {
	if len(px) == 1 {
		return int64(px[0])
	}
	return int64(px[0]) + 2*int64(px[1]) + int64(px[2])
}

// blocks reads the whole blocks of a box.
func (w *spotsWorker) blocks(side int, box image.Rectangle, in Rows) blocks {
	c := w.s.pic.C
	b := blocks{side: side, at: image.Rect((box.Min.X+side-1)/side, (box.Min.Y+side-1)/side, box.Max.X/side, box.Max.Y/side)}
	if b.at.Empty() {
		return b
	}
	wide := b.at.Dx()
	b.mean = make([]int64, wide*b.at.Dy())
	for y := b.at.Min.Y * side; y < b.at.Max.Y*side; y++ {
		row := w.samples(in, y, b.at.Min.X*side, b.at.Max.X*side)
		sum := b.mean[(y/side-b.at.Min.Y)*wide:][:wide]
		for x := range wide * side {
			sum[x/side] += light(row[x*c : (x+1)*c])
		}
	}
	for i := range b.mean {
		b.mean[i] /= int64(side) * int64(side)
	}
	return b
}

// spread is the sum of the squares of n numbers' distances from their mean.
func spread(sum, squares int64, n int) float64 {
	s := float64(sum)
	return max(0, float64(squares)-float64(s*s)/float64(n))
}

// place is an offset in blocks, and how unlike the spot's place it is.
type place struct {
	off    image.Point
	unlike int64
}

// aligned is a place with its offset aligned in pixels, and how badly it fits there.
type aligned struct {
	place
	to     image.Point
	misfit float64
}

// like finds the offset of the place that fills a spot; false where none fits.
func (w *spotsWorker) like(p *spot, near []*spot, in Rows) (image.Point, bool) {
	side, radius, reach := likeness(p.r)
	b := w.blocks(side, p.need, in)
	wide, unit := b.at.Dx(), float64(side)
	var disc, ring []int
	var span image.Rectangle
	for i := range b.mean {
		at := image.Pt(i%wide, i/wide)
		x, y := float64(at.X+b.at.Min.X)+0.5, float64(at.Y+b.at.Min.Y)+0.5
		d := distance(x, y, p.x/unit, p.y/unit)
		if d >= radius+likeRing {
			continue
		}
		span = span.Union(image.Rectangle{at, at.Add(image.Pt(1, 1))})
		if d < radius {
			disc = append(disc, i)
		} else if !slices.ContainsFunc(near, func(q *spot) bool { return distance(x, y, q.x/unit, q.y/unit) < q.r/unit+1 }) {
			ring = append(ring, i)
		}
	}
	if len(disc) == 0 || len(ring) == 0 {
		return image.Point{}, false
	}
	var all []place
	for dy := max(-reach, -span.Min.Y); dy <= min(reach, b.at.Dy()-span.Max.Y); dy++ {
		for dx := max(-reach, -span.Min.X); dx <= min(reach, wide-span.Max.X); dx++ {
			if distance(float64(dx), float64(dy), 0, 0) < 2*radius+likeRing+1 {
				continue
			}
			x, y := p.x+float64(dx*side), p.y+float64(dy*side)
			if !slices.ContainsFunc(near, func(q *spot) bool { return distance(x, y, q.x, q.y) < float64((radius+likeRing)*unit)+q.r }) {
				all = append(all, place{image.Pt(dx, dy), b.unlike(ring, dy*wide+dx)})
			}
		}
	}
	if len(all) == 0 {
		return image.Point{}, false
	}
	var rim []uint16
	for _, run := range p.rim {
		rim = append(rim, w.samples(in, run.Min.Y, run.Min.X, run.Max.X)...)
	}
	var found []aligned
	for _, f := range mostLike(all, int(radius)/2) {
		to, least := w.align(p, rim, f.off.Mul(side), side, in)
		misfit := float64(least)/float64(len(rim)/w.s.pic.C) + float64(f.unlike)/float64(len(ring))
		found = append(found, aligned{f, to, misfit})
	}
	slices.SortStableFunc(found, func(a, b aligned) int { return cmp.Compare(a.misfit, b.misfit) })
	n := 1
	for n < min(len(found), likeKept) && found[n].misfit <= float64(1.5*found[0].misfit) {
		n++
	}
	return b.pick(found[:n], disc, ring, wide)
}

// distance is that of two places.
func distance(x, y, fromX, fromY float64) float64 {
	dx, dy := x-fromX, y-fromY
	return math.Sqrt(float64(dx*dx) + float64(dy*dy))
}

// unlike is the sum of the squared differences of the blocks at an offset from
// those of the ring.
func (b *blocks) unlike(ring []int, off int) (sum int64) {
	for _, i := range ring {
		d := b.mean[i] - b.mean[i+off]
		sum += d * d
	}
	return sum
}

// mostLike picks the places most like, more than near blocks from one another on
// one axis at least.
func mostLike(all []place, near int) (found []place) {
	for len(found) < likeFound {
		at := -1
		for i := range all {
			if at >= 0 && all[i].unlike >= all[at].unlike {
				continue
			}
			if !slices.ContainsFunc(found, func(f place) bool {
				d := f.off.Sub(all[i].off)
				return max(d.X, -d.X, d.Y, -d.Y) <= near
			}) {
				at = i
			}
		}
		if at < 0 {
			break
		}
		found = append(found, all[at])
	}
	return found
}

// likeCalm is the variance of light that a place may have beyond four times that of
// what lies around the spot.
const likeCalm = 1 << 16

// pick is the offset of the best fitting of those places, best first, of the two
// thirds that are least unlike one another on the disc, so that no object comes
// with it. None may be livelier than the ring, and one nearly as lively is
// preferred; false where all are livelier.
func (b *blocks) pick(found []aligned, disc, ring []int, wide int) (off image.Point, fits bool) {
	spreads, roots, sums := make([]float64, len(found)), make([]float64, len(found)), make([]float64, len(found))
	for i, f := range found {
		spreads[i] = b.lively(disc, f.off.Y*wide+f.off.X)
		roots[i] = math.Sqrt(spreads[i] + 1)
		for j, g := range found[:i] {
			from, to := f.off.Y*wide+f.off.X, g.off.Y*wide+g.off.X
			apart, apart2 := int64(0), int64(0)
			for _, q := range disc {
				d := b.mean[q+from] - b.mean[q+to]
				apart, apart2 = apart+d, apart2+d*d
			}
			u := spread(apart, apart2, len(disc)) / float64(roots[i]*roots[j])
			sums[i], sums[j] = sums[i]+u, sums[j]+u
		}
	}
	order := make([]int, len(found))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(sums[i], sums[j]) })
	order = order[:(2*len(order)+2)/3]
	slices.Sort(order)
	calm := 4*b.lively(ring, 0)/float64(len(ring)) + likeCalm
	order = slices.DeleteFunc(order, func(i int) bool { return spreads[i]/float64(len(disc)) > calm })
	if len(order) == 0 {
		return image.Point{}, false
	}
	grain := float64(0.6 * b.grain(ring, 0))
	for _, i := range order {
		if b.grain(disc, found[i].off.Y*wide+found[i].off.X) >= grain {
			return found[i].to, true
		}
	}
	return found[order[0]].to, true
}

// lively is the spread of blocks at an offset.
func (b *blocks) lively(list []int, by int) float64 {
	var sum, squares int64
	for _, i := range list {
		v := b.mean[i+by]
		sum, squares = sum+v, squares+v*v
	}
	return spread(sum, squares, len(list))
}

// grain is the mean squared difference of blocks at an offset that lie beside one
// another, both in a list.
func (b *blocks) grain(list []int, by int) float64 {
	var squares, n int64
	for k, i := range list {
		if k > 0 && list[k-1] == i-1 {
			d := b.mean[i+by] - b.mean[i+by-1]
			squares, n = squares+d*d, n+1
		}
	}
	return float64(squares) / float64(max(1, n))
}

// align moves an offset of whole blocks by less than a block to where the rim is
// least unlike, and gives how unlike that is.
func (w *spotsWorker) align(p *spot, rim []uint16, off image.Point, side int, in Rows) (to image.Point, least int64) {
	to, least = off, w.unlike(p, rim, off, in)
	for step := side / 2; step > 0; step /= 2 {
		off, least = to, math.MaxInt64
		for k := range 9 {
			at := off.Add(image.Pt(step*(k%3-1), step*(k/3-1)))
			if u := w.unlike(p, rim, at, in); u < least {
				to, least = at, u
			}
		}
	}
	return to, least
}

// unlike is the sum of the squared differences of the rim from its pixels at an
// offset: of red, blue and twice of green, times four, as large as that of light
// where all channels differ alike.
func (w *spotsWorker) unlike(p *spot, rim []uint16, off image.Point, in Rows) (sum int64) {
	c := w.s.pic.C
	for _, run := range p.rim {
		run = run.Add(off)
		for i, v := range w.samples(in, run.Min.Y, run.Min.X, run.Max.X) {
			d := int64(rim[i]) - int64(v)
			switch {
			case c == 1:
				sum += d * d
			case i%3 == 1:
				sum += 8 * d * d
			default:
				sum += 4 * d * d
			}
		}
		rim = rim[run.Dx()*c:]
	}
	return sum
}
