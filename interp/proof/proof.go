// Package proof shows a print on the screen as papers will show it, in pictures
// and figures, and fits tone blocks to a paper. Nothing of it goes into a print.
package proof

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"image"
	"math"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"platemark/interp"
	"platemark/interp/master"
	"platemark/interp/plan"
	"platemark/lang"
	"platemark/ops"
	"platemark/ops/colour"
	"platemark/ops/raster"
)

// Options say what a proof shows.
type Options struct {
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
	// Session, if set, makes the pictures and stays open; Workers and Progress are
	// its own then.
	Session *interp.Session
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
	Meant  interp.ViewPicture
	Papers []OnPaper
}

// OnPaper is a print on one paper.
type OnPaper struct {
	Paper, Path, Profile string // the paper's name, its file, the profile's own name
	Intent               string
	BlackPoint           bool
	// Own says that the print is made on this paper.
	Own bool
	// White and Black are the paper's, beside D50.
	White, Black colour.Lab
	Shown        interp.ViewPicture
	// Tone is the text of the tone blocks for this paper that act in the print.
	Tone []string
	// Outside says of each pixel whether the paper can show it.
	Outside []colour.Verdict
	Figures
	Places           []Place
	Lightness, Chrom []Band
}

// Figures sum up what a paper does to a picture; colours are compared
// media-relative, by CIEDE2000.
type Figures struct {
	interp.Figures
	// Share is of the pixels outside what the paper can show, some TooDark, the
	// rest TooColourful (colour.Verdict).
	Share, TooDark, TooColourful float64
	// Highlights and Shadows are lost steps, see lostSteps.
	Highlights, Shadows Steps
	// Grey is the largest chroma that greys of the print take on.
	Grey float64
}

// Parts are Share, TooDark and TooColourful in per cent to so many decimals, so that
// the last two make the first as they are told: what rounding leaves over goes to
// the part that loses more by it (largest remainder).
func (f Figures) Parts(decimals int) (share, dark, colourful float64) {
	scale := math.Pow10(decimals)
	d, c := 100*f.TooDark*scale, 100*f.TooColourful*scale
	share = math.Round(d + c)
	dark, colourful = math.Floor(d), math.Floor(c)
	for left := share - dark - colourful; left > 0; left-- {
		if d-dark >= c-colourful {
			dark++
		} else {
			colourful++
		}
	}
	return share / scale, dark / scale, colourful / scale
}

// proofPlan is a print's plan and the picture in it that a proof looks at.
type proofPlan struct {
	*plan.Print
	out     int
	edge    int             // what border and wrap add on each side, px
	paper   *lang.Paper     // nil as meant
	profile *colour.Profile // its
	intent  colour.Intent
	black   bool
}

// bind binds a print, up to a line (0: whole), as if it were made on another
// paper; nil leaves out everything that is for a paper.
func bind(j *interp.Job, pr *lang.Print, paper *lang.Paper, upto int) (p *proofPlan, err error) {
	q := *pr
	q.On = nil
	if paper != nil {
		q.On = &lang.Text{Span: pr.Span, Value: paper.Name.Value}
	}
	known := len(j.Inputs.Diags)
	plan, ds := plan.Bind(j.Recipe, j.Source, &q, j.Inputs, upto)
	p = &proofPlan{Print: plan, paper: paper}
	if paper != nil {
		if in := j.Inputs.Get(master.RoleProfile, *paper.Profile); in != nil {
			p.profile = in.Profile
		}
		p.intent, _ = colour.ParseIntent(paper.Intent.Value)
		p.black = paper.BlackPoint.Value == "on"
	}
	if ds = append(ds, j.Inputs.Diags[known:]...); plan == nil || lang.HasErrors(ds) {
		ds = slices.DeleteFunc(ds, func(d lang.Diagnostic) bool { return d.Severity != lang.Error }) // the recipe's own were told
		for i := range ds {
			ds[i].File = filepath.Base(j.File)
		}
		return nil, &interp.Problems{Source: j.Source, Diags: ds}
	}
	p.out, p.edge = plan.Inner()
	for n := plan.Nodes[p.out]; n.Op == "convert" && n.Pic.Profile.HasTables(); n = plan.Nodes[p.out] {
		// The print's own way to this very paper.
		if p.profile != nil && n.Pic.Profile.Digest() == p.profile.Digest() {
			p.intent, _ = colour.ParseIntent(n.Args.Word("intent", "relative"))
			p.black = n.Args.Word("black-point", "on") == "on"
		}
		p.out = n.In[0]
	}
	return p, nil
}

