package proof

import (
	"context"
	"fmt"
	"math"
	"math/big"
	"slices"

	"platemark/interp"
	"platemark/interp/master"
	"platemark/interp/plan"
	"platemark/lang"
	"platemark/ops"
	"platemark/ops/colour"
	"platemark/ops/raster"
)

// fitter evaluates settings of one print on one paper.
type fitter struct {
	k     *proofer
	base  *lang.Recipe // of the text that the block goes into
	paper string
	plan  *proofPlan
	node  int // the tone step in the plan
	kept  ops.Args
	words []string
	eye   *eye // of the print's pictures
	greys *eye // of the pictures that the tone step gets
	grey  bool // they are grey

	sample sample  // of the whole picture
	ends   *sample // of its highlights and shadows; nil where sample serves
	seen   map[asked]judged
}

// judged is what one setting comes to.
type judged struct {
	mean, cast, share float64
	light, dark       float64 // lost steps
}

func judgedOf(f Figures) judged {
	return judged{f.Mean, f.Grey, f.Share, float64(f.Highlights.Lost), float64(f.Shadows.Lost)}
}

// cost is what a fit brings down: the mean difference, and beside it what is
// worse than without a block, in parts of the mean there: a hundredth for the
// first lost step, two for the second, and so on; a hundredth for two in a
// hundred pixels that can't be printed any more. Greys that take on a tint weigh
// so much that they stay grey. The weights are ours.
func (v judged) cost(bare judged) float64 {
	steps := max(0, v.light-bare.light) + max(0, v.dark-bare.dark)
	part := 0.01*steps*(steps+1)/2 + max(0, v.share-bare.share)/2
	return v.mean + bare.mean*part + 10*max(0, v.cast-max(castMost, bare.cast))
}

// castMost is the chroma that greys may take on.
const castMost = 1

func newFitter(ctx context.Context, j *interp.Job, source []byte, print, paper string, o Options) (*fitter, error) {
	base, _ := lang.Parse(j.File, source)
	// A block that changes something, so that the plan has a step for it.
	text, line := setTone(source, base, paper, setting{1})
	rec, ds := lang.Parse(j.File, text)
	if lang.HasErrors(ds) {
		return nil, &interp.Problems{Source: text, Diags: ds}
	}
	trial := *j
	trial.Recipe, trial.Source = rec, text
	k, err := newProofer(&trial, rec.Print(print), []*lang.Paper{rec.Paper(paper)}, o)
	if err != nil {
		return nil, err
	}
	f := &fitter{k: k, base: base, paper: paper, plan: k.plans[1], seen: map[asked]judged{}}
	fail := func(err error) (*fitter, error) { k.s.Close(); return nil, err }
	f.node = f.plan.toneAt(line)
	if f.node < 0 {
		return fail(fmt.Errorf("a tone block at the end of prepare has no effect on print %s", print))
	}
	n := f.plan.Nodes[f.node]
	f.grey = n.Pic.C == 1
	for _, a := range n.Args {
		if !slices.ContainsFunc(knobs, func(k knob) bool { return k.arg == a.Name }) {
			f.kept = append(f.kept, a)
		}
	}
	if t := ownTone(rec, paper); t != nil {
		for _, l := range t.Lines {
			if !slices.ContainsFunc(knobs, func(k knob) bool { return k.param() == l.Param }) {
				f.words = append(f.words, l.Param)
			}
		}
	}
	if err := k.reduce(ctx); err != nil {
		return fail(err)
	}
	if f.eye, err = newEye(f.plan, f.plan.Nodes[f.plan.out].Pic.Profile); err != nil {
		return fail(err)
	}
	if f.greys, err = newEye(f.plan, n.Pic.Profile); err != nil {
		return fail(err)
	}
	if err := f.take(ctx); err != nil {
		return fail(err)
	}
	return f, nil
}

// sample is a small picture that settings are tried on.
type sample struct {
	plan.Small // what evaluation starts from
	meant      []colour.Lab
}

// take takes single pixels of the reduced picture, evenly spaced, so that
// strong colours and the ends of the scale aren't averaged away, and brings them
// to the tone step.
func (f *fitter) take(ctx context.Context) error {
	k := f.k
	long := max(k.w, k.h)
	scale := func(v int) int { return max(1, min(v, (v*fitSample+long/2)/long)) }
	f.sample.W, f.sample.H = scale(k.w), scale(k.h)
	pic := k.start.Pic
	pic.W, pic.H = scale(pic.W), scale(pic.H)
	px := make([]uint16, 0, pic.H*pic.Stride())
	from := make([]uint16, k.start.Pic.Stride())
	var scratch []byte
	for y := range pic.H {
		if err := k.start.Store.ReadRow(from, (2*y+1)*k.start.Pic.H/(2*pic.H), &scratch); err != nil {
			return err
		}
		for x := range pic.W {
			at := (2*x + 1) * k.start.Pic.W / (2 * pic.W)
			px = append(px, from[at*pic.C:(at+1)*pic.C]...)
		}
	}
	f.sample.Start = plan.Start{Key: k.start.Key, Pic: pic, Store: raster.Of(px, pic.W, pic.H, pic.C)}

	meant := k.plans[0]
	m, err := k.s.Small(ctx, meant.Print, meant.out, f.sample.Small)
	if err != nil {
		return err
	}
	f.sample.meant = k.lab(m)
	// What comes before the tone step is computed once, where nothing passes
	// by it.
	in := f.plan.Nodes[f.node].In[0]
	if f.passedBy(in) {
		return nil
	}
	if m, err = k.s.Small(ctx, f.plan.Print, in, f.sample.Small); err != nil {
		return err
	}
	f.sample.Start = f.startOf(m, in)
	return f.takeEnds(ctx, in)
}

