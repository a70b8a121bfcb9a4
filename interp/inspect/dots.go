package inspect

import (
	"cmp"
	"math"
	"slices"
)

// hotOver is the share of full scale from which `spot pixels` is asked for single
// pixels.
const hotOver = "2/25"

// hotLeast is that of the least height of what is hot and larger than a pixel.
const hotLeast = 0.08

// hotNoise is how many times the noise they differ by.
const hotNoise = 6

// singles takes the pixels of a row that `spot pixels` would change; those of the
// tiles' margin only to look without them.
func (w *scanWorker) singles(row, y int, was, mended []uint16) {
	c := w.pic.C
	for x := range w.pic.W {
		a, b := was[x*c:][:c], mended[x*c:][:c]
		if a[0] == b[0] && (c == 1 || a[1] == b[1] && a[2] == b[2]) {
			continue
		}
		var in, around [3]float64
		far := 0.0
		for i := range c {
			in[i], around[i] = float64(a[i]), float64(b[i])
			if d := in[i] - around[i]; math.Abs(d) > math.Abs(far) {
				far = d
			}
		}
		if k := int(max(in[0], in[1], in[2])) >> 13; math.Abs(far) < hotNoise*65535*(w.noise.Light[k]+w.noise.Colour[k]) {
			continue
		}
		w.alone = append(w.alone, alone{x, y, light(b)})
		if y/coreH != row {
			continue
		}
		f := Find{Kind: Hot, At: Point{float64(x) + 0.5, float64(y) + 0.5}, W: 1, H: 1, Width: 1, Contrast: w.contrast(in, around)}
		if far < 0 {
			f.Kind = Dead
		}
		f.Spots = []Disc{{f.At, 1}}
		w.tiles[w.tileAt(f.At)].single.add(f, tileMost)
		w.near.add(f.At, 1.5)
	}
}

// What a speck needs to be looked at as a blot. What decides is how like it is.
const (
	// blotLeast is the least height of a blot, as a share of the range, and blotCalm
	// how many times what squares stand out by in the calmest parts around.
	blotLeast = 0.004
	blotCalm  = 3
	// blotReach is how far a blot is measured, in the level's pixels.
	blotReach = 9
	blotN     = 2*blotReach + 1
)

// eachSpeck calls f for the highest or lowest pixel of each square of 3 pixels of a
// level that stands out of its ground on all sides, and for those as high that don't
// touch it: the square's mean is beyond that of the ring between squares of 5 and of 9
// by half of the ring's own spread, and by more than the squares around. Height is the
// pixel's beyond that ring, calm what squares stand out by in the calmest parts around.
func (w *scanWorker) eachSpeck(k int, f func(x, y int, sign int32, height, calm float64)) {
	p, r := &w.light[k], w.coreAt(k)
	wide := r.Dx() + 2
	out := slices.Grow(w.out[:0], wide*(r.Dy()+2))[:wide*(r.Dy()+2)]
	w.out = out
	clear(out)
	for y := r.Min.Y - 1; y <= r.Max.Y; y++ {
		for x := r.Min.X - 1; x <= r.Max.X; x++ {
			if d, spread := w.square(k, x, y); math.Abs(d) >= blotLeast*full/16 && 4*float64(d*d) > spread {
				out[(y-r.Min.Y+1)*wide+x-r.Min.X+1] = d
			}
		}
	}
	for i := range w.calms {
		w.calms[i], w.calmest[i] = -1, -1
	}
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			i := (y-r.Min.Y+1)*wide + x - r.Min.X + 1
			v := out[i]
			if v == 0 {
				continue
			}
			sign := int32(1)
			if v < 0 {
				sign = -1
			}
			most := true
			for j, d := range [8]int{-wide - 1, -wide, -wide + 1, -1, 1, wide - 1, wide, wide + 1} {
				o := float64(sign) * out[i+d]
				most = most && (math.Abs(v) > o || j >= 4 && math.Abs(v) == o)
			}
			if !most {
				continue
			}
			a, _ := w.box(k, x, y, 1)
			base := float64(a)/9 - v
			height := func(x, y int) float64 { return float64(sign) * (float64(p.v[y*p.w+x]) - base) }
			tx, ty := x, y
			for i := range 9 {
				if nx, ny := x+i%3-1, y+i/3-1; height(nx, ny) > height(tx, ty) {
					tx, ty = nx, ny
				}
			}
			calm := w.calmAt(k, x, y)
			if height(tx, ty) < 0.8*max(blotLeast*full, blotCalm*calm) {
				continue
			}
			f(tx, ty, sign, height(tx, ty), calm)
			for i := range 9 { // two specks may share a square
				nx, ny := x+i%3-1, y+i/3-1
				if (nx-tx)*(nx-tx) > 1 || (ny-ty)*(ny-ty) > 1 {
					if h := height(nx, ny); h > 0.8*height(tx, ty) {
						f(nx, ny, sign, h, calm)
					}
				}
			}
		}
	}
}