// cast is Figures.Grey of a plan with the recipe's own block for the paper.
func (p *proofPlan) cast(e *eye, own *lang.Tone) (float64, error) {
	at := -1
	if own != nil {
		at = p.toneAt(own.Line)
	}
	if at < 0 {
		return e.grey(nil), nil
	}
	n := p.Nodes[at]
	toned, err := newEye(p, n.Pic.Profile)
	if err != nil {
		return 0, err
	}
	return greyCast(e, toned, n, n.Args)
}

// toneAt is the node of the tone block at a line, -1 where it has no step.
func (p *proofPlan) toneAt(line int) int {
	return slices.IndexFunc(p.Nodes, func(n plan.Node) bool { return n.Op == "tone" && n.Line == line })
}

// tones are the lines of the tone blocks for the paper that act in a print, as
// the recipe has them.
func (p *proofPlan) tones(j *interp.Job, pr *lang.Print) (out []string) {
	steps := j.Recipe.Expand(pr.Steps)
	if j.Recipe.Prepare != nil {
		steps = append(steps, j.Recipe.Prepare.Steps...)
	}
	lines := plan.LinesOf(string(j.Source))
	for _, n := range p.Nodes {
		for _, s := range steps {
			t, ok := s.(*lang.Tone)
			if !ok || t.Line != n.Line || t.For == nil || len(t.Lines) == 0 {
				continue
			}
			for _, l := range lines[t.Line-1 : t.Lines[len(t.Lines)-1].EndLine] {
				out = append(out, strings.TrimPrefix(l, strings.Repeat(" ", t.Col-1)))
			}
			out = append(out, "}")
		}
	}
	return out
}

// papersOf are the papers that a proof asks for.
func papersOf(j *interp.Job, pr *lang.Print, names []string) ([]*lang.Paper, error) {
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
	s      *interp.Session
	o      Options
	plans  []*proofPlan // as meant, then one for each paper
	start  plan.Start   // where the whole is shown
	w, h   int          // of the reduced picture
	images map[raster.Sum]interp.Picture
	pic    ops.Pic // the print's picture as meant
	toLab  *colour.ToLab
	screen *colour.FromLab
}

// newProofer binds the plans; the caller closes it.
func newProofer(j *interp.Job, pr *lang.Print, papers []*lang.Paper, o Options) (*proofer, error) {
	o.Long = cmp.Or(max(o.Long, 0), 1400)
	o.Workers = cmp.Or(max(o.Workers, 0), runtime.GOMAXPROCS(0))
	s := o.Session
	if s == nil {
		s = interp.NewSession(o.Workers, o.Progress)
	}
	k := &proofer{s: s, o: o, images: map[raster.Sum]interp.Picture{}}
	for _, paper := range append([]*lang.Paper{nil}, papers...) {
		p, err := bind(j, pr, paper, 0)
		if err != nil {
			return nil, err
		}
		k.plans = append(k.plans, p)
	}
	meant := k.plans[0]
	k.pic = meant.Nodes[meant.out].Pic
	if k.pic.C != 1 && k.pic.C != 3 {
		return nil, fmt.Errorf("print %s has %d channels; a proof shows grey and RGB pictures", pr.Name.Value, k.pic.C)
	}
	for _, p := range k.plans {
		if q := p.Nodes[p.out].Pic; q.W != k.pic.W || q.H != k.pic.H || p.edge != meant.edge {
			return nil, fmt.Errorf("internal: print %s has another size on another paper", pr.Name.Value)
		}
	}
	k.w, k.h = reduced(k.pic.W, k.pic.H, o.Long)
	screen := o.Display
	if screen == nil {
		screen, _ = colour.Space("sRGB")
	}
	if screen.Channels() != 3 {
		return nil, fmt.Errorf("the display's profile is for %s; a screen's is for RGB", screen.Device())
	}
	var err error
	if k.screen, err = colour.NewFromLab(screen, colour.Relative); err != nil {
		return nil, err
	}
	k.toLab, err = colour.NewToLab(k.pic.Profile, colour.Relative)
	return k, err
}

