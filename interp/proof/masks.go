package proof

import (
	"context"

	"platemark/interp"
	"platemark/interp/plan"
)

// MaskPicture is a print drawn small, with the masks that its steps work
// through.
type MaskPicture struct {
	interp.ViewPicture
	Masks []SmallMask
}

// SmallMask is a mask over a small picture: its values, 0 to 65535, by pixel.
type SmallMask struct {
	interp.MaskCover
	Values []uint16
}

// DrawMasks makes the print of a plan small, at most long pixels on its longer
// side, in sRGB, with each of its masks over it. The job must have been loaded
// with LoadOptions.Masks.
func DrawMasks(ctx context.Context, j *interp.Job, p *plan.Print, long, workers int) (*MaskPicture, error) {
	k, err := newProofer(j, j.Recipe.Print(p.Name), nil, Options{Long: long, Workers: workers})
	if err != nil {
		return nil, err
	}
	defer k.s.Close()
	if err := k.reduce(ctx); err != nil {
		return nil, err
	}
	m, err := k.picture(ctx, k.plans[0])
	if err != nil {
		return nil, err
	}
	out := &MaskPicture{ViewPicture: k.onScreen(m, k.lab(m))}
	for _, c := range j.Masks[p] {
		frame := p.Nodes[c.Node].Pic
		v := SmallMask{MaskCover: c, Values: make([]uint16, m.W*m.H)}
		// The mask's pixel under the middle of each of the picture's.
		at := func(i, n int, lo, size float64, of, small int) int {
			f := lo + (float64(i)+0.5)/float64(n)*size
			return min(max(int(f*float64(small)/float64(of)), 0), small-1)
		}
		x0, _ := p.Covers.X0.Float64()
		y0, _ := p.Covers.Y0.Float64()
		w, _ := p.Covers.W().Float64()
		h, _ := p.Covers.H().Float64()
		for y := range m.H {
			my := at(y, m.H, y0, h, frame.H, c.Drawn.H)
			for x := range m.W {
				v.Values[y*m.W+x] = c.Drawn.Samples[my*c.Drawn.W+at(x, m.W, x0, w, frame.W, c.Drawn.W)]
			}
		}
		out.Masks = append(out.Masks, v)
	}
	return out, nil
}
