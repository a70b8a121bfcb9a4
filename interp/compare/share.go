package compare

import (
	"context"
	"image"
	"math"
	"slices"
	"strings"

	"platemark/interp/plan"
	"platemark/ops/exact"
)

// shares says of each change what share of the picture it touches: a masked
// step as much as its mask is on average over what the print shows (the larger
// of two masks), spots their discs, other steps all of it. Below 0: not a
// matter of place.
func shares(ctx context.Context, va, vb *viewer, list []Change) ([]float64, error) {
	out := make([]float64, len(list))
	for i, c := range list {
		out[i] = -1
		switch {
		case len(c.Masks) > 0:
			for _, name := range c.Masks {
				for _, v := range []*viewer{vb, va} {
					f, err := v.maskShare(ctx, name)
					if err != nil {
						return nil, err
					}
					out[i] = max(out[i], f)
				}
			}
		case c.Step == "spot":
			f, g := va.spotShare(c.LineA), vb.spotShare(c.LineB)
			out[i] = f + g
			if c.Param != "at" && c.LineA > 0 && c.LineB > 0 {
				out[i] = max(f, g)
			}
		case c.Kind == "input", c.Step != "print" && c.Param != "mark" &&
			(c.Where == "prepare" || strings.HasPrefix(c.Where, "steps ") || strings.HasPrefix(c.Where, "print ")):
			out[i] = 1
		}
	}
	return out, nil
}

// spotShare is the area of the spot on a line as a share of the frame.
func (v *viewer) spotShare(line int) float64 {
	for _, st := range v.of.steps {
		for _, s := range st.spots {
			if s.line != line {
				continue
			}
			q := s.get("radius").nums[0]
			r, _ := q.v.Float64()
			w, h := float64(v.p.Nodes[0].Pic.W), float64(v.p.Nodes[0].Pic.H)
			if q.base == "%" {
				r *= max(w, h) / 100
			}
			return min(1, math.Pi*r*r/(w*h))
		}
	}
	return 0
}

// maskShare is the mean of a mask, 0 to 1, over what the print shows of the
// frame; -1 where the plan draws no such mask.
func (v *viewer) maskShare(ctx context.Context, name string) (share float64, err error) {
	m := v.side.mask(name)
	if m == nil {
		return -1, nil
	}
	if f, ok := v.masks[m.line]; ok {
		return f, nil
	}
	share = -1
	at := slices.IndexFunc(v.p.Nodes, func(n plan.Node) bool { return n.Op == "mask" && n.Line == m.line })
	if at >= 0 {
		share, err = 0, nil
		if part := v.shown(at); !part.Empty() {
			share, err = v.s.Mean(ctx, v.p, at, part)
		}
	}
	v.masks[m.line] = share
	return share, err
}

// shown is the part of a mask that the print shows.
func (v *viewer) shown(mask int) image.Rectangle {
	n := v.p.Nodes[mask]
	frame := image.Rect(0, 0, n.Pic.W, n.Pic.H)
	part := frame
	for _, u := range v.p.Nodes {
		if r, err := u.Args.Rats("covers", 4); err == nil && slices.Contains(u.In, mask) {
			part = image.Rectangle{image.Pt(exact.Nearest(r[0]), exact.Nearest(r[1])), image.Pt(exact.Nearest(r[2]), exact.Nearest(r[3]))}.Intersect(frame)
		}
	}
	return part
}