// takeEnds takes up to 64 pixels of every step of lightness at the ends of the
// scale, evenly over the reduced picture: a picture may have few of them. That
// needs steps that work on each pixel alone.
func (f *fitter) takeEnds(ctx context.Context, in int) error {
	k := f.k
	for i := in + 1; i < len(f.plan.Nodes); i++ {
		n := f.plan.Nodes[i]
		if _, ok := n.Args.Get("local"); ok || len(n.In) > 1 || n.Op == "crop" || n.Op == "spots" || n.Op == "spot-pixels" {
			return nil
		}
	}
	m, err := k.s.Small(ctx, f.plan.Print, in, k.small())
	if err != nil {
		return err
	}
	meant, err := k.picture(ctx, k.plans[0])
	if err != nil {
		return err
	}
	if m.W != meant.W || m.H != meant.H {
		return nil
	}
	lab := k.lab(meant)
	var steps [101][]int
	for i, l := range lab {
		if n := int(min(max(l.L, 0), 100) + 0.5); n <= shadowEnd || n >= highlightStart {
			steps[n] = append(steps[n], i)
		}
	}
	e := &sample{}
	var row []uint16
	c := f.plan.Nodes[in].Pic.C
	for _, list := range steps {
		if len(list) < stepThere(len(lab)) {
			continue
		}
		for i := range min(64, len(list)) {
			at := list[(2*i+1)*len(list)/(2*min(64, len(list)))]
			row = append(row, m.Samples[at*c:(at+1)*c]...)
			e.meant = append(e.meant, lab[at])
		}
	}
	if len(e.meant) == 0 {
		return nil
	}
	m.W, m.H, m.Samples = len(e.meant), 1, row
	e.Small = plan.Small{Start: f.startOf(m, in), W: m.W, H: m.H}
	f.ends = e
	return nil
}

// startOf is a picture of a node as what evaluation starts from.
func (f *fitter) startOf(m interp.Picture, node int) plan.Start {
	return plan.Start{Key: f.plan.Nodes[node].Key, Pic: m.Pic, Store: raster.Of(m.Samples, m.W, m.H, m.C)}
}

func (f *fitter) set(ctx context.Context, how plan.Small, s setting) (interp.Picture, error) {
	how.Args = map[int]ops.Args{f.node: f.args(s)}
	return f.k.s.Small(ctx, f.plan.Print, f.plan.out, how)
}

// passedBy says whether the print's picture also comes from the master, or from
// elsewhere, by a way that doesn't lead through a node.
func (f *fitter) passedBy(node int) bool {
	need := make([]bool, len(f.plan.Nodes))
	need[f.plan.out] = true
	for i := f.plan.out; i >= 0; i-- {
		if !need[i] || i == node {
			continue
		}
		if n := f.plan.Nodes[i]; n.Input != nil && n.Input.Role != master.RoleMask {
			return true
		}
		for _, k := range f.plan.Nodes[i].In {
			need[k] = true
		}
	}
	return false
}

// args are the tone step's arguments with a setting.
func (f *fitter) args(s setting) ops.Args {
	var out ops.Args
	for i, k := range knobs {
		if s[i] != 0 && !(f.grey && k.colour) {
			den := int64(math.Round(1 / k.step))
			out = append(out, ops.Arg{Name: k.arg, Value: big.NewRat(int64(s[i]), den).RatString()})
		}
	}
	return append(out, f.kept...)
}

// figures judges a setting on the reduced picture.
func (f *fitter) figures(ctx context.Context, meant []colour.Lab, s setting) (out Figures, err error) {
	m, err := f.set(ctx, f.k.small(), s)
	if err != nil {
		return out, err
	}
	out = figuresOf(meant, f.eye.look(m, f.k.o.Workers), f.k.o.Workers)
	out.Grey, err = greyCast(f.eye, f.greys, f.plan.Nodes[f.node], f.args(s))
	return out, err
}

// asked is a setting, judged by its mean alone or by all.
type asked struct {
	setting
	all bool
}

// judge evaluates a setting on the sample.
func (f *fitter) judge(ctx context.Context, t asked) (v judged, err error) {
	if v, ok := f.seen[t]; ok {
		return v, nil
	}
	if err := ctx.Err(); err != nil {
		return v, context.Cause(ctx)
	}
	workers := f.k.o.Workers
	m, err := f.set(ctx, f.sample.Small, t.setting)
	if err != nil {
		return v, err
	}
	shown := f.eye.relative(m, workers)
	for _, d := range Distances(f.sample.meant, shown, workers) {
		v.mean += float64(d)
	}
	v.mean /= float64(len(shown))
	if t.all {
		v.share = f.eye.share(m, 4)
		ends, least := &f.sample, 3
		if f.ends != nil {
			if m, err = f.set(ctx, f.ends.Small, t.setting); err != nil {
				return v, err
			}
			ends, shown, least = f.ends, f.eye.relative(m, workers), 1
		}
		light, dark := rises(ends.meant, shown, least)
		v.light, v.dark = nearlyLost(light), nearlyLost(dark)
		v.cast, err = greyCast(f.eye, f.greys, f.plan.Nodes[f.node], f.args(t.setting))
	}
	f.seen[t] = v
	return v, err
}

// nearlyLost counts lost steps, those near the bound in part: a search needs a
// slope, and the sample isn't the picture.
func nearlyLost(rises []float64) (n float64) {
	for _, rise := range rises {
		n += min(max((stepKept+0.04-rise)/0.08, 0), 1)
	}
	return n
}
