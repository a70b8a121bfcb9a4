package inspect

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"platemark/interp/engine"
	"platemark/ops"
	"platemark/ops/colour"
	"platemark/ops/raster"
)

// shot is a picture in sRGB.
type shot struct {
	w, h  int
	pix   []uint16
	light []float64 // (red + 2 green + blue) / 4, of 255
}

func newShot(pix []uint16, w, h int) *shot {
	p := &shot{w: w, h: h, pix: pix, light: make([]float64, w*h)}
	for i := range p.light {
		p.light[i] = (float64(pix[3*i]) + 2*float64(pix[3*i+1]) + float64(pix[3*i+2])) / 4 / 257
	}
	return p
}

// part is the middle of a picture, at most so wide and high.
func (p *shot) part(w, h int) *shot {
	w, h = min(w, p.w), min(h, p.h)
	x0, y0 := (p.w-w)/2, (p.h-h)/2
	var pix []uint16
	for y := y0; y < y0+h; y++ {
		pix = append(pix, p.pix[3*(y*p.w+x0):][:3*w]...)
	}
	return newShot(pix, w, h)
}

func (p *shot) pic() ops.Pic {
	s, _ := colour.Space("sRGB")
	return ops.Pic{W: p.w, H: p.h, C: 3, Profile: s}
}

