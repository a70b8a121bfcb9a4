package ops

import (
	"math"
	"math/big"
	"testing"
)

// slowShape is a shape's value by its definition, written again.
func slowShape(s MaskShape, px, py float64) float64 {
	f := func(r *big.Rat) float64 { v, _ := r.Float64(); return v }
	smooth := func(t float64) float64 {
		t = math.Max(0, math.Min(1, t))
		return 3*math.Pow(t, 2) - 2*math.Pow(t, 3)
	}
	edge := func(d, h, pixel float64) float64 {
		z := f(s.Soft) * h
		w := math.Max(z, pixel)
		return smooth((d-z/2)/w + 0.5)
	}
	nearest := func(closed bool) float64 {
		best := math.Inf(1)
		n := len(s.Points)
		for i := range n {
			if i == n-1 && !closed {
				break
			}
			a, b := s.Points[i], s.Points[(i+1)%n]
			ax, ay, bx, by := f(a.X), f(a.Y), f(b.X), f(b.Y)
			l := math.Hypot(bx-ax, by-ay)
			d := math.Min(math.Hypot(px-ax, py-ay), math.Hypot(px-bx, py-by))
			if l > 0 {
				along := ((px-ax)*(bx-ax) + (py-ay)*(by-ay)) / l
				if along > 0 && along < l {
					d = math.Abs((px-ax)*(by-ay)-(py-ay)*(bx-ax)) / l
				}
			}
			best = math.Min(best, d)
		}
		return best
	}
	switch s.Shape {
	case "ellipse":
		a, b := f(s.W)/2, f(s.H)/2
		dx, dy := px-f(s.Points[0].X), py-f(s.Points[0].Y)
		rho := math.Hypot(dx/a, dy/b)
		g := math.Hypot(dx/a/a, dy/b/b) / rho
		if rho == 0 {
			g = 1 / math.Min(a, b)
		}
		return edge(1-rho, 1, g)
	case "rectangle":
		dx := f(s.W)/2 - math.Abs(px-f(s.Points[0].X))
		dy := f(s.H)/2 - math.Abs(py-f(s.Points[0].Y))
		return edge(math.Min(dx, dy), math.Min(f(s.W), f(s.H))/2, 1)
	case "stroke":
		h := f(s.W) / 2
		return edge(h-nearest(false), h, 1)
	case "polygon":
		x0, x1, y0, y1 := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
		in := false
		n := len(s.Points)
		for i := range n {
			ax, ay := f(s.Points[i].X), f(s.Points[i].Y)
			bx, by := f(s.Points[(i+1)%n].X), f(s.Points[(i+1)%n].Y)
			x0, x1, y0, y1 = math.Min(x0, ax), math.Max(x1, ax), math.Min(y0, ay), math.Max(y1, ay)
			if (ay > py) != (by > py) && px >= ax+(py-ay)/(by-ay)*(bx-ax) {
				in = !in
			}
		}
		d := nearest(true)
		if !in {
			d = -d
		}
		return edge(d, math.Min(x1-x0, y1-y0)/2, 1)
	case "gradient":
		ax, ay, bx, by := f(s.Points[0].X), f(s.Points[0].Y), f(s.Points[1].X), f(s.Points[1].Y)
		t := ((px-ax)*(bx-ax) + (py-ay)*(by-ay)) / (math.Pow(bx-ax, 2) + math.Pow(by-ay, 2))
		return 1 - math.Max(0, math.Min(1, t))
	}
	panic("no such shape")
}

// slowMaskPlane draws lines in float64, pixel by pixel, blur by full sums.
func slowMaskPlane(t *testing.T, w, h int, lines []string, in []*plane) []float64 {
	v := make([]float64, w*h)
	for _, text := range lines {
		s, err := ParseShape(text)
		if err != nil {
			t.Fatal(err)
		}
		if s.Shape == "soften" {
			sigma, _ := s.W.Float64()
			r := int(math.Floor(4*sigma + 0.5))
			sum := 0.0
			for k := -r; k <= r; k++ {
				sum += math.Exp(-float64(k*k) / (2 * sigma * sigma))
			}
			pass := func(src []float64, dx, dy int) []float64 {
				out := make([]float64, w*h)
				for y := range h {
					for x := range w {
						for k := -r; k <= r; k++ {
							xx, yy := max(0, min(w-1, x+k*dx)), max(0, min(h-1, y+k*dy))
							out[y*w+x] += math.Exp(-float64(k*k)/(2*sigma*sigma)) / sum * src[yy*w+xx]
						}
					}
				}
				return out
			}
			v = pass(pass(v, 1, 0), 0, 1)
			continue
		}
		var p *plane
		if s.TakesInput() {
			p, in = in[0], in[1:]
		}
		for i := range v {
			var b float64
			switch {
			case s.Shape == "invert":
				v[i] = 1 - v[i]
				continue
			case s.Shape == "mask":
				b = float64(p.data[i]) / 65535
			case s.Shape == "file":
				m := p.pic
				full := [4]*big.Rat{new(big.Rat), new(big.Rat), big.NewRat(int64(m.W), 1), big.NewRat(int64(m.H), 1)}
				b = slowMask(p.data, m, full, Pic{W: w, H: h}, i%w, i/w)
			default:
				b = slowShape(s, float64(i%w)+0.5, float64(i/w)+0.5)
			}
			switch s.Op {
			case "add":
				v[i] = 1 - (1-v[i])*(1-b)
			case "less":
				v[i] *= 1 - b
			case "within":
				v[i] *= b
			}
		}
	}
	return v
}
