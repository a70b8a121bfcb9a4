package lang

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// fault is a line that fits no way to write its statement: of the ways, those
// that fit furthest, the first of which is taken for what was meant.
type fault struct {
	*parser
	*misfit
	line  *stmt
	start int       // the token behind its word
	best  []*misfit // those that fit as far
	tok   Token     // that didn't fit
	usage string    // how the line is written
}

// misfit says what is wrong with a line that fits no way to write it.
func (r *parser) misfit(st *stmt, start int, fails []*misfit) {
	furthest := slices.MaxFunc(fails, func(a, b *misfit) int { return cmp.Compare(a.at, b.at) })
	best := slices.DeleteFunc(slices.Clone(fails), func(f *misfit) bool { return f.at < furthest.at })
	f := &fault{parser: r, misfit: best[0], line: st, start: start, best: best, usage: usageOf(best...)}
	if f.at >= len(st.toks) {
		f.short()
		return
	}
	f.tok = st.toks[f.at]
	p := f.due()
	now := former[st.word+" "+f.tok.Value]
	switch {
	case now != "" && !f.value:
		f.say("PM209", fmt.Sprintf("`%s` is `%s`", f.tok.Value, now)).fix(f.tok.Span, now, true)
	case !f.st.Opens && (isPunct(st.toks, f.at, "{") || isPunct(st.toks, f.at, "}")):
		f.say("PM136", st.name()+" opens no block", "write its parameters on its line, without braces")
		r.again(st, start)
	case f.behindNumber() && (f.tok.Kind == KindName || f.tok.Kind == KindBad) && p != nil && p.measured() && unitHints(f.tok.Value, p.units()) != nil:
		r.add("PM118", f.tok.Span, f.tok.Value+" isn't a unit", fmt.Sprintf("%s takes %s.", capital(labelIn(st, p)), orList(p.units())), unitHints(f.tok.Value, p.units())...).
			fixNear(f.tok.Span, nearest(f.tok.Value, p.units()))
	case f.value:
		f.wrongValue(p)
	default:
		f.wrongPlace(p)
	}
}

// say complains about the token that didn't fit, and shows how the line is
// written.
func (f *fault) say(code, summary string, hints ...string) *Diagnostic {
	return f.add(code, f.tok.Span, summary, f.usage, hints...)
}

// behindNumber says whether the token stands behind a number of the line.
func (f *fault) behindNumber() bool {
	return f.at > f.start && f.line.toks[f.at-1].Kind == KindNumber
}

// due is the parameter that the line stopped fitting in or right behind.
func (f *fault) due() *Param {
	if f.value {
		return &f.st.Params[f.param]
	}
	if n := len(f.binds); n > 0 {
		return f.binds[n-1].param
	}
	return nil
}

// has reports whether a word is a parameter of the statement.
func (s *Statement) has(word string) bool {
	return slices.ContainsFunc(s.Params, func(p Param) bool { return p.Word == word })
}

// short: the line ends too early.
func (f *fault) short() {
	end := f.line.span
	end.Line, end.Col = end.EndLine, end.EndCol
	if f.st.Opens && slices.Contains(f.want, "{") {
		f.add("PM137", end, "this line opens a block and lacks its {", "", "end the line with {")
		return
	}
	what := f.line.name() + " lacks " + orList(f.required())
	if p := f.due(); f.value && len(f.best) == 1 && p.Word != "" && f.at > f.start {
		what = p.Word + " lacks its value"
		if p.Tail != "" {
			what = f.line.name() + " lacks " + orList(f.want)
		}
	}
	f.add("PM206", end, what, f.usage)
}

// again reads a statement once more without its braces, only to find what else
// is wrong with it.
func (r *parser) again(st *stmt, start int) {
	st.toks = slices.DeleteFunc(slices.Clone(st.toks), func(t Token) bool { return t.Kind == KindPunct && (t.Value == "{" || t.Value == "}") })
	var fails []*misfit
	for _, s := range st.ways {
		binds, fail := s.match(st.toks, start)
		if fail == nil {
			r.values(st, binds)
			return
		}
		fails = append(fails, fail)
	}
	if len(st.toks) > start {
		r.misfit(st, start, fails)
	}
}

