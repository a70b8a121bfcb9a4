package interp

import (
	"context"
	"fmt"
	"image"
	"runtime"

	"platemark/interp/plan"
	"platemark/lang"
	"platemark/ops/colour"
	"platemark/ops/raster"
)

// MaskCover says how much a mask covers: the mean of its values, 0 to 1, over
// the frame and over the part of it that the print shows.
type MaskCover struct {
	Name           string  `json:"mask"`
	Line           int     `json:"line"`
	Frame          float64 `json:"share-of-frame"`
	Print          float64 `json:"share-of-print"`
	node           int
	small          []uint16 // drawn on a reduced frame of smallW x smallH
	smallW, smallH int
}

// ShareText is a share as a percentage. Only nothing is 0 %, only everything
// 100 %.
func ShareText(f float64) string {
	switch {
	case f > 0 && f < 0.0005:
		return "under 0.1 %"
	case f < 1 && f >= 0.9995:
		return "over 99.9 %"
	case f == 0 || f == 1:
		return fmt.Sprintf("%.0f %%", 100*f)
	}
	return fmt.Sprintf("%.1f %%", 100*f)
}

// maskLong is the longer side of the frame that masks are drawn on to see what
// they cover. Shares that come near to nothing or everything are taken again at
// full size.
const (
	maskLong = 1000
	maskNear = 0.004
)

// coverMasks works out what each mask of the plan covers, and warns at the
// steps whose mask leaves them no effect, or no need of a mask.
func (b *builder) coverMasks(ctx context.Context, p *plan.Print) error {
	pic := p.Nodes[0].Pic
	s := float64(maskLong) / float64(max(pic.W, pic.H, maskLong))
	src := &source{key: p.Nodes[0].Key, pic: pic}
	src.pic.W, src.pic.H = max(1, int(float64(pic.W)*s)), max(1, int(float64(pic.H)*s))
	var masks []MaskCover
	seen := map[raster.Sum]bool{}
	for i, n := range p.Nodes {
		if n.Op != "mask" || seen[n.Key] {
			continue
		}
		seen[n.Key] = true
		g, err := b.small(ctx, smallPlan{p: p, src: src}, i)
		if err != nil {
			return err
		}
		m := MaskCover{Line: n.Line, node: i, smallW: g.Nodes[g.Out].Pic.W, smallH: g.Nodes[g.Out].Pic.H}
		for _, x := range b.job.Recipe.Masks {
			if x.Line == n.Line {
				m.Name = x.Name.Value
			}
		}
		if m.small, err = b.whole(ctx, g); err != nil {
			return err
		}
		if m.Frame, err = b.share(ctx, p, m, plan.Whole(n.Pic.W, n.Pic.H)); err != nil {
			return err
		}
		if m.Print, err = b.share(ctx, p, m, p.Covers); err != nil {
			return err
		}
		masks = append(masks, m)
	}
	b.job.Masks[p] = masks
	for _, u := range p.Uses {
		if p.NodeOf(u.Step) < 0 {
			continue
		}
		for _, m := range masks {
			if p.Nodes[m.node].Key != u.Mask {
				continue
			}
			share, err := b.share(ctx, p, m, u.Covers)
			if err != nil {
				return err
			}
			what, detail := "", ""
			switch share {
			case 0:
				what, detail = "nothing", "The step changes nothing."
			case 1:
				what, detail = "everything", "The step works everywhere, as it would without a mask."
			default:
				continue
			}
			p.Notes = append(p.Notes, lang.Diagnostic{Severity: lang.Warning, Code: plan.CodeMaskCovers, Span: u.At.Span,
				Summary: fmt.Sprintf("mask %s covers %s of the picture here", u.At.Value, what), Detail: detail,
				Hints: []string{"look at it: platemark plan RECIPE --picture masks.png"}})
		}
	}
	return nil
}

