package lang

import (
	"fmt"
	"math/big"
	"strings"
)

// named is a thing with a name at the top of the file.
type named struct {
	kind string // mask, steps, print
	text Text
	blk  *block
	used bool
}

// nameList is the list of names, which is also found by name and by kind.
type nameList struct {
	all    []*named
	byName map[string]*named
	ofKind map[string][]string
}

// find returns what bears a name, nil where nothing does; a nil list is empty.
func (l *nameList) find(v string) *named {
	if l == nil {
		return nil
	}
	return l.byName[v]
}

// check builds the tree from the blocks and checks what spans lines.
func (r *reader) check() *Recipe {
	rec := &Recipe{}
	r.head(rec)
	names := r.names()
	r.masks(rec, names)
	for _, b := range r.blocks {
		switch b.kind {
		case "paper":
			rec.Papers = append(rec.Papers, r.paper(b))
		case "lab":
			rec.Labs = append(rec.Labs, r.lab(b))
		case "prepare":
			r.tones(b)
			if rec.Prepare == nil {
				rec.Prepare = &Prepare{Span: blockSpan(b), Steps: nodes(b)}
			}
		case "steps":
			r.tones(b)
			rec.Series = append(rec.Series, &StepBlock{blockSpan(b), nameOf(b), nodes(b)})
		case "print":
			r.tones(b)
			rec.Prints = append(rec.Prints, r.print(b, names))
		case "inputs":
			if rec.Inputs == nil {
				rec.Inputs = &Inputs{Span: blockSpan(b)}
				for _, st := range b.stmts {
					if in, ok := st.node.(*Input); ok {
						rec.Inputs.Lines = append(rec.Inputs.Lines, in)
					}
				}
			}
		}
	}
	for _, b := range r.blocks {
		switch b.kind {
		case "prepare", "steps", "print":
			r.maskNames(b, names)
		}
	}
	for _, b := range r.blocks {
		switch b.kind {
		case "prepare", "print":
			r.flow(b, names)
		}
	}
	for _, n := range names.all {
		if n.used {
			continue
		}
		switch n.kind {
		case "mask":
			r.add("PM451", n.text.Span, fmt.Sprintf("nothing uses mask %s", n.text.Value), "", "use it with through, or take it out")
		case "paper":
			r.add("PM453", n.text.Span, fmt.Sprintf("nothing uses paper %s", n.text.Value), "", "write print … on "+n.text.Value+", or take it out")
		case "lab":
			r.add("PM454", n.text.Span, fmt.Sprintf("nothing uses lab %s", n.text.Value), "", "write print … for "+n.text.Value+", or take it out")
		case "steps":
			r.add("PM452", n.text.Span, fmt.Sprintf("nothing follows steps %s", n.text.Value), "", fmt.Sprintf("write follow %s in a print, or take it out", n.text.Value))
		}
	}
	r.idleTones(rec)
	r.paths(rec)
	return rec
}

func blockSpan(b *block) Span {
	sp := b.head.span
	if b.end.Line > 0 {
		sp = join(sp, b.end)
	}
	return sp
}

func nameOf(b *block) Text {
	if b.name != nil {
		return *b.name
	}
	return Text{}
}

func nodes(b *block) []Step {
	var out []Step
	for _, st := range b.stmts {
		if s, ok := st.node.(Step); ok && !st.broken {
			out = append(out, s)
		}
	}
	return out
}