func (p *shot) look(t testing.TB, o engine.Options) *Report {
	t.Helper()
	g := &engine.Graph{Nodes: []engine.Node{{Pic: p.pic(), Store: raster.Of(p.pix, p.w, p.h, 3)}}}
	r, err := Look(context.Background(), g, o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// spread is the standard deviation of the light up to r around a place from a
// plane, of 255.
func (p *shot) spread(x, y, r int) float64 {
	var n, s, q, sx, sy, xx float64
	for dy := -r; dy <= r; dy++ {
		for dx := -r; dx <= r; dx++ {
			if dx*dx+dy*dy > r*r {
				continue
			}
			v := p.light[(y+dy)*p.w+x+dx]
			n, s, q = n+1, s+v, q+v*v
			sx, sy, xx = sx+float64(dx)*v, sy+float64(dy)*v, xx+float64(dx*dx)
		}
	}
	return math.Sqrt(max(0, q/n-s*s/n/n-(sx*sx+sy*sy)/xx/n))
}

// fault is what was planted.
type fault struct {
	Kind
	x, y     int
	r        float64
	contrast float64
	path     []Point // of a hair
}

// dim changes the light of a pixel by a share, in linear light (IEC 61966-2-1).
func dim(pix []uint16, i int, by float64) {
	for c := range 3 {
		v := float64(pix[3*i+c]) / 65535
		if v <= 0.04045 {
			v /= 12.92
		} else {
			v = math.Pow((v+0.055)/1.055, 2.4)
		}
		if v = max(0, min(1, v*(1+by))); v <= 0.0031308 {
			v *= 12.92
		} else {
			v = 1.055*math.Pow(v, 1/2.4) - 0.055
		}
		pix[3*i+c] = uint16(v*65535 + 0.5)
	}
}

// changes says whether a pixel dimmed has other codes of 8 bits: white can't be made
// lighter, nor what is nearly black darker by a few parts of a hundred.
func (p *shot) changes(i int, by float64) bool {
	v := slices.Clone(p.pix[3*i:][:3])
	dim(v, 0, by)
	eight(v)
	return !slices.Equal(v, p.pix[3*i:][:3])
}

// eight rounds to codes of 8 bits, as the photographs have.
func eight(pix []uint16) {
	for i, v := range pix {
		pix[i] = uint16((int(v) + 128) / 257 * 257)
	}
}

// plant lays faults on a copy: hot and dead pixels that stand out from all 24
// around by more than 12 %, raised (three of four) or lowered by 12 to 72 %, in one
// channel or in all; blots 3 to 40 px wide that take, or one of three add, 2 to 20 %
// of the light in the middle and fade to their rim, where the ground's spread is
// below a third of that; hairs 30 to 200 px long and 1 to 3 wide, of 6 to 40 %, on
// such ground; and edges whose rim, 48 px long, is coloured at its own luminance by
// red moved against blue, or by a glow of red and blue.
func (p *shot) plant(seed uint64, hot, dust, hairs, fringes int) (*shot, []fault) {
	rng := rand.New(rand.NewPCG(seed, 15))
	out := slices.Clone(p.pix)
	var list []fault
	free := func(x, y int, r float64) bool {
		for _, f := range list {
			if math.Hypot(float64(f.x-x), float64(f.y-y)) < f.r+r+12 {
				return false
			}
			for _, q := range f.path {
				if math.Hypot(q.X-float64(x), q.Y-float64(y)) < r+16 {
					return false
				}
			}
		}
		return true
	}
	// Fringes first, since few places will do.
	for _, q := range p.edges(rng, fringes) {
		if free(q.x, q.y, 24) {
			p.fringed(out, rng, q)
			list = append(list, fault{Kind: Fringe, x: q.x, y: q.y, r: 24})
		}
	}
	step := func(i int, by float64) float64 { // of 255
		v := slices.Clone(p.pix[3*i : 3*i+3])
		dim(v, 0, by)
		return math.Abs((float64(v[0])+2*float64(v[1])+float64(v[2]))/4/257 - p.light[i])
	}
	const edge = 70
	for tries, n := 0, 0; n < hairs && tries < 400*hairs; tries++ {
		long, width := 30+rng.Float64()*170, 1+2*rng.Float64()
		by := 0.06 + 0.34*rng.Float64()
		if rng.IntN(3) > 0 {
			by = -by
		}
		x, y := float64(edge+rng.IntN(max(1, p.w-2*edge))), float64(edge+rng.IntN(max(1, p.h-2*edge)))
		way, bend := rng.Float64()*2*math.Pi, (rng.Float64()-0.5)*0.03
		var path []Point
		ok := true
		for range int(2 * long) {
			path = append(path, Point{x, y})
			x, y, way = x+math.Cos(way)/2, y+math.Sin(way)/2, way+bend/2
			if ok = ok && x > edge && y > edge && x < float64(p.w-edge) && y < float64(p.h-edge); !ok {
				break
			}
			if len(path)%12 == 1 {
				i := int(y)*p.w + int(x)
				ok = p.spread(int(x), int(y), 8) < step(i, by)/3 && free(int(x), int(y), 4)
			}
		}
		if !ok {
			continue
		}
		n++
		m := path[len(path)/2]
		list = append(list, fault{Kind: Hair, x: int(m.X), y: int(m.Y), contrast: by, path: path})
		share := map[int]float64{}
		for _, q := range path {
			for dy := -3; dy <= 3; dy++ {
				for dx := -3; dx <= 3; dx++ {
					px, py := int(q.X)+dx, int(q.Y)+dy
					d := math.Hypot(float64(px)+0.5-q.X, float64(py)+0.5-q.Y)
					i := py*p.w + px
					share[i] = max(share[i], min(1, max(0, width/2+0.5-d)))
				}
			}
		}
		for i, s := range share {
			dim(out, i, by*s)
		}
	}
	for tries, n := 0, 0; n < dust && tries < 400*dust; tries++ {
		r := 1.5 + 18.5*rng.Float64()
		by := 0.02 + 0.18*rng.Float64()
		if rng.IntN(3) > 0 {
			by = -by
		}
		x, y := edge+rng.IntN(max(1, p.w-2*edge)), edge+rng.IntN(max(1, p.h-2*edge))
		if i := y*p.w + x; p.spread(x, y, int(2*r)+6) > step(i, by)/3 || !p.changes(i, by) || !free(x, y, r) {
			continue
		}
		n++
		list = append(list, fault{Kind: Dust, x: x, y: y, r: r, contrast: by})
		for dy := -int(r); dy <= int(r); dy++ {
			for dx := -int(r); dx <= int(r); dx++ {
				if d := float64(dx*dx+dy*dy) / (r * r); d < 1 {
					dim(out, (y+dy)*p.w+x+dx, by*(1-d)*(1-d))
				}
			}
		}
	}
	for tries, n := 0, 0; n < hot && tries < 100*hot; tries++ {
		x, y := 4+rng.IntN(p.w-8), 4+rng.IntN(p.h-8)
		by, one := int((0.12+0.6*rng.Float64())*65535), rng.IntN(6)
		f := fault{Kind: Hot, x: x, y: y, r: 1}
		if rng.IntN(4) == 0 {
			by, f.Kind = -by, Dead
		}
		if !free(x, y, 1) {
			continue
		}
		i := y*p.w + x
		var v [3]uint16
		beyond := 0
		for c := range 3 {
			v[c] = out[3*i+c]
			if one >= 3 || one == c {
				v[c] = uint16(max(0, min(65535, int(v[c])+by)))
			}
			lo, hi := 65535, 0
			for n := range 25 {
				if n != 12 {
					o := int(out[3*(i+(n/5-2)*p.w+n%5-2)+c])
					lo, hi = min(lo, o), max(hi, o)
				}
			}
			beyond = max(beyond, int(v[c])-hi, lo-int(v[c]))
		}
		if float64(beyond) > 0.12*65535 {
			n++
			copy(out[3*i:], v[:])
			list = append(list, f)
		}
	}
	eight(out)
	return newShot(out, p.w, p.h), list
}

// site is a place on an edge between two even sides.
type site struct {
	x, y   int
	dx, dy float64 // towards the lighter side, 1 long
}

// edges are up to n places on edges where light jumps by more than 40 of 255, and
// either side is even along 48 px, 8 px from it.
func (p *shot) edges(rng *rand.Rand, n int) (list []site) {
	const margin = 64
	for range 4000 * n {
		if len(list) == n {
			break
		}
		q := site{x: margin + rng.IntN(max(1, p.w-2*margin)), y: margin + rng.IntN(max(1, p.h-2*margin))}
		i := q.y*p.w + q.x
		gx, gy := p.light[i+1]-p.light[i-1], p.light[i+p.w]-p.light[i-p.w]
		g := math.Hypot(gx, gy)
		if g < 20 {
			continue
		}
		q.dx, q.dy = gx/g, gy/g
		at := func(along, across int) float64 {
			x := q.x + int(math.Round(float64(along)*q.dx-float64(across)*q.dy))
			y := q.y + int(math.Round(float64(along)*q.dy+float64(across)*q.dx))
			return p.light[y*p.w+x]
		}
		lo, hi := at(-8, 0), at(8, 0)
		ok := hi-lo > 40
		for k := -3; k <= 3; k++ {
			for _, far := range []int{8, 12} {
				ok = ok && math.Abs(at(-far, 6*k)-lo) < 12 && math.Abs(at(far, 6*k)-hi) < 12
			}
		}
		for _, o := range list {
			ok = ok && math.Hypot(float64(o.x-q.x), float64(o.y-q.y)) > 60
		}
		if ok {
			list = append(list, q)
		}
	}
	return list
}

// fringed plants a fringe around a place.
func (p *shot) fringed(out []uint16, rng *rand.Rand, q site) {
	luma := p.pic().Profile.Luma()
	shift := 1 + 1.5*rng.Float64()
	if rng.IntN(2) == 0 {
		shift = -shift
	}
	glow := rng.IntN(2) == 0
	read := func(x, y float64, c int) float64 {
		x0, y0 := math.Floor(x), math.Floor(y)
		sx, sy := x-x0, y-y0
		v := func(dx, dy int) float64 { return float64(p.pix[3*((int(y0)+dy)*p.w+int(x0)+dx)+c]) }
		return (v(0, 0)*(1-sx)+v(1, 0)*sx)*(1-sy) + (v(0, 1)*(1-sx)+v(1, 1)*sx)*sy
	}
	for y := q.y - 24; y <= q.y+24; y++ {
		for x := q.x - 24; x <= q.x+24; x++ {
			share := min(1, max(0, (24-math.Hypot(float64(x-q.x), float64(y-q.y)))/5))
			i := 3 * (y*p.w + x)
			fx, fy := float64(x), float64(y)
			v := [3]float64{float64(p.pix[i]), float64(p.pix[i+1]), float64(p.pix[i+2])}
			y0 := luma[0]*v[0] + luma[1]*v[1] + luma[2]*v[2]
			if glow {
				g := max(0, read(fx+3*q.dx, fy+3*q.dy, 1)-v[1])
				v[0], v[2] = v[0]+0.3*g, v[2]+0.5*g
			} else {
				v[0], v[2] = read(fx+shift*q.dx, fy+shift*q.dy, 0), read(fx-shift*q.dx, fy-shift*q.dy, 2)
			}
			y1 := luma[0]*v[0] + luma[1]*v[1] + luma[2]*v[2]
			for c := range 3 {
				was := float64(p.pix[i+c])
				out[i+c] = uint16(max(0, min(65535, was+share*(v[c]+y0-y1-was)+0.5)))
			}
		}
	}
}
