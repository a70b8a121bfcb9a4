package inspect

import (
	"cmp"
	"image"
	"math"
	"slices"
)

// A mark is a pixel of a level that lies on a line: a hair's ridge, or the rim of
// an edge.
type mark struct {
	x, y  int32         // its middle in the picture, px
	k     int8          // the level
	width int8          // in the level's pixels
	a, b  int32         // a ridge's height and the light beside it; a rim's colour, red and blue less light
	codes *[3][3]uint16 // of a rim and of both sides
}

func (m *mark) at() Point { return Point{float64(m.x), float64(m.y)} }

const (
	hairLevels = 3 // hairs are up to about 3 pixels wide in the last
	// hairSpread is how many times the spread of the ground a ridge's height is, at
	// least.
	hairSpread = 3
	hairLeast  = 0.006 // of the range
	// hairLong is the least length of a hair, px and times its width.
	hairLong   = 22
	hairWidths = 7
	hairMarks  = 13 // at least 0.6 of its length
	// hairAlone is how many of a hair's marks there may be for each other one around,
	// at least, and hairAround how wide the squares are that are looked at, in the
	// level's pixels.
	hairAlone  = 3
	hairAround = 16
	// marksMost is how many marks a tile holds, half as many in each further level:
	// those of the greatest height.
	marksMost = 1024
)

// ways are the four directions of a line, and of what lies beside it.
var ways = [4]struct{ along, across image.Point }{
	{image.Pt(1, 0), image.Pt(0, 3)}, {image.Pt(0, 1), image.Pt(3, 0)},
	{image.Pt(1, 1), image.Pt(2, -2)}, {image.Pt(1, -1), image.Pt(2, 2)},
}

// findRidges marks what five pixels in a row have more, or less, than the five on
// either side of them, where both sides are alike and the ground is smooth: most of
// the squares of 8 pixels around, five by five, have hardly a spread.
func (w *scanWorker) findRidges(k int) {
	p := &w.light[k]
	spread, cols := w.spreads(k)
	r := w.coreAt(k)
	var marks []mark
	line := func(x, y int, d image.Point) float64 {
		i, o := y*p.w+x, d.Y*p.w+d.X
		return float64(p.v[i-2*o]+p.v[i-o]+p.v[i]+p.v[i+o]+p.v[i+2*o]) / 5
	}
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			least := spread[y/8*cols+x/8]
			i := y*p.w + x
			v := 2 * p.v[i]
			if most := int32(least); abs(v-p.v[i-3]-p.v[i+3]) < most && abs(v-p.v[i-3*p.w]-p.v[i+3*p.w]) < most {
				continue
			}
			best, side := 0.0, 0.0
			var way int
			for n, d := range ways {
				c := line(x, y, d.along)
				a, b := line(x+d.across.X, y+d.across.Y, d.along), line(x-d.across.X, y-d.across.Y, d.along)
				h := c - max(a, b)
				if c < min(a, b) {
					h = c - min(a, b)
				}
				if c > min(a, b) && c < max(a, b) || math.Abs(h) < least || math.Abs(a-b) > math.Abs(h)/2 {
					continue
				}
				if math.Abs(h) > math.Abs(best) {
					best, side, way = h, (a+b)*0.5, n
				}
			}
			if best == 0 {
				continue
			}
			// The middle of the line is higher than what lies beside it.
			d := ways[way]
			one := image.Pt(sgn(d.across.X), sgn(d.across.Y))
			sign := 1.0
			if best < 0 {
				sign = -1
			}
			c := sign * line(x, y, d.along)
			if sign*line(x-one.X, y-one.Y, d.along) > c || sign*line(x+one.X, y+one.Y, d.along) >= c {
				continue
			}
			wide := int8(1)
			for _, s := range [2]int{-1, 1} {
				for n := s; n*s < 3 && sign*(line(x+n*one.X, y+n*one.Y, d.along)-side) > math.Abs(best)/2; n += s {
					wide++
				}
			}
			at := w.place(k, float64(x)+0.5, float64(y)+0.5)
			marks = append(marks, mark{x: int32(at.X), y: int32(at.Y), k: int8(k), width: wide, a: int32(best), b: int32(side)})
		}
	}
	w.ridges = append(w.ridges, w.ended(strongest(marks, marksMost>>k), hairLine)...)
}

