package interp

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"math/big"
	"os"
	"slices"

	"gonum.org/v1/gonum/optimize"

	"platemark/lang"
	"platemark/ops"
	"platemark/ops/colour"
	"platemark/ops/raster"
)

// Fitted is a tone block that brings a print on a paper closer to what was
// meant.
type Fitted struct {
	Paper string
	// Block is the text of the block; nil where none helps.
	Block []string
	// Kept are the words of lines of the recipe's own block that stay beside.
	Kept []string
	// Before is without the block, After with it.
	Before, After ProofFigures
	// Tried is the number of settings that were tried.
	Tried int
}

// fitLong is the longest side of the picture that a fit is judged by, and
// fitSample of the sample that it is found on, px.
const (
	fitLong   = 1000
	fitSample = 128
)

// Fit finds for each paper the tone block that brings the print closest to what
// was meant, by the mean CIEDE2000 of the two, media-relative: paper white isn't
// fitted. It returns what it found and the recipe's text with the blocks in it.
//
// A block is proposed only if, on the reduced picture, the mean falls, no more
// steps of highlights or shadows are lost than without it, and greys take on at
// most a chroma of 1 (or no more than without it). The same recipe and inputs
// give the same block.
func Fit(ctx context.Context, j *Job, print string, o ProofOptions) ([]Fitted, []byte, error) {
	pr := j.Recipe.Print(print)
	if pr == nil {
		return nil, nil, fmt.Errorf("no print is named %s", print)
	}
	if o.Section[2] != 0 {
		return nil, nil, errors.New("a block is fitted to the whole picture, not to a section")
	}
	papers, err := j.papers(pr, o.Papers)
	if err != nil {
		return nil, nil, err
	}
	o.Long = fitLong
	source := j.Source
	var list []Fitted
	for _, p := range papers {
		f, err := newFitter(ctx, j, source, print, p.Name.Value, o)
		if err != nil {
			return nil, nil, err
		}
		out, s, err := f.fit(ctx)
		f.k.b.close()
		if err != nil {
			return nil, nil, err
		}
		if !s.zero() {
			source, _ = setTone(source, f.base, p.Name.Value, s)
		}
		list = append(list, *out)
	}
	if _, ds := lang.Parse(j.File, source); lang.HasErrors(ds) {
		return nil, nil, &Problems{source, ds}
	}
	return list, source, nil
}

// WriteFit puts the text with fitted blocks in place of a job's recipe, unless
// the recipe changed meanwhile.
func WriteFit(j *Job, text []byte) error {
	now, err := os.ReadFile(j.File)
	if err != nil {
		return fmt.Errorf("the recipe %s can't be read: %w", j.File, plainPathError(err))
	}
	if !bytes.Equal(now, j.Source) {
		return fmt.Errorf("%s changed while the block was being fitted; nothing was written", j.File)
	}
	if bytes.Equal(text, j.Source) {
		return nil
	}
	return ReplaceFile(j.File, text)
}

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

	src   *source // the sample that evaluation starts from
	w, h  int
	meant []colour.Lab
	bare  judged
	tried int
	seen  map[setting]judged
}

// judged is what one setting comes to on the sample.
type judged struct{ mean, flat, cast float64 }

func newFitter(ctx context.Context, j *Job, source []byte, print, paper string, o ProofOptions) (*fitter, error) {
	base, _ := lang.Parse(j.File, source)
	// A block that changes something, so that the plan has a step for it.
	text, line := setTone(source, base, paper, setting{1})
	rec, ds := lang.Parse(j.File, text)
	if lang.HasErrors(ds) {
		return nil, &Problems{text, ds}
	}
	trial := *j
	trial.Recipe, trial.Source = rec, text
	k, profiles, err := newProofer(&trial, rec.Print(print), []*lang.Paper{rec.Paper(paper)}, o)
	if err != nil {
		return nil, err
	}
	f := &fitter{k: k, base: base, paper: paper, plan: k.plans[1], seen: map[setting]judged{}}
	fail := func(err error) (*fitter, error) { k.b.close(); return nil, err }
	f.node = slices.IndexFunc(f.plan.Nodes, func(n Node) bool { return n.Op == "tone" && n.Line == line })
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
	if err := k.reduced(ctx); err != nil {
		return fail(err)
	}
	if f.eye, err = newEye(f.plan, f.plan.Nodes[f.plan.out].Pic.Profile, profiles[0]); err != nil {
		return fail(err)
	}
	if f.greys, err = newEye(f.plan, n.Pic.Profile, profiles[0]); err != nil {
		return fail(err)
	}
	if err := f.sample(ctx); err != nil {
		return fail(err)
	}
	return f, nil
}

