package plan

import (
	"fmt"
	"maps"
	"math/big"
	"slices"

	"platemark/interp/master"
	"platemark/lang"
	"platemark/ops"
	"platemark/ops/colour"
	"platemark/ops/raster"
)

// binder turns one print of a recipe into a Plan. It collects problems and
// goes on where it can.
type binder struct {
	rec    *lang.Recipe
	shared *shared
	inputs *Inputs
	diags  []lang.Diagnostic

	plan   *Print
	bykey  map[raster.Sum]int
	env    ops.Env
	frameW int
	frameH int
	masks  map[string]int // name -> node
	frame  int            // the node of the upright master
	paper  *lang.Paper    // the print's, or nil
	lab    *lang.Lab      // the print's, or nil
	others []*Other       // whose pieces lie on the sheet too
	size   *sizing        // nil in prepare
	failed bool
	// atLine is the picture that a recipe line makes.
	atLine map[int]int
}

// shared is what the prints of a job have in common, so that many prints take
// no more time than their own lines.
type shared struct {
	lines  Lines
	masks  map[string]*lang.Mask
	series map[string]*lang.StepBlock
	// prepared are the binders behind prepare, by the print's paper, and the
	// picture that each leaves.
	prepared map[*lang.Paper]behindPrepare
	work     int // see maxWork
	// uses are the statements of the recipe, each once, and spans those of each
	// line.
	uses  []lang.Use
	spans map[int]lang.Span
}

type behindPrepare struct {
	b   *binder // nil where prepare can't be planned, which has been said
	cur pic
}

// maxWork bounds what the prints of a job may ask for together: the characters
// of all steps' arguments, and stepWork for each step.
const (
	maxWork  = 3 << 19
	stepWork = 200
)

func (s *Inputs) share(source []byte) *shared {
	if s.bound.masks == nil {
		s.bound = shared{lines: LinesOf(string(source)), masks: map[string]*lang.Mask{}, series: map[string]*lang.StepBlock{}, prepared: map[*lang.Paper]behindPrepare{},
			uses: lang.Distinct(s.rec.Uses), spans: map[int]lang.Span{0: s.rec.Master.Span}}
		for _, u := range s.rec.Uses {
			s.bound.spans[u.Line] = u.Span
		}
		for _, m := range s.rec.Masks {
			s.bound.masks[m.Name.Value] = m
		}
		for _, b := range s.rec.Steps {
			s.bound.series[b.Name.Value] = b
		}
	}
	return &s.bound
}

// again is a binder as this one stands, for another print.
func (b *binder) again() *binder {
	c := *b
	p := *b.plan
	c.plan = &p
	p.Nodes, p.Inputs, c.diags = slices.Clone(p.Nodes), slices.Clone(p.Inputs), slices.Clone(b.diags)
	c.bykey, c.masks, c.atLine, c.env.Profiles = maps.Clone(b.bykey), maps.Clone(b.masks), maps.Clone(b.atLine), maps.Clone(b.env.Profiles)
	return &c
}

// pic is a picture in the binder's hands: a node and the part of the frame it
// shows.
type pic struct {
	node   int
	covers Rect
}

// sizing is what the print's size statement says.
type sizing struct {
	st   *lang.Size
	ppi  *big.Rat
	w, h int // the print's pixels, 0 until known
}

func (b *binder) report(sev lang.Severity, code string, at lang.Span, summary, detail string, hints ...string) {
	if sev == lang.Error {
		b.failed = true
	}
	b.diags = append(b.diags, lang.Diagnostic{Severity: sev, Code: code, Span: at, Summary: summary, Detail: detail, Hints: hints})
}

func (b *binder) err(code string, at lang.Span, summary, detail string, hints ...string) {
	b.report(lang.Error, code, at, summary, detail, hints...)
}

