package plan

import (
	"cmp"
	"fmt"
	"math/big"
	"slices"
	"strings"

	"platemark/interp/master"
	"platemark/lang"
	"platemark/lang/overlap"
	"platemark/ops"
	"platemark/ops/colour"
	"platemark/ops/exact"
	"platemark/ops/raster"
)

// walker takes the steps of one block in the order written: a step works on
// the current picture and replaces it, unless `as` names its result.
type walker struct {
	b     *binder
	cur   pic
	names map[string]pic
	stage int
	// final is the line that brought the picture into a paper's own colours:
	// only border, wrap and save may follow. edged is the first border or wrap.
	final, edged int
	wrapped      bool // what comes now lies beyond the face
}

// space measures in the pixels of p.
func (w *walker) space(p pic) space {
	n := w.b.plan.Nodes[p.node].Pic
	s := space{frameW: w.b.frameW, frameH: w.b.frameH, w: n.W, h: n.H, covers: p.covers}
	if w.b.size != nil && w.b.size.w > 0 {
		s.ppi, s.printW, s.printH = w.b.size.ppi, w.b.size.w, w.b.size.h
	}
	return s
}

// inPlace is a list of steps with each followed block's lines in place; the
// follow line itself stands behind them, for the picture that it makes.
func (b *binder) inPlace(list []lang.Step) []lang.Step {
	var out []lang.Step
	for _, s := range list {
		if f, ok := s.(*lang.Follow); ok {
			if blk := b.shared.series[f.Name.Value]; blk != nil {
				out = append(out, blk.Steps...)
			}
		}
		out = append(out, s)
	}
	return out
}

// steps walks a list that inPlace made.
func (w *walker) steps(list []lang.Step) {
	for i := 0; i < len(list) && !w.b.failed; i++ {
		switch s := list[i].(type) {
		case *lang.SpotAt:
			run, from := []*lang.SpotAt{s}, i
		neighbours:
			for ; i+1 < len(list); i++ {
				switch next := list[i+1].(type) {
				case *lang.SpotAt:
					run = append(run, next)
				case *lang.Follow:
				default:
					break neighbours
				}
			}
			w.spots(run)
			for _, s := range list[from : i+1] {
				w.followed(s)
			}
		case *lang.Follow:
			w.followed(s)
		default:
			w.step(list[i])
		}
	}
}

// followed says which picture a follow line makes.
func (w *walker) followed(s lang.Step) {
	if f, ok := s.(*lang.Follow); ok {
		w.b.atLine[f.Line] = w.cur.node
	}
}

func (w *walker) step(s lang.Step) {
	b := w.b
	if w.final != 0 {
		switch s.(type) {
		case *lang.Border, *lang.Wrap:
		default:
			b.err(CodePaper, s.Where(), fmt.Sprintf("%s can't follow line %d, which brought the picture into the colours of a printer", s.Word(), w.final),
				"Such colours are numbers for inks, through tables; arithmetic on them has no meaning.", "move the conversion behind it, as the last step before border, wrap and save")
			return
		}
	}
	switch s := s.(type) {
	case *lang.Crop:
		w.crop(s)
	case *lang.Convert:
		w.convert(s)
	case *lang.SpotPixels: // two statements share the word spot
		w.add("spot-pixels", s, nil, w.cur)
	case *lang.Sharpen:
		op := s.Word()
		if s.Method.Value == "deconvolve" {
			op = s.Method.Value
		}
		w.add(op, s, nil, w.cur)
	case *lang.Enlarge:
		w.enlarge(s)
	case *lang.Take:
		w.take(s)
	case *lang.Blend:
		w.blend(s)
	case *lang.Tone:
		w.tone(s)
	case *lang.Tint:
		w.tint(s)
	case *lang.Border, *lang.Wrap:
		w.edge(s)
	case *lang.Turn, *lang.Mirror:
		b.err(CodeStep, s.Where(), "turn and mirror stand at the head of prepare, nowhere else", "The frame is the upright master: what turns it comes before everything that is placed on it.")
	default:
		w.add(s.Word(), s, nil, w.cur)
	}
}

func (w *walker) noPrint(m lang.Measure) {
	w.b.err(CodeUnit, m.Span, fmt.Sprintf("%s has no meaning before a print's size is known", m.Unit),
		"Inches and centimetres are of the printed picture; prepare and crop work before there is one.", "write the measure in % of the frame, or in px")
}

