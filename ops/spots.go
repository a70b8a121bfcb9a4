package ops

import (
	"cmp"
	"fmt"
	"image"
	"math"
	"math/big"
	"slices"

	"platemark/ops/exact"
)

// SpotsV1 mends a run of spots, all of them reading the picture before the run.
//
// A spot's disc is the pixels whose centres lie nearer than R to its place; d
// is that distance, taken in float64. The mended value f is laid over the
// picture c by the weight w: with t = (1 - d/R)/S held within 0 and 1,
// w = 3t² - 2t³ (1 where the softness S is 0), and the result is
// floor(c + w(f - c) + 1/2).
//
// Without "from", f is filled from the rim: the mean, channel by channel, of
// the pixels of the picture at R <= d <= R + 3/2, each weighted by 1 over the
// square of its distance to the pixel filled. Sums run in float64 over the rim
// in rows from top to bottom, each from left to right. Rim pixels outside the
// picture don't count.
//
// With "from", f is the pixel at the offset from the spot to that place, each
// coordinate rounded half up to whole pixels, held inside the picture.
//
// Source: inverse-distance weighting of power 2 (D. Shepard, "A
// two-dimensional interpolation function for irregularly-spaced data", Proc.
// 23rd ACM National Conference, 1968), restricted to the rim.
var SpotsV1 = operation(Operation{
	Name:    "spots",
	Version: 1,
	Doc:     "Mends spots: each disc is filled by the mean of its rim (R to R + 3/2 px away), weighted by 1/distance², or copied from another place by whole pixels; laid over with the weight 3t²-2t³ over the soft share of the radius. All spots read the picture before the run.",
	Takes:   1,
	Nanos:   2,
	Mends:   true,
	Params: Params{
		{Name: "spot-1", Unit: "shape", Doc: "the first spot; spot-2, spot-3, … follow; see SpotShape"},
	},
	Reduce: reduceSpots,
}, newSpots)

type spotsParams struct{ Spot []string }

// reduceSpots keeps the spots of half a reduced pixel and more.
func reduceSpots(_ Params, a Args, r Reduction) (Args, bool, error) {
	by := r.ratio()
	var kept Args
	for _, text := range a.All("spot") {
		s, err := ParseSpot(text)
		if err != nil {
			return nil, false, err
		}
		s.At, s.Radius = s.At.times(by), times(s.Radius, by.X)
		if s.From != nil {
			p := s.From.times(by)
			s.From = &p
		}
		if s.Radius.Cmp(big.NewRat(1, 2)) >= 0 {
			kept = append(kept, Arg{fmt.Sprintf("spot-%d", len(kept)+1), s.String()})
		}
	}
	return kept, len(kept) > 0, nil
}

// spotRim is how far beyond the disc the rim reaches, px.
const spotRim = 1.5

type spot struct {
	x, y, r, soft float64
	copied        bool
	ox, oy        int     // copied: the offset
	rim           []place // filled: the rim's pixels, row by row
	y0, y1        int     // rows of the disc inside the picture
	need0, need1  int     // filled: rows of the rim
}

// place is a pixel's column and row; whole numbers, ready for sums.
type place struct{ x, y float64 }

type spotsStep struct {
	pic    Pic
	w      int             // of the whole picture
	part   image.Rectangle // of the whole result that this step makes
	held   int             // the first column that the input has
	spots  []spot
	byRow  [][]int32 // spots by row
	lo, hi []int32   // windows
}

