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
// floor(c + w(f - c) + 1/2). f = g + m: the pixel g at an offset, raised by a
// membrane m that fits it to the rim, but none is taken past what it is and what
// the rim's pixels are. Reads are held inside the picture.
//
// The rim is the pixels of the picture at R <= d <= R + 3/2, without those on
// another disc of the run and those whose g lies on the spot's own disc. m is
// the mean of c - g there, each pixel weighted by 1 over the square of its
// distance to the pixel filled: on a disc that is Poisson's integral, the
// harmonic membrane. Far pixels are taken together. Squares have sides that are
// powers of two and lie at multiples of them; the smallest that holds the pixels
// stands for all of them, at their mean place, from four sides away; nearer, its
// quarters do. Sums run over these from the upper left quarter to the lower
// right, row by row, in float64.
//
// With "from", the offset is from the spot to that place, each coordinate rounded
// half up to whole pixels. Without, it is that of a place around that looks
// alike; where none fits, g is 0.
//
// For that, the picture's light (red + 2 green + blue, or grey) is taken as
// means, rounded down, of whole blocks of B x B px at multiples of B, the
// smallest power of two with R/B <= 8. By their centres, in blocks, the disc has
// the radius q = R/B + 1 and the ring around it ends at q + 3; ring blocks nearer
// to another spot of the run than its radius and a block don't count. Offsets are
// whole blocks, at most floor(5q) + 8 on either axis and at least 2q + 4 in all;
// disc and ring there lie in what is read, n = floor(5q) + floor(q) + 13 blocks
// from the spot's pixel to all sides, and are nearer to no other spot than its
// radius. How unlike a place is: the sum of squared differences of its ring from
// the spot's. The 24 least unlike are found in turn, none within floor(q)/2 blocks
// (rounded down) of an earlier one on both axes, of equals the first, row by row.
// Each is aligned by steps of B/2, B/4, … 1 px: of the nine offsets around, row by
// row, to the first at which the rim's pixels are least unlike, by the sum of the
// squared differences of red, blue and twice green, times 4 (of grey, times 1). Its
// misfit is the mean of that over the rim and of how unlike the place was over the
// ring's blocks, added. Of the nine of least misfit, without those above 1.5 times
// the least, two thirds, rounded up, are kept, whose discs are least unlike the
// others': the least sum of V(a - b) / (sqrt(V(a) + 1) sqrt(V(b) + 1)), V the sum of
// squared distances from the mean, before they were aligned. Dropped are those
// whose V over the number of blocks is above 4 times that of the spot's ring and
// 2^16 more. Of the rest the one of least misfit is taken whose grain is at least
// 0.6 of the ring's, or else the one of least misfit; grain is the mean squared
// difference of two blocks side by side, both of the disc, or of the ring.
//
// Sources: the fit, P. Perez, M. Gangnet, A. Blake, "Poisson image editing", ACM
// Trans. Graphics 22(3), 2003; squares, J. Barnes, P. Hut, Nature 324, 1986;
// filling by the place whose surroundings are most like, A. Criminisi, P. Perez,
// K. Toyama, IEEE Trans. Image Processing 13(9), 2004, with the whole disc as one
// patch; alignment, the three-step search of T. Koga and others, National
// Telecommunications Conference, 1981. The choice among the likest is our own.
var SpotsV1 = operation(Operation{
	Name:    "spots",
	Version: 1,
	Doc:     "Mends spots: each disc is filled from another place, given or the likest around, fitted at the rim (R to R + 3/2 px away) by the mean difference, weighted by 1/distance²; laid over with the weight 3t²-2t³ over the soft share of the radius. All spots read the picture before the run.",
	Takes:   1,
	Nanos:   2,
	Mends:   true,
	Params: Params{
		{Name: "spot-1", Unit: "shape", Doc: "the first spot; spot-2, spot-3, … follow; see SpotShape"},
	},
	Reduce: reduceSpots,
}, newSpots)

type spotsParams struct{ Spot []string }