// sample takes single pixels of the reduced picture, evenly spaced, so that
// strong colours and the ends of the scale aren't averaged away, and brings them
// to the tone step.
func (f *fitter) sample(ctx context.Context) error {
	k := f.k
	long := max(k.w, k.h)
	scale := func(v int) int { return max(1, min(v, (v*fitSample+long/2)/long)) }
	f.w, f.h = scale(k.w), scale(k.h)
	pic := k.src.pic
	pic.W, pic.H = scale(pic.W), scale(pic.H)
	st := raster.NewMemory(pic.W, pic.H, pic.C)
	from, to := make([]uint16, k.src.pic.Stride()), make([]uint16, pic.Stride())
	var scratch []byte
	for y := range pic.H {
		if err := k.src.store.ReadRow(from, (2*y+1)*k.src.pic.H/(2*pic.H), &scratch); err != nil {
			return err
		}
		for x := range pic.W {
			at := (2*x + 1) * k.src.pic.W / (2 * pic.W)
			copy(to[x*pic.C:(x+1)*pic.C], from[at*pic.C:])
		}
		if err := st.WriteRow(y, to, &scratch); err != nil {
			return err
		}
	}
	f.src = &source{k.src.key, st, pic}

	meant := k.plans[0]
	g, err := k.b.small(ctx, smallPlan{p: meant.Plan, src: f.src, w: f.w, h: f.h}, meant.out)
	if err != nil {
		return err
	}
	m := proofPictures{w: g.nodes[g.out].pic.W, h: g.nodes[g.out].pic.H, profile: g.nodes[g.out].pic.Profile}
	if m.samples, err = k.b.whole(ctx, g); err != nil {
		return err
	}
	if f.meant, err = meantLab(m, k.o.Workers); err != nil {
		return err
	}
	// What comes before the tone step is computed once, where nothing passes
	// by it.
	in := f.plan.Nodes[f.node].In[0]
	if f.passedBy(in) {
		return nil
	}
	if g, err = k.b.small(ctx, smallPlan{p: f.plan.Plan, src: f.src, w: f.w, h: f.h}, in); err != nil {
		return err
	}
	pic = g.nodes[g.out].pic
	st = raster.NewMemory(pic.W, pic.H, pic.C)
	if _, err := run(ctx, g, storeSink{st}, runOptions{workers: k.o.Workers}); err != nil {
		return err
	}
	f.src = &source{f.plan.Nodes[in].key, st, pic}
	return nil
}