// length is a length in pixels of the current picture; it complains of one that
// has no meaning there, as point does.
func (w *walker) length(m lang.Measure) (*big.Rat, bool) {
	r, ok := w.space(w.cur).length(m)
	if !ok {
		w.noPrint(m)
	}
	return r, ok
}

func (w *walker) point(sp space, p lang.Point) (x, y *big.Rat, ok bool) {
	if x, ok = sp.x(p.X); !ok {
		w.noPrint(p.X)
		return nil, nil, false
	}
	if y, ok = sp.y(p.Y); !ok {
		w.noPrint(p.Y)
	}
	return x, y, ok
}

// add adds the step that a statement says: of base, unless in names other
// pictures. Arguments that it doesn't say as they are, or not at all, are in more.
// It may work through a mask, which lies over base. Its result stands for the
// current picture unless the statement names it.
func (w *walker) add(op string, s lang.Step, more ops.Args, base pic, in ...pic) {
	args, ok := w.args(op, s, more)
	if !ok {
		return
	}
	if len(in) == 0 {
		in = []pic{base}
	}
	var nodes []int
	for _, p := range in {
		nodes = append(nodes, p.node)
	}
	through, masked := field(s, "through").(lang.Text)
	if masked {
		m, ok := w.b.mask(&through, w.stage)
		if !ok {
			return
		}
		nodes = append(nodes, m)
		args = append(args, ops.Arg{Name: "covers", Value: base.covers.String()})
	}
	n, ok := w.b.node(s.Where(), w.stage, op, args, nodes...)
	if !ok {
		return
	}
	if as, named := field(s, "as").(lang.Text); named {
		w.names[as.Value] = pic{n, base.covers}
	} else {
		w.cur = pic{n, base.covers}
	}
	if masked {
		key := func(n int) raster.Sum { return w.b.plan.Nodes[n].Key }
		w.b.plan.Uses = append(w.b.plan.Uses, MaskUse{through, key(n), key(nodes[len(nodes)-1]), base.covers})
	}
}

func (w *walker) convert(s *lang.Convert) {
	b := w.b
	var p *colour.Profile
	intent, black := s.Intent.Value, s.BlackPoint.Value
	switch {
	case s.Space != nil:
		p, _ = colour.Space(s.Space.Value)
		if p == nil {
			b.err(CodeProfile, s.Space.Span, fmt.Sprintf("there is no space named %s", s.Space.Value), "")
			return
		}
	case s.Name != nil && b.rec.Paper(s.Name.Value) != nil:
		paper := b.rec.Paper(s.Name.Value)
		in := b.inputs.Get(master.RoleProfile, *paper.Profile)
		if in == nil {
			return
		}
		b.uses(in)
		if p = in.Profile; !b.paperFits(s.Name.Span, paper, p, b.plan.Nodes[w.cur.node].Pic.C) {
			return
		}
		// What the line doesn't say, the paper says.
		if s.Intent.Line == 0 {
			intent = paper.Intent.Value
		}
		if s.BlackPoint.Line == 0 {
			black = paper.BlackPoint.Value
		}
	case s.Name != nil:
		lab := b.rec.Lab(s.Name.Value)
		if lab == nil || lab.Space == nil {
			b.err(CodeLab, s.Name.Span, fmt.Sprintf("lab %s doesn't say its colour space", s.Name.Value), "", "add a line to the lab, such as space opRGB, as the lab states it")
			return
		}
		p, _ = colour.Space(lab.Space.Value)
	default:
		in := b.inputs.Get(master.RoleProfile, *s.Profile)
		if in == nil {
			return
		}
		b.uses(in)
		p = in.Profile
	}
	args := argsOf("profile", b.profile(p), "intent", intent, "black-point", black)
	if s.KeepHue {
		args = append(args, argsOf("hue", "keep")...)
	}
	n, ok := b.node(s.Span, w.stage, "convert", args, w.cur.node)
	if !ok {
		b.convertRefused(s, intent)
		return
	}
	w.cur.node = n
	if p.HasTables() {
		if w.stage == 0 {
			b.err(CodePaper, s.Span, "prepare can't work in the colours of a printer", "Such colours are numbers for inks, through tables; every later step would compute with them.", "move the conversion into the print, as its last step before border, wrap and save")
		}
		w.final = s.Line
	}
}

