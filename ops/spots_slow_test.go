package ops

import (
	"image"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// slowSpots is SpotsV1's definition, pixel by pixel, with nothing kept.
func slowSpots(p *plane, spots []SpotShape) []float64 {
	w, h, c := p.pic.W, p.pic.H, p.pic.C
	out := make([]float64, len(p.data))
	for i, v := range p.data {
		out[i] = float64(v)
	}
	for i, s := range spots {
		d := slowSpot{p: p, others: slices.Delete(slices.Clone(spots), i, i+1), x: flt(s.At.X), y: flt(s.At.Y), r: flt(s.Radius)}
		if s.From != nil {
			d.offs = []image.Point{{int(math.Floor(flt(s.From.X) - flt(s.At.X) + 0.5)), int(math.Floor(flt(s.From.Y) - flt(s.At.Y) + 0.5))}}
		} else {
			d.offs = d.like()
		}
		for y := range h {
			for x := range w {
				dist := d.dist(x, y)
				on := s.From == nil || d.dist(hold(x+d.offs[0].X, w), hold(y+d.offs[0].Y, h)) >= d.r
				for _, o := range d.others {
					on = on && math.Hypot(float64(x)+0.5-flt(o.At.X), float64(y)+0.5-flt(o.At.Y)) >= flt(o.Radius)
				}
				if dist >= d.r && dist <= d.r+1.5 && on {
					d.rim = append(d.rim, image.Pt(x, y))
				}
			}
		}
		for i := range out {
			x, y := i/c%w, i/c/w
			dist := d.dist(x, y)
			if dist >= d.r {
				continue
			}
			share := 1.0
			if soft := flt(s.Soft); soft > 0 {
				t := math.Min(1, (1-dist/d.r)/soft)
				share = 3*math.Pow(t, 2) - 2*math.Pow(t, 3)
			}
			f := d.taken(x, y, i%c)
			if len(d.rim) > 0 {
				sum, n := d.membrane(d.rim, 1<<19, x, y, i%c)
				lo, hi := f, f
				for _, q := range d.rim {
					lo, hi = min(lo, d.sample(q.X, q.Y, i%c)), max(hi, d.sample(q.X, q.Y, i%c))
				}
				f = min(hi, max(lo, f+sum/n))
			}
			out[i] += share * (f - out[i])
		}
	}
	return out
}

func hold(v, n int) int { return max(0, min(v, n-1)) }

type slowSpot struct {
	p       *plane
	x, y, r float64
	offs    []image.Point // one, or none
	rim     []image.Point
	others  []SpotShape
}

func (d *slowSpot) dist(x, y int) float64 {
	return math.Hypot(float64(x)+0.5-d.x, float64(y)+0.5-d.y)
}

func (d *slowSpot) sample(x, y, k int) float64 {
	return float64(d.p.data[(hold(y, d.p.pic.H)*d.p.pic.W+hold(x, d.p.pic.W))*d.p.pic.C+k])
}

// taken is g.
func (d *slowSpot) taken(x, y, k int) float64 {
	if len(d.offs) == 0 {
		return 0
	}
	return d.sample(x+d.offs[0].X, y+d.offs[0].Y, k)
}

// membrane is what the rim pixels in a square ask for at a pixel, and their weight.
func (d *slowSpot) membrane(px []image.Point, side, x, y, k int) (sum, n float64) {
	if len(px) == 0 {
		return 0, 0
	}
	for side > 1 && slices.IndexFunc(px, func(q image.Point) bool { return q.Div(side/2) != px[0].Div(side/2) }) < 0 {
		side /= 2
	}
	var mx, my, raise float64
	for _, q := range px {
		mx, my = mx+float64(q.X)/float64(len(px)), my+float64(q.Y)/float64(len(px))
		raise += d.sample(q.X, q.Y, k) - d.taken(q.X, q.Y, k)
	}
	dist := math.Hypot(mx-float64(x), my-float64(y))
	if len(px) == 1 || dist >= 4*float64(side) {
		return raise / (dist * dist), float64(len(px)) / (dist * dist)
	}
	for i := range 4 {
		var part []image.Point
		for _, q := range px {
			if half := side / 2; q.X/half%2 == i%2 && q.Y/half%2 == i/2 {
				part = append(part, q)
			}
		}
		s, m := d.membrane(part, side/2, x, y, k)
		sum, n = sum+s, n+m
	}
	return sum, n
}

// like are the offsets of the places like the spot's.
func (d *slowSpot) like() []image.Point {
	b := 1
	for d.r/float64(b) > 8 {
		b *= 2
	}
	q := d.r/float64(b) + 1
	reach := int(math.Floor(5*q)) + 8
	n := b * (reach + int(math.Floor(q)) + 5)
	cx, cy := int(math.Floor(d.x)), int(math.Floor(d.y))
	box := image.Rect(cx-n, cy-n, cx+n+1, cy+n+1).Intersect(image.Rect(0, 0, d.p.pic.W, d.p.pic.H))
	mean := map[image.Point]int{}
	var disc, ring, all []image.Point
	for by := range box.Max.Y/b + 1 {
		for bx := range box.Max.X/b + 1 {
			if !image.Rect(bx*b, by*b, bx*b+b, by*b+b).In(box) {
				continue
			}
			sum := 0
			for i := range b * b {
				sum += d.light(bx*b+i%b, by*b+i/b)
			}
			at := image.Pt(bx, by)
			mean[at] = sum / (b * b)
			switch dist := math.Hypot(float64(bx)+0.5-d.x/float64(b), float64(by)+0.5-d.y/float64(b)); {
			case dist < q:
				disc, all = append(disc, at), append(all, at)
			case dist < q+3:
				all = append(all, at)
				clear := true
				for _, o := range d.others {
					clear = clear && math.Hypot(float64(bx)+0.5-flt(o.At.X)/float64(b), float64(by)+0.5-flt(o.At.Y)/float64(b)) >= flt(o.Radius)/float64(b)+1
				}
				if clear {
					ring = append(ring, at)
				}
			}
		}
	}
	if len(disc) == 0 || len(ring) == 0 {
		return nil
	}
	type candidate struct {
		off, to image.Point
		u       float64
		rank    int
	}
	var places []candidate
	values := func(px []image.Point, off image.Point) (list []float64) {
		for _, at := range px {
			list = append(list, float64(mean[at.Add(off)]))
		}
		return list
	}
	for dy := -reach; dy <= reach; dy++ {
		for dx := -reach; dx <= reach; dx++ {
			off := image.Pt(dx, dy)
			outside := func(at image.Point) bool { _, ok := mean[at.Add(off)]; return !ok }
			// The disc and its ring lie in a box of whole blocks.
			if math.Hypot(float64(dx), float64(dy)) < 2*q+4 || slices.ContainsFunc(corners(all), outside) || d.meets(off.Mul(b), (q+3)*float64(b)) {
				continue
			}
			there := values(ring, off)
			sum := 0.0
			for _, v := range minus(values(ring, image.Point{}), there) {
				sum += v * v
			}
			places = append(places, candidate{off: off, u: sum})
		}
	}
	slices.SortStableFunc(places, func(a, b candidate) int { return compareNear(a.u, b.u) })
	var found []candidate
	for _, c := range places {
		near := func(f candidate) bool {
			return max(math.Abs(float64(f.off.X-c.off.X)), math.Abs(float64(f.off.Y-c.off.Y))) <= math.Floor(math.Floor(q)/2)
		}
		if len(found) < 24 && !slices.ContainsFunc(found, near) {
			found = append(found, c)
		}
	}
	for i := range found {
		f := &found[i]
		f.to = d.aligned(f.off.Mul(b), b)
		u, n := d.rimApart(f.to)
		f.u = f.u/float64(len(ring)) + u/n
	}
	slices.SortStableFunc(found, func(a, b candidate) int { return compareNear(a.u, b.u) })
	found = found[:min(9, len(found))]
	found = slices.DeleteFunc(found, func(c candidate) bool { return c.u > 1.5*found[0].u })
	for i := range found {
		found[i].rank, found[i].u = i, 0
		a := values(disc, found[i].off)
		for j := range found {
			b := values(disc, found[j].off)
			found[i].u += variance(minus(a, b)) / math.Sqrt(variance(a)+1) / math.Sqrt(variance(b)+1)
		}
	}
	slices.SortStableFunc(found, func(a, b candidate) int { return compareNear(a.u, b.u) })
	found = found[:int(math.Ceil(float64(len(found))*2/3))]
	slices.SortStableFunc(found, func(a, b candidate) int { return a.rank - b.rank })
	calm := 4*variance(values(ring, image.Point{}))/float64(len(ring)) + 65536
	grain := func(px []image.Point, off image.Point) float64 {
		sum, n := 0.0, 0.0
		for _, at := range px {
			if left := at.Sub(image.Pt(1, 0)); slices.Contains(px, left) {
				sum, n = sum+math.Pow(float64(mean[at.Add(off)]-mean[left.Add(off)]), 2), n+1
			}
		}
		return sum / max(1, n)
	}
	var first []image.Point
	for _, c := range found {
		switch {
		case variance(values(disc, c.off))/float64(len(disc)) > calm:
		case grain(disc, c.off) >= 0.6*grain(ring, image.Point{}):
			return []image.Point{c.to}
		case first == nil:
			first = []image.Point{c.to}
		}
	}
	return first
}

// meets tells whether a circle around an offset place meets another spot.
func (d *slowSpot) meets(off image.Point, r float64) bool {
	return slices.ContainsFunc(d.others, func(o SpotShape) bool {
		return math.Hypot(d.x+float64(off.X)-flt(o.At.X), d.y+float64(off.Y)-flt(o.At.Y)) < r+flt(o.Radius)
	})
}

func (d *slowSpot) aligned(off image.Point, b int) image.Point {
	for step := b / 2; step >= 1; step /= 2 {
		best, least := off, math.Inf(1)
		for k := range 9 {
			o := off.Add(image.Pt(k%3-1, k/3-1).Mul(step))
			if u, _ := d.rimApart(o); u < least {
				best, least = o, u
			}
		}
		off = best
	}
	return off
}

// rimApart is how unlike the n pixels of the rim those at an offset are.
func (d *slowSpot) rimApart(off image.Point) (sum, n float64) {
	c := d.p.pic.C
	for y := range d.p.pic.H {
		for x := range d.p.pic.W {
			if e := d.dist(x, y); e < d.r || e > d.r+1.5 {
				continue
			}
			n++
			for k, weight := range map[int][]float64{1: {1}, 3: {4, 8, 4}}[c] {
				sum += weight * math.Pow(d.sample(x, y, k)-d.sample(x+off.X, y+off.Y, k), 2)
			}
		}
	}
	return sum, n
}

func (d *slowSpot) light(x, y int) int {
	if d.p.pic.C == 1 {
		return int(d.sample(x, y, 0))
	}
	return int(d.sample(x, y, 0) + 2*d.sample(x, y, 1) + d.sample(x, y, 2))
}

// compareNear takes for equal what rounding may have parted.
func compareNear(a, b float64) int {
	if math.Abs(a-b) <= 1e-12*(math.Abs(a)+math.Abs(b)) {
		return 0
	}
	if a < b {
		return -1
	}
	return 1
}

func corners(px []image.Point) []image.Point {
	var r image.Rectangle
	for _, q := range px {
		r = r.Union(image.Rectangle{q, q.Add(image.Pt(1, 1))})
	}
	return []image.Point{r.Min, r.Max.Sub(image.Pt(1, 1)), {r.Min.X, r.Max.Y - 1}, {r.Max.X - 1, r.Min.Y}}
}

func minus(a, b []float64) []float64 {
	out := make([]float64, len(a))
	for i := range a {
		out[i] = a[i] - b[i]
	}
	return out
}

// variance is the sum of squares about the mean.
func variance(list []float64) (sum float64) {
	mean := 0.0
	for _, v := range list {
		mean += v / float64(len(list))
	}
	for _, v := range list {
		sum += (v - mean) * (v - mean)
	}
	return sum
}

func TestMembraneIsHarmonic(t *testing.T) {
	// Source: the real parts of powers of x + iy are harmonic, and on a disc the
	// membrane over a rim is the harmonic function of that rim.
	const r = 40.0
	for name, u := range map[string]func(x, y float64) float64{
		"slope":  func(x, y float64) float64 { return 20000 * (0.8*x + 0.6*y) },
		"saddle": func(x, y float64) float64 { return 20000 * (x*x - y*y) },
		"cube":   func(x, y float64) float64 { return 20000 * (x*x*x - 3*x*y*y) },
	} {
		var px []rimPixel
		for y := range 200 {
			for x := range 200 {
				dx, dy := float64(x-100)/r, float64(y-100)/r
				if d := r * math.Hypot(dx, dy); d >= r && d <= r+1.5 {
					px = append(px, rimPixel{image.Pt(x, y), [3]int{int(u(dx, dy)), 0, 7}})
				}
			}
		}
		tree := rimTree{}.add(px, 1<<19)
		worst := 0.0
		for y := 100 - r + 2; y < 100+r-2; y++ {
			for x := 100 - r + 2; x < 100+r-2; x++ {
				if dx, dy := (x-100)/r, (y-100)/r; math.Hypot(dx, dy) < 0.9 {
					got := tree.at(int(x), int(y))
					worst = math.Max(worst, math.Abs(got[0]-u(dx, dy)))
					if got[1] != 0 || math.Abs(got[2]-7) > 1e-9 {
						t.Fatalf("%s at %v, %v: %v", name, x, y, got)
					}
				}
			}
		}
		t.Logf("%s: %.0f of 20000 at most", name, worst)
		if worst > 1200 {
			t.Errorf("%s: %.0f of 20000 from harmonic", name, worst)
		}
	}
}

func TestSpotsFindLikePlaces(t *testing.T) {
	// Stripes with grain, and specks beside the spot: the stripes go on, the
	// speck isn't copied, the grain stays.
	rng := rand.New(rand.NewPCG(3, 4))
	p := flat(160, 160, 0)
	clean := make([]float64, len(p.data))
	for i := range p.data {
		clean[i] = 20000 + 20000*math.Round(math.Mod(float64(i%160+i/160)/12, 1))
		p.data[i] = uint16(clean[i] + 1000*rng.NormFloat64())
	}
	for _, at := range [][2]int{{80, 80}, {80, 110}, {52, 80}} {
		for i := range p.data {
			if math.Hypot(float64(i%160-at[0]), float64(i/160-at[1])) < 9 {
				p.data[i] = 3000
			}
		}
	}
	for _, size := range []string{"10", "12"} { // in blocks of 2 px
		got := checkOrders(t, spotsStepOf(t, p.pic, "at 161/2 161/2 radius "+size+" soft 0"), p)
		var sum float64
		n := 0
		for i, v := range got {
			if math.Hypot(float64(i%160-80), float64(i/160-80)) < 9 {
				sum, n = sum+(float64(v)-clean[i])*(float64(v)-clean[i]), n+1
			}
		}
		if rms := math.Sqrt(sum / float64(n)); rms > 4000 || rms < 700 {
			t.Errorf("radius %s: %.0f from the stripes, with grain of 1000", size, rms)
		}
	}
}
