package lang

import (
	"fmt"
	"maps"
	"math/big"
	"slices"
	"strings"
)

// checker makes the tree of statements and checks what spans them. It sees
// neither text nor tokens of lines that fit.
type checker struct {
	*problems
	top    *block
	blocks []*block // of the top, those that can be judged
	scope  *scope
	rec    *Recipe
	lines  int // of prepare and all prints so far, see flatten
}

// check makes a recipe of the statements of a file.
func check(ps *problems, top *block) *Recipe {
	c := &checker{problems: ps, top: top, rec: &Recipe{}}
	for _, st := range top.stmts {
		if st.opens != nil && st.opens.Kind != "" {
			c.blocks = append(c.blocks, st.opens)
		}
	}
	c.head()
	c.scope = c.names()
	for _, b := range c.blocks {
		if b.head.broken && len(b.stmts) == 0 { // what it lacks is perhaps on that line
			continue
		}
		switch b.Kind {
		case "mask":
			c.mask(b)
		case "paper":
			c.paper(b)
		case "lab":
			l := &Lab{Span: b.span(), Name: b.name()}
			c.collect(b, l, b.called())
			c.rec.Labs = append(c.rec.Labs, l)
		case "prepare":
			if p := (&Prepare{b.span(), c.steps(b)}); c.rec.Prepare == nil {
				c.rec.Prepare = p
			}
		case "steps":
			c.rec.Steps = append(c.rec.Steps, &StepBlock{b.span(), b.name(), c.steps(b)})
		case "print":
			c.print(b)
		case "sheet":
			c.sheet(b)
		case "inputs":
			if c.rec.Inputs == nil {
				c.rec.Inputs = &Inputs{b.span(), nodes[*Input](b)}
			}
		}
	}
	c.cycles()
	for _, b := range c.blocks {
		if b.head.is != nil {
			c.resolve(b.head)
		}
		for _, st := range b.stmts {
			c.resolve(st)
		}
	}
	for _, b := range c.blocks {
		switch b.Kind {
		case "prepare", "print":
			c.flow(b)
		case "sheet":
			c.order(b, c.flatten(b))
		}
	}
	c.unused()
	c.idleTones()
	c.paths()
	c.rec.Uses = top.uses()
	if c.rec.Version != 0 && !c.rec.Draft {
		if d := Drafts(c.rec.Uses); len(d) > 0 {
			e := NotFrozen(d)
			c.add(e.Code, e.Span, e.Summary, e.Detail, e.Hints...)
		}
	}
	return c.rec
}

func (b *block) name() Text {
	if b.Name == nil {
		return Text{}
	}
	return Text{b.Name.Span, b.Name.Value}
}

// called names a block: "mask reeds", "prepare".
func (b *block) called() string { return strings.TrimSpace(b.title().String()) }

// nodes are the nodes of a kind that a block's lines made.
func nodes[T any](b *block) []T {
	var out []T
	for _, st := range b.stmts {
		if n, ok := st.node.(T); ok {
			out = append(out, n)
		}
	}
	return out
}

// has says whether a block has a line of this word, also a broken one.
func (b *block) has(word string) bool {
	return slices.ContainsFunc(b.stmts, func(st *stmt) bool { return st.word == word })
}

// twice complains about a line that stands in its block already, and says so.
func (c *checker) twice(first map[string]*stmt, st *stmt, where string) bool {
	o := first[st.word]
	if o == nil {
		first[st.word] = st
		return false
	}
	c.standsTwice(st.span, st.word, o.span.Line, st.span.Line, where)
	return true
}

func (c *checker) standsTwice(at Span, word string, first, again int, where string) {
	c.add("PM706", at, fmt.Sprintf("%s stands twice, on line %d and on line %d", word, first, again), "It may stand once in "+where+".", "keep one of the two")
}

// collect puts what a block's lines say into its node, the first of each word.
func (c *checker) collect(b *block, into any, where string) {
	first := map[string]*stmt{}
	for _, st := range b.stmts {
		if !st.broken && !c.twice(first, st, where) {
			st.is.merge(into, st.node)
			if t, ok := into.(*Tone); ok {
				t.Lines = append(t.Lines, ToneLine{st.span, st.word})
			}
		}
	}
}