// head checks and takes the lines at the top.
func (r *reader) head(rec *Recipe) {
	st := r.top.stmts
	if len(st) == 0 {
		r.add("PM701", Span{1, 1, 1, 1}, "this recipe is empty", "Its first statement names the version of the language.", "begin with recipe 1 draft")
		return
	}
	if st[0].word != "recipe" {
		r.add("PM701", st[0].span, "the first statement isn't recipe", "The first statement names the version of the language, so that a recipe keeps its meaning.", "begin with recipe 1 draft")
	}
	first := map[string]*statement{}
	prints := 0
	for _, s := range st {
		switch s.word {
		case "recipe", "title", "rights", "round", "master", "prepare", "inputs":
			if o := first[s.word]; o != nil {
				r.add("PM706", s.span, fmt.Sprintf("%s stands twice, on line %d and on line %d", s.word, o.span.Line, s.span.Line), "It may stand once in a recipe.", "keep one of the two")
				continue
			}
			first[s.word] = s
		case "print":
			prints++
		}
		g, ok := s.node.(*gTop)
		if !ok || s.broken {
			continue
		}
		b := &builder{toks: s.toks, span: s.span}
		switch {
		case g.Recipe != nil:
			r.version(rec, b, g.Recipe)
		case given(g.Title):
			rec.Title = b.opt(g.Title)
		case given(g.Rights):
			rec.Rights = b.opt(g.Rights)
		case given(g.Round):
			rec.Round = b.optNumber(g.Round)
		case g.Master != nil:
			rec.Master = &Master{s.span, b.text(g.Master.File), b.opt(g.Master.Space), given(g.Master.White)}
		}
	}
	last := st[len(st)-1].span
	last.Line, last.Col = last.EndLine, last.EndCol
	if first["master"] == nil {
		r.add("PM705", st[0].span, "this recipe names no master", "", `add a line such as master "salt-road.tif"`)
	}
	if prints == 0 {
		r.add("PM704", last, "this recipe makes no print", "", "add a block: print NAME {, with size, enlarge and save")
	}
}

func (r *reader) version(rec *Recipe, b *builder, g *gRecipe) {
	n := b.number(g.Version)
	rec.Head, rec.Draft = b.span, given(g.Draft)
	switch {
	case n.Value.Cmp(big.NewRat(1, 1)) != 0:
		r.add("PM702", n.Span, fmt.Sprintf("this engine doesn't know version %s of the language", b.tok(g.Version).Value), "It knows version 1, as a draft.", "write recipe 1 draft, or use a newer engine")
	case b.tok(g.Version).Value != "1":
		r.add("PM702", n.Span, "a version is written as a plain whole number", "", "write recipe 1 draft")
	case !rec.Draft:
		r.add("PM703", b.span, "version 1 isn't frozen yet", "Until it is, results may change from one engine to the next, and a recipe says that it knows.", "write recipe 1 draft")
	default:
		rec.Version = 1
	}
}

// names collects the names of the top, which are one list: a name means one
// thing in a recipe.
func (r *reader) names() *nameList {
	out := &nameList{byName: map[string]*named{}, ofKind: map[string][]string{}}
	for _, b := range r.blocks {
		if b.name == nil {
			continue
		}
		if o := out.find(b.name.Value); o != nil {
			r.add("PM406", b.name.Span, fmt.Sprintf("the name %s is given twice, on line %d and on line %d", b.name.Value, o.text.Line, b.name.Line), fmt.Sprintf("It is the name of a %s already; a name means one thing in a recipe.", kindOf(o.kind)), "choose another name for one of the two")
			continue
		}
		n := &named{kind: b.kind, text: *b.name, blk: b, used: b.kind == "print"}
		out.all, out.byName[n.text.Value] = append(out.all, n), n
		out.ofKind[n.kind] = append(out.ofKind[n.kind], n.text.Value)
	}
	return out
}

func kindOf(k string) string {
	if k == "steps" {
		return "steps block"
	}
	return k
}

// use finds a name of a kind and complains where there is none.
func (r *reader) use(names *nameList, kind, code string, t Text) *named {
	if n := names.find(t.Value); n != nil {
		if n.kind == kind {
			n.used = true
			return n
		}
		r.add("PM409", t.Span, fmt.Sprintf("%s is a %s, not a %s", t.Value, kindOf(n.kind), kindOf(kind)), fmt.Sprintf("It is defined on line %d.", n.text.Line), r.nearName(names, kind, t.Value)...)
		return nil
	}
	r.add(code, t.Span, fmt.Sprintf("no %s is named %s", kindOf(kind), t.Value), "", r.nearName(names, kind, t.Value)...)
	return nil
}

