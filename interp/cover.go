package interp

import (
	"context"
	"fmt"
	"image"
	"slices"

	"platemark/interp/plan"
	"platemark/lang"
	"platemark/ops/exact"
	"platemark/ops/raster"
)

// MaskCover says how much a mask covers: the mean of its values, 0 to 1, over
// the frame and over the part of it that the print shows.
type MaskCover struct {
	Name  string  `json:"mask"`
	Line  int     `json:"line"`
	Frame float64 `json:"share-of-frame"`
	Print float64 `json:"share-of-print"`
	Node  int     `json:"-"` // of the plan
	Drawn Picture `json:"-"` // on a reduced frame
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
// they cover, maskLook to see whether they do. Shares that come near to nothing or
// everything are taken again at full size.
const (
	maskLong = 1000
	maskLook = 250
	maskNear = 0.004
)

// coverMasks works out what each mask of the plan covers, and warns at the
// steps whose mask leaves them no effect, or no need of a mask.
func (s *Session) coverMasks(ctx context.Context, j *Job, p *plan.Print, long int) error {
	start, err := s.maskStart(ctx, p, long)
	if err != nil {
		return err
	}
	var masks []MaskCover
	seen := map[raster.Sum]bool{}
	for i, n := range p.Nodes {
		if n.Op != "mask" || seen[n.Key] {
			continue
		}
		seen[n.Key] = true
		drawn, err := s.Small(ctx, p, i, plan.Small{Start: start})
		if err != nil {
			return err
		}
		m := MaskCover{Line: n.Line, Node: i, Drawn: drawn}
		for _, x := range j.Recipe.Masks {
			if x.Line == n.Line {
				m.Name = x.Name.Value
			}
		}
		if m.Frame, err = s.share(ctx, p, m, plan.Whole(n.Pic.W, n.Pic.H)); err != nil {
			return err
		}
		if m.Print, err = s.share(ctx, p, m, p.Covers); err != nil {
			return err
		}
		masks = append(masks, m)
	}
	j.Masks[p] = masks
	for _, u := range p.Uses {
		if p.NodeOf(u.Step) < 0 {
			continue
		}
		for _, m := range masks {
			if p.Nodes[m.Node].Key != u.Mask {
				continue
			}
			share, err := s.share(ctx, p, m, u.Covers)
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

// maskStart is what masks are drawn from, on a frame of long px: the master
// reduced, its pixels where a mask reads them.
func (s *Session) maskStart(ctx context.Context, p *plan.Print, long int) (plan.Start, error) {
	pic := p.Nodes[0].Pic
	scale := float64(long) / float64(max(pic.W, pic.H, long))
	pic.W, pic.H = max(1, int(float64(pic.W)*scale)), max(1, int(float64(pic.H)*scale))
	start := plan.Start{Key: p.Nodes[0].Key, Pic: pic}
	if !slices.ContainsFunc(p.Nodes, func(n plan.Node) bool { return n.Op == "range" || n.Op == "edges" }) {
		return start, nil
	}
	g, _, err := s.graph(ctx, p, 0, nil)
	if err != nil {
		return start, err
	}
	return s.reduce(ctx, g, startAt{start.Key, pic.W, pic.H})
}

// SmallMask is a mask of a plan, by its node, drawn on a frame whose longer side
// has long px, or as many as the master's.
func (s *Session) SmallMask(ctx context.Context, p *plan.Print, mask, long int) (Picture, error) {
	start, err := s.maskStart(ctx, p, long)
	if err != nil {
		return Picture{}, err
	}
	return s.Small(ctx, p, mask, plan.Small{Start: start})
}

// share is the mean of a mask over a part of the frame. It is exact where it is
// 0 or 1.
func (s *Session) share(ctx context.Context, p *plan.Print, m MaskCover, part plan.Rect) (float64, error) {
	cut := func(w, h int) (x0, y0, x1, y1 int) {
		full := p.Nodes[m.Node].Pic
		at := func(r, size int, of int) int { return r * size / of }
		x0, y0 = at(exact.Nearest(part.X0), w, full.W), at(exact.Nearest(part.Y0), h, full.H)
		x1, y1 = at(exact.Nearest(part.X1), w, full.W), at(exact.Nearest(part.Y1), h, full.H)
		x0, y0 = min(max(x0, 0), w-1), min(max(y0, 0), h-1)
		return x0, y0, min(max(x1, x0+1), w), min(max(y1, y0+1), h)
	}
	x0, y0, x1, y1 := cut(m.Drawn.W, m.Drawn.H)
	var sum uint64
	for y := y0; y < y1; y++ {
		for _, v := range m.Drawn.Samples[y*m.Drawn.W+x0 : y*m.Drawn.W+x1] {
			sum += uint64(v)
		}
	}
	full := p.Nodes[m.Node].Pic
	f := float64(sum) / (65535 * float64((x1-x0)*(y1-y0)))
	if m.Drawn.W == full.W && m.Drawn.H == full.H || f > maskNear && f < 1-maskNear {
		return f, nil
	}
	return s.Mean(ctx, p, m.Node, image.Rect(cut(full.W, full.H)))
}

// coverMasks looks at the masks of every plan. A painted mask is decoded.
func (j *Job) coverMasks(ctx context.Context, s *Session, shares bool) error {
	long := maskLook
	if shares {
		long = maskLong
	}
	for _, p := range j.Plans {
		n := len(p.Notes)
		if err := s.coverMasks(ctx, j, p, long); err != nil {
			return err
		}
		j.Diags = append(j.Diags, p.Notes[n:]...)
	}
	return nil
}