// node adds a step, or finds the equal one that is there already.
func (b *binder) node(at lang.Span, stage int, op string, args ops.Args, in ...int) (int, bool) {
	o, ok := ops.Lookup(op, ops.Version(b.rec.Version, op))
	if !ok {
		b.err(CodeStep, at, fmt.Sprintf("this engine has no operation %q", op), "")
		return 0, false
	}
	b.shared.work += stepWork
	for _, a := range args {
		b.shared.work += len(a.Value)
	}
	if b.shared.work > maxWork {
		b.err("PM108", at, "the prints of this recipe have too many steps, spots and points of masks together", "", "cut it into several recipes")
		return 0, false
	}
	keys := make([]raster.Sum, len(in))
	pics := make([]ops.Pic, len(in))
	for i, k := range in {
		keys[i], pics[i] = b.plan.Nodes[k].Key, b.plan.Nodes[k].Pic
	}
	key := keyOf(op, o.Version, args, keys)
	if n, ok := b.bykey[key]; ok && b.plan.Nodes[n].Stage == stage {
		b.atLine[at.Line] = n
		return n, true
	}
	step, err := o.New(args, pics, b.env)
	if err != nil {
		b.err(CodeStep, at, err.Error(), "")
		return 0, false
	}
	b.plan.Nodes = append(b.plan.Nodes, Node{Op: op, Ver: o.Version, Args: args, In: in, Line: at.Line, Recipe: b.inputs.Number, Stage: stage, Step: step, Pic: step.Pic(), Key: key, Text: b.shared.lines.Words(at.Line)})
	n := len(b.plan.Nodes) - 1
	b.bykey[key], b.atLine[at.Line] = n, n
	return n, true
}

// newBinder is a binder for a print, with an empty plan.
func newBinder(rec *lang.Recipe, source []byte, pr *lang.Print, inputs *Inputs) *binder {
	b := &binder{
		rec: rec, shared: inputs.share(source),
		inputs: inputs, bykey: map[raster.Sum]int{}, masks: map[string]int{}, atLine: map[int]int{},
		plan: &Print{Name: pr.Name.Value, Line: pr.Line},
		env:  ops.Env{Profiles: map[string]*colour.Profile{}},
	}
	if pr.On != nil {
		b.paper = rec.Paper(pr.On.Value)
	}
	if pr.For != nil {
		b.lab = rec.Lab(pr.For.Value)
	}
	return b
}

// Bind makes the plan of one print; with upto set, of the picture that
// this line makes (nil where the print has no such line). On a sheet lie the pieces
// of others too, behind its own.
func Bind(rec *lang.Recipe, source []byte, pr *lang.Print, inputs *Inputs, upto int, others ...*Other) (*Print, []lang.Diagnostic) {
	b := newBinder(rec, source, pr, inputs)
	if pr.Sheet != nil {
		if upto != 0 {
			return nil, nil
		}
		return bindSheet(b, source, pr, others)
	}
	var cur pic
	ok := true
	switch ready, done := b.shared.prepared[b.paper]; {
	case done && ready.b == nil:
		return nil, nil
	case done:
		lab, plan := b.lab, b.plan
		b, cur = ready.b.again(), ready.cur
		b.lab, b.plan.Name, b.plan.Line = lab, plan.Name, plan.Line
	default:
		if cur, ok = b.prepare(); !ok {
			b.shared.prepared[b.paper] = behindPrepare{}
			return nil, b.diags
		}
		b.shared.prepared[b.paper] = behindPrepare{b.again(), cur}
	}
	b.plan.Ready = cur.node
	if cur, ok = b.print(pr, cur); !ok || b.failed {
		return nil, b.diags
	}
	b.plan.Out, b.plan.Covers = cur.node, cur.covers
	b.plan.FrameW, b.plan.FrameH = b.frameW, b.frameH
	if b.paper != nil && !b.paperFits(pr.On.Span, b.paper, inputs.PaperProfile(b.paper), b.plan.Nodes[cur.node].Pic.C) {
		return nil, b.diags
	}
	if upto != 0 {
		n, ok := b.atLine[upto]
		if !ok {
			return nil, nil
		}
		b.plan.Out = n
		if b.plan.Nodes[n].Stage == 0 {
			b.plan.Ready = n
		}
	}
	return b.finish(pr, cur.node)
}

// finish completes the plan of a print or a sheet whose file holds the picture of
// node saved.
func (b *binder) finish(pr *lang.Print, saved int) (*Print, []lang.Diagnostic) {
	p := b.plan
	p.Mark = markOf(b.rec.Version, p.Nodes[saved].Key, p.File)
	b.prune()
	p.Pieces = b.pieces(pr)
	if !b.rec.Draft {
		if d := lang.Drafts(p.Pieces); len(d) > 0 {
			return nil, append(b.diags, lang.NotFrozen(d))
		}
	}
	p.Notes = b.diags
	return p, b.diags
}

// prune drops the nodes that the print doesn't need and keeps plan order.
func (b *binder) prune() {
	p := b.plan
	need := make([]bool, len(p.Nodes))
	mark := func(node int) {
		for _, i := range p.Above(node) {
			need[i] = true
		}
	}
	mark(p.Out)
	if !need[p.Ready] {
		// A picture made elsewhere was taken in its place, or a mask is asked for.
		for i, n := range p.Nodes {
			if need[i] && n.Input != nil && n.Input.Role == master.RolePicture {
				p.Ready = i
				break
			}
		}
		mark(p.Ready)
	}
	to := make([]int, len(p.Nodes))
	var keep []Node
	for i, n := range p.Nodes {
		if !need[i] {
			continue
		}
		to[i] = len(keep)
		in := make([]int, len(n.In))
		for j, k := range n.In {
			in[j] = to[k]
		}
		n.In = in
		keep = append(keep, n)
	}
	p.Nodes, p.Ready, p.Out = keep, to[p.Ready], to[p.Out]
}