// square is by how much the mean of a square of 3 pixels exceeds that of the ring
// between squares of 5 and of 9, and that ring's variance.
func (w *scanWorker) square(k, x, y int) (beyond, spread float64) {
	a, _ := w.box(k, x, y, 1)
	b, b2 := w.box(k, x, y, 2)
	c, c2 := w.box(k, x, y, 4)
	const ring = 81 - 25
	mean := float64(c-b) / ring
	return float64(a)/9 - mean, float64(c2-b2)/ring - float64(mean*mean)
}

// findBlots takes what is like a blot, and what is hot or dead and larger than a pixel.
func (w *scanWorker) findBlots(k int) {
	var in [likeIn]int32
	w.eachSpeck(k, func(x, y int, sign int32, height, calm float64) {
		w.around(k, x, y, sign, calm, &in)
		like := w.net.of(&in) - likeLeast
		if like > 0 || k == 0 && height > hotLeast*full {
			w.blot(k, x, y, float64(sign), calm, like)
		}
	})
}

// blot measures the speck whose highest or lowest pixel is x, y of a level.
func (w *scanWorker) blot(k, x, y int, sign, calm float64, like int32) {
	p := &w.light[k]
	g := w.ground(k, x, y, 3.2)
	at := func(i int) float64 { // of the window, beyond the ground
		dx, dy := i%blotN-blotReach, i/blotN-blotReach
		return sign * (float64(p.v[(y+dy)*p.w+x+dx]) - g.at(float64(dx), float64(dy)))
	}
	list, e, sure := w.extent(at)
	cx, cy := x+int(e.x+0.5)-blotReach, y+int(e.y+0.5)-blotReach
	g = w.ground(k, cx, cy, float64(1.5*e.r)+1.2)
	g.mean -= float64(g.gx*float64(cx-x)) + float64(g.gy*float64(cy-y)) // that of x, y
	c := 0.0
	for _, i := range list {
		c += at(i)
	}
	c /= float64(len(list))
	f := Find{Kind: Dust, like: like}
	switch {
	case sure && k == 0 && len(list) <= 9 && e.long <= 3 && w.hot(list, x, y, c, calm, &g, sign):
		f.Kind = Hot
		if sign < 0 {
			f.Kind = Dead
		}
	case like <= 0 || g.clipped && c < 0.03*full:
		return
	}
	w.addBlot(k, list, x, y, e, &g, f, sign)
}

// hot says whether a speck of a few of the picture's own pixels, by c beyond its ground
// in the mean, stands out from even ground far enough and ends at once.
func (w *scanWorker) hot(list []int, x, y int, c, calm float64, g *ground, sign float64) bool {
	noise := w.sigma(int64(g.mean))
	spread := max(g.spread, noise, full/65535)
	d, ring := w.square(0, x, y)
	return c > max(hotLeast*full, 7*calm, 2*spread, 3*g.side) && c*math.Sqrt(float64(len(list))) > 9*spread &&
		2*float64(d*d) > ring && spread-float64(2*noise) < 0.015*(g.mean+full/50) && w.steep(list, x, y, g, sign)
}

// extent is a speck in the middle of the window: what hangs together above a half of
// its height, or above more where that would lead away on uneven ground, or else what
// lies no further than the rings that are in the mean half as high; sure says whether the
// first that hangs together was it.
func (w *scanWorker) extent(at func(i int) float64) (list []int, e extent, sure bool) {
	const middle = blotN * blotN / 2
	sum := 0.0
	for _, o := range [9]int{-blotN - 1, -blotN, -blotN + 1, -1, 0, 1, blotN - 1, blotN, blotN + 1} {
		sum += at(middle + o)
	}
	height := (at(middle) + max(sum, 0)/9) * 0.5
	sure = true
	for _, part := range [3]float64{0.5, 0.65, 0.8} {
		list = w.flood(float64(height*part), at)
		if list == nil {
			continue
		}
		if e = extentOf(list, at); e.r <= 3.4 && float64(len(list)) >= float64(0.3*e.long*e.long) {
			// What a blot that fades as (1 - d^2/r^2)^2 has above this, to what
			// above its half.
			e.r *= math.Sqrt((1 - math.Sqrt(0.5)) / (1 - math.Sqrt(part)))
			return list, e, sure
		}
		sure = false
	}
	list = append(w.list[:0], middle)
	for r := 1; r <= 3; r++ {
		var ring []int
		sum := 0.0
		for dy := -r; dy <= r; dy++ {
			for dx := -r; dx <= r; dx++ {
				if d := dx*dx + dy*dy; d <= r*r && d > (r-1)*(r-1) {
					ring = append(ring, middle+dy*blotN+dx)
					sum += at(middle + dy*blotN + dx)
				}
			}
		}
		if sum < float64(float64(height*0.5)*float64(len(ring))) {
			break
		}
		list = append(list, ring...)
	}
	w.list = list
	return list, extentOf(list, at), false
}

