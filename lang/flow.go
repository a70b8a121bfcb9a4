package lang

import (
	"fmt"
	"math/big"
	"slices"

	"platemark/lang/overlap"
)

// item is a line of a block after `follow` was replaced by what it stands for.
type item struct {
	*stmt
	via *stmt // the follow line, nil where the line stands here itself
}

// at is the line that a complaint about the order is about.
func (i item) at() *stmt {
	if i.via != nil {
		return i.via
	}
	return i.stmt
}

func (i item) where() string {
	if i.via != nil {
		return fmt.Sprintf("line %d, followed from line %d", i.span.Line, i.via.span.Line)
	}
	return fmt.Sprintf("line %d", i.span.Line)
}

// maxFlow bounds the lines of prepare and all prints, those of followed blocks
// counted for each print: 10 prints of a film with 10,000 spots.
const maxFlow = 100_000

// flatten replaces follow lines; nil where that would come to too many lines.
func (c *checker) flatten(b *block) []item {
	var out []item
	for _, st := range b.stmts {
		f, ok := st.node.(*Follow)
		if !ok {
			c.lines++
			out = append(out, item{stmt: st})
			continue
		}
		if n := c.scope.find(f.Name.Value); n != nil && n.Kind == "steps" {
			if c.lines += len(n.stmts); c.lines > maxFlow {
				c.add("PM108", st.span, "the prints of this recipe have too many lines", "They may have 100,000 together, the lines of a followed block counted for each print.", "cut it into several recipes")
				return nil
			}
			for _, s := range n.stmts {
				out = append(out, item{s, st})
			}
		}
	}
	return out
}

// picture is a picture between two steps: how it came to be, and whether
// anything reads it.
type picture struct {
	item     item
	name     *Text
	enlarged *stmt
	cropped  int // line of the last crop on its way
	turned   int // line of the last conversion on its way
	used     bool
	unclear  bool // a line on its way couldn't be read
	outside  bool // made elsewhere: the planner sees its size
	dropped  int  // the line that put another picture in its place
}

// flow is what is known of the pictures of a prepare or a print, line by line.
type flow struct {
	*checker
	in                 *block
	cur                *picture
	all                []*picture
	doubt              int // so many of all may be meant by a line that can't be read, or names none
	named              map[string]*picture
	given              []string         // the names so far
	later              map[string]*Text // where each name is given first
	mayUse, mayBeGiven map[string]bool  // by lines that can't be read
}

// flow follows the pictures through prepare or a print, and checks the order
// of the lines, the names of pictures, and that every step has an effect.
func (c *checker) flow(b *block) {
	items := c.flatten(b)
	c.order(b, items)
	c.runs(items)
	f := &flow{checker: c, in: b, cur: &picture{}, named: map[string]*picture{}, later: map[string]*Text{},
		mayUse: map[string]bool{}, mayBeGiven: map[string]bool{}}
	for _, it := range items {
		if it.broken {
			gives, uses := it.loose()
			for _, x := range gives {
				f.mayBeGiven[x] = true
			}
			for _, x := range uses {
				f.mayUse[x] = true
			}
		} else if as := asOf(it.node); as != nil && f.later[as.Value] == nil {
			f.later[as.Value] = as
		}
	}
	for _, it := range items {
		f.step(it)
	}
	f.cur.used = true
	f.idle()
}

// step follows one line.
func (f *flow) step(it item) {
	if it.broken {
		next := f.next()
		next.used, next.unclear = true, true
		f.cur, f.doubt = next, len(f.all)
		return
	}
	prepare := f.in.Kind == "prepare"
	switch s := it.node.(type) {
	case *Take:
		f.take(s)
		return
	case *Blend:
		f.result(it, f.blend(s))
		return
	case Step:
		next := f.next()
		switch s := s.(type) {
		case *Crop:
			next.cropped = s.Line
			if prepare {
				f.frameUnits(it, s.At, s.From, s.Till)
			}
			f.cropExtent(s)
		case *Convert, *Mix:
			next.turned = it.span.Line
		case *SpotAt:
			if prepare {
				f.frameUnits(it, &s.At, s.From)
			}
			f.copiesItself(s)
		case *Enlarge:
			f.enlarge(it)
			next.enlarged = it.stmt
		}
		f.result(it, next)
	}
}