// required lists what the ways wait for without the optional words.
func (f *fault) required() []string {
	var out []string
	for _, b := range f.best {
		want := b.want
		if !b.value { // optional words were passed over
			want = want[len(want)-1:]
		}
		for _, w := range want {
			out = appendNew(out, w)
		}
	}
	return out
}

func usageOf(ways ...*misfit) string {
	var out []string
	for _, w := range ways {
		out = appendNew(out, w.st.Usage())
	}
	return "It is written: " + strings.Join(out, "  or  ")
}

// isText says whether a token is a word of any kind.
func (t Token) isText() bool {
	return t.Kind == KindWord || t.Kind == KindName || t.Kind == KindBad || t.Kind == KindKernel || t.Kind == KindSpace
}

// choices are the words that the ways would take, where words are due.
func (f *fault) choices() []string {
	var out []string
	for _, b := range f.best {
		if b.param == len(b.st.Params) {
			continue
		}
		switch b.st.Params[b.param].Kind {
		case valueKernel:
			out = append(out, Kernels...)
		case valueSpace:
			out = append(out, Spaces...)
		default:
			for _, w := range b.want {
				if Reserved(w) {
					out = appendNew(out, w)
				}
			}
		}
	}
	return out
}

// wrongValue: a parameter's word is there and its value doesn't fit.
func (f *fault) wrongValue(p *Param) {
	t, names := f.tok, f.choices()
	switch text := p.Kind == valueText || p.Kind == valuePath; {
	case t.Kind == KindNumber && p.measured() && f.behindNumber():
		f.noUnit(f.line.toks[f.at-1], p)
	case p.Kind == valueName && len(f.best) == 1 && t.Kind == KindString:
		if d := f.say("PM207", "a name stands without quotes", "write it without quotes"); goodName(t.Value) && !Reserved(t.Value) {
			d.Hints = nil
			d.fix(t.Span, t.Value, true)
		}
	case p.Kind == valueName && len(f.best) == 1 && t.isText():
		f.badName(t, f.usage)
	case p.Kind == valueTarget && t.isText() && !Reserved(t.Value):
		f.noTarget(Text{t.Span, t.Value}, "PM209", nil)
	case t.isText() && (p.Kind == valueWord || p.Kind == valueKernel || p.Kind == valueSpace || p.Kind == valueColour && len(names) > 0):
		f.wrongChoice(p, names)
	case text && t.isText() && f.st.has(t.Value):
		f.say("PM206", fmt.Sprintf("%s lacks its %s before %s", f.line.name(), kinds[p.Kind].label, t.Value))
	case text && t.isText():
		f.say("PM207", labelIn(f.line, p)+" takes a text in double quotes").fix(t.Span, quote(t.Value), false)
	case p.Kind == valueRatio && t.Kind == KindNumber:
		f.say("PM119", "a shape is one word, W:H", "write it without spaces, such as 3:2")
	case t.Kind == KindString && (p.Kind == valueCount || p.Kind == valueMeasure || p.Kind == valuePair):
		f.say("PM207", "a number stands without quotes")
	case t.Kind == KindUnit && p.Tail == "":
		f.say("PM207", t.Value+" stands behind no number")
	default:
		var want []string
		for _, b := range f.best {
			for _, w := range b.want {
				if w != "the line's end" || len(f.best) == 1 {
					want = appendNew(want, w)
				}
			}
		}
		f.say("PM207", fmt.Sprintf("%s is due here, found %s", orList(want), show(t)))
	}
}

// wrongChoice: a word isn't one of those to choose from.
func (f *fault) wrongChoice(p *Param, names []string) {
	t, lead := f.tok, strings.TrimSpace(f.line.name()+" "+p.Word)
	if Reserved(t.Value) && f.st.has(t.Value) {
		f.say("PM206", fmt.Sprintf("%s lacks its value before %s", lead, t.Value))
		return
	}
	what := orList(names)
	if len(names) > 1 {
		what = "one of " + what
	}
	f.add("PM209", t.Span, fmt.Sprintf("%s isn't %s", t.Value, kindName(p, len(f.best))), fmt.Sprintf("%s takes %s.", capital(lead), what), didYouMean(t.Value, names)...).
		fixNear(t.Span, nearest(t.Value, names))
}