// head checks and takes the lines at the top.
func (c *checker) head() {
	all := c.top.stmts
	if len(all) == 0 {
		c.add("PM701", Span{1, 1, 1, 1}, "this recipe is empty", "Its first statement names the version of the language.", "begin with recipe 1 draft")
		return
	}
	if all[0].word != "recipe" {
		c.add("PM701", all[0].span, "the first statement isn't recipe", "The first statement names the version of the language, so that a recipe keeps its meaning.", "begin with recipe 1 draft")
	}
	first := map[string]*stmt{}
	for _, st := range all {
		if ways := statementsOf(st.word, "top"); len(ways) == 0 || ways[0].once && c.twice(first, st, "a recipe") {
			continue
		}
		switch n := st.node.(type) {
		case *version:
			c.version(n)
		case *Master:
			c.rec.Master = n
		case *Picture:
			c.rec.Pictures = append(c.rec.Pictures, n)
		case *Recipe:
			st.is.merge(c.rec, n)
		}
	}
	if first["master"] == nil {
		c.add("PM705", all[0].span, "this recipe names no master", "", `add a line such as master "salt-road.tif"`)
	}
	if !c.top.has("print") {
		end := all[len(all)-1].span
		end.Line, end.Col = end.EndLine, end.EndCol
		c.add("PM704", end, "this recipe makes no print", "", "add a block: print NAME {, with size, enlarge and save")
	}
}

func (c *checker) version(v *version) {
	c.rec.Head, c.rec.Draft = v.Span, v.Draft
	n := v.Version
	switch {
	case rat(n.Value).Cmp(big.NewRat(1, 1)) != 0:
		c.add("PM702", n.Span, fmt.Sprintf("this engine doesn't know version %s of the language", n.Value), "It knows version 1.", "write recipe 1 draft, or use a newer engine")
	case n.Value != "1":
		c.add("PM702", n.Span, "a version is written as a plain whole number", "", "write recipe 1 draft")
	default:
		c.rec.Version = 1
	}
}

func (c *checker) paper(b *block) {
	p := &Paper{Span: b.span(), Name: b.name(), Intent: Text{Value: "relative"}, BlackPoint: Text{Value: "on"}}
	c.collect(b, p, b.called())
	if !b.has("profile") {
		c.add("PM719", b.head.span, b.called()+" has no profile", "A paper is what its profile says of it: how its inks look on it.", `add a line such as profile "papers/baryta-310.icc"`)
	}
	c.rec.Papers = append(c.rec.Papers, p)
}

// mask makes a mask of its block and checks its shapes.
func (c *checker) mask(b *block) {
	m := &Mask{b.span(), b.name(), nodes[*Element](b)}
	c.rec.Masks = append(c.rec.Masks, m)
	if len(b.stmts) == 0 {
		c.add("PM717", b.head.span, "this mask has no shape", "", "draw at least one: "+orList(shapes))
		return
	}
	if e, ok := b.stmts[0].node.(*Element); ok {
		at := b.stmts[0].toks[0].Span
		switch {
		case e.Op == "less" || e.Op == "within":
			c.add("PM718", at, e.Op+" works on the shapes before it, and there are none", "A mask begins empty.", "begin with a shape, or with invert for the whole frame")
		case e.Shape == "soften":
			c.add("PM718", at, "soften works on the shapes before it, and there are none", "A mask begins empty.", "begin with a shape")
		}
	}
	for _, e := range m.Elements {
		switch n := len(e.Points); {
		case e.Shape == "stroke" && n < 2:
			c.add("PM307", e.Span, "a stroke has at least two points", "", "add a point, or draw an ellipse")
		case e.Shape == "polygon" && n < 3:
			c.add("PM307", e.Span, fmt.Sprintf("a polygon has at least three points, this one has %d", n), "", "add the missing corners")
		case e.Shape == "gradient" && samePoint(e.Points[0], e.Points[1]):
			c.add("PM307", e.Span, "a gradient begins and ends at two different points", "", "move one of them")
		case e.Shape == "range" && e.Of != "hue" && e.Low.Value.Cmp(e.High.Value) > 0:
			c.add("PM303", e.Span, fmt.Sprintf("this range of %s ends below where it begins", e.Of), "Only hues run in a circle.", "write the lower number first")
		}
	}
}

func sameMeasure(a, b Measure) bool { return a.Unit == b.Unit && a.Value.Cmp(b.Value) == 0 }

func samePoint(a, b Point) bool { return sameMeasure(a.X, b.X) && sameMeasure(a.Y, b.Y) }

// cycles finds masks that refer to themselves, directly or through others.
func (c *checker) cycles() {
	const done = -1
	state := map[*Mask]int{} // from 1: its place on the way
	byName := map[string]*Mask{}
	for _, m := range slices.Backward(c.rec.Masks) {
		byName[m.Name.Value] = m
	}
	var path []string
	var visit func(m *Mask)
	visit = func(m *Mask) {
		path = append(path, m.Name.Value)
		state[m] = len(path)
		for _, e := range m.Elements {
			if e.Mask == nil {
				continue
			}
			switch n := byName[e.Mask.Value]; {
			case n == nil || state[n] == done:
			case state[n] == 0:
				visit(n)
			default:
				c.circle(e, append(slices.Clone(path[state[n]-1:]), n.Name.Value))
			}
		}
		path = path[:len(path)-1]
		state[m] = done
	}
	for _, m := range c.rec.Masks {
		if state[m] == 0 {
			visit(m)
		}
	}
}

