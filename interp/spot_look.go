package interp

import (
	"cmp"
	"context"
	"fmt"
	"image"
	"math"
	"math/big"
	"slices"

	"platemark/interp/engine"
	"platemark/interp/plan"
	"platemark/lang"
	"platemark/ops"
	"platemark/ops/raster"
)

// SpotLook is the local contrast of a spot's place: how far its samples are from
// what its rim would fill it with, as a root mean square, and the noise of the
// picture around it, both as shares of full scale.
type SpotLook struct {
	Line     int     `json:"line"`
	Contrast float64 `json:"contrast"`
	Noise    float64 `json:"noise"`

	span lang.Span
}

// idleSpot is how many times the noise around it a speck's contrast is at least.
// Plain grain differs from its rim by the grain alone, so by about once the
// noise; dust and scratches stand out by much more (our own rule).
const idleSpot = 1.5

// lookAtSpots works out the contrast of each spot of the plans, by line, and
// notes those that mend nothing. Every pixel of the master is read.
func (j *Job) lookAtSpots(ctx context.Context, s *Session) error {
	known := map[raster.Sum][]SpotLook{}
	for _, p := range j.Plans {
		for i, n := range p.Nodes {
			if n.Op != "spots" {
				continue
			}
			if _, ok := known[n.Key]; !ok {
				list, err := s.lookAtSpots(ctx, p, i)
				if err != nil {
					return err
				}
				known[n.Key] = list
			}
			j.Spots[p] = append(j.Spots[p], known[n.Key]...)
		}
		slices.SortFunc(j.Spots[p], func(a, b SpotLook) int { return cmp.Compare(a.Line, b.Line) })
		j.Diags = append(j.Diags, idleSpots(j.Spots[p])...)
	}
	return nil
}

func (s *Session) lookAtSpots(ctx context.Context, p *plan.Print, node int) ([]SpotLook, error) {
	n := p.Nodes[node]
	out := make([]SpotLook, len(n.Spots))
	for k, text := range n.Args.All("spot") {
		sp, err := ops.ParseSpot(text)
		if err != nil {
			return nil, err
		}
		out[k].span, out[k].Line = n.Spots[k], n.Spots[k].Line
		if err := s.lookAtSpot(ctx, p, node, sp, &out[k]); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// lookAtSpot fills in the contrast of a spot, from its disc and what lies round
// it before it is mended. On so small a part no other place fits: the rim alone
// fills the disc.
func (s *Session) lookAtSpot(ctx context.Context, p *plan.Print, node int, sp ops.SpotShape, look *SpotLook) error {
	n := p.Nodes[node]
	pic := p.Nodes[n.In[0]].Pic
	x, y, r := flt(sp.At.X), flt(sp.At.Y), flt(sp.Radius)
	reach := r + max(r, 8) + 2
	part := image.Rect(max(0, int(x-reach)), max(0, int(y-reach)), min(pic.W, int(x+reach)+1), min(pic.H, int(y+reach)+1))
	before, err := s.Region(ctx, p, n.In[0], part)
	if err != nil {
		return err
	}
	w, h, c := before.W, before.H, before.C
	sp.At, sp.From = ops.MaskPoint{X: moved(sp.At.X, part.Min.X), Y: moved(sp.At.Y, part.Min.Y)}, nil
	x, y = flt(sp.At.X), flt(sp.At.Y)
	step, err := n.Operation().New(ops.Args{{Name: "spot-1", Value: sp.String()}}, []ops.Pic{before.Pic}, ops.Env{})
	if err != nil {
		return err
	}
	st := raster.Of(before.Samples, w, h, c)
	g := &engine.Graph{Nodes: []engine.Node{{Pic: before.Pic, Store: st}, {Pic: before.Pic, Step: step, In: []int{0}}}, Out: 1}
	after, err := engine.Region(ctx, g, 1, image.Rect(0, 0, w, h), 1)
	if err != nil {
		return err
	}
	var sum float64
	var inside int
	var steps []float64                 // from a pixel to the second one beside it, around the disc
	apart := func(px, py int) float64 { // from the disc's middle, squared
		dx, dy := float64(px)+0.5-x, float64(py)+0.5-y
		return float64(dx*dx) + float64(dy*dy)
	}
	in, out := float64(r*r), float64((r+2)*(r+2))
	for py := range h {
		for px := range w {
			d := apart(px, py)
			for i := range c {
				k := (py*w+px)*c + i
				v := float64(before.Samples[k])
				if d <= in {
					mend := float64(after[k]) - v
					sum, inside = sum+float64(mend*mend), inside+1
				} else if d > out && px+2 < w && apart(px+2, py) > out {
					steps = append(steps, math.Abs(v-float64(before.Samples[k+2*c])))
				}
			}
		}
	}
	if inside > 0 {
		look.Contrast = math.Sqrt(sum/float64(inside)) / 65535
	}
	if len(steps) > 0 {
		// The median of a normal distribution's amounts is 0.6745 of its
		// standard deviation; a difference has root 2 times the noise.
		slices.Sort(steps)
		look.Noise = steps[len(steps)/2] / 0.6745 / math.Sqrt2 / 65535
	}
	return nil
}

// idleSpots are notes on spots whose place stands out less than noise, a few with their
// places.
func idleSpots(list []SpotLook) []lang.Diagnostic {
	const most = 10
	var out []lang.Diagnostic
	idle := 0
	for _, s := range list {
		if s.Contrast >= idleSpot*s.Noise {
			continue
		}
		if idle++; idle <= most {
			out = append(out, lang.Diagnostic{Severity: lang.Note, Code: plan.CodeSpotIdle, Span: s.span,
				Summary: fmt.Sprintf("nothing stands out at this spot: contrast %s, noise around it %s", PercentText(s.Contrast), PercentText(s.Noise)),
				Detail:  "A speck stands out from the noise around it.",
				Hints:   []string{"check the spot's place, or take it out"}})
		}
	}
	if idle > most {
		out[most-1].Detail += fmt.Sprintf(" It is so of %d more.", idle-most)
	}
	return out
}

// PercentText is a share of full scale in words.
func PercentText(f float64) string { return fmt.Sprintf("%.2f %%", 100*f) }

// moved is a place in pixels from another one.
func moved(r *big.Rat, from int) *big.Rat { return new(big.Rat).Sub(r, big.NewRat(int64(from), 1)) }

func flt(r *big.Rat) float64 {
	f, _ := r.Float64()
	return f
}