// input adds an input picture as a node.
func (b *binder) input(at lang.Span, in *master.Input, profile *colour.Profile, stage int) int {
	info := in.Picture.Info()
	// Two files of equal bytes are one picture, and each is an input by its name.
	b.uses(in)
	key := inputKey(in.Role, in.Sum, profile, in.White)
	if n, ok := b.bykey[key]; ok && b.plan.Nodes[n].Stage == stage {
		return n
	}
	b.plan.Nodes = append(b.plan.Nodes, Node{
		Input: in, Line: at.Line, Recipe: b.inputs.Number, Stage: stage, Key: key, Text: b.shared.lines.Words(at.Line),
		Pic: ops.Pic{W: info.W, H: info.H, C: info.Channels, Profile: profile},
	})
	n := len(b.plan.Nodes) - 1
	b.bykey[key] = n
	return n
}

func (b *binder) uses(in *master.Input) {
	if !slices.Contains(b.plan.Inputs, in) {
		b.plan.Inputs = append(b.plan.Inputs, in)
	}
}

// prepare opens the master, stands it upright and runs the prepare block.
func (b *binder) prepare() (pic, bool) {
	m := b.rec.Master
	in := b.inputs.Get(master.RoleMaster, m.Path)
	if in == nil {
		return pic{}, false // reported when it was opened
	}
	profile, ok := b.profileOf(in, m.Path, m.Space, "master")
	if !ok {
		return pic{}, false
	}
	n := b.input(m.Span, in, profile, 0)
	info := in.Picture.Info()

	// The file's own orientation and the turns at the head of prepare are one
	// step: the frame is the master, upright.
	var steps []lang.Step
	if b.rec.Prepare != nil {
		steps = b.inPlace(b.rec.Prepare.Steps)
	}
	at := lang.Span{}
	o, turns := HeadTurns(info.Orientation, steps)
	if turns > 0 {
		at, steps = steps[turns-1].Where(), steps[turns:]
	}
	if o != 1 {
		if n, ok = b.node(at, 0, "turn", argsOf("orientation", o), n); !ok {
			return pic{}, false
		}
		if at.Line == 0 {
			b.plan.Nodes[n].Text = fmt.Sprintf("stand upright, as the file's orientation %d says", o)
		}
	}
	p := b.plan.Nodes[n].Pic
	b.frame, b.frameW, b.frameH = n, p.W, p.H
	b.atLine[m.Line] = n
	cur := pic{n, Whole(p.W, p.H)}
	w := &walker{b: b, cur: cur, names: map[string]pic{}, stage: 0}
	w.steps(steps)
	return w.cur, !b.failed
}

// HeadTurns adds the turns and mirrors at the head of steps to an orientation;
// n is how many they are.
func HeadTurns(o int, steps []lang.Step) (orientation, n int) {
	for _, s := range steps {
		switch s := s.(type) {
		case *lang.Turn:
			o = ops.ComposeOrientation(o, ops.TurnOrientation(s.Way.Value))
		case *lang.Mirror:
			o = ops.ComposeOrientation(o, ops.TurnOrientation("mirror"))
		default:
			return o, n
		}
		n++
	}
	return o, n
}

// mask is the node of a mask in a stage, drawn on the frame.
func (b *binder) mask(name *lang.Text, stage int) (int, bool) {
	id := fmt.Sprint(stage, " ", name.Value)
	if n, ok := b.masks[id]; ok {
		return n, n >= 0
	}
	b.masks[id] = -1 // guards against a circle that the checker missed
	m := b.shared.masks[name.Value]
	if m == nil {
		b.err(CodeStep, name.Span, fmt.Sprintf("no mask is named %s", name.Value), "")
		return 0, false
	}
	args := argsOf("width", b.frameW, "height", b.frameH)
	var in []int
	s := space{frameW: b.frameW, frameH: b.frameH, w: b.frameW, h: b.frameH,
		covers: Whole(b.frameW, b.frameH)}
	for i, e := range m.Elements {
		sh, n, ok := b.element(e, s, stage)
		if !ok {
			return 0, false
		}
		if n >= 0 {
			in = append(in, n)
		}
		args = append(args, ops.Arg{Name: fmt.Sprintf("shape-%d", i+1), Value: sh.String()})
	}
	n, ok := b.node(m.Span, stage, "mask", args, in...)
	if ok {
		b.masks[id] = n
		for _, e := range m.Elements {
			b.atLine[e.Line] = n
		}
	}
	return n, ok
}

