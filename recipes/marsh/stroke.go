package marsh

// node is a place along a stroke, in pixels: where, how thick, and how far
// from the foot's colour (0) to the tip's (1).
type node struct{ x, y, r, t float32 }

// piece is the longest straight part of a stroke, in pixels.
const piece = 14

// stroke is a tapering line through its nodes, painted with a soft edge one
// pixel wide. Later strokes lie over earlier ones.
type stroke struct {
	nodes     []node
	foot, tip rgb
	rim       float32 // how strongly the low sun lights the edge facing it
	rough     bool    // bark shows on it
	lx, ly    float32 // towards the sun, of length 1
	y0, y1    float32 // rows that it may touch
}

// along gives n+1 nodes, evenly spaced from u = 0 to 1.
func along(n int, at func(u float32) node) []node {
	nodes := make([]node, n+1)
	for i := range nodes {
		nodes[i] = at(float32(i) / float32(n))
	}
	return nodes
}

// newStroke takes nodes on the canvas.
func (w *world) newStroke(nodes []node, foot, tip rgb, rim float32) {
	w.roughStroke(nodes, foot, tip, rim, false)
}

func (w *world) roughStroke(nodes []node, foot, tip rgb, rim float32, rough bool) {
	s := stroke{foot: foot, tip: tip, rim: rim, rough: rough, y0: 1e9, y1: -1e9}
	s.nodes = w.smooth(nodes)
	for _, n := range s.nodes {
		s.y0, s.y1 = min(s.y0, n.y-n.r-1), max(s.y1, n.y+n.r+1)
	}
	if s.y1 < -reach || s.y0 > float32(w.h+reach) {
		return
	}
	m := s.nodes[len(s.nodes)/2]
	lx, ly := float32(sunX*w.scaleX)-m.x, float32(sunY*w.scaleY)-m.y
	k := 1 / (sqrt(float32(lx*lx)+float32(ly*ly)) + 1)
	s.lx, s.ly = lx*k, ly*k
	w.strokes = append(w.strokes, s)
}

// smooth fits nodes to the picture and puts more between them, on a smooth
// curve (Catmull and Rom's), where they stand far apart.
func (w *world) smooth(nodes []node) []node {
	at := func(i int) node {
		n := nodes[min(max(i, 0), len(nodes)-1)]
		return node{float32(n.x * w.scaleX), float32(n.y * w.scaleY), float32(n.r * w.scaleR), n.t}
	}
	list := []node{at(0)}
	for i := 1; i < len(nodes); i++ {
		a, b, c, d := at(i-2), at(i-1), at(i), at(i+1)
		dx, dy := c.x-b.x, c.y-b.y
		parts := 1
		if len(nodes) > 2 {
			parts = min(int(sqrt(float32(dx*dx)+float32(dy*dy))/piece)+1, 12)
		}
		for k := 1; k < parts; k++ {
			t := float32(k) / float32(parts)
			w := curve(t)
			list = append(list, node{dot(&w, a.x, b.x, c.x, d.x), dot(&w, a.y, b.y, c.y, d.y), mix(b.r, c.r, t), mix(b.t, c.t, t)})
		}
		list = append(list, c)
	}
	return list
}

// curve gives the weights of four points in a row at t between the middle
// two.
func curve(t float32) [4]float32 {
	t2 := float32(t * t)
	t3 := float32(t2 * t)
	return [4]float32{float32(0.5 * (float32(2*t2) - t3 - t)),
		1 + float32(0.5*(float32(3*t3)-float32(5*t2))),
		float32(0.5 * (float32(4*t2) - float32(3*t3) + t)),
		float32(0.5 * (t3 - t2))}
}

// dot is the weighted sum of four values.
func dot(w *[4]float32, a, b, c, d float32) float32 {
	return float32(w[0]*a) + float32(w[1]*b) + float32(w[2]*c) + float32(w[3]*d)
}

// touching gives the strokes of rows y0 to y1, in painting order.
func (w *world) touching(list []int32, y0, y1 int) []int32 {
	list = list[:0]
	for i := range w.strokes {
		if s := &w.strokes[i]; s.y1 >= float32(y0) && s.y0 <= float32(y1) {
			list = append(list, int32(i))
		}
	}
	return list
}

// paint lays the part of s in row y over a row's three planes.
func (p *painter) paint(s *stroke, y int, red, green, blue []float32) {
	py := float32(y) + 0.5
	if py < s.y0 || py > s.y1 {
		return
	}
	lo, hi := len(p.cover), -1
	for k := 0; k+1 < len(s.nodes); k++ {
		a, b := &s.nodes[k], &s.nodes[k+1]
		r := max(a.r, b.r, 0.5) + 0.5
		if py < min(a.y, b.y)-r || py > max(a.y, b.y)+r {
			continue
		}
		dx, dy := b.x-a.x, b.y-a.y
		// The piece's share within r of this row, and so its columns.
		t0, t1 := float32(0), float32(1)
		if abs(dy) > 1e-3 {
			u, v := (py-r-a.y)/dy, (py+r-a.y)/dy
			t0, t1 = clamp01(min(u, v)), clamp01(max(u, v))
		}
		xa, xb := mad(t0, dx, a.x), mad(t1, dx, a.x)
		from, till := min(xa, xb)-r, max(xa, xb)+r
		if till < 0 || from > float32(len(p.cover)) {
			continue
		}
		x0, x1 := int(max(from, 0)), min(int(till), len(p.cover)-1)
		long := float32(dx*dx) + float32(dy*dy)
		inv := float32(0)
		if long > 0 {
			inv = 1 / long
		}
		for x := x0; x <= x1; x++ {
			qx, qy := float32(x)+0.5-a.x, py-a.y
			t := clamp01((float32(qx*dx) + float32(qy*dy)) * inv)
			ex, ey := qx-float32(t*dx), qy-float32(t*dy)
			d2 := float32(ex*ex) + float32(ey*ey)
			if d2 >= float32(r*r) {
				continue
			}
			half := mix(a.r, b.r, t)
			thin := float32(1)
			if half < 0.5 {
				thin, half = half*2, 0.5
			}
			// The piece that the pixel lies deepest in says its shade.
			deep := (half - sqrt(d2)) / half
			c := clamp01(half-sqrt(d2)+0.5) * thin
			if c <= 0 || (p.cover[x] > 0 && deep <= p.deep[x]) {
				p.cover[x] = max(p.cover[x], c)
				continue
			}
			lo, hi = min(lo, x), max(hi, x)
			p.cover[x] = max(p.cover[x], c)
			p.deep[x] = deep
			p.along[x] = mix(a.t, b.t, t)
			p.facing[x] = (float32(ex*s.lx) + float32(ey*s.ly)) / max(half, 1)
		}
	}
	for x := lo; x <= hi; x++ {
		c := p.cover[x]
		if c == 0 {
			continue
		}
		p.cover[x] = 0
		col := s.foot.to(s.tip, p.along[x])
		if s.rim > 0 {
			k := ease(0.35, 1, p.facing[x]) * s.rim
			if s.rough {
				n := p.bark.fractal(float32(x)/p.scaleX*420, float32(y)/p.scaleY*150, 4, 0.6)
				k *= ease(0.35, 0.7, n) * 1.6
				col = col.times(mad(n, 1.6, 0.2))
			}
			col = col.add(k, sunFill)
		}
		red[x] = mix(red[x], col.r, c)
		green[x] = mix(green[x], col.g, c)
		blue[x] = mix(blue[x], col.b, c)
	}
}
