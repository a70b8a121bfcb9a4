package ops

import (
	"math/big"
	"slices"
)

// Ratio is what sides of pictures are multiplied by, by axis.
type Ratio struct{ X, Y *big.Rat }

// RatioOf is the ratio from the sides of a picture to those of another.
func RatioOf(from, to Pic) Ratio {
	return Ratio{big.NewRat(int64(to.W), int64(from.W)), big.NewRat(int64(to.H), int64(from.H))}
}

// frame are the whole sides, at least 1 px, that a frame of w x h px becomes.
func (r Ratio) frame(w, h int) (int, int) {
	side := func(n int, r *big.Rat) int { return max(1, halfUp(times(big.NewRat(int64(n), 1), r))) }
	return side(w, r.X), side(h, r.Y)
}

func times(a, b *big.Rat) *big.Rat { return new(big.Rat).Mul(a, b) }

// Reduction says how a step in a reduced plan differs from the plan's own.
type Reduction struct {
	Frame      Ratio // of what masks are drawn on
	From, Pic  Pic   // the step's first picture in the plan, and reduced
	Mask, Mini Pic   // its last one in both, which covers speaks of
	W, H       int   // what an enlargement to the print's size enlarges to
}

func (r *Reduction) ratio() Ratio { return RatioOf(r.From, r.Pic) }

// smaller tells whether the picture was reduced.
func (r *Reduction) smaller() bool { return r.Pic.W < r.From.W }

// Reduced are the operation's arguments for reduced pictures; seen is false
// where nothing would be seen of the step, so that it can be left out. The
// arguments must be such as New accepts.
func (o *Operation) Reduced(a Args, r Reduction) (out Args, seen bool, err error) {
	out = slices.Clone(a)
	for i := range out {
		x := &out[i]
		k := slices.IndexFunc(o.Params, func(p Param) bool { return p.Name == x.Name })
		switch {
		case k < 0:
		case o.Params[k].Unit == "frame":
			v, err := a.Rats(x.Name, 4)
			if err != nil {
				return nil, false, err
			}
			m := RatioOf(r.Mask, r.Mini)
			x.Value = rats(times(v[0], m.X), times(v[1], m.Y), times(v[2], m.X), times(v[3], m.Y))
		case o.Params[k].Length:
			v, err := ParseRat(x.Value)
			if err != nil {
				return nil, false, err
			}
			x.Value = times(v, r.ratio().X).RatString()
		}
	}
	if o.Reduce != nil {
		return o.Reduce(o.Params, out, r)
	}
	return out, true, nil
}