// reduceSpots keeps the spots that hold the centre of a reduced pixel wherever they
// lie. Radii shrink as the side that shrinks most, so that none comes to overlap
// another.
func reduceSpots(_ Params, a Args, r Reduction) (Args, bool, error) {
	by := r.ratio()
	least := by.X
	if by.Y.Cmp(least) < 0 {
		least = by.Y
	}
	var kept Args
	for _, text := range a.All("spot") {
		s, err := ParseSpot(text)
		if err != nil {
			return nil, false, err
		}
		s.At, s.Radius = s.At.times(by), times(s.Radius, least)
		if s.From != nil {
			p := s.From.times(by)
			s.From = &p
		}
		if s.Radius.Cmp(big.NewRat(3, 4)) >= 0 { // the nearest centre is at most 0.71 px away
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
	off           image.Point       // copied: the offset
	rim           []image.Rectangle // runs of the rim's pixels, row by row
	y0, y1        int               // rows of the disc inside the picture
	need          image.Rectangle   // what is read, disc and rim with it
}

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
		s.off.X = halfUp(new(big.Rat).Sub(v.From.X, v.At.X))
		s.off.Y = halfUp(new(big.Rat).Sub(v.From.Y, v.At.Y))
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
	y0, y1 = columns(s.y, s.r+spotRim, 1, p.H)
	x0, x1 := columns(s.x, s.r+spotRim, 1, p.W)
	r2, o := float64(s.r*s.r), s.r+spotRim
	o2 := float64(o * o)
	for y := y0; y < y1; y++ {
		open := false
		for x := x0; x < x1; x++ {
			d := s.dist2(x, y)
			on := d >= r2 && d <= o2
			if on && open {
				s.rim[len(s.rim)-1].Max.X++
			} else if on {
				s.rim = append(s.rim, image.Rect(x, y, x+1, y+1))
			}
			open = on
		}
	}
	s.need = image.Rect(x0, y0, x1, y1)
	if s.copied {
		s.need = s.need.Union(held(s.need.Add(s.off), p.W, p.H))
		return s, nil
	}
	if len(s.rim) == 0 {
		return s, fmt.Errorf("covers the whole picture of %d x %d px, so that there is no rim to fill it from", p.W, p.H)
	}
	s.need = likeBox(&s, p.W, p.H)
	return s, nil
}

// held are the pixels that stand for a rectangle's, held inside w x h px.
func held(r image.Rectangle, w, h int) image.Rectangle {
	x, y := max(0, min(r.Min.X, w-1)), max(0, min(r.Min.Y, h-1))
	return image.Rect(x, y, max(x+1, min(r.Max.X, w)), max(y+1, min(r.Max.Y, h)))
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
	for i := range s.spots {
		p := &s.spots[i]
		for y := p.y0; y < p.y1; y++ {
			s.byRow[y] = append(s.byRow[y], int32(i))
			s.lo[y], s.hi[y] = min(s.lo[y], int32(p.need.Min.Y)), max(s.hi[y], int32(p.need.Max.Y))
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
		p := &s.spots[i]
		side, _, _ := likeness(p.r)
		worker = max(worker, 64*int64(p.need.Dx()/side*(p.need.Dy()/side)))
		for _, run := range p.rim {
			shared += 2 * 128 * int64(run.Dx()) // two workers may meet at one
		}
	}
	return worker, shared
}

func (s *spotsStep) Needs(_ int, r image.Rectangle) image.Rectangle {
	need := r
	for i := range s.spots {
		p := &s.spots[i]
		x0, x1 := columns(p.x, p.r, 1, s.w)
		if image.Rect(x0, p.y0, x1, p.y1).Overlaps(r) {
			need = need.Union(p.need)
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
	return &spotsWorker{s: s, fills: make([]*spotFill, len(s.spots))}
}

type spotsWorker struct {
	s     *spotsStep
	fills []*spotFill // by spot, nil until first used
	edge  []uint16    // see samples
}

// spotFill is what fills a spot: the pixels at an offset, unless no place fits,
// and the membrane, which raises none past what it is and the rim has.
type spotFill struct {
	off    image.Point
	fits   bool
	raise  rimTree
	lo, hi [3]uint16
}

func (w *spotsWorker) Row(dst []uint16, y int, in []Rows) {
	s, c := w.s, w.s.pic.C
	copy(dst[:s.pic.Stride()], in[0].Row(y)[(s.part.Min.X-s.held)*c:])
	for _, i := range s.byRow[y] {
		p := &s.spots[i]
		lo, hi := p.cols(y, s.w)
		if lo, hi = max(lo, s.part.Min.X), min(hi, s.part.Max.X); lo >= hi {
			continue
		}
		if w.fills[i] == nil {
			w.fills[i] = w.fill(p, in[0])
		}
		f := w.fills[i]
		from := w.samples(in[0], y+f.off.Y, lo+f.off.X, hi+f.off.X)
		for x := lo; x < hi; x++ {
			raise, share := f.raise.at(x, y), p.weight(x, y)
			for k := range c {
				g, at := uint16(0), &dst[(x-s.part.Min.X)*c+k]
				if f.fits {
					g = from[(x-lo)*c+k]
				}
				v := max(float64(min(g, f.lo[k])), min(float64(max(g, f.hi[k])), float64(g)+raise[k]))
				*at = laidOver(*at, v, share)
			}
		}
	}
}

// fill works out what fills a spot.
func (w *spotsWorker) fill(p *spot, in Rows) *spotFill {
	near := w.s.near(p)
	f := &spotFill{off: p.off, fits: true}
	if !p.copied {
		f.off, f.fits = w.like(p, near, in)
	}
	c := w.s.pic.C
	var rim []rimPixel
	var own []uint16
	for _, run := range p.rim {
		own = append(own[:0], w.samples(in, run.Min.Y, run.Min.X, run.Max.X)...)
		from := w.samples(in, run.Min.Y+f.off.Y, run.Min.X+f.off.X, run.Max.X+f.off.X)
		for i := range run.Dx() {
			at := run.Min.Add(image.Pt(i, 0))
			there := held(image.Rectangle{Min: at.Add(f.off)}, w.s.w, w.s.pic.H).Min
			if p.holds(there) || slices.ContainsFunc(near, func(q *spot) bool { return q.holds(at) }) {
				continue
			}
			px := rimPixel{at: at}
			for k := range c {
				v := own[i*c+k]
				px.raise[k] = int(v)
				if len(rim) == 0 {
					f.lo[k], f.hi[k] = v, v
				}
				f.lo[k], f.hi[k] = min(f.lo[k], v), max(f.hi[k], v)
				if f.fits {
					px.raise[k] -= int(from[i*c+k])
				}
			}
			rim = append(rim, px)
		}
	}
	f.raise = f.raise.add(rim, 1<<19)
	return f
}

// holds tells whether the disc holds a pixel.
func (s *spot) holds(at image.Point) bool { return s.dist2(at.X, at.Y) < float64(s.r*s.r) }

// near are the other spots that a place around a spot may meet.
func (s *spotsStep) near(p *spot) (list []*spot) {
	side, radius, reach := likeness(p.r)
	most := float64(float64(side) * (float64(reach) + radius + likeRing + 1))
	for i := range s.spots {
		if q := &s.spots[i]; q != p && max(math.Abs(q.x-p.x), math.Abs(q.y-p.y)) < most+q.r {
			list = append(list, q)
		}
	}
	return list
}

// samples are those of columns from <= x < till of row y, held inside the
// picture, valid until the next call.
func (w *spotsWorker) samples(in Rows, y, from, till int) []uint16 {
	s, c := w.s, w.s.pic.C
	at := held(image.Rect(from, y, till, y+1), s.w, s.pic.H)
	lo, hi := (at.Min.X-s.held)*c, (at.Max.X-s.held)*c
	var row []uint16
	if p, ok := in.(Parts); ok {
		row = p.Part(at.Min.Y, lo, hi)
	} else {
		row = in.Row(at.Min.Y)[lo:hi]
	}
	if at.Min.X == from && at.Max.X == till {
		return row
	}
	w.edge = w.edge[:0]
	for x := from; x < till; x++ {
		i := max(0, min(x-at.Min.X, at.Dx()-1)) * c
		w.edge = append(w.edge, row[i:i+c]...)
	}
	return w.edge
}

// laidOver is floor(c + w(f - c) + 1/2).
func laidOver(c uint16, f, w float64) uint16 {
	b := float64(c)
	return exact.RoundU16(b + float64(w*(f-b)))
}