// flood is what hangs together with the middle of the window above a height; nil where
// it leads away.
func (w *scanWorker) flood(least float64, at func(i int) float64) []int {
	const middle = blotN * blotN / 2
	var seen [blotN * blotN]bool
	seen[middle] = true
	list := append(w.list[:0], middle)
	defer func() { w.list = list }()
	for n := 0; n < len(list); n++ {
		i := list[n]
		px, py := i%blotN-blotReach, i/blotN-blotReach
		if max(px, -px, py, -py) > 5 {
			return nil
		}
		for _, o := range [8]int{-blotN - 1, -blotN, -blotN + 1, -1, 1, blotN - 1, blotN, blotN + 1} {
			if j := i + o; !seen[j] && at(j) > least {
				seen[j] = true
				list = append(list, j)
			}
		}
	}
	return list
}

// extent is where in the window a speck lies: its middle, by height, its longer side,
// and the radius of a disc of its area.
type extent struct{ x, y, long, r float64 }

func extentOf(list []int, at func(i int) float64) (e extent) {
	x0, x1, y0, y1 := blotN, 0, blotN, 0
	sum := 0.0
	for _, i := range list {
		px, py, v := i%blotN, i/blotN, at(i)
		sum, e.x, e.y = sum+v, e.x+float64(v*float64(px)), e.y+float64(v*float64(py))
		x0, x1, y0, y1 = min(x0, px), max(x1, px), min(y0, py), max(y1, py)
	}
	e.x, e.y = e.x/sum, e.y/sum
	e.long = float64(max(x1-x0, y1-y0) + 1)
	e.r = math.Sqrt(float64(len(list)) / math.Pi)
	return e
}

// ground is what lies around a blot: a plane through a ring, and how far from it
// the ring's pixels are.
type ground struct {
	mean, gx, gy float64
	spread       float64    // standard deviation without what lies far off
	side         float64    // the most that the mean of one of its eighths is off
	clipped      bool       // a tenth of it lies at an end of the range
	codes        [3]float64 // its mean in the picture
}

func (g *ground) at(dx, dy float64) float64 {
	return g.mean + float64(g.gx*dx) + float64(g.gy*dy)
}

// ground looks at the ring from r to r + 2.5 pixels around a place of a level.
func (w *scanWorker) ground(k, x, y int, r float64) (g ground) {
	p := &w.light[k]
	type pixel struct {
		dx, dy int
		v      float64
	}
	var ring [400]pixel
	n := 0
	reach := min(int(r+2.5), margin>>k-1)
	lo, hi := r*r, (r+2.5)*(r+2.5)
	clipped := 0
	var s, sx, sy, xx float64
	for dy := -reach; dy <= reach; dy++ {
		for dx := -reach; dx <= reach; dx++ {
			if d := float64(dx*dx + dy*dy); d < lo || d > hi {
				continue
			}
			py, px := min(max(y+dy, 0), p.h-1), min(max(x+dx, 0), p.w-1)
			v := p.v[py*p.w+px]
			if v == 0 || v == full {
				clipped++
			}
			ring[n] = pixel{dx, dy, float64(v)}
			s, sx, sy = s+float64(v), sx+float64(float64(dx)*float64(v)), sy+float64(float64(dy)*float64(v))
			xx += float64(dx * dx)
			n++
		}
	}
	g.mean, g.gx, g.gy = s/float64(n), sx/xx, sy/xx
	g.clipped = 10*clipped > n
	// Twice: what lies far off the first time is another speck.
	for pass, limit := 0, math.Inf(1); pass < 2; pass++ {
		var m, q, count float64
		var side, sides [8]float64
		for _, e := range ring[:n] {
			d := e.v - g.at(float64(e.dx), float64(e.dy))
			if math.Abs(d) > limit {
				continue
			}
			m, q, count = m+d, q+float64(d*d), count+1
			o := eighth(e.dx, e.dy)
			side[o], sides[o] = side[o]+d, sides[o]+1
		}
		if pass == 1 && count < 0.8*float64(n) {
			break
		}
		m /= count
		g.spread = math.Sqrt(max(0, q/count-float64(m*m)))
		g.side = 0
		for i := range side {
			if sides[i] > 0 {
				g.side = max(g.side, math.Abs(side[i]/sides[i]-m))
			}
		}
		g.mean += m
		limit = 2.5 * g.spread
	}
	// Its colour is that of 16 of its pixels.
	for i := range 16 {
		e := ring[i*n/16]
		w.code(k, x+e.dx, y+e.dy, &g.codes, 1.0/16)
	}
	return g
}

