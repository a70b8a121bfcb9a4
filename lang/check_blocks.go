package lang

import (
	"fmt"
	"maps"
	"math/big"
	"strings"
)

// once complains about a line of a block that stands there already.
func (r *reader) once(first map[string]*statement, st *statement, where string) bool {
	if st.broken {
		return true
	}
	if o := first[st.word]; o != nil {
		r.add("PM706", st.span, fmt.Sprintf("%s stands twice, on line %d and on line %d", st.word, o.span.Line, st.span.Line), "It may stand once in "+where+".", "keep one of the two")
		return false
	}
	first[st.word] = st
	return true
}

// paper builds a paper from its block.
func (r *reader) paper(b *block) *Paper {
	p := &Paper{Span: blockSpan(b), Name: nameOf(b), Intent: Text{Value: "relative"}, BlackPoint: Text{Value: "on"}}
	first := map[string]*statement{}
	for _, st := range b.stmts {
		if !r.once(first, st, titleOf(b)) {
			continue
		}
		g, ok := st.node.(*gPaper)
		if !ok || st.broken {
			continue
		}
		x := &builder{toks: st.toks, span: st.span}
		switch {
		case given(g.Profile):
			p.Profile = x.opt(g.Profile)
		case given(g.Intent):
			p.Intent = x.text(g.Intent)
		case given(g.BlackPoint):
			p.BlackPoint = x.text(g.BlackPoint)
		}
	}
	if !hasWord(b, "profile") {
		r.add("PM719", b.head.span, fmt.Sprintf("%s has no profile", titleOf(b)), "A paper is what its profile says of it: how its inks look on it.", `add a line such as profile "papers/baryta-310.icc"`)
	}
	return p
}

// hasWord says whether a block has a line of this word, also a broken one.
func hasWord(b *block, word string) bool {
	for _, st := range b.stmts {
		if st.word == word {
			return true
		}
	}
	return false
}

// lab builds a lab from its block.
func (r *reader) lab(b *block) *Lab {
	l := &Lab{Span: blockSpan(b), Name: nameOf(b)}
	first := map[string]*statement{}
	for _, st := range b.stmts {
		if !r.once(first, st, titleOf(b)) {
			continue
		}
		g, ok := st.node.(*gLab)
		if !ok || st.broken {
			continue
		}
		x := &builder{toks: st.toks, span: st.span}
		switch {
		case len(g.Takes) > 0:
			for _, t := range g.Takes {
				l.Takes = append(l.Takes, x.text(t.Word))
			}
		case given(g.Space):
			l.Space = x.opt(g.Space)
		case g.Resolution != nil:
			l.Resolution = x.optMeasure(g.Resolution)
		case given(g.Bits):
			l.Bits = x.optNumber(g.Bits)
		case g.Largest != nil:
			l.Largest = x.optMeasure(g.Largest)
		}
	}
	return l
}

// tones puts the lines of the tone blocks of a block into their steps, and
// checks what spans them; and the shares of a mix.
func (r *reader) tones(b *block) {
	for _, st := range b.stmts {
		if m, ok := st.node.(*Mix); ok && !st.broken {
			sum := new(big.Rat).Add(m.Red.Value, m.Green.Value)
			if sum.Add(sum, m.Blue.Value).Cmp(big.NewRat(100, 1)) != 0 {
				r.add("PM722", st.span, fmt.Sprintf("these shares sum to %s%%", decimal(sum)), "They must sum to 100%, so that white stays white.", "change one of them")
			}
			continue
		}
		t, ok := st.node.(*Tone)
		if !ok || st.broken || st.child == nil {
			continue
		}
		first := map[string]*statement{}
		for _, s := range st.child.stmts {
			if !r.once(first, s, "a tone block") {
				continue
			}
			if g, ok := s.node.(*gTone); ok && !s.broken {
				x := &builder{toks: s.toks, span: s.span}
				x.toneLine(t, g)
			}
		}
		if len(st.child.stmts) == 0 {
			r.add("PM720", st.span, "this tone changes nothing", "", "write at least one of exposure, warmth, contrast, curve, local contrast, chroma and muted chroma inside")
		}
		r.curve(t)
	}
}

