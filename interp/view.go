package interp

import (
	"context"
	"slices"

	"platemark/interp/plan"
	"platemark/ops/colour"
	"platemark/ops/raster"
)

// ViewPicture is a picture in sRGB, 8 bits, interleaved.
type ViewPicture struct {
	Print        string
	FullW, FullH int // of the print's picture
	W, H         int
	RGB          []uint8
	Lab          []colour.Lab // its colours, white at L* 100; nil where nobody asks
}

// View shows a picture of a print, or a part of one, in its profile's numbers, on
// a screen.
func View(p *plan.Print, m Picture) (*ViewPicture, error) {
	to, err := colour.NewToLab(m.Profile, colour.Relative)
	if err != nil {
		return nil, err
	}
	screen, _ := colour.Space("sRGB")
	from, err := colour.NewFromLab(screen, colour.Relative)
	if err != nil {
		return nil, err
	}
	full, n := p.Nodes[p.Out].Pic, m.W*m.H
	o := &ViewPicture{Print: p.Name, FullW: full.W, FullH: full.H, W: m.W, H: m.H, Lab: make([]colour.Lab, n)}
	to.Row(o.Lab, m.Samples)
	rgb := make([]uint16, 3*n)
	from.Row(rgb, o.Lab)
	o.RGB = EightBits(m, rgb)
	return o, nil
}

// Thumb is a plan's whole picture run small, its longer side side px at most, on a
// screen.
func (s *Session) Thumb(ctx context.Context, p *plan.Print, side int) (*ViewPicture, error) {
	w, h := p.Pixels()
	most := max(w, h, side)
	m, err := s.Reduced(ctx, p, p.Out, max(1, w*side/most), max(1, h*side/most))
	if err != nil {
		return nil, err
	}
	return View(p, m)
}

// EightBits are a screen's codes of m's pixels in 8 bits, as files are brought to.
func EightBits(m Picture, rgb []uint16) []uint8 {
	out := make([]uint8, len(rgb))
	for y := range m.H {
		n := 3 * m.W
		raster.Eight(out[y*n:], rgb[y*n:(y+1)*n], 3, m.At.X, m.At.Y+y)
	}
	return out
}

// Figures sum up differences.
type Figures struct {
	Mean, P95, Largest float64
	Above1, Above3     float64 // shares of the pixels, 0 to 1
}

// LabDistances is CIEDE2000 by pixel.
func LabDistances(a, b []colour.Lab) []float32 {
	d := make([]float32, len(a))
	for i := range a {
		d[i] = float32(colour.DeltaE2000(a[i], b[i]))
	}
	return d
}

// FiguresOf sums up differences by pixel.
func FiguresOf(d []float32) (f Figures) {
	if len(d) == 0 {
		return f
	}
	s := slices.Clone(d)
	slices.Sort(s)
	var sum float64
	for _, v := range s {
		sum += float64(v)
		if v > 1 {
			f.Above1++
		}
		if v > 3 {
			f.Above3++
		}
	}
	n := float64(len(s))
	f.Mean, f.Above1, f.Above3 = sum/n, f.Above1/n, f.Above3/n
	// The smallest value that at least 95 % don't exceed.
	f.P95, f.Largest = float64(s[(len(s)*95+99)/100-1]), float64(s[len(s)-1])
	return f
}