// eighth is the eighth of a circle in which a direction lies.
func eighth(dx, dy int) int {
	o := 0
	if dx < 0 {
		dx, o = -dx, 1
	}
	if dy < 0 {
		dy, o = -dy, o+2
	}
	if dy > dx {
		o += 4
	}
	return o
}

// code adds a share of the picture's codes in the middle of a level's pixel.
func (w *scanWorker) code(k, x, y int, codes *[3]float64, share float64) {
	// Pixels of a level may lie just outside the tile.
	row := w.row(min(max(y<<k+1<<k>>1, 0), tileH-1))
	px := min(max(x<<k+1<<k>>1, 0), tileW-1)
	for i := range w.pic.C {
		codes[i] += float64(share * float64(row[px*w.pic.C+i]))
	}
}

// addBlot takes in a blot of a level's pixels, whose window's middle is x, y.
func (w *scanWorker) addBlot(k int, list []int, x, y int, e extent, g *ground, f Find, sign float64) {
	by := float64(int(1) << k)
	f.At = w.place(k, float64(x-blotReach)+e.x+0.5, float64(y-blotReach)+e.y+0.5)
	if f.At.X < 0 || f.At.Y < 0 || f.At.X > float64(w.pic.W) || f.At.Y > float64(w.pic.H) {
		return
	}
	var in [3]float64
	for _, i := range list {
		w.code(k, x+i%blotN-blotReach, y+i/blotN-blotReach, &in, 1/float64(len(list)))
	}
	if f.Contrast = w.contrast(in, g.codes); f.Contrast*sign <= 0 {
		return
	}
	f.Width = 2 * by * e.r
	f.W, f.H = by*e.long, by*e.long
	f.Spots = []Disc{{f.At, by * (float64(2.1*e.r) + 0.8)}}
	w.specks = append(w.specks, f)
}

// keepBlots takes the tile's specks, each once, and none that is a single pixel.
func (w *scanWorker) keepBlots() {
	for _, f := range newPlaces(32).once(w.specks) {
		if !w.near.within(f.At, 0.4*f.Spots[0].Radius) {
			w.blots.add(f, tileMost)
		}
	}
	w.specks = w.specks[:0]
	w.blots.trim(tileMost)
}

// once leaves of specks that were found twice, in two levels or from both sides of a
// tile's border, one, and none that lies on what there is already. What is steep is
// known best, then what is most like a blot.
func (p *places) once(specks []Find) []Find {
	slices.SortFunc(specks, func(a, b Find) int {
		if (a.Kind == Dust) != (b.Kind == Dust) {
			if a.Kind == Dust {
				return 1
			}
			return -1
		}
		return cmp.Or(cmp.Compare(b.like, a.like), byPlace(a, b))
	})
	return slices.DeleteFunc(specks, func(f Find) bool {
		r := f.Spots[0].Radius
		if p.within(f.At, 0.4*r) {
			return true
		}
		p.add(f.At, 0.6*r)
		return false
	})
}

// steep says whether a speck of the picture's own pixels ends at once: what
// lies beside it has less than a third of its height.
func (w *scanWorker) steep(list []int, x, y int, g *ground, sign float64) bool {
	p := &w.light[0]
	at := func(i int) float64 {
		return sign * (float64(p.v[(y+i/blotN-blotReach)*p.w+x+i%blotN-blotReach]) - g.mean)
	}
	in, beside, n := 0.0, 0.0, 0.0
	own := map[int]bool{}
	for _, i := range list {
		own[i] = true
		in += at(i) / float64(len(list))
	}
	for _, i := range list {
		for _, o := range [4]int{-blotN, -1, 1, blotN} {
			if !own[i+o] {
				beside, n = beside+at(i+o), n+1
			}
		}
	}
	return beside < in*n/3
}

// weight is a find's contrast times its extent: what is kept where there are too many.
func (f Find) weight() float64 {
	switch f.Kind {
	case Hair, Fringe:
		return math.Abs(f.Contrast) * f.Width * math.Sqrt(max(f.W, f.H))
	}
	return float64(math.Abs(f.Contrast) * float64(f.Width*f.Width))
}
