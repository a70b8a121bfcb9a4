package lang

import (
	"fmt"
	"math/big"

	"platemark/lang/overlap"
)

// item is a line of a block after `follow` was replaced by what it stands for.
type item struct {
	st  *statement
	via *statement // the follow line, nil where the line stands here itself
}

// at is the line that a complaint about the order is about.
func (i item) at() *statement {
	if i.via != nil {
		return i.via
	}
	return i.st
}

func (i item) where() string {
	if i.via != nil {
		return fmt.Sprintf("line %d, followed from line %d", i.st.span.Line, i.via.span.Line)
	}
	return fmt.Sprintf("line %d", i.st.span.Line)
}

// maxFlow bounds the lines of prepare and all prints, those of followed blocks
// counted for each print: 10 prints of a film with 10,000 spots.
const maxFlow = 100_000

// flatten replaces follow lines; nil where that would come to too many lines.
func (r *reader) flatten(b *block, names *nameList) []item {
	var out []item
	for _, st := range b.stmts {
		if f, ok := st.node.(*Follow); ok && !st.broken {
			if n := names.find(f.Name.Value); n != nil && n.kind == "steps" {
				if r.lines += len(n.blk.stmts); r.lines > maxFlow {
					r.add("PM108", st.span, "the prints of this recipe have too many lines", "They may have 100,000 together, the lines of a followed block counted for each print.", "cut it into several recipes")
					return nil
				}
				for _, s := range n.blk.stmts {
					out = append(out, item{s, st})
				}
			}
			continue
		}
		r.lines++
		out = append(out, item{st: st})
	}
	return out
}

// picture is a picture between two steps: how it came to be, and whether
// anything reads it.
type picture struct {
	item     item
	name     *Text
	enlarged *item
	cropped  int // line of the last crop on its way
	turned   int // line of the last conversion on its way
	used     bool
	base     bool
	unclear  bool // a line on its way couldn't be read
	dropped  int  // the line that put another picture in its place
}

// next is what a step makes of a picture, before the step's own mark on it.
func (p *picture) next() *picture {
	return &picture{enlarged: p.enlarged, cropped: p.cropped, turned: p.turned, unclear: p.unclear}
}