func (r *reader) nearName(names *nameList, kind, v string) []string {
	c := names.ofKind[kind]
	if w := r.nearest(v, c); w != "" {
		n := names.find(w)
		n.used = true // meant, so not unused
		return []string{fmt.Sprintf("did you mean %s, line %d?", w, n.text.Line)}
	}
	switch len(c) {
	case 0:
		if names.find(v) != nil {
			return []string{fmt.Sprintf("define one: %s NAME {", kind)}
		}
		return []string{fmt.Sprintf("define it: %s %s {", kind, v)}
	}
	return namedSoFar(c)
}

// mostSearched bounds the letters of names that are held against letters in one
// file; with so many names that aren't given, the last have no suggestions.
const mostSearched = 20_000_000

// nearest is the function of this name, until too much was searched.
func (r *reader) nearest(v string, names []string) string {
	if r.searched += len(names) * len(v) * len(v); r.searched > mostSearched {
		return ""
	}
	return nearest(v, names)
}

// namedSoFar lists the first few names.
func namedSoFar(c []string) []string {
	return []string{"named so far: " + andList(c[:min(len(c), 8)])}
}

// loose returns the names that a broken line may give and use, so that its
// mistake causes no others.
func loose(st *statement) (gives, uses []string) {
	for i, t := range st.toks {
		if t.Kind != KindName && t.Kind != KindBad && t.Kind != KindWord {
			continue
		}
		if i > 0 && st.toks[i-1].Value == "as" {
			gives = append(gives, t.Value)
		} else if i > 0 {
			uses = append(uses, t.Value)
		}
	}
	return
}

// maskNames checks the masks that steps work through, and marks what broken
// lines may use.
func (r *reader) maskNames(b *block, names *nameList) {
	for _, st := range b.stmts {
		if st.broken {
			r.markLoose(st, names)
			continue
		}
		var t *Text
		switch s := st.node.(type) {
		case *SpotPixels:
			t = s.Through
		case *Blend:
			t = s.Through
		case *Sharpen:
			t = s.Through
		case *Tone:
			t = s.Through
			if s.For != nil {
				r.use(names, "paper", "PM410", *s.For)
			}
		case *Convert:
			if s.Name != nil {
				r.useTarget(names, *s.Name)
			}
		case *Follow:
			if b.kind != "steps" {
				r.use(names, "steps", "PM402", s.Name)
			}
		}
		if t != nil {
			r.use(names, "mask", "PM401", *t)
		}
	}
}

func (r *reader) markLoose(st *statement, names *nameList) {
	_, uses := loose(st)
	for _, u := range uses {
		if n := names.find(u); n != nil {
			n.used = true
		}
	}
}

// masks builds the masks and checks their shapes and references.
func (r *reader) masks(rec *Recipe, names *nameList) {
	for _, b := range r.blocks {
		if b.kind != "mask" {
			continue
		}
		m := &Mask{Span: blockSpan(b), Name: nameOf(b)}
		for _, st := range b.stmts {
			e, ok := st.node.(*Element)
			if !ok || st.broken {
				r.markLoose(st, names)
				continue
			}
			if len(m.Elements) == 0 && st == b.stmts[0] {
				switch {
				case e.Op == "less" || e.Op == "within":
					r.add("PM718", st.toks[0].Span, fmt.Sprintf("%s works on the shapes before it, and there are none", e.Op), "A mask begins empty.", "begin with a shape, or with invert for the whole frame")
				case e.Shape == "soften":
					r.add("PM718", st.toks[0].Span, "soften works on the shapes before it, and there are none", "A mask begins empty.", "begin with a shape")
				}
			}
			r.element(e)
			if e.Mask != nil {
				r.use(names, "mask", "PM401", *e.Mask)
			}
			m.Elements = append(m.Elements, e)
		}
		if len(b.stmts) == 0 {
			r.add("PM717", b.head.span, "this mask has no shape", "", "draw at least one: stroke, ellipse, rectangle, polygon, gradient, file or mask")
		}
		rec.Masks = append(rec.Masks, m)
	}
	r.cycles(rec)
}