// element binds one line of a mask; the node is -1 where it needs none.
func (b *binder) element(e *lang.Element, s space, stage int) (ops.MaskShape, int, bool) {
	sh := ops.MaskShape{Op: e.Op, Shape: e.Shape}
	if e.Shape == "invert" || e.Shape == "soften" {
		sh.Op = ""
	}
	ok := true
	get := func(r *big.Rat, fits bool, at lang.Span) *big.Rat {
		if !fits {
			b.err(CodeUnit, at, "a mask is drawn on the frame, which has no inches", "Masks serve every print size, so their measures are shares of the frame or its pixels.",
				"write the measure in % (or px of the master)")
			ok = false
			return rat(0)
		}
		return r
	}
	for _, p := range e.Points {
		x, fx := s.x(p.X)
		y, fy := s.y(p.Y)
		sh.Points = append(sh.Points, ops.MaskPoint{X: get(x, fx, p.X.Span), Y: get(y, fy, p.Y.Span)})
	}
	if len(e.Size) == 2 {
		// A share in a size is of the frame's longer side, as every length.
		w, fw := s.length(e.Size[0])
		h, fh := s.length(e.Size[1])
		sh.W, sh.H = get(w, fw, e.Size[0].Span), get(h, fh, e.Size[1].Span)
	}
	if e.Width != nil {
		w, f := s.length(*e.Width)
		sh.W = get(w, f, e.Width.Span)
	}
	if e.Radius != nil {
		r, f := s.length(*e.Radius)
		sh.W = get(r, f, e.Radius.Span)
	}
	switch e.Shape {
	case "ellipse", "rectangle", "polygon", "stroke":
		sh.Soft = new(big.Rat)
		if e.Soft != nil {
			sh.Soft = share(*e.Soft)
		}
	}
	switch e.Shape {
	case "file":
		in := b.inputs.Get(master.RoleMask, *e.Path)
		if in == nil {
			return sh, -1, false
		}
		info := in.Picture.Info()
		if info.Channels != 1 {
			b.err(CodeMaskFile, e.Path.Span, fmt.Sprintf("%s is a colour picture; a mask is grey", e.Path.Value), "White works in full, black not at all.",
				"save the mask as a grey TIFF, 8 or 16 bits")
			return sh, -1, false
		}
		n := b.input(e.Span, in, nil, stage)
		if info.Orientation != 1 {
			if n, ok = b.node(e.Span, stage, "turn", argsOf("orientation", info.Orientation), n); !ok {
				return sh, -1, false
			}
		}
		p := b.plan.Nodes[n].Pic
		if !sameShape(p.W, p.H, b.frameW, b.frameH) {
			b.err(CodeMaskFile, e.Path.Span, fmt.Sprintf("%s is %d x %d, the frame is %d x %d: another shape", e.Path.Value, p.W, p.H, b.frameW, b.frameH),
				"A painted mask lies over the whole upright master, so it must have the master's shape; its size may differ.",
				"export the mask from the uncropped master")
			return sh, -1, false
		}
		return sh, n, ok
	case "range", "edges":
		// A plane of the frame before any step, taken as another mask is.
		var args ops.Args
		if e.Shape == "range" {
			args = argsOf("of", e.Of, "from", bare(*e.Low), "to", bare(*e.High))
			if e.Fade != nil {
				args = append(args, argsOf("soft", bare(*e.Fade))...)
			}
		} else {
			args = argsOf("radius", sh.W, "over", share(*e.Over))
		}
		n, fine := b.node(e.Span, stage, e.Shape, args, b.frame)
		return ops.MaskShape{Op: e.Op, Shape: "mask"}, n, ok && fine
	case "mask":
		n, fine := b.mask(e.Mask, stage)
		return sh, n, ok && fine
	}
	return sh, -1, ok
}

// sameShape says whether w x h and w2 x h2 have one shape: scaled to the other's
// width, neither side is off by half a pixel of the smaller one at both ends.
func sameShape(w, h, w2, h2 int) bool {
	if w > w2 {
		w, h, w2, h2 = w2, h2, w, h
	}
	// The larger one's height at the smaller one's scale.
	at := big.NewRat(int64(h2)*int64(w), int64(w2))
	d := sub(at, rat(h))
	return d.Abs(d).Cmp(rat(1)) < 0
}