// flow follows the pictures through prepare or a print, and checks the order
// of the lines, the names of pictures, and that every step has an effect.
func (r *reader) flow(b *block, names *nameList) {
	items := r.flatten(b, names)
	r.order(b, items)
	r.runs(items)

	looseUse, looseGive := map[string]bool{}, map[string]bool{}
	for _, it := range items {
		if it.st.broken {
			g, u := loose(it.st)
			for _, x := range g {
				looseGive[x] = true
			}
			for _, x := range u {
				looseUse[x] = true
			}
		}
	}
	cur := &picture{base: true}
	all := []*picture{}
	doubt := 0 // so many of all may be meant by a line that can't be read, or names none
	named := map[string]*picture{}
	var given []string // the names so far
	later := map[string]*Text{}
	for _, it := range items {
		if as := asOf(it.st.node); as != nil && later[as.Value] == nil {
			later[as.Value] = as
		}
	}
	lookup := func(t Text) *picture {
		p := named[t.Value]
		if p == nil && !looseGive[t.Value] {
			p = r.noPicture(b, later[t.Value], named, given, t)
		}
		if p == nil {
			doubt = len(all)
		}
		return p
	}
	for i := range items {
		it := items[i]
		if it.st.broken {
			cur.used = true
			cur = cur.next()
			cur.used, cur.unclear = true, true
			doubt = len(all)
			continue
		}
		var next *picture
		var as *Text
		switch s := it.st.node.(type) {
		case *Crop:
			cur.used = true
			next = cur.next()
			next.cropped = s.Line
			if b.kind == "prepare" {
				r.frameUnits(it, s.At, s.From, s.Till)
			}
			r.cropExtent(s)
		case *Convert:
			cur.used = true
			next = cur.next()
			next.turned = s.Line
		case *Mix:
			cur.used = true
			next = cur.next()
			next.turned = s.Line
		case *SpotAt:
			cur.used = true
			next = cur.next()
			if b.kind == "prepare" {
				r.frameUnits(it, &s.At, s.From)
			}
			if s.From != nil && samePoint(s.At, *s.From) {
				r.add("PM307", s.From.Span, "this spot copies from its own place", "", "copy from another place, or leave from out")
			}
		case *SpotPixels, *Turn, *Mirror, *Tone, *Tint, *Border, *Wrap:
			cur.used = true
			next = cur.next()
		case *Sharpen:
			cur.used = true
			as = s.As
			next = cur.next()
		case *Enlarge:
			cur.used = true
			as = s.As
			if b.kind == "prepare" {
				if it.via != nil {
					r.add("PM712", it.via.span, fmt.Sprintf("this block enlarges, line %d, and prepare works at the master's own size", s.Line), "", "follow it in a print")
				}
			} else if cur.enlarged != nil {
				r.add("PM714", s.Span, fmt.Sprintf("the picture is enlarged twice, on line %d and on line %d", cur.enlarged.st.span.Line, s.Line), "One enlarging brings the picture to the print's size; a second one would only soften it.", "take one of the two out, or name the first with as")
			}
			next = cur.next()
			next.enlarged = &items[i]
		case *Take:
			p := lookup(s.Name)
			if p == nil {
				p = &picture{base: true, unclear: true}
				cur.used = true
			}
			if p != cur {
				cur.dropped = s.Line
			}
			p.used = true
			cur = p
			continue
		case *Blend:
			as = s.As
			t, o := lookup(s.Top), lookup(s.Over)
			next = &picture{unclear: true}
			if t != nil {
				t.used = true
				next = t.next()
			}
			if o != nil {
				o.used = true
			}
			if t != nil && o != nil {
				if t == o {
					r.add("PM713", s.Span, fmt.Sprintf("%s is blended over itself", s.Top.Value), "", "blend two different pictures")
				}
				r.match(s, t, o)
			}
		default:
			continue
		}
		next.item = it
		all = append(all, next)
		if as == nil {
			if _, ok := it.st.node.(*Blend); ok {
				cur.dropped = it.st.span.Line
			}
			cur = next
			continue
		}
		next.name = as
		if p := named[as.Value]; p != nil {
			r.add("PM406", as.Span, fmt.Sprintf("the name %s is given twice, on line %d and on line %d", as.Value, p.name.Line, as.Line), fmt.Sprintf("Both are in %s.", titleOf(b)), "choose another name for one of the two")
		}
		if n := names.find(as.Value); n != nil {
			r.add("PM406", as.Span, fmt.Sprintf("the name %s is given twice, on line %d and on line %d", as.Value, n.text.Line, as.Line), fmt.Sprintf("It is the name of a %s already; a name means one thing in a recipe.", kindOf(n.kind)), "choose another name for one of the two")
		}
		if named[as.Value] == nil {
			named[as.Value] = next
			given = append(given, as.Value)
		}
	}
	cur.used = true
	for _, p := range all[doubt:] {
		if p.used {
			continue
		}
		if p.name != nil {
			if !looseUse[p.name.Value] {
				r.add("PM407", p.name.Span, fmt.Sprintf("nothing in %s uses the picture %s", titleOf(b), p.name.Value), "A named picture leaves the current one as it was, so that this step has no effect.", fmt.Sprintf("use it with blend or take, or take “as %s” out", p.name.Value))
			}
			continue
		}
		r.add("PM713", p.item.st.span, fmt.Sprintf("this %s has no effect in %s", p.item.st.word, titleOf(b)), fmt.Sprintf("Its result is put aside on line %d, and nothing has read it.", p.dropped), "take it out, or name its result with as")
	}
}

func titleOf(b *block) string {
	if b.name != nil {
		return b.kind + " " + b.name.Value
	}
	return b.kind
}