// unitHints say which unit was meant by a word that is none, nil where none is
// near.
func unitHints(word string, units []string) []string {
	if low := strings.ToLower(word); slices.Contains(units, "mired") && (low == "k" || low == "kelvin") {
		return []string{"write the step in mired, 1000000 over the kelvin: from 5000 K to 5250 K it is about 10 mired"}
	}
	return didYouMean(word, units)
}

// wrongPlace: a parameter's word is due, or nothing more. last is the parameter
// before it.
func (f *fault) wrongPlace(last *Param) {
	t := f.tok
	for _, b := range f.best {
		if b.param >= len(b.st.Params) {
			continue
		}
		p := &b.st.Params[b.param]
		if p.Kind == valueNone || p.Word == "" || t.Kind == KindName && p.Kind != valueName {
			continue
		}
		if _, lacks := p.match(f.line.toks, f.at); lacks == nil { // the value is there, its word isn't
			f.add("PM206", t.Span, fmt.Sprintf("%s is missing before %s", p.Word, show(t)), usageOf(b), fmt.Sprintf("write %s before it", p.Word)).
				fix(Span{t.Line, t.Col, t.Line, t.Col}, p.Word+" ", false)
			return
		}
	}
	switch number := f.behindNumber() && last != nil; {
	case t.isText():
		f.wrongWord()
	case t.Kind == KindNumber && number && last.measured():
		f.noUnit(f.line.toks[f.at-1], last)
	case t.Kind == KindUnit && number && last.Kind == valueCount:
		n := f.line.toks[f.at-1]
		f.say("PM306", labelIn(f.line, last)+" is a count and has no unit").fix(join(n.Span, t.Span), n.Value, true)
	case f.st.Opens && slices.Contains(f.want, "{"):
		f.noBrace()
	case f.param < len(f.st.Params):
		f.say("PM206", fmt.Sprintf("%s is due here, found %s", orList(f.required()), show(t)))
	default:
		f.say("PM208", show(t)+" is left over at the line's end").fix(t.Span, "", false)
	}
}

// wrongWord: a word stands where another word is due.
func (f *fault) wrongWord() {
	t := f.tok
	if i := slices.IndexFunc(f.binds, func(b binding) bool { return b.param.Word == t.Value }); i >= 0 {
		o := f.line.toks[f.binds[i].at]
		f.say("PM205", fmt.Sprintf("%s is given twice, first on line %d, column %d, then on line %d, column %d", t.Value, o.Line, o.Col, t.Line, t.Col), "keep one of the two")
		return
	}
	if len(f.best) > 1 && t.Kind != KindWord { // the word that tells the ways apart
		due := f.required()
		f.add("PM209", t.Span, t.Value+" isn't a choice here", fmt.Sprintf("%s takes %s. %s", capital(f.line.name()), orList(due), f.usage), didYouMean(t.Value, due)...).
			fixNear(t.Span, nearest(t.Value, due))
		return
	}
	var words []string
	for _, b := range f.best {
		if b.st.has(t.Value) {
			f.outOfOrder(b)
			return
		}
		for _, p := range b.st.Params {
			if p.Word != "" {
				words = append(words, p.Word)
			}
		}
	}
	other := slices.IndexFunc(f.line.ways, func(s *Statement) bool { return s.has(t.Value) })
	near, owners := nearest(t.Value, words), ownersOf(t.Value)
	switch {
	case other >= 0:
		f.add("PM210", t.Span, t.Value+" doesn't belong here", fmt.Sprintf("It is a parameter of: %s. This line is written: %s", f.line.ways[other].Usage(), f.st.Usage()), "take it out, or use that form")
	case t.Value == "x" && f.param > 0:
		f.say("PM208", "x is left over", "take it out")
	case near != "":
		f.say("PM203", fmt.Sprintf("%s has no parameter %s", f.line.name(), t.Value), "did you mean "+near+"?").fixNear(t.Span, near)
	case f.st.Opens && slices.Contains(f.want, "{") && len(statementsOf(t.Value, f.st.Word)) > 0:
		f.noBrace()
	case len(owners) > 0:
		f.add("PM210", t.Span, fmt.Sprintf("%s isn't a parameter of %s", t.Value, f.line.name()), fmt.Sprintf("It belongs to %s. %s", andList(owners), f.usage))
	case f.st.Opens && slices.Contains(f.want, "{"):
		f.noBrace()
	case len(words) == 0:
		f.say("PM208", t.Value+" is left over at the line's end", "take it out")
	default:
		f.say("PM203", fmt.Sprintf("%s has no parameter %s", f.line.name(), t.Value))
	}
}