// strongest are the marks of a tile that are kept.
func strongest(marks []mark, most int) []mark {
	if len(marks) > most {
		slices.SortStableFunc(marks, func(a, b mark) int { return cmp.Compare(b.height(), a.height()) })
		marks = slices.Clone(marks[:most])
	}
	return marks
}

func (m *mark) height() int32 {
	if m.codes != nil {
		return max(abs(m.a), abs(m.b))
	}
	return abs(m.a)
}

// A lineKind is how marks make lines: joined where they lie up to reach of their
// level's pixels from each other and are alike, at least so many, as of says; perhaps
// only where no others like them lie around.
type lineKind struct {
	reach int32
	least int
	alike func(a, b *mark) bool
	of    func(s *scan, g []mark) (Find, bool)
	alone bool
}

// find is the line that a group of marks makes, if it is one.
func (kind lineKind) find(s *scan, g []mark, all *crowd) (Find, bool) {
	f, ok := kind.of(s, g)
	return f, ok && !(kind.alone && all.around(g)*hairAlone > len(g))
}

// crowd are marks, and their heights by squares of hairAround.
type crowd struct {
	marks []mark
	by    map[square][]int32
}

// square is one of a grid over a level.
type square struct {
	k    int8
	x, y int32
}

// around is how many marks, at least half as high as those of a group in the mean, lie
// in the squares that touch the group's and are none of it: texture has many, and the
// ground on which a hair is seen few.
func (c *crowd) around(g []mark) (n int) {
	at := func(m *mark) square { return square{m.k, m.x / (hairAround << m.k), m.y / (hairAround << m.k)} }
	if c.by == nil {
		c.by = map[square][]int32{}
		for i := range c.marks {
			q := at(&c.marks[i])
			c.by[q] = append(c.by[q], c.marks[i].height())
		}
	}
	sum := int64(0)
	near := map[square]bool{}
	for i := range g {
		sum += int64(g[i].height())
		q := at(&g[i])
		for d := range int32(9) {
			near[square{q.k, q.x + d%3 - 1, q.y + d/3 - 1}] = true
		}
	}
	like := int32(sum / int64(2*len(g)))
	for q := range near {
		for _, h := range c.by[q] {
			if h >= like {
				n++
			}
		}
	}
	for i := range g {
		if g[i].height() >= like {
			n--
		}
	}
	return n
}

// ended takes the lines of marks that no other tile's can belong to, and gives the
// other marks: fine texture has many that are soon known to be no line.
func (w *scanWorker) ended(marks []mark, kind lineKind) (open []mark) {
	all := &crowd{marks: marks}
	for _, g := range groups(marks, kind.reach, 0, kind.alike) {
		far := kind.reach << g[0].k
		if slices.ContainsFunc(g, func(m mark) bool {
			return int(m.x-far) < w.Min.X || int(m.x+far) >= w.Max.X || int(m.y-far) < w.Min.Y || int(m.y+far) >= w.Max.Y
		}) {
			open = append(open, g...)
		} else if len(g) >= kind.least>>g[0].k {
			if f, ok := kind.find(w.scan, g, all); ok {
				w.whole = append(w.whole, f)
			}
		}
	}
	return slices.Clone(open)
}

// linesOf are those of a kind in the whole picture.
func (s *scan) linesOf(kind lineKind, k Kind, marks func(t *found) *[]mark) (list []Find) {
	for t := range s.tiles {
		for _, f := range s.tiles[t].whole {
			if f.Kind == k {
				list = append(list, f)
			}
		}
	}
	all := &crowd{marks: gather(s.tiles, marks)}
	for _, g := range groups(all.marks, kind.reach, kind.least, kind.alike) {
		if f, ok := kind.find(s, g, all); ok {
			list = append(list, f)
		}
	}
	return list
}

