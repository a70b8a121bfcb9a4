package inspect

import (
	"math"
	"slices"

	"platemark/ops"
	"platemark/ops/colour"
)

const (
	rimEdge  = 0.10 // of the range: how much light differs across an edge
	rimLeast = 0.02 // of the range: a rim's colour
	rimNoise = 4    // times the noise of colour
	rimFar   = 5    // from an edge to its sides, in pixels of half the size
	rimLong  = 8    // marks
)

// findRims marks where the colour beside an edge, red and blue less light, lies off
// the line between the colours of its two sides: at half the size, along rows and
// columns, as the mean of three pixels along the edge. The sides are even.
func (w *scanWorker) findRims() {
	if w.pic.C == 1 || w.hue == nil {
		return
	}
	const k = 1
	p, r := &w.light[k], w.coreAt(k)
	var marks []mark
	type off struct{ d, a, b float64 }
	long := max(r.Dx(), r.Dy()) + 4
	line := make([]off, long)
	for _, step := range [2]int{1, p.w} { // along rows, along columns
		side := p.w + 1 - step
		outer, inner := r.Dy(), r.Dx()
		if step != 1 {
			outer, inner = inner, outer
		}
		tint := func(c, i int) float64 {
			v := w.tint[c].v
			return float64(v[i-side]+v[i]+v[i+side]) / 3
		}
		for o := range outer {
			first := (r.Min.Y*p.w + r.Min.X) + o*side // of the line
			for n := -2; n < inner+2; n++ {
				i := first + n*step
				line[n+2] = off{}
				jump := p.v[i+rimFar*step] - p.v[i-rimFar*step]
				if float64(abs(jump)) < rimEdge*full {
					continue
				}
				far := rimFar * step
				a0, b0, a1, b1 := tint(0, i-far), tint(1, i-far), tint(0, i+far), tint(1, i+far)
				da, db := offLine(tint(0, i)-a0, tint(1, i)-b0, a1-a0, b1-b0)
				d := math.Sqrt(float64(da*da) + float64(db*db))
				if d < max(rimLeast*full, rimNoise*full*w.noise.Colour[int64(p.v[i])*8/(full+1)]/2) {
					continue
				}
				even := true
				for _, s := range [2]int{-1, 1} {
					j := i + s*far
					e := math.Abs(tint(0, j+2*s*step)-tint(0, j)) + math.Abs(tint(1, j+2*s*step)-tint(1, j))
					even = even && e < d/2 && abs(p.v[j+2*s*step]-p.v[j]) < abs(jump)/4
				}
				if even {
					line[n+2] = off{d, da, db}
				}
			}
			for n := range inner {
				e := line[n+2]
				if e.d == 0 || line[n].d > e.d || line[n+1].d > e.d || line[n+3].d >= e.d || line[n+4].d >= e.d {
					continue
				}
				wide := int8(1)
				for m := n + 1; m >= 0 && line[m].d > e.d/2; m-- {
					wide++
				}
				for m := n + 3; m < inner+4 && line[m].d > e.d/2; m++ {
					wide++
				}
				i := first + n*step
				x, y := i%p.w, i/p.w
				dx, dy := rimFar, 0
				if step != 1 {
					dx, dy = 0, rimFar
				}
				at := w.place(k, float64(x)+0.5, float64(y)+0.5)
				marks = append(marks, mark{x: int32(at.X), y: int32(at.Y), k: k, width: wide, a: int32(e.a), b: int32(e.b),
					codes: &[3][3]uint16{w.codes(k, x, y), w.codes(k, x-dx, y-dy), w.codes(k, x+dx, y+dy)}})
			}
		}
	}
	w.rims = w.ended(strongest(marks, marksMost/2), rimLine)
}

// offLine is what leads to x, y from the nearest point of the line from 0 to u, v.
func offLine(x, y, u, v float64) (dx, dy float64) {
	if n := float64(u*u) + float64(v*v); n > 0 {
		t := min(max((float64(x*u)+float64(y*v))/n, 0), 1)
		x, y = x-float64(t*u), y-float64(t*v)
	}
	return x, y
}

// codes are the picture's codes in the middle of a level's pixel.
func (w *scanWorker) codes(k, x, y int) (c [3]uint16) {
	var m [3]float64
	w.code(k, x, y, &m, 1)
	for i := range c {
		c[i] = uint16(m[i])
	}
	return c
}

var rimLine = lineKind{2, 2 * rimLong, func(a, b *mark) bool {
	dot := func(a, b *mark) float64 {
		return float64(int64(a.a)*int64(b.a) + int64(a.b)*int64(b.b))
	}
	return dot(a, b) > 0.6*math.Sqrt(dot(a, a)*dot(b, b))
}, (*scan).fringe, false}

// fringe is a line of rims of one colour.
func (s *scan) fringe(g []mark) (f Find, ok bool) {
	l := stretchOf(g)
	if apart(l.a, l.b) < 2*rimLong {
		return f, false
	}
	f = Find{Kind: Fringe, Width: l.width, Ends: [2]Point{l.a, l.b}}
	f.At, f.W, f.H = box(g)
	s.colours(g, &f)
	return f, true
}

// colours measures a fringe's colours, of at most 64 of its marks.
func (s *scan) colours(g []mark, f *Find) {
	var hues []colour.Lab // only a and b, of OKLab
	var sum colour.Lab
	n := min(len(g), 64)
	for i := range n {
		m := &g[i*len(g)/n]
		var c [3]colour.Lab
		for j := range c {
			s.lab.Row(c[j:j+1], m.codes[j][:])
		}
		a, b := offLine(c[0].A-c[1].A, c[0].B-c[1].B, c[2].A-c[1].A, c[2].B-c[1].B)
		f.Contrast += math.Sqrt(float64(a*a)+float64(b*b)) / float64(n)
		a, b = s.hue(m.codes[0][:])
		hues = append(hues, colour.Lab{A: a, B: b})
		sum.A, sum.B = sum.A+a, sum.B+b
	}
	// Around the mean, without a tenth at either end, and 10 degrees more.
	middle := sum.Hue()
	off := make([]float64, n)
	for i, h := range hues {
		off[i] = h.Hue() - middle
		if off[i] > 180 {
			off[i] -= 360
		} else if off[i] < -180 {
			off[i] += 360
		}
	}
	slices.Sort(off)
	round := func(v float64) float64 {
		v = math.Floor(v + 0.5)
		return v - float64(360*math.Floor(v/360))
	}
	f.HueFrom, f.HueTo = round(middle+off[n/10]-10), round(middle+off[n-1-n/10]+10)
}

// hueOf is how `fringe` knows a pixel's hue, nil where it can't.
func hueOf(p ops.Pic) func([]uint16) (a, b float64) {
	f, _ := ops.HuePlane(p)
	return f
}