// convertRefused says in the recipe's words why the conversion that was tried
// last can't be made: a matter of profiles, not of the step.
func (b *binder) convertRefused(s *lang.Convert, intent string) {
	if len(b.diags) == 0 {
		return
	}
	d := &b.diags[len(b.diags)-1]
	d.Code, d.Summary = CodeProfile, strings.TrimPrefix(d.Summary, "convert: ")
	if intent == "absolute" && strings.HasPrefix(d.Summary, "the absolute intent") {
		if s.Intent.Line > 0 {
			d.Span = s.Intent.Span
		}
		d.Detail = "Absolute keeps the papers' own whites, so both profiles must say what their white looks like."
		d.Hints = []string{"write intent relative, which takes white to white", "or ask the maker of the profile for one with its media white (tag wtpt)"}
	}
}

// crop cuts whole pixels: edges are rounded half up to the nearest one, and
// what `crop to` cuts is the largest part of that shape, shifted where it would
// leave the picture.
func (w *walker) crop(s *lang.Crop) {
	b := w.b
	p := b.plan.Nodes[w.cur.node].Pic
	sp := w.space(w.cur)
	sp.ppi = nil // inches are of the print, which comes after
	var x, y, cw, ch int
	if s.To != nil {
		cw, ch = largest(p.W, p.H, quo(s.To.W, s.To.H))
		cx, cy := big.NewRat(int64(p.W), 2), big.NewRat(int64(p.H), 2)
		if s.At != nil {
			var ok bool
			if cx, cy, ok = w.point(sp, *s.At); !ok {
				return
			}
		}
		x = min(max(exact.Nearest(sub(cx, big.NewRat(int64(cw), 2))), 0), p.W-cw)
		y = min(max(exact.Nearest(sub(cy, big.NewRat(int64(ch), 2))), 0), p.H-ch)
	} else {
		var e [4]int
		for i, at := range []*lang.Point{s.From, s.Till} {
			px, py, ok := w.point(sp, *at)
			if !ok {
				return
			}
			e[2*i], e[2*i+1] = exact.Nearest(px), exact.Nearest(py)
		}
		x, y, cw, ch = e[0], e[1], e[2]-e[0], e[3]-e[1]
		if x < 0 || y < 0 || e[2] > p.W || e[3] > p.H || cw < 1 || ch < 1 {
			b.err(CodeCrop, s.Span, fmt.Sprintf("this crop goes from (%d, %d) to (%d, %d), the picture is %d x %d px", e[0], e[1], e[2], e[3], p.W, p.H),
				"The first point is the left upper corner, the second the right lower one; both lie in the picture.", "write the points in that order and inside 0% to 100%")
			return
		}
	}
	if cw == p.W && ch == p.H {
		b.report(lang.Note, CodeCrop, s.Span, "this crop cuts nothing", fmt.Sprintf("The picture is %d x %d px already.", p.W, p.H))
		return
	}
	n, ok := b.node(s.Span, w.stage, "crop", argsOf("x", x, "y", y, "w", cw, "h", ch), w.cur.node)
	if !ok {
		return
	}
	c := w.cur.covers
	fx := func(v int) *big.Rat { return part(c.X0, c.W(), v, p.W) }
	fy := func(v int) *big.Rat { return part(c.Y0, c.H(), v, p.H) }
	w.cur = pic{n, Rect{fx(x), fy(y), fx(x + cw), fy(y + ch)}}
}

// largest is the largest whole-pixel part of w x h with the given shape.
func largest(w, h int, shape *big.Rat) (int, int) {
	// Full width first; if that is too high, full height.
	if ch := exact.Nearest(quo(rat(w), shape)); ch <= h {
		return w, max(ch, 1)
	}
	return min(max(exact.Nearest(mul(rat(h), shape)), 1), w), h
}

// spot is one line of a run, in pixels of its picture.
type spot struct {
	*lang.SpotAt
	x, y, r *big.Rat
	text    string // the argument
}