// noPicture complains about a picture that isn't named yet, and returns the one
// that was meant, where one was. later is where it is named, if anywhere.
func (r *reader) noPicture(b *block, later *Text, named map[string]*picture, given []string, t Text) *picture {
	if later != nil {
		r.add("PM403", t.Span, fmt.Sprintf("the picture %s is named later, on line %d", t.Value, later.Line), "Steps run from top to bottom.", "move that line before this one")
		return nil
	}
	var meant *picture
	var hints []string
	if w := r.nearest(t.Value, given); w != "" {
		meant = named[w]
		hints = []string{fmt.Sprintf("did you mean %s, line %d?", w, meant.name.Line)}
	} else if len(given) > 0 {
		hints = namedSoFar(given)
	} else {
		hints = []string{"name a picture with as, such as enlarge with lanczos3 as crisp"}
	}
	r.add("PM403", t.Span, fmt.Sprintf("no picture is named %s in %s", t.Value, titleOf(b)), "", hints...)
	return meant
}

func asOf(n any) *Text {
	switch s := n.(type) {
	case *Enlarge:
		return s.As
	case *Blend:
		return s.As
	case *Sharpen:
		return s.As
	}
	return nil
}

// match refuses to blend pictures that can't lie on each other.
func (r *reader) match(s *Blend, t, o *picture) {
	a, b := s.Top.Value, s.Over.Value
	switch {
	case t.unclear || o.unclear:
	case (t.enlarged == nil) != (o.enlarged == nil):
		big := a
		if t.enlarged == nil {
			big = b
		}
		r.add("PM715", s.Span, fmt.Sprintf("%s and %s differ in size", a, b), fmt.Sprintf("Only %s has been enlarged.", big), "enlarge both, then blend")
	case t.cropped != o.cropped:
		r.add("PM715", s.Span, fmt.Sprintf("%s and %s differ in size", a, b), fmt.Sprintf("The crop on line %d lies between them.", max(t.cropped, o.cropped)), "crop before naming them")
	case t.turned != o.turned:
		r.add("PM715", s.Span, fmt.Sprintf("%s and %s differ in colour space", a, b), fmt.Sprintf("The convert on line %d lies between them.", max(t.turned, o.turned)), "convert before naming them")
	}
}

// rank is the place of a line in a print.
func rank(word string) int {
	switch word {
	case "edition":
		return 1
	case "size":
		return 2
	case "crop":
		return 3
	case "convert":
		return 5
	case "border", "wrap":
		return 6
	case "save":
		return 7
	}
	return 4
}

// order checks which line may stand where.
func (r *reader) order(b *block, items []item) {
	first := map[string]item{}
	high, highAt := 0, item{}
	other := item{}
	for _, it := range items {
		w := it.st.word
		if len(blocksOf(w)) == 0 {
			continue // an unknown word
		}
		if contains([]string{"edition", "size", "crop", "convert", "border", "wrap", "save"}, w) && contains(blocksOf(w), b.kind) {
			if o, ok := first[w]; ok {
				if w != "save" || it.via == nil {
					r.add("PM706", it.at().span, fmt.Sprintf("%s stands twice, on line %d and on line %d", w, o.st.span.Line, it.st.span.Line), fmt.Sprintf("It may stand once in %s.", titleOf(b)), "keep one of the two")
				}
				continue
			}
			first[w] = it
		}
		if b.kind == "prepare" {
			switch {
			case w != "turn" && w != "mirror":
				if other.st == nil {
					other = it
				}
			case other.st != nil && !it.st.broken:
				r.add("PM710", it.st.span, fmt.Sprintf("%s stands behind %s, line %d", w, other.st.word, other.st.span.Line), "turn and mirror make the frame that every position and mask is measured on, so they stand at the head of prepare.", "move it to the head of prepare")
			}
			continue
		}
		if !contains(blocksOf(w), b.kind) {
			continue // complained about where it stands
		}
		k := rank(w)
		if k >= high {
			high, highAt = k, it
			continue
		}
		const rule = "A print is written in the order edition, size, crop, steps (enlarge among them), convert, border or wrap, save."
		if highAt.st.word == "save" {
			r.add("PM709", it.at().span, fmt.Sprintf("%s stands behind save, line %d", w, highAt.st.span.Line), rule, "move it before save")
			continue
		}
		detail := rule
		if it.via != nil {
			detail = fmt.Sprintf("This follows a block with %s on line %d. %s", w, it.st.span.Line, rule)
		}
		r.add("PM707", it.at().span, fmt.Sprintf("%s stands behind %s, %s", w, highAt.st.word, highAt.where()), detail, fmt.Sprintf("move it before %s", highAt.st.word))
	}
}