// spreads is, by squares of 8 pixels of a level, how high a ridge is to be there.
func (w *scanWorker) spreads(k int) (least []float64, cols int) {
	p := &w.light[k]
	cols = p.w / 8
	rows := p.h / 8
	dev := make([]float64, cols*rows)
	mean := make([]int64, cols*rows)
	for i := range dev {
		var s, sx, sy, q int64
		for y := range 8 {
			for x, v := range p.v[(i/cols*8+y)*p.w+i%cols*8:][:8] {
				s, sx, sy, q = s+int64(v), sx+int64(2*x-7)*int64(v), sy+int64(2*y-7)*int64(v), q+int64(v)*int64(v)
			}
		}
		// What a plane through the square leaves.
		f := float64(q) - float64(float64(s)*float64(s))/64 - float64(float64(sx)*float64(sx))/1344 - float64(float64(sy)*float64(sy))/1344
		dev[i], mean[i] = math.Sqrt(max(f, 0)/64), s/64
	}
	least = make([]float64, cols*rows)
	var around [25]float64
	for i := range least {
		n := 0
		for y := max(0, i/cols-2); y <= min(rows-1, i/cols+2); y++ {
			for x := max(0, i%cols-2); x <= min(cols-1, i%cols+2); x++ {
				around[n] = dev[y*cols+x]
				n++
			}
		}
		slices.Sort(around[:n])
		ground := max(around[n/2], w.sigma(mean[i])/float64(int(1)<<k))
		least[i] = max(hairSpread*ground, hairLeast*full)
	}
	return least, cols
}

// groups joins marks of one level that lie up to reach of its pixels from each
// other and are alike, and gives those of at least so many, least in the first
// level; each group's marks, and the groups, are in the order of their places.
func groups(marks []mark, reach int32, least int, alike func(a, b *mark) bool) [][]mark {
	slices.SortFunc(marks, func(a, b mark) int {
		return cmp.Or(cmp.Compare(a.k, b.k), cmp.Compare(a.y, b.y), cmp.Compare(a.x, b.x), cmp.Compare(a.a, b.a), cmp.Compare(a.b, b.b))
	})
	of := make([]int32, len(marks))
	root := func(i int32) int32 {
		for of[i] != i {
			of[i] = of[of[i]]
			i = of[i]
		}
		return i
	}
	// The last mark of a square, and before each of its marks the one before, from 1.
	last, before := map[square]int32{}, make([]int32, len(marks))
	for i := range marks {
		m := &marks[i]
		of[i] = int32(i)
		far := reach << m.k
		side := 4 * (far + 1)
		for y := (m.y - far) / side; y <= m.y/side; y++ {
			for x := (m.x - far) / side; x <= (m.x+far)/side; x++ {
				for j := last[square{m.k, x, y}] - 1; j >= 0; j = before[j] - 1 {
					o := &marks[j]
					if m.y-o.y > far {
						break
					}
					if abs(o.x-m.x) <= far && alike(o, m) {
						if a, b := root(int32(i)), root(j); a != b {
							of[max(a, b)] = min(a, b)
						}
					}
				}
			}
		}
		q := square{m.k, m.x / side, m.y / side}
		before[i] = last[q]
		last[q] = int32(i) + 1
	}
	size := before // no longer needed
	clear(size)
	for i := range marks {
		size[root(int32(i))]++
	}
	index := make(map[int32]int)
	var out [][]mark
	for i := range marks {
		r := root(int32(i))
		if int(size[r]) < least>>marks[i].k {
			continue
		}
		n, ok := index[r]
		if !ok {
			n = len(out)
			index[r] = n
			out = append(out, make([]mark, 0, size[r]))
		}
		out[n] = append(out[n], marks[i])
	}
	return out
}