// circle complains about a reference that closes a circle of masks.
func (c *checker) circle(e *Element, round []string) {
	if len(round) == 2 {
		c.add("PM408", e.Mask.Span, fmt.Sprintf("mask %s refers to itself", round[0]), "", "take one of the references out")
		return
	}
	if n := len(round); n > 8 {
		round = slices.Concat(round[:4], []string{"…"}, round[n-3:])
	}
	c.add("PM408", e.Mask.Span, "these masks refer to each other in a circle", "The circle is "+strings.Join(round, " to ")+".", "take one of the references out")
}

// print makes a print of its block and checks that it has what it needs.
func (c *checker) print(b *block) {
	p := &Print{Steps: c.steps(b)}
	if all := nodes[*Edition](b); len(all) > 0 {
		p.Edition = all[0]
	}
	c.file(b, p, "size 60 in x 40 in at 300 ppi")
}

// file is what prints and sheets have in common: head, size and save.
func (c *checker) file(b *block, p *Print, size string) {
	p.Span, p.Name = b.span(), b.name()
	if h, ok := b.head.node.(*Print); ok {
		p.On, p.For = h.On, h.For
	}
	if all := nodes[*Size](b); len(all) > 0 {
		p.Size = all[0]
		c.pixels(p.Size)
	}
	if all := nodes[*Save](b); len(all) > 0 {
		p.Save = all[0]
	}
	if !b.has("size") {
		c.add("PM708", b.head.span, fmt.Sprintf("this %s has no size", b.Kind), "", "add a line such as "+size)
	}
	if !b.has("save") {
		c.add("PM708", b.head.span, fmt.Sprintf("this %s isn't saved", b.Kind), "", fmt.Sprintf(`end it with a line such as save jpeg "%s.jpg" or save tiff "%[1]s.tif"`, b.Kind))
	}
	c.rec.Prints = append(c.rec.Prints, p)
}

func (c *checker) sheet(b *block) {
	p := &Print{Sheet: &Sheet{Pieces: nodes[*Piece](b)}}
	if all := nodes[*Simulate](b); len(all) > 0 {
		p.Sheet.Simulate = all[0]
	}
	c.file(b, p, "size 19 in x 13 in at 300 ppi")
	if len(p.Sheet.Pieces) == 0 && !slices.ContainsFunc(b.stmts, func(st *stmt) bool { return st.broken }) {
		c.add("PM723", b.head.span, "nothing lies on this sheet", "", "add a line such as show PRINT or section of PRINT at (50%, 50%) size 8 in x 6 in")
	}
	for _, x := range p.Sheet.Pieces {
		if x.Kind != "strip" {
			continue
		}
		if n := x.Values(); n == nil {
			c.add("PM724", x.Span, "this strip doesn't end where its steps lead", fmt.Sprintf("From %s by %s, %s isn't met; all three have one unit, and the last is above the first.", x.From, x.By, x.To), "change one of the three")
		} else if len(n) > maxStrip {
			c.add("PM724", x.Span, fmt.Sprintf("this strip has more than %d pieces", maxStrip), "", "take larger steps")
		}
	}
}

// pixels refuses prints of less than a pixel or more than 300000 a side.
func (c *checker) pixels(s *Size) {
	for _, m := range []*Measure{s.W, s.H} {
		if m == nil {
			continue
		}
		if n, ok := SidePixels(*m, s.At); ok && (n < 1 || n > 300000) {
			c.add("PM303", m.Span, fmt.Sprintf("this side has %d px", n), "A side of a print has 1 to 300000 px.", "change the side or the resolution")
		}
	}
}

// steps are the steps of a block, those that open a block of their own with its
// lines.
// sharpen checks that what deconvolve needs is there, and nothing that it alone takes
// elsewhere.
func (c *checker) sharpen(s *Sharpen) {
	switch deconvolves := s.Method.Value == "deconvolve"; {
	case deconvolves && s.Blur == nil:
		c.add("PM206", s.Method.Span, "deconvolve lacks its blur", "It takes back a blur of one kind, and must know which.", "write method deconvolve blur disc for what is out of focus, or blur gaussian for a soft lens, scan or enlargement")
	case !deconvolves && s.Blur != nil:
		c.add("PM210", s.Blur.Span, "blur belongs to deconvolve", "It says which blur is taken back; the unsharp mask takes none back.", "write method deconvolve before it, or take it out")
	case deconvolves && s.Radius.Unit == "px" && !deconvolveRadius.holds(s.Radius.Value):
		c.add("PM303", s.Radius.Span, fmt.Sprintf("the radius of deconvolve is %s px", decimal(s.Radius.Value)), fmt.Sprintf("It may be %s.", deconvolveRadius.String()))
	}
}