// noBrace: something else stands where the line should end with a brace, perhaps
// what belongs into the block.
func (f *fault) noBrace() {
	f.say("PM137", "{ is due here, found "+show(f.tok), "end the line with {, and write what the block holds on lines of their own below, then }")
}

// outOfOrder: the word is a parameter of the statement, but not the one that is
// due.
func (f *fault) outOfOrder(b *misfit) {
	later := b.st.Params[min(b.param+1, len(b.st.Params)):]
	if slices.ContainsFunc(later, func(p Param) bool { return p.Word == f.tok.Value }) {
		due := b.st.Params[b.param].Word
		if !slices.ContainsFunc(f.line.toks[b.at:], func(t Token) bool { return t.Value == due && t.Kind == KindWord }) {
			f.say("PM206", fmt.Sprintf("%s is missing before %s", due, f.tok.Value))
			return
		}
	}
	f.say("PM204", f.tok.Value+" stands out of order").Detail = clip("Parameters stand in a fixed order, so that a line is always written the same way. " + f.usage)
}

// ownersOf returns the statements that have a parameter of this word.
func ownersOf(w string) []string {
	var out []string
	for _, s := range Statements() {
		if s.Word != "" && s.has(w) {
			out = appendNew(out, s.Word)
		}
	}
	return out
}

// noUnit reports a bare number where a unit is due.
func (r *parser) noUnit(t Token, s *Param) {
	u := s.units()
	right, safe := withUnit(t.Value, u[0]), len(u) == 1
	hint := "write " + right
	if f := s.factor(rat(t.Value)); f != "" {
		right, safe = f, false
		hint = "write " + f + ", or " + t.Value + "% if that little is meant"
	} else if !safe {
		hint += ", or another of " + orList(u)
	}
	r.add("PM301", t.Span, fmt.Sprintf("%s has no unit", t.Value), fmt.Sprintf("It takes %s.", orList(u)), hint).fix(t.Span, right, safe)
}

func withUnit(v, u string) string {
	if u == "%" || u == "" {
		return v + u
	}
	return v + " " + u
}

// badName reports a word that can't be a name.
func (r *parser) badName(t Token, usage string) {
	if Reserved(t.Value) {
		r.add("PM404", t.Span, t.Value+" is a word of the language and can't be a name", usage, "choose another name, such as "+t.Value+"-1")
		return
	}
	low := strings.ToLower(strings.NewReplacer("_", "-", ".", "-").Replace(t.Value))
	d := r.add("PM405", t.Span, fmt.Sprintf("%s can't be a name", t.Value), "A name begins with a letter from a to z and holds letters from a to z, digits and hyphens.")
	if goodName(low) && !Reserved(low) {
		d.fix(t.Span, low, false)
	} else {
		d.Hints = []string{"choose another name"}
	}
}

func kindName(s *Param, ways int) string {
	switch {
	case s.Kind == valueKernel:
		return "a kernel"
	case s.Kind == valueSpace && ways > 1:
		return "a colour space"
	case s.Kind == valueSpace:
		return "a built-in colour space"
	}
	return "a choice here"
}

func labelIn(st *stmt, s *Param) string {
	switch s.Word {
	case "at", "to", "from", "along", "over":
		return st.name() + " " + s.Word
	}
	return cmp.Or(s.Word, st.word, s.Label)
}

func show(t Token) string {
	if t.Kind == KindString {
		return fmt.Sprintf("%q", t.Value)
	}
	return t.Value
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
