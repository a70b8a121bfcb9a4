package compare

import (
	"context"
	"image"
	"math"
	"math/big"
	"strings"

	"platemark/interp/plan"
	"platemark/ops/exact"
)

// shares says of each change what share of the picture it touches: a masked
// step as much as its mask is on average over what the print shows (the larger
// of two masks), spots their discs, other steps all of it. Below 0: not a
// matter of place.
func shares(ctx context.Context, a, b *Side, x, y *account, va, vb *viewer, list []Change) ([]float64, error) {
	out := make([]float64, len(list))
	known := map[string]float64{}
	mean := func(v *viewer, s *Side, name string) (float64, bool, error) {
		for _, m := range s.masks {
			if m.name != name {
				continue
			}
			k := s.Name + "\x00" + name
			if f, ok := known[k]; ok {
				return f, true, nil
			}
			f, ok, err := v.maskMean(ctx, m.line)
			if ok && err == nil {
				known[k] = f
			}
			return f, ok, err
		}
		return 0, false, nil
	}
	for i, c := range list {
		out[i] = -1
		switch {
		case len(c.Masks) > 0:
			for _, name := range c.Masks {
				for _, side := range []struct {
					v *viewer
					s *Side
				}{{vb, b}, {va, a}} {
					f, ok, err := mean(side.v, side.s, name)
					if err != nil {
						return nil, err
					}
					if ok {
						out[i] = max(out[i], f)
					}
				}
			}
		case c.Step == "spot":
			out[i] = spotShare(x, va.p, c.LineA) + spotShare(y, vb.p, c.LineB)
			if c.Param != "at" && c.LineA > 0 && c.LineB > 0 {
				out[i] = max(spotShare(x, va.p, c.LineA), spotShare(y, vb.p, c.LineB))
			}
		case c.Where == "prepare" || strings.HasPrefix(c.Where, "steps ") || strings.HasPrefix(c.Where, "print "):
			if c.Step != "print" && c.Param != "mark" {
				out[i] = 1
			}
		case c.Kind == "input":
			out[i] = 1
		}
	}
	return out, nil
}

// spotShare is the area of the spot on a line as a share of the frame.
func spotShare(a *account, p *plan.Print, line int) float64 {
	if line == 0 {
		return 0
	}
	for _, st := range a.steps {
		for _, s := range st.spots {
			if s.line != line {
				continue
			}
			q := s.get("radius").nums[0]
			r, _ := q.v.Float64()
			w, h := float64(p.Nodes[0].Pic.W), float64(p.Nodes[0].Pic.H)
			if q.base == "%" {
				r *= max(w, h) / 100
			}
			return min(1, math.Pi*r*r/(w*h))
		}
	}
	return 0
}

// maskMean is the mean of the mask on a line, 0 to 1, over what the print
// shows of the frame; ok is false where the plan draws no such mask.
func (v *viewer) maskMean(ctx context.Context, line int) (mean float64, ok bool, err error) {
	at := -1
	for i, n := range v.p.Nodes {
		if n.Op == "mask" && n.Line == line {
			at = i
		}
	}
	if at < 0 {
		return 0, false, nil
	}
	n := v.p.Nodes[at]
	x0, y0, x1, y1 := 0, 0, n.Pic.W, n.Pic.H
	for _, u := range v.p.Nodes {
		for _, k := range u.In {
			if k != at {
				continue
			}
			px := func(r *big.Rat) int { return int(exact.HalfUp(r).Int64()) }
			if r, err := u.Args.Rats("covers", 4); err == nil {
				x0, y0 = max(px(r[0]), 0), max(px(r[1]), 0)
				x1, y1 = min(px(r[2]), n.Pic.W), min(px(r[3]), n.Pic.H)
			}
		}
	}
	if x0 >= x1 || y0 >= y1 {
		return 0, true, nil
	}
	mean, err = v.s.Mean(ctx, v.p, at, image.Rect(x0, y0, x1, y1))
	return mean, err == nil, err
}