// passedBy says whether the print's picture also comes from the master by a way
// that doesn't lead through a node.
func (f *fitter) passedBy(node int) bool {
	need := make([]bool, len(f.plan.Nodes))
	need[f.plan.out] = true
	for i := f.plan.out; i >= 0; i-- {
		if !need[i] || i == node {
			continue
		}
		if n := f.plan.Nodes[i]; n.Input != nil && n.Input.Role == RoleMaster {
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
func (f *fitter) figures(ctx context.Context, meant []colour.Lab, s setting) (ProofFigures, error) {
	k := f.k
	g, err := k.b.small(ctx, smallPlan{p: f.plan.Plan, src: k.src, w: k.w, h: k.h, args: map[int]ops.Args{f.node: f.args(s)}}, f.plan.out)
	if err != nil {
		return ProofFigures{}, err
	}
	pic := g.nodes[g.out].pic
	m := proofPictures{w: pic.W, h: pic.H, profile: pic.Profile}
	if m.samples, err = k.b.whole(ctx, g); err != nil {
		return ProofFigures{}, err
	}
	out := proofFigures(meant, f.eye.look(m, k.o.Workers))
	out.Grey, err = f.cast(s)
	return out, err
}

// cast is the largest chroma of greys behind the tone step, on the paper.
func (f *fitter) cast(s setting) (float64, error) {
	var args ops.Args
	for _, a := range f.args(s) {
		if a.Name != "local" && a.Name != "local-radius" && a.Name != "covers" {
			args = append(args, a)
		}
	}
	n := f.plan.Nodes[f.node]
	pic := n.Pic
	pic.W, pic.H = greys, 1
	o, _ := ops.Lookup(n.Op, n.Ver)
	step, err := o.New(args, []ops.Pic{pic}, ops.Env{})
	if err != nil {
		return 0, err
	}
	return f.greys.grey(step), nil
}

// judge evaluates a setting on the sample.
func (f *fitter) judge(ctx context.Context, s setting) (judged, error) {
	if v, ok := f.seen[s]; ok {
		return v, nil
	}
	if err := ctx.Err(); err != nil {
		return judged{}, context.Cause(ctx)
	}
	k := f.k
	f.tried++
	g, err := k.b.small(ctx, smallPlan{p: f.plan.Plan, src: f.src, w: f.w, h: f.h, args: map[int]ops.Args{f.node: f.args(s)}}, f.plan.out)
	if err != nil {
		return judged{}, err
	}
	samples, err := k.b.whole(ctx, g)
	if err != nil {
		return judged{}, err
	}
	n := len(f.meant)
	c, inks := f.eye.profile.Channels(), f.eye.proof.Inks()
	shown, delta := make([]colour.Lab, n), make([]float64, n)
	inRows(n, k.o.Workers, func(a, z int) {
		printed := make([]uint16, (z-a)*inks)
		f.eye.proof.Print(printed, samples[a*c:z*c])
		f.eye.proof.Relative(shown[a:z], printed)
		for i := a; i < z; i++ {
			delta[i] = colour.DeltaE2000(f.meant[i], shown[i])
		}
	})
	var v judged
	for _, d := range delta {
		v.mean += d
	}
	v.mean /= float64(n)
	// How flat the steps get at the ends, without a threshold's jump: what a
	// step lacks to half of its rise.
	mean, count := ladder(f.meant, shown)
	flat := func(rise float64) { v.flat += max(0, 2*stepKept-rise) }
	rungs(&mean, &count, n, highlightStart, 100, flat)
	rungs(&mean, &count, n, 0, shadowEnd, flat)
	v.cast, err = f.cast(s)
	f.seen[s] = v
	return v, err
}

// cost is what the fit brings down: the mean difference, and dearly what makes
// flat ends flatter than they are without a block, or casts greys.
func (f *fitter) cost(v judged) float64 {
	return v.mean + max(0, v.flat-f.bare.flat) + 2*max(0, v.cast-max(0.8, f.bare.cast))
}

// fit finds the setting and judges it on the reduced picture.
func (f *fitter) fit(ctx context.Context) (*Fitted, setting, error) {
	none := setting{}
	var err error
	if f.bare, err = f.judge(ctx, none); err != nil {
		return nil, none, err
	}
	best, err := f.search(ctx)
	if err != nil {
		return nil, none, err
	}
	out := &Fitted{Paper: f.paper, Kept: f.words}
	m, err := f.k.picture(ctx, f.k.plans[0])
	if err != nil {
		return nil, none, err
	}
	meant, err := meantLab(m, f.k.o.Workers)
	if err != nil {
		return nil, none, err
	}
	if out.Before, err = f.figures(ctx, meant, none); err != nil {
		return nil, none, err
	}
	out.After = out.Before
	// The sample isn't the picture: what doesn't hold there is weakened.
	for range 4 {
		if best.zero() {
			break
		}
		after, err := f.figures(ctx, meant, best)
		if err != nil {
			return nil, none, err
		}
		b := out.Before
		if after.Mean < b.Mean-0.005 && after.Highlights.Lost <= b.Highlights.Lost && after.Shadows.Lost <= b.Shadows.Lost && after.Grey <= max(1, b.Grey) {
			out.After, out.Block = after, toneBlock(f.paper, best)
			break
		}
		best = best.scaled(0.6)
	}
	if out.Block == nil {
		best = none
	}
	out.Tried = f.tried
	return out, best, nil
}

// search finds the setting with the least cost on the sample: the simplex of
// Nelder and Mead (1965) from fixed starts, then single steps around what it
// found, then without what hardly helps.
func (f *fitter) search(ctx context.Context) (setting, error) {
	var free []int
	for i, k := range knobs {
		if !(f.grey && k.colour) {
			free = append(free, i)
		}
	}
	var failed error
	cost := func(s setting) float64 {
		v, err := f.judge(ctx, s)
		if err != nil {
			failed = err
			return math.Inf(1)
		}
		return f.cost(v)
	}
	// The simplex moves in tenths of each range; outside the ranges it is
	// turned back.
	at := func(x []float64) (s setting, outside float64) {
		for n, i := range free {
			v := x[n] * float64(knobs[i].most) / 10
			s[i] = int(math.Round(v))
			outside += max(0, math.Abs(x[n])-10)
		}
		return s.clamp(), outside
	}
	best, least := setting{}, cost(setting{})
	starts := [][5]float64{{}, {2, 0, -1.5, 1.5, 1}}
	for _, start := range starts {
		x := make([]float64, len(free))
		for n, i := range free {
			x[n] = start[i]
		}
		p := optimize.Problem{Func: func(x []float64) float64 {
			if failed != nil {
				return math.Inf(1)
			}
			s, outside := at(x)
			return cost(s) + outside
		}}
		set := &optimize.Settings{FuncEvaluations: 160, Concurrent: 1,
			Converger: &optimize.FunctionConverge{Absolute: 0.002, Iterations: 25}}
		r, err := optimize.Minimize(p, x, set, &optimize.NelderMead{SimplexSize: 1.5})
		if failed != nil {
			return best, failed
		}
		if err != nil && r == nil {
			return best, fmt.Errorf("the fit found no way: %w", err)
		}
		if s, _ := at(r.X); cost(s) < least {
			best, least = s, cost(s)
		}
	}
	for _, stride := range []int{4, 2, 1} {
		for better := true; better && failed == nil; {
			better = false
			for _, i := range free {
				for _, d := range []int{stride, -stride} {
					s := best
					s[i] += d
					if s = s.clamp(); s == best {
						continue
					}
					if c := cost(s); c < least-1e-6 {
						best, least, better = s, c, true
					}
				}
			}
		}
	}
	for _, i := range free {
		s := best
		if s[i] = 0; s != best && cost(s) < least+max(0.01, 0.005*f.bare.mean) {
			best, least = s, cost(s)
		}
	}
	return best, failed
}
