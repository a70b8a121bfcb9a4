package interp

import (
	"context"
	"errors"
	"fmt"
	"image"
	"runtime"
	"slices"
	"strings"

	"platemark/interp/master"
	"platemark/interp/plan"
	"platemark/lang"
	"platemark/ops/colour"
	"platemark/ops/raster"
)

// ProofOptions say what a proof shows.
type ProofOptions struct {
	// Papers are names from the recipe; none means the print's own.
	Papers []string
	// Section is x, y, w, h in pixels of the print, shown at 100 %; w 0 means
	// the whole picture, reduced.
	Section [4]int
	// Display is the screen's profile, nil for sRGB.
	Display *colour.Profile
	// Long is the longest side of the reduced picture, px; 0 means 1400.
	Long    int
	Workers int
	// Progress, if set, is called from several goroutines.
	Progress func(stage string, done, due int64)
}

// Proof is a print as it is meant, and as papers will show it.
//
// As meant is the print's picture without the tone blocks for a paper; as a
// paper will show it is the picture with them, brought to the paper's profile by
// its intent and black point. Borders, wraps and a conversion to a printer's own
// colours are left aside. It serves looking: nothing of it goes into a print.
type Proof struct {
	Print   string
	Mark    string // of the print as the recipe stands, 12 digits; "" where it has none
	Round   string // the recipe's, "" where it names none
	Section [4]int
	// Scale is the number of the print's pixels to one of the proof's.
	Scale  float64
	Meant  ViewPicture
	Papers []PaperProof
}

// PaperProof is a print on one paper.
type PaperProof struct {
	Paper, Path, Profile string // the paper's name, its file, the profile's own name
	Intent               string
	BlackPoint           bool
	// Own says that the print is made on this paper.
	Own bool
	// White and Black are the paper's, beside D50.
	White, Black colour.Lab
	Shown        ViewPicture
	// Tone is the text of the tone blocks for this paper that act in the print.
	Tone []string
	// Outside says of each pixel whether the paper can show it.
	Outside []colour.Verdict
	ProofFigures
	Places           []ProofPlace
	Lightness, Chrom []Band
}

// ProofFigures sum up what a paper does to a picture; colours are compared
// media-relative, by CIEDE2000.
type ProofFigures struct {
	Figures
	// Share is of the pixels outside what the paper can show, some TooDark, the
	// rest TooColourful (colour.Verdict).
	Share, TooDark, TooColourful float64
	// Highlights and Shadows are lost steps, see lostSteps.
	Highlights, Shadows Steps
	// Grey is the largest chroma that greys of the print take on.
	Grey float64
}

// proofPlan is a print's plan and the picture in it that a proof looks at.
type proofPlan struct {
	*plan.Print
	out    int
	edge   int // what border and wrap add on each side, px
	intent colour.Intent
	black  bool
}

// proofPlanOf binds a print as if it were made on another paper; "" leaves out
// everything that is for a paper.
func (j *Job) proofPlanOf(pr *lang.Print, paper *lang.Paper) (*proofPlan, *colour.Profile, error) {
	q := *pr
	q.On = nil
	if paper != nil {
		q.On = &lang.Text{Span: pr.Span, Value: paper.Name.Value}
	}
	known := len(j.Inputs.Diags)
	plan, ds := plan.Bind(j.Recipe, j.Source, &q, j.Inputs, 0)
	var profile *colour.Profile
	if paper != nil {
		if in := j.Inputs.Get(master.RoleProfile, *paper.Profile); in != nil {
			profile = in.Profile
		}
	}
	if ds = append(ds, j.Inputs.Diags[known:]...); plan == nil || lang.HasErrors(ds) {
		return nil, nil, &Problems{j.Source, ds}
	}
	p := &proofPlan{Print: plan, out: plan.Out}
	if paper != nil {
		p.intent, _ = colour.ParseIntent(paper.Intent.Value)
		p.black = paper.BlackPoint.Value == "on"
	}
	for {
		n := plan.Nodes[p.out]
		switch {
		case n.Op == "border", n.Op == "wrap" && n.Args.Word("way", "") != "picture":
			w, err := n.Args.Int("width")
			if err != nil {
				return nil, nil, err
			}
			p.edge += w
		case n.Op == "wrap":
		case n.Op == "convert" && n.Pic.Profile.HasTables():
			// The print's own way to this very paper.
			if profile != nil && n.Pic.Profile.Digest() == profile.Digest() {
				p.intent, _ = colour.ParseIntent(n.Args.Word("intent", "relative"))
				p.black = n.Args.Word("black-point", "on") == "on"
			}
		default:
			return p, profile, nil
		}
		p.out = n.In[0]
	}
}