// curve checks that a curve's points rise.
func (r *reader) curve(t *Tone) {
	for i := 1; i < len(t.Curve); i++ {
		a, z := t.Curve[i-1], t.Curve[i]
		switch {
		case z.X.Cmp(a.X) <= 0:
			r.add("PM721", z.Span, "the curve's points stand from dark to light", "The first number of each point is larger than that of the point before.")
			return
		case z.Y.Cmp(a.Y) < 0:
			r.add("PM721", z.Span, "this curve falls", "A falling curve turns light into dark; each point is at least as high as the one before.")
			return
		}
	}
	if n := len(t.Curve); n > 32 {
		r.add("PM721", t.Curve[32].Span, fmt.Sprintf("this curve has %d points", n), "A curve has at most 32.", "leave some out")
	} else if n == 1 {
		r.add("PM721", t.Curve[0].Span, "a curve has at least two points", "", "write for example curve (0, 0), (50, 55), (100, 100)")
	}
}

// decimal writes a share plainly.
func decimal(v *big.Rat) string {
	if v.IsInt() {
		return v.Num().String()
	}
	return v.FloatString(2)
}

// useTarget finds what a conversion names: a paper or a lab.
func (r *reader) useTarget(names *nameList, t Text) {
	n := names.find(t.Value)
	switch {
	case n == nil:
		r.noTarget(t, "PM411", names)
	case n.kind == "lab" || n.kind == "paper":
		n.used = true
	default:
		r.noTarget(t, "PM409", names)
	}
}

// noTarget complains about a conversion to what is neither a space nor a paper
// or a lab, and says what it may be.
func (r *reader) noTarget(t Text, code string, names *nameList) {
	var have, hints []string
	if names != nil {
		have = append(names.ofKind["paper"][:len(names.ofKind["paper"]):len(names.ofKind["paper"])], names.ofKind["lab"]...)
	}
	space := nearest(t.Value, Spaces)
	for _, s := range Spaces { // P3, romm
		if len(t.Value) > 1 && space == "" && strings.Contains(strings.ToLower(s), strings.ToLower(t.Value)) {
			space = s
		}
	}
	summary := fmt.Sprintf("no paper and no lab is named %s", t.Value)
	if near := r.nearest(t.Value, have); near != "" {
		n := names.find(near)
		n.used = true // meant, so not unused
		hints = []string{fmt.Sprintf("did you mean %s, line %d?", near, n.text.Line)}
	} else if space != "" {
		code, hints = "PM209", []string{"did you mean " + space + "?"}
	} else if len(have) > 0 {
		hints = []string{"papers and labs so far: " + andList(have[:min(len(have), 8)])}
	} else if code == "PM411" {
		hints = []string{fmt.Sprintf("define it: paper %s {, or name a space", t.Value)}
	}
	if n := names.find(t.Value); n != nil {
		summary = fmt.Sprintf("%s is a %s, not a paper or a lab", t.Value, kindOf(n.kind))
	} else if code == "PM209" {
		summary = fmt.Sprintf("%s isn't a colour space, nor the name of a paper or a lab", t.Value)
	}
	r.add(code, t.Span, summary, "A picture is converted to "+orList(Spaces)+", to a paper, to a lab, or to a profile.", hints...)
}

// idleTones warns of tones for a paper that act in no print, whatever is built.
func (r *reader) idleTones(rec *Recipe) {
	if r.anyBroken() {
		return
	}
	idle := func(steps []Step, papers map[string]bool, mend string) {
		for _, s := range steps {
			t, ok := s.(*Tone)
			if ok && t.For != nil && rec.Paper(t.For.Value) != nil && len(papers) > 0 && !papers[t.For.Value] {
				r.add("PM455", t.For.Span, "this tone acts in no print", fmt.Sprintf("It is for %s, and no print that it stands in is on it.", t.For.Value), fmt.Sprintf("did you mean print %s on %s?", mend, t.For.Value))
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
		every[paperOf(p)] = true
		follow(p.Steps, map[string]bool{paperOf(p): true})
	}
	if rec.Prepare != nil {
		follow(rec.Prepare.Steps, every)
		idle(rec.Prepare.Steps, every, "…")
	}
	for _, b := range rec.Series {
		idle(b.Steps, in[b.Name.Value], "…")
	}
	for _, p := range rec.Prints {
		idle(p.Steps, map[string]bool{paperOf(p): true}, p.Name.Value)
	}
}

// paperOf names the paper that a print is on, "" where it is on none.
func paperOf(p *Print) string {
	if p.On == nil {
		return ""
	}
	return p.On.Value
}