func newSpots(a spotsParams, in []Pic, _ Env) (Step, error) {
	p, text := in[0], a.Spot
	if err := somePixels("spots", p); err != nil {
		return nil, err
	}
	shapes := make([]SpotShape, len(text))
	s := &spotsStep{pic: p, w: p.W, part: image.Rect(0, 0, p.W, p.H), spots: make([]spot, len(text)), byRow: make([][]int32, p.H)}
	for i, t := range text {
		v, err := ParseSpot(t)
		if err != nil {
			return nil, fmt.Errorf("spots: spot-%d: %w", i+1, err)
		}
		shapes[i] = v
		if s.spots[i], err = newSpot(v, p); err != nil {
			return nil, fmt.Errorf("spots: spot-%d (%s) %w", i+1, t, err)
		}
	}
	if i, j, ok := s.overlapping(shapes); ok {
		return nil, fmt.Errorf("spots: spot-%d (%s) and spot-%d (%s) overlap; make one smaller or mend both with one disc",
			i+1, text[i], j+1, text[j])
	}
	s.windows()
	return s, nil
}

// newSpot works out what the picture's size settles.
func newSpot(v SpotShape, p Pic) (spot, error) {
	s := spot{x: flt(v.At.X), y: flt(v.At.Y), r: flt(v.Radius), soft: flt(v.Soft), copied: v.From != nil}
	if s.copied {
		s.ox = halfUp(new(big.Rat).Sub(v.From.X, v.At.X))
		s.oy = halfUp(new(big.Rat).Sub(v.From.Y, v.At.Y))
	}
	found := false
	y0, y1 := columns(s.y, s.r, 1, p.H)
	for y := y0; y < y1; y++ {
		if lo, hi := s.cols(y, p.W); lo < hi {
			if !found {
				s.y0 = y
			}
			found, s.y1 = true, y+1
		}
	}
	if !found {
		if s.x >= 0 && s.y >= 0 && s.x <= float64(p.W) && s.y <= float64(p.H) {
			return s, fmt.Errorf("is too small to hold the centre of a pixel; make its radius at least 1 px")
		}
		return s, nil // cropped away
	}
	if s.copied {
		return s, nil
	}
	y0, y1 = columns(s.y, s.r+spotRim, 1, p.H)
	x0, x1 := columns(s.x, s.r+spotRim, 1, p.W)
	r2, o := float64(s.r*s.r), s.r+spotRim
	o2 := float64(o * o)
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			if d := s.dist2(x, y); d >= r2 && d <= o2 {
				s.rim = append(s.rim, place{float64(x), float64(y)})
			}
		}
	}
	if len(s.rim) == 0 {
		return s, fmt.Errorf("covers the whole picture of %d x %d px, so that there is no rim to fill it from", p.W, p.H)
	}
	s.need0, s.need1 = int(s.rim[0].y), int(s.rim[len(s.rim)-1].y)+1
	return s, nil
}

// dist2 is the square of the distance of a pixel's centre.
func (s *spot) dist2(x, y int) float64 {
	dx, dy := float64(x)+0.5-s.x, float64(y)+0.5-s.y
	return float64(dx*dx) + float64(dy*dy)
}

// cols returns the columns of the disc in row y.
func (s *spot) cols(y, w int) (lo, hi int) {
	r2 := float64(s.r * s.r)
	lo, hi = columns(s.x, s.r, 1, w)
	for lo < hi && s.dist2(lo, y) >= r2 {
		lo++
	}
	for lo < hi && s.dist2(hi-1, y) >= r2 {
		hi--
	}
	return lo, hi
}

// weight is how much of the mended value pixel (x, y) of the disc takes.
func (s *spot) weight(x, y int) float64 {
	if s.soft == 0 {
		return 1
	}
	return fade((1 - math.Sqrt(s.dist2(x, y))/s.r) / s.soft)
}