// next is what a step makes of the current picture, before the step's own mark
// on it.
func (f *flow) next() *picture {
	f.cur.used = true
	p := *f.cur
	return &picture{enlarged: p.enlarged, cropped: p.cropped, turned: p.turned, unclear: p.unclear || p.outside}
}

// result makes a step's picture the current one, or gives it its name.
func (f *flow) result(it item, next *picture) {
	next.item = it
	f.all = append(f.all, next)
	as := asOf(it.node)
	if as == nil {
		if _, ok := it.node.(*Blend); ok {
			f.cur.dropped = it.span.Line
		}
		f.cur = next
		return
	}
	next.name = as
	p := f.named[as.Value]
	if p != nil {
		f.givenTwice(*as, *p.name, fmt.Sprintf("Both are in %s.", f.in.called()))
	} else {
		f.named[as.Value] = next
		f.given = append(f.given, as.Value)
	}
	if n := f.scope.find(as.Value); n != nil {
		f.givenTwice(*as, n.text, fmt.Sprintf("It is the name of a %s already; a name means one thing in a recipe.", kindOf(n.Kind)))
	}
}

func asOf(n any) *Text {
	switch s := n.(type) {
	case *Enlarge:
		return s.As
	case *Blend:
		return s.As
	case *Denoise:
		return s.As
	case *Sharpen:
		return s.As
	}
	return nil
}

func (f *flow) take(s *Take) {
	p := f.lookup(s.Name)
	if p == nil {
		p = &picture{unclear: true}
		f.cur.used = true
	}
	f.cropped(p)
	if p != f.cur {
		f.cur.dropped = s.Line
	}
	p.used = true
	f.cur = p
}

// cropped marks the current picture, where it is a crop, as what says which part of
// the frame pictures made elsewhere show.
func (f *flow) cropped(all ...*picture) {
	if s := f.cur.item.stmt; s != nil && s.word == "crop" && !slices.ContainsFunc(all, func(p *picture) bool { return p == nil || !p.outside }) {
		f.cur.used = true
	}
}

func (f *flow) blend(s *Blend) *picture {
	t, o := f.lookup(s.Top), f.lookup(s.Over)
	f.cropped(t, o)
	next := &picture{unclear: true}
	for _, p := range []*picture{o, t} {
		if p == nil {
			continue
		}
		p.used = true
		if !p.outside {
			next = &picture{enlarged: p.enlarged, cropped: p.cropped, turned: p.turned, unclear: p.unclear}
		}
	}
	if t != nil && o != nil {
		if t == o {
			f.add("PM713", s.Span, fmt.Sprintf("%s is blended over itself", s.Top.Value), "", "blend two different pictures")
		}
		f.match(s, t, o)
	}
	return next
}

// lookup finds a picture by its name, or the one that was likely meant.
func (f *flow) lookup(t Text) *picture {
	p := f.named[t.Value]
	if n := f.scope.find(t.Value); p == nil && n != nil && n.Kind == "picture" {
		n.used = true
		p = &picture{name: &n.text, outside: true}
		f.named[t.Value] = p
	}
	if p == nil && !f.mayBeGiven[t.Value] {
		p = f.noPicture(t)
	}
	if p == nil {
		f.doubt = len(f.all)
	}
	return p
}

// noPicture complains about a picture that isn't named yet, and returns the one
// that was meant, where one was.
func (f *flow) noPicture(t Text) *picture {
	if later := f.later[t.Value]; later != nil {
		f.add("PM403", t.Span, fmt.Sprintf("the picture %s is named later, on line %d", t.Value, later.Line), "Steps run from top to bottom.", "move that line before this one")
		return nil
	}
	var meant *picture
	hint := "name a picture with as, such as enlarge with lanczos3 as crisp"
	elsewhere := f.scope.ofKind["picture"]
	w := f.scope.nearest(t.Value, f.given)
	if w == "" {
		w = f.scope.nearest(t.Value, elsewhere)
	}
	if w != "" {
		meant = f.lookup(Text{Value: w})
		hint = fmt.Sprintf("did you mean %s, line %d?", w, meant.name.Line)
	} else if len(f.given) > 0 {
		hint = namedSoFar(f.given)[0]
	} else if len(elsewhere) > 0 {
		hint = namedSoFar(elsewhere)[0]
	}
	f.add("PM403", t.Span, fmt.Sprintf("no picture is named %s in %s", t.Value, f.in.called()), "", hint).fixNear(t.Span, w)
	return meant
}