// close gives back what the proofer holds itself.
func (k *proofer) close() {
	if k.o.Session == nil {
		k.s.Close()
	}
}

// reduced is a size brought down to long on its longer side.
func reduced(w, h, long int) (int, int) {
	full := max(w, h)
	if full <= long {
		return w, h
	}
	scale := func(v int) int { return max(1, (v*long+full/2)/full) }
	return scale(w), scale(h)
}

// reduce brings the picture that all plans have in common to the proof's size.
func (k *proofer) reduce(ctx context.Context) (err error) {
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
func (k *proofer) picture(ctx context.Context, p *proofPlan) (interp.Picture, error) {
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
func (k *proofer) part(ctx context.Context, p *proofPlan, x, y, w, h int) (interp.Picture, error) {
	return k.s.Region(ctx, p.Print, p.out, image.Rect(x, y, x+w, y+h))
}

// Make shows a print of a job on papers.
func Make(ctx context.Context, j *interp.Job, print string, o Options) (*Proof, error) {
	pr := j.Recipe.Print(print)
	if pr == nil {
		return nil, fmt.Errorf("no print is named %s", print)
	}
	papers, err := papersOf(j, pr, o.Papers)
	if err != nil {
		return nil, err
	}
	k, err := newProofer(j, pr, papers, o)
	if err != nil {
		return nil, err
	}
	defer k.close()
	out := &Proof{Print: print, Section: o.Section, Scale: 1}
	for _, p := range j.Plans {
		if p.Name == print {
			out.Mark = p.MarkShort()
		}
	}
	if r := j.Recipe.Round; r != nil {
		out.Round = r.Value.RatString()
	}
	meant, full := k.plans[0], k.pic
	get := k.picture
	if s := o.Section; s[2] != 0 {
		x, y, w, h := s[0]-meant.edge, s[1]-meant.edge, s[2], s[3]
		if x < 0 || y < 0 || w < 1 || h < 1 || x > full.W-w || y > full.H-h {
			return nil, fmt.Errorf("the section %d,%d,%d,%d doesn't lie in the picture, which has %d x %d px and begins at %d, %d", s[0], s[1], s[2], s[3], full.W, full.H, meant.edge, meant.edge)
		}
		if w*h > 16<<20 {
			return nil, fmt.Errorf("a section of %d x %d px is too large to look at; at most 16 million pixels", w, h)
		}
		get = func(ctx context.Context, p *proofPlan) (interp.Picture, error) { return k.part(ctx, p, x, y, w, h) }
	} else if err := k.reduce(ctx); err != nil {
		return nil, err
	}
	m, err := get(ctx, meant)
	if err != nil {
		return nil, err
	}
	if o.Section[2] == 0 {
		out.Scale = float64(full.W) / float64(m.W)
	}
	lab := k.lab(m)
	out.Meant = k.onScreen(m, lab)
	for _, p := range k.plans[1:] {
		paper := p.paper
		s, err := get(ctx, p)
		if err != nil {
			return nil, err
		}
		eye, err := newEye(p, s.Profile)
		if err != nil {
			return nil, fmt.Errorf("paper %s: %w", paper.Name.Value, err)
		}
		seen := eye.look(s, k.o.Workers)
		pp := OnPaper{Paper: paper.Name.Value, Path: paper.Profile.Value, Profile: p.profile.Description(),
			Intent: p.intent.String(), BlackPoint: p.black, Own: pr.On != nil && pr.On.Value == paper.Name.Value,
			Outside: seen.outside, Figures: figuresOf(lab, seen, k.o.Workers)}
		if pp.Grey, err = p.cast(eye, ownTone(j.Recipe, paper.Name.Value)); err != nil {
			return nil, err
		}
		pp.Tone = p.tones(j, pr)
		pp.White, pp.Black = eye.ends()
		pp.Lightness, pp.Chrom = bands(lab, seen.relative)
		pp.Shown = k.onScreen(s, seen.paper)
		if pp.Places, err = k.places(ctx, p, eye, lab, seen, m, out.Scale); err != nil {
			return nil, err
		}
		out.Papers = append(out.Papers, pp)
	}
	return out, nil
}