// overlapping finds two spots i < j that overlap, the first such i and its first
// j. From left to right, each is held against those that it may reach.
func (s *spotsStep) overlapping(shapes []SpotShape) (i, j int, ok bool) {
	byX := make([]int, len(s.spots))
	largest := 0.0
	for k := range byX {
		byX[k], largest = k, max(largest, s.spots[k].r)
	}
	slices.SortFunc(byX, func(a, b int) int { return cmp.Compare(s.spots[a].x, s.spots[b].x) })
	for at, a := range byX {
		p := &s.spots[a]
		for _, b := range slices.Backward(byX[:at]) {
			q := &s.spots[b]
			if p.x-q.x > (p.r+largest)*1.01 {
				break
			}
			first, then := min(a, b), max(a, b)
			if ok && (first > i || first == i && then >= j) || math.Abs(p.y-q.y) > (p.r+q.r)*1.01 || !spotsOverlap(p, q, shapes[a], shapes[b]) {
				continue
			}
			i, j, ok = first, then, true
		}
	}
	return i, j, ok
}

// spotsOverlap tells whether two discs share a place, exactly.
func spotsOverlap(a, b *spot, sa, sb SpotShape) bool {
	dx, dy, r := a.x-b.x, a.y-b.y, a.r+b.r
	if float64(dx*dx)+float64(dy*dy) > float64(r*r)+1 {
		return false // by far more than any rounding
	}
	x := new(big.Rat).Sub(sa.At.X, sb.At.X)
	y := new(big.Rat).Sub(sa.At.Y, sb.At.Y)
	q := new(big.Rat).Add(sa.Radius, sb.Radius)
	x.Mul(x, x)
	x.Add(x, y.Mul(y, y))
	return x.Cmp(q.Mul(q, q)) < 0
}

// windows fills byRow, lo and hi. A row reads itself and what its spots need.
// The low ends are lowered to the lowest of all later rows, so that they never
// fall as y grows: a spot copied from above keeps rows in reach from there on.
func (s *spotsStep) windows() {
	h := s.pic.H
	s.lo, s.hi = make([]int32, h), make([]int32, h)
	for y := range h {
		s.lo[y], s.hi[y] = int32(y), int32(y+1)
	}
	reach := func(y, lo, hi int) {
		s.lo[y], s.hi[y] = min(s.lo[y], int32(lo)), max(s.hi[y], int32(hi))
	}
	for i := range s.spots {
		p := &s.spots[i]
		for y := p.y0; y < p.y1; y++ {
			s.byRow[y] = append(s.byRow[y], int32(i))
			if p.copied {
				from := max(0, min(y+p.oy, h-1))
				reach(y, from, from+1)
			} else {
				reach(y, p.need0, p.need1)
			}
		}
	}
	for y := h - 2; y >= 0; y-- {
		s.lo[y] = min(s.lo[y], s.lo[y+1])
	}
}

func (s *spotsStep) Pic() Pic                     { return s.pic }
func (s *spotsStep) Window(_, y int) (lo, hi int) { return int(s.lo[y]), int(s.hi[y]) }

func (s *spotsStep) Memory() (worker, shared int64) {
	for i := range s.spots {
		shared += 16 * int64(len(s.spots[i].rim)*s.pic.C) // two workers may meet at one
	}
	return 0, shared
}

func (s *spotsStep) Needs(_ int, r image.Rectangle) image.Rectangle {
	need := r
	for i := range s.spots {
		p := &s.spots[i]
		x0, x1 := columns(p.x, p.r, 1, s.w)
		at := image.Rect(x0, p.y0, x1, p.y1).Intersect(r)
		switch {
		case at.Empty():
		case p.copied:
			hold := func(v, most int) int { return max(0, min(v, most-1)) }
			from := at.Add(image.Pt(p.ox, p.oy))
			need = need.Union(image.Rect(hold(from.Min.X, s.w), hold(from.Min.Y, s.pic.H), hold(from.Max.X-1, s.w)+1, hold(from.Max.Y-1, s.pic.H)+1))
		default:
			x0, x1 := columns(p.x, p.r+spotRim, 1, s.w)
			need = need.Union(image.Rect(x0, p.need0, x1, p.need1))
		}
	}
	return need
}

func (s *spotsStep) Part(r image.Rectangle) (Step, int) {
	p := *s
	p.pic.W, p.part, p.held = r.Dx(), r, s.Needs(0, r).Min.X
	return &p, r.Min.X
}