// cast is ProofFigures.Grey of a plan with the recipe's own block for the paper.
func (p *proofPlan) cast(e *eye, paper *colour.Profile, own *lang.Tone) (float64, error) {
	at := -1
	if own != nil {
		at = slices.IndexFunc(p.Nodes, func(n plan.Node) bool { return n.Op == "tone" && n.Line == own.Line })
	}
	if at < 0 {
		return e.grey(nil), nil
	}
	n := p.Nodes[at]
	toned, err := newEye(p, n.Pic.Profile, paper)
	if err != nil {
		return 0, err
	}
	return greyCast(e, toned, n, n.Args)
}

// tonesFor are the lines of the tone blocks for a paper that act in a print, as
// the recipe has them.
func (j *Job) tonesFor(pr *lang.Print, p *proofPlan, paper string) (out []string) {
	lists := [][]lang.Step{pr.Steps}
	if j.Recipe.Prepare != nil {
		lists = append(lists, j.Recipe.Prepare.Steps)
	}
	for _, s := range j.Recipe.Steps {
		lists = append(lists, s.Steps)
	}
	lines := plan.LinesOf(string(j.Source))
	for _, n := range p.Nodes {
		for _, list := range lists {
			for _, s := range list {
				t, ok := s.(*lang.Tone)
				if !ok || t.Line != n.Line || t.For == nil || t.For.Value != paper || len(t.Lines) == 0 {
					continue
				}
				for i := t.Line; i <= t.Lines[len(t.Lines)-1].EndLine; i++ {
					out = append(out, strings.TrimPrefix(lines[i-1], strings.Repeat(" ", t.Col-1)))
				}
				out = append(out, "}")
			}
		}
	}
	return out
}

// papers are the papers that a proof asks for.
func (j *Job) papers(pr *lang.Print, names []string) ([]*lang.Paper, error) {
	var have []string
	for _, p := range j.Recipe.Papers {
		have = append(have, p.Name.Value)
	}
	if len(have) == 0 {
		return nil, errors.New("the recipe names no paper to show the print on; add a block such as\n    paper baryta {\n        profile      \"papers/baryta.icc\"\n    }")
	}
	if len(names) == 0 {
		if pr.On == nil {
			return nil, fmt.Errorf("print %s is on no paper; name one with --paper, or write `print %s on %s {`; there is: %s", pr.Name.Value, pr.Name.Value, have[0], strings.Join(have, ", "))
		}
		names = []string{pr.On.Value}
	}
	var out []*lang.Paper
	for _, n := range names {
		p := j.Recipe.Paper(n)
		if p == nil {
			return nil, fmt.Errorf("no paper is named %s; there is: %s", n, strings.Join(have, ", "))
		}
		if !slices.Contains(out, p) {
			out = append(out, p)
		}
	}
	return out, nil
}

// proofer makes the pictures of several plans of one print.
type proofer struct {
	s      *Session
	o      ProofOptions
	plans  []*proofPlan // as meant, then one for each paper
	start  plan.Start   // where the whole is shown
	w, h   int          // of the reduced picture
	images map[raster.Sum]Picture
}

// newProofer binds the plans; the caller closes b.
func newProofer(j *Job, pr *lang.Print, papers []*lang.Paper, o ProofOptions) (*proofer, []*colour.Profile, error) {
	if o.Long <= 0 {
		o.Long = 1400
	}
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	k := &proofer{s: NewSession(o.Workers, o.Progress), o: o, images: map[raster.Sum]Picture{}}
	meant, _, err := j.proofPlanOf(pr, nil)
	if err != nil {
		return nil, nil, err
	}
	k.plans = append(k.plans, meant)
	var profiles []*colour.Profile
	for _, paper := range papers {
		p, prof, err := j.proofPlanOf(pr, paper)
		if err != nil {
			return nil, nil, err
		}
		k.plans, profiles = append(k.plans, p), append(profiles, prof)
	}
	pic := meant.Nodes[meant.out].Pic
	if pic.C == 4 || !slices.Contains([]int{1, 3}, pic.C) {
		return nil, nil, fmt.Errorf("print %s has %d channels; a proof shows grey and RGB pictures", pr.Name.Value, pic.C)
	}
	for _, p := range k.plans[1:] {
		if q := p.Nodes[p.out].Pic; q.W != pic.W || q.H != pic.H || p.edge != meant.edge {
			return nil, nil, fmt.Errorf("internal: print %s has another size on another paper", pr.Name.Value)
		}
	}
	long := max(pic.W, pic.H)
	k.w, k.h = pic.W, pic.H
	if long > o.Long {
		scale := func(v int) int { return max(1, (v*o.Long+long/2)/long) }
		k.w, k.h = scale(pic.W), scale(pic.H)
	}
	return k, profiles, nil
}

// reduced brings the picture that all plans have in common to the proof's size.
func (k *proofer) reduced(ctx context.Context) (err error) {
	var list []*plan.Print
	for _, p := range k.plans {
		list = append(list, p.Print)
	}
	k.start, err = k.s.Start(ctx, list, k.plans[0].out, k.w)
	return err
}