// spots is a run of neighbouring spot lines: one step.
func (w *walker) spots(run []*lang.SpotAt) {
	b := w.b
	p := b.plan.Nodes[w.cur.node].Pic
	sp := w.space(w.cur)
	var list []spot
	var discs []overlap.Disc
	for _, s := range run {
		r, ok := w.length(s.Radius)
		if !ok {
			return
		}
		x, y, ok := w.point(sp, s.At)
		if !ok {
			return
		}
		if w.outsideFrame(s.At) {
			b.err(CodeSpot, s.At.Span, "this spot lies outside the frame", fmt.Sprintf("The frame is %d x %d px; shares go from 0%% to 100%%.", b.frameW, b.frameH), "check the position")
			return
		}
		// A spot that the crop has cut away does nothing: spots don't move.
		if x.Sign() < 0 || y.Sign() < 0 || x.Cmp(rat(p.W)) > 0 || y.Cmp(rat(p.H)) > 0 {
			b.report(lang.Note, CodeSpot, s.Span, "this spot lies in what the crop cuts away", "It does nothing in this print.")
			continue
		}
		text := fmt.Sprintf("at %s %s radius %s soft %s", x.RatString(), y.RatString(), r.RatString(), share(s.Soft).RatString())
		if s.From != nil {
			fx, fy, ok := w.point(sp, *s.From)
			if !ok {
				return
			}
			if w.outsideFrame(*s.From) {
				b.err(CodeSpot, s.From.Span, "this spot copies from outside the frame", fmt.Sprintf("The frame is %d x %d px.", b.frameW, b.frameH), "check the position after `from`")
				return
			}
			text += fmt.Sprintf(" from %s %s", fx.RatString(), fy.RatString())
		}
		list = append(list, spot{s, x, y, r, text})
		d := overlap.Disc{}
		d.X, _ = x.Float64()
		d.Y, _ = y.Float64()
		d.R, _ = r.Float64()
		discs = append(discs, d)
	}
	if len(list) == 0 {
		return
	}
	meet := func(i, j int) bool {
		d, e := list[i], list[j]
		dx, dy, sum := sub(d.x, e.x), sub(d.y, e.y), add(d.r, e.r)
		return add(mul(dx, dx), mul(dy, dy)).Cmp(mul(sum, sum)) < 0
	}
	if o := overlap.Find(discs, meet); len(o) > 0 {
		b.err(CodeSpot, list[o[0].Disc].Span, fmt.Sprintf("this spot overlaps the one on line %d", list[o[0].First].Line), "Neighbouring spot lines are one step and read the same picture, so two that overlap have no order.",
			"make one spot of them, or put another step between them")
		return
	}
	// The order of a run means nothing, so the mark doesn't see it: from the
	// top down, then from the left. No two have one place.
	slices.SortFunc(list, func(a, b spot) int { return cmp.Or(a.y.Cmp(b.y), a.x.Cmp(b.x)) })
	var args ops.Args
	var at []lang.Span
	for i, s := range list {
		at = append(at, s.Span)
		args = append(args, ops.Arg{Name: fmt.Sprintf("spot-%d", i+1), Value: s.text})
	}
	n, ok := b.node(run[0].Span, w.stage, "spots", args, w.cur.node)
	if !ok {
		// What is wrong with one of them is said of its own line.
		d := &b.diags[len(b.diags)-1]
		i := 0
		if fmt.Sscanf(d.Summary, "spots: spot-%d", &i); i > 0 && i <= len(list) {
			d.Code, d.Span = CodeSpot, list[i-1].Span
			if _, what, ok := strings.Cut(d.Summary, ") "); ok { // behind its numbers
				d.Summary = "this spot " + what
			} else if _, what, ok := strings.Cut(d.Summary, `": `); ok {
				d.Summary = "this spot can't be planned: " + what
			}
		}
		return
	}
	b.plan.Nodes[n].Spots = at
	w.cur.node = n
	for _, s := range run {
		b.atLine[s.Line] = n
	}
}

// outsideFrame says whether a position in % or in px of an uncropped picture
// lies outside.
func (w *walker) outsideFrame(p lang.Point) bool {
	out := func(m lang.Measure, size int) bool {
		switch m.Unit {
		case "%":
			return m.Value.Sign() < 0 || m.Value.Cmp(rat(100)) > 0
		case "px":
			return m.Value.Sign() < 0 || m.Value.Cmp(rat(size)) > 0
		}
		return m.Value.Sign() < 0
	}
	n := w.b.plan.Nodes[w.cur.node].Pic
	return out(p.X, n.W) || out(p.Y, n.H)
}