func (s *spotsStep) Worker() Worker {
	return &spotsWorker{s: s, rim: make([][]float64, len(s.spots))}
}

type spotsWorker struct {
	s   *spotsStep
	rim [][]float64 // by spot: the rim's samples, nil until first used
	sum []float64
}

func (w *spotsWorker) Row(dst []uint16, y int, in []Rows) {
	s := w.s
	src := in[0].Row(y)
	copy(dst[:s.pic.Stride()], src[(s.part.Min.X-s.held)*s.pic.C:])
	for _, i := range s.byRow[y] {
		p := &s.spots[i]
		lo, hi := p.cols(y, s.w)
		if lo, hi = max(lo, s.part.Min.X), min(hi, s.part.Max.X); lo >= hi {
			continue
		}
		if p.copied {
			s.copy(p, dst, src, y, lo, hi, in[0])
			continue
		}
		if w.rim[i] == nil {
			w.rim[i] = s.gather(p, in[0])
			src = in[0].Row(y) // more rows than may be held were asked for since
		}
		w.fill(p, w.rim[i], dst, src, y, lo, hi)
	}
}

// gather reads the samples of a spot's rim.
func (s *spotsStep) gather(p *spot, in Rows) []float64 {
	c := s.pic.C
	v := make([]float64, 0, len(p.rim)*c)
	last, row := -1, []uint16(nil)
	for _, q := range p.rim {
		if y := int(q.y); y != last {
			last, row = y, in.Row(y)
		}
		x := int(q.x) - s.held
		for _, u := range row[x*c : (x+1)*c] {
			v = append(v, float64(u))
		}
	}
	return v
}

// fill mends columns lo to hi of row y of a spot from its rim.
func (w *spotsWorker) fill(p *spot, rim []float64, dst, src []uint16, y, lo, hi int) {
	c := w.s.pic.C
	if w.sum == nil {
		w.sum = make([]float64, c)
	}
	fy := float64(y)
	for x := lo; x < hi; x++ {
		share := p.weight(x, y)
		fx, total := float64(x), 0.0
		if c == 3 {
			var r, g, b float64
			for i, q := range p.rim {
				dx, dy := q.x-fx, q.y-fy
				k := 1 / (float64(dx*dx) + float64(dy*dy))
				v := rim[3*i : 3*i+3 : 3*i+3]
				total += k
				r += float64(k * v[0])
				g += float64(k * v[1])
				b += float64(k * v[2])
			}
			w.sum[0], w.sum[1], w.sum[2] = r, g, b
		} else {
			clear(w.sum)
			for i, q := range p.rim {
				dx, dy := q.x-fx, q.y-fy
				k := 1 / (float64(dx*dx) + float64(dy*dy))
				total += k
				for j, v := range rim[c*i : c*i+c] {
					w.sum[j] += float64(k * v)
				}
			}
		}
		for j, v := range w.sum {
			dst[(x-w.s.part.Min.X)*c+j] = laidOver(src[(x-w.s.held)*c+j], v/total, share)
		}
	}
}

// copy mends columns lo to hi of row y of a spot from another place.
func (s *spotsStep) copy(p *spot, dst, src []uint16, y, lo, hi int, in Rows) {
	c := s.pic.C
	from := in.Row(max(0, min(y+p.oy, s.pic.H-1)))
	for x := lo; x < hi; x++ {
		fx := (max(0, min(x+p.ox, s.w-1)) - s.held) * c
		share := p.weight(x, y)
		for j := range c {
			dst[(x-s.part.Min.X)*c+j] = laidOver(src[(x-s.held)*c+j], float64(from[fx+j]), share)
		}
	}
}

// laidOver is floor(c + w(f - c) + 1/2).
func laidOver(c uint16, f, w float64) uint16 {
	b := float64(c)
	return exact.RoundU16(b + float64(w*(f-b)))
}
