package inspect

import (
	"math"
	"slices"
)

// How like a blot a speck is: a sum of what is measured of it, above 0 for a blot.
// The numbers are those of a logistic regression (D. Cox, J. Royal Statistical Society
// B 20, 1958) on the two tuned photographs: of 1600 blots planted with seeds 1 to 10,
// each by its likest speck, against the 6000 likest specks of the photographs as they
// are, four times over, since which are the likest depends on it. likeNone is 2.45 above
// the fit's, and was set by the others: at that they have 880 finds of their own per 10 MP.
const (
	likeNone   = -17.05
	likeShape  = 19.3  // its likeness
	likeSize   = 1.93  // the root of its radius at half its height, in the picture's pixels
	likeHeight = 1.52  // its contrast, in multiples of the least one, at most 1.8
	likeRough  = -97   // the ground's spread beyond noise, as a share of its light
	likeRivals = -5.1  // the share of rivals
	likeTint   = -10.5 // its tint, from 0.05 to 0.3
)

// halfAt is the share of its radius at which a blot that fades as (1 - d^2/r^2)^2 has
// half its height.
const halfAt = 0.5412

// likeness is the correlation of a speck and its ground, up to 1.5 times its radius,
// with a blot of its size that fades as (1 - d^2/r^2)^2.
func likeness(e extent, at func(i int) float64) float64 {
	r := max(e.r/halfAt, 1.5)
	var n, v, vv, f, ff, vf float64
	for i := range blotN * blotN {
		dx, dy := float64(i%blotN)-e.x, float64(i/blotN)-e.y
		d := (float64(dx*dx) + float64(dy*dy)) / float64(r*r)
		if d > 2.25 {
			continue
		}
		a, b := at(i), max(0, 1-d)
		b = float64(b * b)
		n, v, f = n+1, v+a, f+b
		vv, ff, vf = vv+float64(a*a), ff+float64(b*b), vf+float64(a*b)
	}
	vv, ff, vf = vv-float64(v*v)/n, ff-float64(f*f)/n, vf-float64(v*f)/n
	if vf <= 0 {
		return 0
	}
	return vf / math.Sqrt(float64(vv*ff))
}

// rivals is the share of the squares of 3 pixels between r and 16 pixels around a
// place that stand out from their ground by a quarter of what that there does.
func (w *scanWorker) rivals(k, x, y int, r float64) float64 {
	p := &w.light[k]
	least := math.Abs(w.beyond(k, x, y)) / 4
	n, m := 0.0, 0.0
	for py := max(y-16, y&1+4); py <= min(y+16, p.h-5); py += 2 {
		for px := max(x-16, x&1+4); px <= min(x+16, p.w-5); px += 2 {
			if dx, dy := px-x, py-y; float64(dx*dx+dy*dy) < r*r {
				continue
			}
			if n++; math.Abs(w.beyond(k, px, py)) > least {
				m++
			}
		}
	}
	return m / max(n, 1)
}

// least is the least contrast of a blot at a place that its surroundings allow.
func (w *scanWorker) least(k, x, y int) float64 {
	v := &w.calmest[y/8*(w.light[k].w/8)+x/8]
	if *v < 0 {
		*v = max(blotLeast*full, blotCalm*(w.calm(k, x/8, y/8)+full/5000))
	}
	return *v
}

// calm is by how much squares of 3 pixels differ from the rings around them, in the
// mean over a square of 8 pixels: that of the sixth calmest of the 25 around square x, y.
func (w *scanWorker) calm(k, x, y int) float64 {
	p := &w.light[k]
	cols, rows := p.w/8, p.h/8
	var list [25]float64
	n := 0
	for by := max(0, y-2); by <= min(rows-1, y+2); by++ {
		for bx := max(0, x-2); bx <= min(cols-1, x+2); bx++ {
			v := &w.calms[by*cols+bx]
			if *v < 0 {
				*v = w.calmOf(k, bx*8, by*8)
			}
			list[n] = *v
			n++
		}
	}
	slices.Sort(list[:n])
	return list[n/5]
}

func (w *scanWorker) calmOf(k, x0, y0 int) float64 {
	p := &w.light[k]
	sum, n := 0.0, 0
	for y := max(4, y0); y < min(y0+8, p.h-4); y += 2 {
		for x := max(4, x0); x < min(x0+8, p.w-4); x += 2 {
			sum += math.Abs(w.beyond(k, x, y))
			n++
		}
	}
	if n == 0 {
		return full
	}
	return sum / float64(n)
}

// beyond is by how much the mean of a square of 3 pixels exceeds that of the ring
// between squares of 5 and of 9.
func (w *scanWorker) beyond(k, x, y int) float64 {
	a, _ := w.box(k, x, y, 1)
	b, _ := w.box(k, x, y, 2)
	c, _ := w.box(k, x, y, 4)
	return float64(a)/9 - float64(c-b)/56
}
