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
	// Tried is the number of settings that were tried.
	Tried int
}

// fitSample is the longest side of the sample that a fit is found on, px. It is
// judged on the picture that a proof shows, so that both tell the same figures.
const fitSample = 128

// Fit finds for each paper the tone block that brings the print closest to what
// was meant, by the mean CIEDE2000 of the two, media-relative: paper white isn't
// fitted. It returns what it found and the recipe's text with the blocks in it.
//
// A block is proposed only if, on the reduced picture, the mean falls, no more
// steps of highlights or shadows are lost than without it, and greys take on at
// most a chroma of 1 (or no more than without it). The same recipe and inputs
// give the same block.
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
	meant := f.k.lab(m)
	var bare []float64
	if out.Before, bare, err = f.figures(ctx, meant, none); err != nil {
		return nil, none, err
	}
	out.After = out.Before
	// The sample isn't the picture. Where a step is lost there, it is sought
	// again with that step held; what still doesn't hold is weakened.
	for round := 0; round < 8 && !best.zero(); round++ {
		after, rises, err := f.figures(ctx, meant, best)
		if err != nil {
			return nil, none, err
		}
		b := out.Before
		lost := after.Highlights.Lost > b.Highlights.Lost || after.Shadows.Lost > b.Shadows.Lost
		if !lost && after.Mean < b.Mean-0.005 && after.Grey <= max(1, b.Grey) {
			out.After, out.Block = after, toneBlock(f.paper, best)
			break
		}
		if !lost || round > 3 {
			best = best.scaled(0.6)
			continue
		}
		held := len(f.firm)
		for i, r := range rises {
			if r < stepKept && bare[i] >= stepKept {
				f.firm[i] = true
			}
		}
		if len(rises) != len(f.bare.rises) || len(f.firm) == held {
			f.firm[-1] = true
		}
		if best, err = f.search(ctx); err != nil {
			return nil, none, err
		}
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