// share is the mean of a mask over a part of the frame. It is exact where it is
// 0 or 1.
func (b *builder) share(ctx context.Context, p *plan.Print, m MaskCover, part plan.Rect) (float64, error) {
	mean := func(v []uint16) float64 {
		var sum uint64
		for _, s := range v {
			sum += uint64(s)
		}
		return float64(sum) / (65535 * float64(max(1, len(v))))
	}
	cut := func(w, h int) (x0, y0, x1, y1 int) {
		full := p.Nodes[m.node].Pic
		at := func(r, size int, of int) int { return r * size / of }
		x0, y0 = at(pixels(part.X0), w, full.W), at(pixels(part.Y0), h, full.H)
		x1, y1 = at(pixels(part.X1), w, full.W), at(pixels(part.Y1), h, full.H)
		x0, y0 = min(max(x0, 0), w-1), min(max(y0, 0), h-1)
		return x0, y0, min(max(x1, x0+1), w), min(max(y1, y0+1), h)
	}
	x0, y0, x1, y1 := cut(m.smallW, m.smallH)
	var rows []uint16
	for y := y0; y < y1; y++ {
		rows = append(rows, m.small[y*m.smallW+x0:y*m.smallW+x1]...)
	}
	full := p.Nodes[m.node].Pic
	f := mean(rows)
	if m.smallW == full.W && m.smallH == full.H || f > maskNear && f < 1-maskNear {
		return f, nil
	}
	return b.maskMean(ctx, p, m.node, image.Rect(cut(full.W, full.H)))
}

// coverMasks looks at the masks of every plan. A painted mask is decoded.
func (j *Job) coverMasks(ctx context.Context) error {
	b := newBuilder(j, BuildOptions{Workers: runtime.GOMAXPROCS(0)})
	defer b.close()
	for _, p := range j.Plans {
		n := len(p.Notes)
		if err := b.coverMasks(ctx, p); err != nil {
			return err
		}
		j.Diags = append(j.Diags, p.Notes[n:]...)
	}
	return nil
}

// MaskPicture is a print drawn small, with the masks that its steps work
// through.
type MaskPicture struct {
	ViewPicture
	Masks []SmallMask
}

// SmallMask is a mask over a small picture: its values, 0 to 65535, by pixel.
type SmallMask struct {
	MaskCover
	Values []uint16
}

// DrawMasks makes the print of a plan small, at most long pixels on its longer
// side, in sRGB, with each of its masks over it. The job must have been loaded
// with LoadOptions.Masks.
func DrawMasks(ctx context.Context, j *Job, p *plan.Print, long, workers int) (*MaskPicture, error) {
	k, _, err := newProofer(j, j.Recipe.Print(p.Name), nil, ProofOptions{Long: long, Workers: workers})
	if err != nil {
		return nil, err
	}
	defer k.b.close()
	if err := k.reduced(ctx); err != nil {
		return nil, err
	}
	m, err := k.picture(ctx, k.plans[0])
	if err != nil {
		return nil, err
	}
	lab, err := meantLab(m, k.o.Workers)
	if err != nil {
		return nil, err
	}
	screen, _ := colour.Space("sRGB")
	out := &MaskPicture{}
	full := k.plans[0].Nodes[k.plans[0].out].Pic
	if out.ViewPicture, err = k.onScreen(screen, m, lab, full.W, full.H); err != nil {
		return nil, err
	}
	for _, c := range j.Masks[p] {
		frame := p.Nodes[c.node].Pic
		v := SmallMask{MaskCover: c, Values: make([]uint16, m.w*m.h)}
		// The mask's pixel under the middle of each of the picture's.
		at := func(i, n int, lo, size float64, of, small int) int {
			f := lo + (float64(i)+0.5)/float64(n)*size
			return min(max(int(f*float64(small)/float64(of)), 0), small-1)
		}
		x0, _ := p.Covers.X0.Float64()
		y0, _ := p.Covers.Y0.Float64()
		w, _ := p.Covers.W().Float64()
		h, _ := p.Covers.H().Float64()
		for y := range m.h {
			my := at(y, m.h, y0, h, frame.H, c.smallH)
			for x := range m.w {
				v.Values[y*m.w+x] = c.small[my*c.smallW+at(x, m.w, x0, w, frame.W, c.smallW)]
			}
		}
		out.Masks = append(out.Masks, v)
	}
	return out, nil
}
