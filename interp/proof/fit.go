package proof

import (
	"context"
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/optimize"

	"platemark/interp"
	"platemark/interp/disk"
	"platemark/lang"
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
	Before, After Figures
	// Costs are what the block makes worse, in words.
	Costs []string
	// Free is what comes closer yet by more than a twentieth; nil where nothing
	// does.
	Free *Freely
	// Tried is the number of settings that were tried.
	Tried int
}

// Freely is a block that regards nothing but the mean difference, with what
// holds it back.
type Freely struct {
	Block []string
	After Figures
	Costs []string
}

// fitSample is the longest side of the sample that a fit is found on, px. It is
// judged on the picture that a proof shows, so that both tell the same figures.
const fitSample = 96

// Fit finds for each paper the tone block that brings the print closest to what
// was meant, by the mean CIEDE2000 of the two, media-relative: paper white isn't
// fitted. It returns what it found and the recipe's text with the blocks in it.
//
// A block is proposed only if, on the reduced picture, the mean falls by more
// than what the block costs, see judged.cost; greys take on at most a chroma of
// 1 (or no more than without it). The same recipe and inputs give the same block.
func Fit(ctx context.Context, j *interp.Job, print string, o Options) ([]Fitted, []byte, error) {
	pr := j.Recipe.Print(print)
	if pr == nil {
		return nil, nil, fmt.Errorf("no print is named %s", print)
	}
	if o.Section[2] != 0 {
		return nil, nil, errors.New("a block is fitted to the whole picture, not to a section")
	}
	papers, err := papersOf(j, pr, o.Papers)
	if err != nil {
		return nil, nil, err
	}
	source := j.Source
	var list []Fitted
	for _, p := range papers {
		f, err := newFitter(ctx, j, source, print, p.Name.Value, o)
		if err != nil {
			return nil, nil, err
		}
		out, s, err := f.fit(ctx)
		f.k.s.Close()
		if err != nil {
			return nil, nil, err
		}
		if !s.zero() {
			source, _ = setTone(source, f.base, p.Name.Value, s)
		}
		list = append(list, *out)
	}
	if _, ds := lang.Parse(j.File, source); lang.HasErrors(ds) {
		return nil, nil, &interp.Problems{Source: source, Diags: ds}
	}
	return list, source, nil
}

// WriteFit puts the text with fitted blocks in place of a job's recipe, unless
// the recipe changed meanwhile.
func WriteFit(j *interp.Job, text []byte) error {
	return disk.Rewrite(j.File, j.Source, text)
}

// fit finds the setting and judges it on the reduced picture: the sample isn't
// the picture, so weaker ones are judged there too.
func (f *fitter) fit(ctx context.Context) (*Fitted, setting, error) {
	none := setting{}
	bare, err := f.judge(ctx, asked{none, true})
	if err != nil {
		return nil, none, err
	}
	free, err := f.search(ctx, asked{none, false}, setting{20, 0, -6, 4, 3}, func(v judged) float64 { return v.mean })
	if err != nil {
		return nil, none, err
	}
	best, err := f.search(ctx, asked{none, true}, free, func(v judged) float64 { return v.cost(bare) })
	if err != nil {
		return nil, none, err
	}
	m, err := f.k.picture(ctx, f.k.plans[0])
	if err != nil {
		return nil, none, err
	}
	meant := f.k.lab(m)
	out := &Fitted{Paper: f.paper, Kept: f.words}
	if out.Before, err = f.figures(ctx, meant, none); err != nil {
		return nil, none, err
	}
	out.After, out.Tried = out.Before, len(f.seen)
	bare = judgedOf(out.Before)
	chosen, least := none, bare.mean-0.005
	var after Figures // at last with the free one
	for _, s := range []setting{best, best.scaled(0.75), best.scaled(0.5), best.scaled(0.25), free} {
		if after, err = f.figures(ctx, meant, s); err != nil {
			return nil, none, err
		}
		if c := judgedOf(after).cost(bare); c < least {
			chosen, least, out.After = s, c, after
		}
	}
	if !chosen.zero() {
		out.Block = toneBlock(f.paper, chosen)
		out.Costs = costs(out.Before, out.After)
	}
	if after.Mean < 0.95*out.After.Mean {
		out.Free = &Freely{toneBlock(f.paper, free), after, costs(out.Before, after)}
	}
	return out, chosen, nil
}

// costs are what a block makes worse, in words.
func costs(before, after Figures) (out []string) {
	steps := func(b, a Steps, where string) {
		if n := a.Lost - b.Lost; n > 0 {
			out = append(out, fmt.Sprintf("%d more of %d %s steps lost", n, a.Of, where))
		}
	}
	steps(before.Highlights, after.Highlights, "light")
	steps(before.Shadows, after.Shadows, "dark")
	if b, a := interp.ShareText(before.Share), interp.ShareText(after.Share); after.Share > before.Share && a != b {
		out = append(out, fmt.Sprintf("what can't be printed grows from %s to %s", b, a))
	}
	if after.Grey > max(castMost, before.Grey) {
		out = append(out, fmt.Sprintf("greys tinted by %.2f", after.Grey))
	}
	return out
}

// search finds the setting with the least cost on the sample: the simplex of
// Nelder and Mead (1965) from no change and from another start, then single
// steps around what it found, then without what hardly helps.
func (f *fitter) search(ctx context.Context, from asked, other setting, by func(judged) float64) (setting, error) {
	var free []int
	for i, k := range knobs {
		if !(f.grey && k.colour) {
			free = append(free, i)
		}
	}
	var failed error
	cost := func(s setting) float64 {
		v, err := f.judge(ctx, asked{s, from.all})
		if err != nil {
			failed = err
			return math.Inf(1)
		}
		return by(v)
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
	if c := cost(other); c < least {
		best, least = other, c
	}
	for _, start := range []setting{from.setting, other} {
		x := make([]float64, len(free))
		for n, i := range free {
			x[n] = float64(start[i]*10) / float64(knobs[i].most)
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
		if s[i] = 0; s != best && cost(s) < least+max(0.005, 0.002*least) {
			best, least = s, cost(s)
		}
	}
	return best, failed
}
