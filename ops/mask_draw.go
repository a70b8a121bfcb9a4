package ops

import (
	"math"
	"math/big"
)

// The simple shapes. Each has a plain function of a pixel's place; row calls it
// only where the value is neither 0 nor 1 for sure, with a margin of whole
// pixels that is far above any rounding.

func flt(r *big.Rat) float64 {
	f, _ := r.Float64()
	return f
}

// fade is 3t² - 2t³ with t held within 0 and 1.
func fade(t float64) float64 {
	if !(t > 0) {
		return 0
	}
	if t >= 1 {
		return 1
	}
	return float64(t*t) * (3 - float64(2*t))
}

// columns returns the columns lo <= x < hi within a width of w whose centres
// may lie within half of cx, widened by grow pixels at both ends.
func columns(cx, half float64, grow, w int) (lo, hi int) {
	if !(half > -float64(grow)) {
		return 0, 0
	}
	a, b := math.Floor(cx-half)-float64(grow), math.Ceil(cx+half)+float64(grow)
	a = math.Max(0, math.Min(a, float64(w)))
	b = math.Max(a, math.Min(b, float64(w)))
	return int(a), int(b)
}

// core is columns narrowed: those whose centres surely lie within half of cx,
// with more than a pixel to spare. It is cut to lo..hi and never nil there: an
// empty core is hi..hi.
func core(cx, half float64, lo, hi int) (from, to int) {
	if !(half > 3) {
		return hi, hi
	}
	a, b := math.Ceil(cx-half)+2, math.Floor(cx+half)-2
	a = math.Max(float64(lo), math.Min(a, float64(hi)))
	b = math.Max(float64(lo), math.Min(b, float64(hi)))
	if a >= b {
		return hi, hi
	}
	return int(a), int(b)
}

// zone is where a shape fades, in its own measure of distance: from starts it,
// width is its width.
type zone struct{ start, width float64 }

func newZone(soft, half float64) zone {
	z := float64(soft * half)
	f := math.Max(z, 1)
	return zone{start: float64((z - f) / 2), width: f}
}

func (z zone) at(d float64) float64 { return fade((d - z.start) / z.width) }

// full is the distance from which on the shape is 1.
func (z zone) full() float64 { return z.start + z.width }

type ellipse struct {
	cx, cy     float64
	a          float64
	ia, ib     float64 // 1 over the half axes
	soft, most float64 // softness; one pixel at the flattest place, in rho
	rhoIn      float64 // 1 up to here
	rhoOut     float64 // 0 from here on
}

func newEllipse(s MaskShape) *ellipse {
	a, b := float64(flt(s.W)/2), float64(flt(s.H)/2)
	e := &ellipse{cx: flt(s.Points[0].X), cy: flt(s.Points[0].Y), a: a, ia: 1 / a, ib: 1 / b, soft: flt(s.Soft)}
	e.most = math.Max(e.ia, e.ib)
	f := math.Max(e.soft, e.most)
	// A division by 2 is a product to the compiler: it needs the conversion
	// before it meets a sum, here and below.
	e.rhoIn = 1 - float64((e.soft+f)/2)
	e.rhoOut = 1 - float64((e.soft-f)/2)
	return e
}

// at is the value for a pixel centre; v is (py - cy)/b.
func (e *ellipse) at(px, v float64) float64 {
	u := float64((px - e.cx) * e.ia)
	rho := math.Sqrt(float64(u*u) + float64(v*v))
	f := e.soft
	if f < e.most {
		g := e.most
		if rho > 0 {
			gu, gv := float64(u*e.ia), float64(v*e.ib)
			g = math.Sqrt(float64(gu*gu)+float64(gv*gv)) / rho
		}
		f = math.Max(f, g)
	}
	return fade((1 - rho - float64((e.soft-f)/2)) / f)
}

func (e *ellipse) row(b []float32, left, y int, _ *drawScratch) (lo, hi int) {
	v := float64((float64(y) + 0.5 - e.cy) * e.ib)
	half := func(rho float64) float64 { // half the chord of the ellipse rho
		q := float64(rho*rho) - float64(v*v)
		if !(rho > 0) || !(q > 0) {
			return -1
		}
		return float64(e.a * math.Sqrt(q))
	}
	out := half(e.rhoOut)
	if out < 0 {
		return 0, 0
	}
	cx := e.cx - float64(left)
	lo, hi = columns(cx, out, 2, len(b))
	from, to := core(cx, half(e.rhoIn), lo, hi)
	for x := lo; x < from; x++ {
		b[x] = float32(e.at(float64(left+x)+0.5, v))
	}
	fillOnes(b[from:to])
	for x := to; x < hi; x++ {
		b[x] = float32(e.at(float64(left+x)+0.5, v))
	}
	return lo, hi
}

type rectangle struct {
	cx, cy float64
	hw, hh float64
	z      zone
}

func newRectangle(s MaskShape) *rectangle {
	r := &rectangle{cx: flt(s.Points[0].X), cy: flt(s.Points[0].Y), hw: float64(flt(s.W) / 2), hh: float64(flt(s.H) / 2)}
	r.z = newZone(flt(s.Soft), math.Min(r.hw, r.hh))
	return r
}

// at is the value for a pixel centre; dv is its distance to the upper or lower
// side.
func (r *rectangle) at(px, dv float64) float64 {
	return r.z.at(math.Min(r.hw-math.Abs(px-r.cx), dv))
}

func (r *rectangle) row(b []float32, left, y int, _ *drawScratch) (lo, hi int) {
	dv := r.hh - math.Abs(float64(y)+0.5-r.cy)
	if dv <= r.z.start {
		return 0, 0
	}
	cx := r.cx - float64(left)
	lo, hi = columns(cx, r.hw-r.z.start, 2, len(b))
	// From this far inside on the row is level.
	level := math.Min(r.z.full(), dv)
	from, to := core(cx, r.hw-level, lo, hi)
	for x := lo; x < from; x++ {
		b[x] = float32(r.at(float64(left+x)+0.5, dv))
	}
	v := float32(r.z.at(dv))
	for x := from; x < to; x++ {
		b[x] = v
	}
	for x := to; x < hi; x++ {
		b[x] = float32(r.at(float64(left+x)+0.5, dv))
	}
	return lo, hi
}

type gradient struct {
	x, y, ux, uy float64
	len2         float64
}

func newGradient(s MaskShape) *gradient {
	g := &gradient{x: flt(s.Points[0].X), y: flt(s.Points[0].Y)}
	g.ux, g.uy = flt(s.Points[1].X)-g.x, flt(s.Points[1].Y)-g.y
	g.len2 = float64(g.ux*g.ux) + float64(g.uy*g.uy)
	return g
}

// at is the value for a pixel centre; v is (py - y) uy.
func (g *gradient) at(px, v float64) float64 {
	t := 1 - (float64((px-g.x)*g.ux)+v)/g.len2
	if !(t > 0) {
		return 0
	}
	if t >= 1 {
		return 1
	}
	return t
}

func (g *gradient) row(b []float32, left, y int, _ *drawScratch) (lo, hi int) {
	v := float64((float64(y) + 0.5 - g.y) * g.uy)
	if g.ux == 0 {
		t := g.at(0.5, v)
		if t == 0 {
			return 0, 0
		}
		f := float32(t)
		for x := range b {
			b[x] = f
		}
		return 0, len(b)
	}
	for x := range b {
		b[x] = float32(g.at(float64(left+x)+0.5, v))
	}
	return 0, len(b)
}