// idle complains about pictures that nothing reads.
func (f *flow) idle() {
	for _, p := range f.all[f.doubt:] {
		switch {
		case p.used:
		case p.name == nil:
			f.add("PM713", p.item.span, fmt.Sprintf("this %s has no effect in %s", p.item.word, f.in.called()), fmt.Sprintf("Its result is put aside on line %d, and nothing has read it.", p.dropped), "take it out, or name its result with as")
		case !f.mayUse[p.name.Value]:
			f.add("PM407", p.name.Span, fmt.Sprintf("nothing in %s uses the picture %s", f.in.called(), p.name.Value), "A named picture leaves the current one as it was, so that this step has no effect.", fmt.Sprintf("use it with blend or take, or take “as %s” out", p.name.Value))
		}
	}
}

// enlarge refuses a second enlarging, and one that prepare follows.
func (f *flow) enlarge(it item) {
	switch {
	case f.in.Kind != "prepare" && f.cur.enlarged != nil:
		f.add("PM714", it.span, fmt.Sprintf("the picture is enlarged twice, on line %d and on line %d", f.cur.enlarged.span.Line, it.span.Line), "One enlarging brings the picture to the print's size; a second one would only soften it.", "take one of the two out, or name the first with as")
	case f.in.Kind == "prepare" && it.via != nil:
		f.add("PM712", it.via.span, fmt.Sprintf("this block enlarges, line %d, and prepare works at the master's own size", it.span.Line), "", "follow it in a print")
	}
}

// match refuses to blend pictures that can't lie on each other.
func (f *flow) match(s *Blend, t, o *picture) {
	a, b := s.Top.Value, s.Over.Value
	switch {
	case t.unclear || o.unclear || t.outside || o.outside:
	case (t.enlarged == nil) != (o.enlarged == nil):
		big := a
		if t.enlarged == nil {
			big = b
		}
		f.add("PM715", s.Span, fmt.Sprintf("%s and %s differ in size", a, b), fmt.Sprintf("Only %s has been enlarged.", big), "enlarge both, then blend")
	case t.cropped != o.cropped:
		f.add("PM715", s.Span, fmt.Sprintf("%s and %s differ in size", a, b), fmt.Sprintf("The crop on line %d lies between them.", max(t.cropped, o.cropped)), "crop before naming them")
	case t.turned != o.turned:
		f.add("PM715", s.Span, fmt.Sprintf("%s and %s differ in colour space", a, b), fmt.Sprintf("The convert on line %d lies between them.", max(t.turned, o.turned)), "convert before naming them")
	}
}

func (c *checker) copiesItself(s *SpotAt) {
	if s.From != nil && samePoint(s.At, *s.From) {
		c.add("PM307", s.From.Span, "this spot copies from its own place", "", "copy from another place, or leave from out")
	}
}

// frameUnits refuses physical positions where there is no print.
func (c *checker) frameUnits(it item, ps ...*Point) {
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
			c.add("PM302", m.Span, fmt.Sprintf("%s has no meaning in prepare", m.Unit), detail, "write % of the frame")
		}
	}
}

// cropExtent refuses a crop whose second corner isn't right of and below the
// first, where the units let it be seen.
func (c *checker) cropExtent(s *Crop) {
	if s.From == nil {
		return
	}
	for _, m := range [][2]Measure{{s.From.X, s.Till.X}, {s.From.Y, s.Till.Y}} {
		if m[0].Unit == m[1].Unit && m[0].Unit != "" && m[0].Value.Cmp(m[1].Value) >= 0 {
			c.add("PM307", s.Till.Span, "this corner lies not right of and below the first", "A crop runs from its upper left to its lower right corner.", "swap the two")
			return
		}
	}
}