// element checks what a shape needs to cover anything.
func (r *reader) element(e *Element) {
	switch e.Shape {
	case "stroke":
		if len(e.Points) < 2 {
			r.add("PM307", e.Span, "a stroke has at least two points", "", "add a point, or draw an ellipse")
		}
	case "polygon":
		if len(e.Points) < 3 {
			r.add("PM307", e.Span, fmt.Sprintf("a polygon has at least three points, this one has %d", len(e.Points)), "", "add the missing corners")
		}
	case "gradient":
		if samePoint(e.Points[0], e.Points[1]) {
			r.add("PM307", e.Span, "a gradient begins and ends at two different points", "", "move one of them")
		}
	}
}

func sameMeasure(a, b Measure) bool { return a.Unit == b.Unit && a.Value.Cmp(b.Value) == 0 }

func samePoint(a, b Point) bool { return sameMeasure(a.X, b.X) && sameMeasure(a.Y, b.Y) }

// cycles finds masks that refer to themselves, directly or through others.
func (r *reader) cycles(rec *Recipe) {
	byName := map[string]*Mask{}
	for _, m := range rec.Masks {
		if byName[m.Name.Value] == nil {
			byName[m.Name.Value] = m
		}
	}
	const done = -1
	state := map[*Mask]int{} // from 1: its place on the way
	var path []string
	var visit func(m *Mask)
	visit = func(m *Mask) {
		path = append(path, m.Name.Value)
		state[m] = len(path)
		for _, e := range m.Elements {
			if e.Mask == nil || byName[e.Mask.Value] == nil {
				continue
			}
			n := byName[e.Mask.Value]
			switch at := state[n]; at {
			case done:
			case 0:
				visit(n)
			default:
				round := append(path[at-1:len(path):len(path)], n.Name.Value)
				if len(round) > 8 {
					round = append(append(round[:4:4], "…"), round[len(round)-3:]...)
				}
				summary := fmt.Sprintf("mask %s refers to itself", n.Name.Value)
				detail := ""
				if len(round) > 2 {
					summary = "these masks refer to each other in a circle"
					detail = "The circle is " + strings.Join(round, " to ") + "."
				}
				r.add("PM408", e.Mask.Span, summary, detail, "take one of the references out")
			}
		}
		path = path[:len(path)-1]
		state[m] = done
	}
	for _, m := range rec.Masks {
		if state[m] == 0 {
			visit(m)
		}
	}
}

// print builds a print and checks that it has what it needs.
func (r *reader) print(b *block, names *nameList) *Print {
	p := &Print{Span: blockSpan(b), Name: nameOf(b), Steps: nodes(b)}
	if g, ok := b.head.node.(*gTop); ok && g.Print != nil && !b.head.broken {
		h := &builder{toks: b.head.toks, span: b.head.span}
		if p.On, p.For = h.opt(g.Print.On), h.opt(g.Print.For); p.On != nil {
			r.use(names, "paper", "PM410", *p.On)
		}
		if p.For != nil {
			r.use(names, "lab", "PM411", *p.For)
		}
	}
	has := map[string]bool{}
	for _, st := range b.stmts {
		has[st.word] = true
		if st.broken {
			continue
		}
		switch n := st.node.(type) {
		case *Edition:
			if p.Edition == nil {
				p.Edition = n
			}
		case *Size:
			if p.Size == nil {
				p.Size = n
				r.pixels(n)
			}
		case *Save:
			if p.Save == nil {
				p.Save = n
			}
		}
	}
	if !has["size"] {
		r.add("PM708", b.head.span, "this print has no size", "", "add a line such as size 60 in x 40 in at 300 ppi")
	}
	if !has["save"] {
		r.add("PM708", b.head.span, "this print isn't saved", "", `end it with a line such as save jpeg "print.jpg" or save tiff "print.tif"`)
	}
	return p
}

// pixels refuses prints of less than a pixel or more than 300000 a side.
func (r *reader) pixels(s *Size) {
	for _, m := range []*Measure{s.W, s.H} {
		if m == nil {
			continue
		}
		n, ok := SidePixels(*m, s.At)
		if ok && (n < 1 || n > 300000) {
			r.add("PM303", m.Span, fmt.Sprintf("this side has %d px", n), "A side of a print has 1 to 300000 px.", "change the side or the resolution")
		}
	}
}