// small says how plans are run small for the proof.
func (k *proofer) small() plan.Small { return plan.Small{Start: k.start, W: k.w, H: k.h} }

// picture is the whole of a plan's picture, reduced; equal pictures are made
// once.
func (k *proofer) picture(ctx context.Context, p *proofPlan) (Picture, error) {
	key := p.Nodes[p.out].Key
	if m, ok := k.images[key]; ok {
		return m, nil
	}
	m, err := k.s.Small(ctx, p.Print, p.out, k.small())
	if err == nil {
		k.images[key] = m
	}
	return m, err
}

// part is a rectangle of a plan's picture at 100 %.
func (k *proofer) part(ctx context.Context, p *proofPlan, x, y, w, h int) (Picture, error) {
	return k.s.Region(ctx, p.Print, p.out, image.Rect(x, y, x+w, y+h))
}

// MakeProof shows a print of a job on papers.
func MakeProof(ctx context.Context, j *Job, print string, o ProofOptions) (*Proof, error) {
	pr := j.Recipe.Print(print)
	if pr == nil {
		return nil, fmt.Errorf("no print is named %s", print)
	}
	papers, err := j.papers(pr, o.Papers)
	if err != nil {
		return nil, err
	}
	k, profiles, err := newProofer(j, pr, papers, o)
	if err != nil {
		return nil, err
	}
	defer k.s.Close()
	screen := o.Display
	if screen == nil {
		screen, _ = colour.Space("sRGB")
	}
	if screen.Channels() != 3 {
		return nil, fmt.Errorf("the display's profile is for %s; a screen's is for RGB", screen.Device())
	}
	out := &Proof{Print: print, Section: o.Section, Scale: 1}
	for _, p := range j.Plans {
		if p.Name == print {
			out.Mark = p.MarkShort()
		}
	}
	if r := j.Recipe.Round; r != nil {
		out.Round = r.Value.RatString()
	}
	meant := k.plans[0]
	full := meant.Nodes[meant.out].Pic
	get := k.picture
	if s := o.Section; s[2] != 0 {
		x, y, w, h := s[0]-meant.edge, s[1]-meant.edge, s[2], s[3]
		if x < 0 || y < 0 || w < 1 || h < 1 || x > full.W-w || y > full.H-h {
			return nil, fmt.Errorf("the section %d,%d,%d,%d doesn't lie in the picture, which has %d x %d px and begins at %d, %d", s[0], s[1], s[2], s[3], full.W, full.H, meant.edge, meant.edge)
		}
		if w*h > 16<<20 {
			return nil, fmt.Errorf("a section of %d x %d px is too large to look at; at most 16 million pixels", w, h)
		}
		get = func(ctx context.Context, p *proofPlan) (Picture, error) { return k.part(ctx, p, x, y, w, h) }
	} else if err := k.reduced(ctx); err != nil {
		return nil, err
	}
	m, err := get(ctx, meant)
	if err != nil {
		return nil, err
	}
	if o.Section[2] == 0 {
		out.Scale = float64(full.W) / float64(m.W)
	}
	lab, err := meantLab(m, o.Workers)
	if err != nil {
		return nil, err
	}
	if out.Meant, err = k.onScreen(screen, m, lab, full.W, full.H); err != nil {
		return nil, err
	}
	for i, paper := range papers {
		p := k.plans[i+1]
		s, err := get(ctx, p)
		if err != nil {
			return nil, err
		}
		eye, err := newEye(p, s.Profile, profiles[i])
		if err != nil {
			return nil, fmt.Errorf("paper %s: %w", paper.Name.Value, err)
		}
		seen := eye.look(s, o.Workers)
		pp := PaperProof{Paper: paper.Name.Value, Path: paper.Profile.Value, Profile: profiles[i].Description(),
			Intent: p.intent.String(), BlackPoint: p.black, Own: pr.On != nil && pr.On.Value == paper.Name.Value,
			Outside: seen.outside, ProofFigures: proofFigures(lab, seen, o.Workers)}
		if pp.Grey, err = p.cast(eye, profiles[i], ownTone(j.Recipe, paper.Name.Value)); err != nil {
			return nil, err
		}
		pp.Tone = j.tonesFor(pr, p, paper.Name.Value)
		pp.White, pp.Black = eye.ends()
		pp.Lightness, pp.Chrom = bands(lab, seen.relative)
		if pp.Shown, err = k.onScreen(screen, s, seen.paper, full.W, full.H); err != nil {
			return nil, err
		}
		if pp.Places, err = k.places(ctx, p, eye, screen, lab, seen, m, out.Scale); err != nil {
			return nil, err
		}
		out.Papers = append(out.Papers, pp)
	}
	return out, nil
}