// gather takes all tiles' marks of one kind.
func gather(tiles []found, of func(t *found) *[]mark) []mark {
	n := 0
	for t := range tiles {
		n += len(*of(&tiles[t]))
	}
	marks := make([]mark, 0, n)
	for t := range tiles {
		marks = append(marks, *of(&tiles[t])...)
		*of(&tiles[t]) = nil
	}
	return marks
}

// stretch is what a line of marks measures.
type stretch struct {
	a, b   Point   // its ends
	length float64 // along it, px
	width  float64 // the middle one of its marks', px
}

// stretchOf measures a group of marks. Its ends are the two farthest from each other,
// about: the farthest from the first, and the farthest from that.
func stretchOf(g []mark) (s stretch) {
	farthest := func(from Point) (at Point) {
		most := -1.0
		for i := range g {
			if d := apart(from, g[i].at()); d > most {
				most, at = d, g[i].at()
			}
		}
		return at
	}
	s.a = farthest(g[0].at())
	s.b = farthest(s.a)
	if s.b.Y < s.a.Y || s.b.Y == s.a.Y && s.b.X < s.a.X {
		s.a, s.b = s.b, s.a
	}
	widths := make([]int8, len(g))
	for i := range g {
		widths[i] = g[i].width
	}
	slices.Sort(widths)
	by := float64(int(1) << g[0].k)
	s.width = by * float64(widths[len(g)/2])
	s.length = max(apart(s.a, s.b), by*float64(len(g)))
	return s
}

// box is the extent of a group, and its middle.
func box(g []mark) (at Point, w, h float64) {
	x0, y0, x1, y1 := g[0].x, g[0].y, g[0].x, g[0].y
	for i := range g {
		x0, y0, x1, y1 = min(x0, g[i].x), min(y0, g[i].y), max(x1, g[i].x), max(y1, g[i].y)
	}
	by := float64(int(1) << g[0].k)
	return Point{float64(x0+x1) / 2, float64(y0+y1) / 2}, float64(x1-x0) + by, float64(y1-y0) + by
}

var hairLine = lineKind{3, hairMarks, func(a, b *mark) bool {
	return (a.a > 0) == (b.a > 0) && abs(a.a) < 3*abs(b.a) && abs(b.a) < 3*abs(a.a)
}, (*scan).hair, true}

// hair is a line of ridges that is long, thin and whole.
func (s *scan) hair(g []mark) (f Find, ok bool) {
	l := stretchOf(g)
	by := float64(int(1) << g[0].k)
	straight := apart(l.a, l.b)
	n := by * float64(len(g))
	if straight < max(hairLong, hairWidths*l.width) || n < 0.6*straight || n > 2*straight {
		return f, false
	}
	f = Find{Kind: Hair, Width: l.width, Ends: [2]Point{l.a, l.b}}
	f.At, f.W, f.H = box(g)
	var in, beside [3]float64
	for i := range g {
		for c := range in {
			in[c] += float64(g[i].a+g[i].b) / 4 / float64(len(g))
			beside[c] += float64(g[i].b) / 4 / float64(len(g))
		}
	}
	f.Contrast = s.contrast(in, beside)
	f.Spots = chain(g, l, float64(1.5*l.width)+2)
	return f, true
}

// hairs are those of the whole picture.
func (s *scan) hairs() []Find {
	list := s.linesOf(hairLine, Hair, func(t *found) *[]mark { return &t.ridges })
	// One hair may be seen in two levels.
	slices.SortFunc(list, byWeight)
	near := newPlaces(64)
	return slices.DeleteFunc(list, func(f Find) bool {
		n := 0
		for _, d := range f.Spots {
			if near.within(d.Point, 2) {
				n++
			}
		}
		if 2*n > len(f.Spots) {
			return true
		}
		for _, d := range f.Spots {
			near.add(d.Point, d.Radius)
		}
		return false
	})
}

func abs(v int32) int32 { return max(v, -v) }

func sgn(v int) int { return max(-1, min(1, v)) }
