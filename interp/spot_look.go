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

// patch is a part of a picture before a spot is mended: the disc with what lies
// round it.
type patch struct {
	spot           ops.SpotShape
	look           *SpotLook
	x0, y0, x1, y1 int
	samples        []uint16
}

// lookAtSpots works out the contrast of each spot of the plans, by line, and
// notes those that mend nothing. Every pixel of the master is read.
func (j *Job) lookAtSpots(ctx context.Context) error {
	b := newBuilder(j, BuildOptions{})
	defer b.close()
	known := map[raster.Sum][]SpotLook{}
	for _, p := range j.Plans {
		for i, n := range p.Nodes {
			if n.Op != "spots" {
				continue
			}
			if _, ok := known[n.Key]; !ok {
				list, err := b.lookAtSpots(ctx, p, i)
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

func (b *builder) lookAtSpots(ctx context.Context, p *plan.Print, node int) ([]SpotLook, error) {
	n := p.Nodes[node]
	pic := p.Nodes[n.In[0]].Pic
	byRow := map[int][]*patch{}
	from, till := pic.H, 0
	out := make([]SpotLook, len(n.Spots))
	var list []*patch
	for k, text := range n.Args.All("spot") {
		sp, err := ops.ParseSpot(text)
		if err != nil {
			return nil, err
		}
		out[k].span, out[k].Line = n.Spots[k], n.Spots[k].Line
		x, y, r := flt(sp.At.X), flt(sp.At.Y), flt(sp.Radius)
		reach := r + max(r, 8) + 2
		q := &patch{spot: sp, look: &out[k], x0: max(0, int(x-reach)), y0: max(0, int(y-reach)), x1: min(pic.W, int(x+reach)+1), y1: min(pic.H, int(y+reach)+1)}
		q.samples = make([]uint16, (q.x1-q.x0)*(q.y1-q.y0)*pic.C)
		for y := q.y0; y < q.y1; y++ {
			byRow[y] = append(byRow[y], q)
		}
		from, till = min(from, q.y0), max(till, q.y1)
		list = append(list, q)
	}
	g, _, err := b.graph(ctx, p, n.In[0], nil)
	if err != nil {
		return nil, err
	}
	keep := engine.Rows(func(y int, samples []uint16) error {
		for _, p := range byRow[y] {
			n := (p.x1 - p.x0) * pic.C
			copy(p.samples[(y-p.y0)*n:], samples[p.x0*pic.C:p.x1*pic.C])
		}
		return nil
	})
	o := b.engineOptions("looking at spots")
	o.From, o.Till = from, till
	if _, err := engine.Run(ctx, g, keep, o); err != nil {
		return nil, err
	}
	for _, q := range list {
		if err := q.measure(ctx, n, pic); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// measure fills in the contrast of a spot.
func (q *patch) measure(ctx context.Context, n plan.Node, pic ops.Pic) error {
	w, h, c := q.x1-q.x0, q.y1-q.y0, pic.C
	sp := q.spot
	sp.At, sp.From = ops.MaskPoint{X: less(sp.At.X, fraction(int64(q.x0))), Y: less(sp.At.Y, fraction(int64(q.y0)))}, nil
	x, y, r := flt(sp.At.X), flt(sp.At.Y), flt(sp.Radius)
	o, ok := ops.Lookup(n.Op, n.Ver)
	if !ok {
		return fmt.Errorf("internal: no operation %s %d", n.Op, n.Ver)
	}
	small := ops.Pic{W: w, H: h, C: c, Profile: pic.Profile}
	step, err := o.New(ops.Args{{Name: "spot-1", Value: sp.String()}}, []ops.Pic{small}, ops.Env{})
	if err != nil {
		return err
	}
	st := raster.NewMemory(w, h, c)
	var scratch []byte
	for py := range h {
		if err := st.WriteRow(py, q.samples[py*w*c:(py+1)*w*c], &scratch); err != nil {
			return err
		}
	}
	g := &engine.Graph{Nodes: []engine.Node{{Pic: small, Store: st}, {Pic: small, Step: step, In: []int{0}}}, Out: 1}
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
				v := float64(q.samples[k])
				if d <= in {
					mend := float64(after[k]) - v
					sum, inside = sum+float64(mend*mend), inside+1
				} else if d > out && px+2 < w && apart(px+2, py) > out {
					steps = append(steps, math.Abs(v-float64(q.samples[k+2*c])))
				}
			}
		}
	}
	if inside > 0 {
		q.look.Contrast = math.Sqrt(sum/float64(inside)) / 65535
	}
	if len(steps) > 0 {
		// The median of a normal distribution's amounts is 0.6745 of its
		// standard deviation; a difference has root 2 times the noise.
		slices.Sort(steps)
		q.look.Noise = steps[len(steps)/2] / 0.6745 / math.Sqrt2 / 65535
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

func flt(r *big.Rat) float64 {
	f, _ := r.Float64()
	return f
}