// deconvolveRadius is what of a radius in px deconvolve takes.
var deconvolveRadius = Range{Unit: "px", Min: "0.1", Max: "10", min: big.NewRat(1, 10), max: big.NewRat(10, 1)}

func (c *checker) steps(b *block) []Step {
	for _, st := range b.stmts {
		switch n := st.node.(type) {
		case *Mix:
			c.mix(n)
		case *Sharpen:
			c.sharpen(n)
		case *Tone:
			if st.opens != nil {
				c.collect(st.opens, n, "a tone block")
				if len(st.opens.stmts) == 0 {
					c.add("PM720", st.span, "this tone changes nothing", "", "write at least one of exposure, curve, contrast, local contrast, warmth, chroma and muted chroma inside")
				}
				c.curve(n)
			}
		}
	}
	return nodes[Step](b)
}

// mix checks the shares of a mix.
func (c *checker) mix(m *Mix) {
	sum := new(big.Rat).Add(m.Red.Value, m.Green.Value)
	if sum.Add(sum, m.Blue.Value).Cmp(big.NewRat(100, 1)) != 0 {
		c.add("PM722", m.Span, fmt.Sprintf("these shares sum to %s%%", decimal(sum)), "They must sum to 100%, so that white stays white.", "change one of them")
	}
}

// curve checks that a curve's points rise.
func (c *checker) curve(t *Tone) {
	for i := 1; i < len(t.Curve); i++ {
		a, z := t.Curve[i-1], t.Curve[i]
		switch {
		case z.X.Cmp(a.X) <= 0:
			c.add("PM721", z.Span, "the curve's points stand from dark to light", "The first number of each point is larger than that of the point before.")
			return
		case z.Y.Cmp(a.Y) < 0:
			c.add("PM721", z.Span, "this curve falls", "A falling curve turns light into dark; each point is at least as high as the one before.")
			return
		}
	}
	if n := len(t.Curve); n > 32 {
		c.add("PM721", t.Curve[32].Span, fmt.Sprintf("this curve has %d points", n), "A curve has at most 32.", "leave some out")
	} else if n == 1 {
		c.add("PM721", t.Curve[0].Span, "a curve has at least two points", "", "write for example curve (0, 0), (50, 55), (100, 100)")
	}
}

// decimal writes a number plainly, with two decimals at most.
func decimal(v *big.Rat) string {
	if v.IsInt() {
		return v.Num().String()
	}
	return v.FloatString(2)
}

// broken reports whether a line could not be read, so that something may be
// missing from the tree.
func (c *checker) broken() bool {
	return slices.ContainsFunc(append([]*block{c.top}, c.blocks...), func(b *block) bool {
		return slices.ContainsFunc(b.stmts, func(st *stmt) bool { return st.broken })
	})
}

// idleTones warns of tones for a paper that act in no print, whatever is built.
func (c *checker) idleTones() {
	if c.broken() {
		return
	}
	rec := c.rec
	idle := func(steps []Step, papers map[string]bool, print string) {
		for _, s := range steps {
			t, ok := s.(*Tone)
			if ok && t.For != nil && rec.Paper(t.For.Value) != nil && len(papers) > 0 && !papers[t.For.Value] {
				c.add("PM455", t.For.Span, "this tone acts in no print", fmt.Sprintf("It is for %s, and no print that it stands in is on it.", t.For.Value), fmt.Sprintf("did you mean print %s on %s?", print, t.For.Value))
			}
		}
	}
	// The papers of the prints that lines act in: those of all prints, and by
	// followed block; "" is that of a print on none.
	every, in := map[string]bool{}, map[string]map[string]bool{}
	follow := func(steps []Step, papers map[string]bool) {
		for _, s := range steps {
			if f, ok := s.(*Follow); ok {
				if in[f.Name.Value] == nil {
					in[f.Name.Value] = map[string]bool{}
				}
				maps.Copy(in[f.Name.Value], papers)
			}
		}
	}
	for _, p := range rec.Prints {
		every[p.paper()] = true
		follow(p.Steps, map[string]bool{p.paper(): true})
	}
	if rec.Prepare != nil {
		follow(rec.Prepare.Steps, every)
		idle(rec.Prepare.Steps, every, "…")
	}
	for _, b := range rec.Steps {
		idle(b.Steps, in[b.Name.Value], "…")
	}
	for _, p := range rec.Prints {
		idle(p.Steps, map[string]bool{p.paper(): true}, p.Name.Value)
	}
}

// paper names the paper that a print is on, "" where it is on none.
func (p *Print) paper() string {
	if p.On == nil {
		return ""
	}
	return p.On.Value
}