// frameUnits refuses physical positions where there is no print.
func (r *reader) frameUnits(it item, ps ...*Point) {
	for _, p := range ps {
		if p == nil {
			continue
		}
		for _, m := range []Measure{p.X, p.Y} {
			if m.Unit != "in" && m.Unit != "cm" && m.Unit != "mm" {
				continue
			}
			detail := "Positions in in, cm and mm are on a print, and prepare works on the master for all of them. In prepare a position takes % or px."
			if it.via != nil {
				detail += fmt.Sprintf(" The block is followed from prepare on line %d.", it.via.span.Line)
			}
			r.add("PM302", m.Span, fmt.Sprintf("%s has no meaning in prepare", m.Unit), detail, "write % of the frame")
		}
	}
}

// cropExtent refuses a crop whose second corner isn't right of and below the
// first, where the units let it be seen.
func (r *reader) cropExtent(s *Crop) {
	if s.From == nil || s.Till == nil {
		return
	}
	for _, c := range [][2]Measure{{s.From.X, s.Till.X}, {s.From.Y, s.Till.Y}} {
		if c[0].Unit == c[1].Unit && c[0].Unit != "" && c[0].Value.Cmp(c[1].Value) >= 0 {
			r.add("PM307", s.Till.Span, "this corner lies not right of and below the first", "A crop runs from its upper left to its lower right corner.", "swap the two")
			return
		}
	}
}

// runs finds spots of one run that overlap whatever the frame's shape.
func (r *reader) runs(items []item) {
	var run []*SpotAt
	var discs []overlap.Disc
	end := func() {
		for _, o := range overlap.Find(discs, func(i, j int) bool { return alwaysOverlap(run[i], run[j]) }) {
			s, other := run[o.Disc], run[o.First]
			r.add("PM716", s.Span, fmt.Sprintf("this spot overlaps the one on line %d (lines %d and %d)", other.Line, other.Line, s.Line), "Spots that stand next to each other are one step and all read the picture before it.", "move one, make it smaller, or put another step between them")
		}
		run, discs = run[:0], discs[:0]
	}
	for _, it := range items {
		s, ok := it.st.node.(*SpotAt)
		if !ok || it.st.broken {
			end()
			continue
		}
		d := overlap.Disc{Kind: s.At.X.Unit}
		d.X, _ = s.At.X.Value.Float64()
		d.Y, _ = s.At.Y.Value.Float64()
		d.R, _ = s.Radius.Value.Float64()
		run, discs = append(run, s), append(discs, d)
	}
	end()
}

// alwaysOverlap reports whether two spots overlap on frames of every shape:
// on the square one they lie farthest apart.
func alwaysOverlap(a, b *SpotAt) bool {
	u := a.At.X.Unit
	for _, m := range []Measure{a.At.X, a.At.Y, a.Radius, b.At.X, b.At.Y, b.Radius} {
		if m.Unit != u || u != "%" && u != "px" {
			return false
		}
	}
	return within(a.At.X.Value, a.At.Y.Value, b.At.X.Value, b.At.Y.Value, new(big.Rat).Add(a.Radius.Value, b.Radius.Value))
}

func within(ax, ay, bx, by, reach *big.Rat) bool {
	dx, dy := new(big.Rat).Sub(ax, bx), new(big.Rat).Sub(ay, by)
	d := new(big.Rat).Add(dx.Mul(dx, dx), dy.Mul(dy, dy))
	return d.Cmp(new(big.Rat).Mul(reach, reach)) < 0
}