// order checks which line may stand where.
func (c *checker) order(b *block, items []item) {
	first := map[string]item{}
	high, other := item{}, item{}
	for _, it := range items {
		w := it.word
		if len(blocksOf(w)) == 0 {
			continue // an unknown word
		}
		ways := statementsOf(w, b.Kind)
		if len(ways) > 0 && ways[0].once {
			if o, ok := first[w]; ok {
				if w != "save" || it.via == nil {
					c.standsTwice(it.at().span, w, o.span.Line, it.span.Line, b.called())
				}
				continue
			}
			first[w] = it
		}
		switch {
		case b.Kind == "prepare":
			other = c.headFirst(it, other)
		case len(ways) == 0: // complained about where it stands
		case high.stmt == nil || ways[0].place >= statementsOf(high.word, b.Kind)[0].place:
			high = it
		default:
			c.misplaced(b, it, high)
		}
	}
}

// headFirst refuses a turn or a mirror behind another step; other is the first
// of those.
func (c *checker) headFirst(it, other item) item {
	switch {
	case it.word != "turn" && it.word != "mirror":
		if other.stmt == nil {
			return it
		}
	case other.stmt != nil && !it.broken:
		c.add("PM710", it.span, fmt.Sprintf("%s stands behind %s, line %d", it.word, other.word, other.span.Line), "turn and mirror make the frame that every position and mask is measured on, so they stand at the head of prepare.", "move it to the head of prepare")
	}
	return other
}

// misplaced complains about a line of a print or sheet behind one that it stands
// before.
func (c *checker) misplaced(b *block, it, behind item) {
	rule := "A print is written in the order edition, size, crop, steps (enlarge among them), convert, border or wrap, save."
	if b.Kind == "sheet" {
		rule = "A sheet is written in the order size, what lies on it, save."
	}
	if behind.word == "save" {
		c.add("PM709", it.at().span, fmt.Sprintf("%s stands behind save, line %d", it.word, behind.span.Line), rule, "move it before save")
		return
	}
	detail := rule
	if it.via != nil {
		detail = fmt.Sprintf("This follows a block with %s on line %d. %s", it.word, it.span.Line, rule)
	}
	c.add("PM707", it.at().span, fmt.Sprintf("%s stands behind %s, %s", it.word, behind.word, behind.where()), detail, "move it before "+behind.word)
}

// runs finds spots of one run that overlap whatever the frame's shape.
func (c *checker) runs(items []item) {
	var run []*SpotAt
	for i := range len(items) + 1 {
		if i < len(items) {
			if s, ok := items[i].node.(*SpotAt); ok {
				run = append(run, s)
				continue
			}
		}
		c.overlaps(run)
		run = run[:0]
	}
}

// overlaps complains about the spots of a run that overlap.
func (c *checker) overlaps(run []*SpotAt) {
	discs := make([]overlap.Disc, len(run))
	for i, s := range run {
		d := &discs[i]
		d.Kind = s.At.X.Unit
		d.X, _ = s.At.X.Value.Float64()
		d.Y, _ = s.At.Y.Value.Float64()
		d.R, _ = s.Radius.Value.Float64()
	}
	for _, o := range overlap.Find(discs, func(i, j int) bool { return alwaysOverlap(run[i], run[j]) }) {
		s, other := run[o.Disc], run[o.First]
		c.add("PM716", s.Span, fmt.Sprintf("this spot overlaps the one on line %d (lines %d and %d)", other.Line, other.Line, s.Line), "Spots that stand next to each other are one step and all read the picture before it.", "move one, make it smaller, or put another step between them")
	}
}

// alwaysOverlap reports whether two spots overlap on frames of every shape:
// on the square one they lie farthest apart.
func alwaysOverlap(a, b *SpotAt) bool {
	u := a.At.X.Unit
	if u != "%" && u != "px" || slices.ContainsFunc([]Measure{a.At.Y, a.Radius, b.At.X, b.At.Y, b.Radius}, func(m Measure) bool { return m.Unit != u }) {
		return false
	}
	dx, dy := new(big.Rat).Sub(a.At.X.Value, b.At.X.Value), new(big.Rat).Sub(a.At.Y.Value, b.At.Y.Value)
	reach := new(big.Rat).Add(a.Radius.Value, b.Radius.Value)
	d := new(big.Rat).Add(dx.Mul(dx, dx), dy.Mul(dy, dy))
	return d.Cmp(reach.Mul(reach, reach)) < 0
}
