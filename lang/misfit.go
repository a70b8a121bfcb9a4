package lang

import (
	"fmt"
	"slices"
	"strings"
)

// misfit says what is wrong with a line that fits no form of its word. The
// form that fits furthest is the one that was meant.
func (r *parser) misfit(st *stmt, start int, fails []*misfit) {
	best := fails[:0:0]
	for _, f := range fails {
		switch {
		case len(best) == 0 || f.at > best[0].at:
			best = append(best[:0], f)
		case f.at == best[0].at:
			best = append(best, f)
		}
	}
	f := best[0]
	toks := st.toks
	var want []string
	for _, b := range best {
		for _, w := range b.want {
			if !slices.Contains(want, w) && (w != "the line's end" || len(best) == 1) {
				want = append(want, w)
			}
		}
	}
	usage := usageOf(best)
	if f.at >= len(toks) {
		end := st.span
		end.Line, end.Col = end.EndLine, end.EndCol
		if f.st.Opens && slices.Contains(f.want, "{") {
			r.add("PM137", end, fmt.Sprintf("this line opens a block and lacks its {"), "", "end the line with {")
			return
		}
		what := ""
		if f.value && f.param < len(f.st.Params) && len(best) == 1 && f.st.Params[f.param].Word != "" && f.at > start {
			what = fmt.Sprintf("%s lacks its value", f.st.Params[f.param].Word)
			if f.st.Params[f.param].Tail != "" {
				what = fmt.Sprintf("%s lacks %s", st.name(), orList(f.want))
			}
		} else {
			what = fmt.Sprintf("%s lacks %s", st.name(), orList(required(best)))
		}
		r.add("PM206", end, what, usage)
		return
	}
	t := toks[f.at]
	sp := t.Span
	if t.Kind == KindPunct && (t.Value == "{" || t.Value == "}") && !f.st.Opens {
		r.add("PM136", sp, fmt.Sprintf("%s opens no block", st.name()), usage, "write its parameters on its line, without braces")
		st.toks = dropBraces(toks)
		if len(st.toks) < len(toks) {
			r.again(st, start)
		}
		return
	}
	if s := f.due(); f.at > start && toks[f.at-1].Kind == KindNumber && (t.Kind == KindName || t.Kind == KindBad) && s != nil && s.measured() {
		if hints := unitHints(t.Value, s.units()); hints != nil {
			r.add("PM118", sp, fmt.Sprintf("%s isn't a unit", t.Value), fmt.Sprintf("%s takes %s.", capital(labelIn(st, s)), orList(s.units())), hints...).fixNear(sp, nearest(t.Value, s.units()))
			return
		}
	}
	if f.value {
		r.wrongValue(st, best, t, sp, want, usage)
		return
	}
	r.wrongPlace(st, best, t, sp, want, usage)
}

func dropBraces(toks []Token) []Token {
	var out []Token
	for _, t := range toks {
		if t.Kind != KindPunct || t.Value != "{" && t.Value != "}" {
			out = append(out, t)
		}
	}
	return out
}

// again reads a statement once more after its tokens were mended, only to find
// what else is wrong with it.
func (r *parser) again(st *stmt, start int) {
	var fails []*misfit
	for _, f := range st.ways {
		binds, fl := f.match(st.toks, start)
		if fl == nil {
			r.values(st, binds)
			return
		}
		fails = append(fails, fl)
	}
	if len(fails) > 0 && len(st.toks) > start {
		r.misfit(st, start, fails)
	}
}

// required lists what forms wait for without the optional words.
func required(best []*misfit) []string {
	var out []string
	for _, b := range best {
		for i, w := range b.want {
			if i < len(b.want)-1 && !b.value {
				continue // an optional word passed over
			}
			if !slices.Contains(out, w) {
				out = append(out, w)
			}
		}
	}
	return out
}

func usageOf(best []*misfit) string {
	var u []string
	for _, b := range best {
		if x := b.st.Usage(); !slices.Contains(u, x) {
			u = append(u, x)
		}
	}
	return "It is written: " + strings.Join(u, "  or  ")
}

// wrongValue: a parameter's word is there and its value doesn't fit.
func (r *parser) wrongValue(st *stmt, best []*misfit, t Token, sp Span, want []string, usage string) {
	f := best[0]
	s := &f.st.Params[f.param]
	if t.Kind == KindNumber && s.measured() && f.at > 0 && st.toks[f.at-1].Kind == KindNumber {
		r.noUnit(st.toks[f.at-1], s)
		return
	}
	var names []string // the forms' choices, where words are due
	for _, b := range best {
		x := &b.st.Params[b.param]
		switch x.Kind {
		case valueKernel:
			names = append(names, Kernels...)
		case valueSpace:
			names = append(names, Spaces...)
		default:
			for _, w := range b.want {
				if reserved[w] && !slices.Contains(names, w) {
					names = append(names, w)
				}
			}
		}
	}
	word := t.Kind == KindWord || t.Kind == KindName || t.Kind == KindBad || t.Kind == KindKernel || t.Kind == KindSpace
	switch {
	case s.Kind == valueName && len(best) == 1 && t.Kind == KindString:
		if d := r.add("PM207", sp, "a name stands without quotes", usage, "write it without quotes"); goodName(t.Value) && !reserved[t.Value] {
			d.Hints = nil
			d.fix(sp, t.Value, true)
		}
	case s.Kind == valueName && len(best) == 1 && word:
		r.badName(t, usage)
	case s.Kind == valueTarget && word && !reserved[t.Value]:
		r.noTarget(Text{sp, t.Value}, "PM209", nil)
	case word && slices.Contains(laterWords, t.Value) && (t.Value == "deconvolve" || t.Value == "picture"):
		r.later(t)
	case word && (s.Kind == valueWord || s.Kind == valueKernel || s.Kind == valueSpace || s.Kind == valueColour && len(names) > 0):
		hints := didYouMean(t.Value, names)
		what := "one of " + orList(names)
		if len(names) == 1 {
			what = names[0]
		}
		lead := st.name()
		if s.Word != "" {
			lead += " " + s.Word
		}
		if reserved[t.Value] && f.has(t.Value) {
			r.add("PM206", sp, fmt.Sprintf("%s lacks its value before %s", lead, t.Value), usage)
			return
		}
		r.add("PM209", sp, fmt.Sprintf("%s isn't %s", t.Value, kindName(s, len(best))), fmt.Sprintf("%s takes %s.", capital(lead), what), hints...).fixNear(sp, nearest(t.Value, names))
	case (s.Kind == valueText || s.Kind == valuePath) && word && f.has(t.Value):
		r.add("PM206", sp, fmt.Sprintf("%s lacks its %s before %s", st.name(), kinds[s.Kind].label, t.Value), usage)
	case (s.Kind == valueText || s.Kind == valuePath) && word:
		r.add("PM207", sp, fmt.Sprintf("%s takes a text in double quotes", labelIn(st, s)), usage).fix(sp, quote(t.Value), false)
	case s.Kind == valueRatio && t.Kind == KindNumber:
		r.add("PM119", sp, "a shape is one word, W:H", usage, "write it without spaces, such as 3:2")
	case s.Kind == valueCount && t.Kind == KindString || (s.Kind == valueMeasure || s.Kind == valuePair) && t.Kind == KindString:
		r.add("PM207", sp, "a number stands without quotes", usage)
	default:
		if t.Kind == KindUnit && s.Tail == "" {
			r.add("PM207", sp, fmt.Sprintf("%s stands behind no number", t.Value), usage)
			return
		}
		r.add("PM207", sp, fmt.Sprintf("%s is due here, found %s", orList(want), show(t)), usage)
	}
}

// due is the parameter that a failure is in or right behind.
func (f *misfit) due() *Param {
	if f.value {
		return &f.st.Params[f.param]
	}
	if n := len(f.binds); n > 0 {
		return f.binds[n-1].param
	}
	return nil
}

// unitHints say which unit was meant by a word that is none, nil where none is
// near.
func unitHints(word string, units []string) []string {
	if low := strings.ToLower(word); slices.Contains(units, "mired") && (low == "k" || low == "kelvin") {
		return []string{"write the step in mired, 1000000 over the kelvin: from 5000 K to 5250 K it is about 10 mired"}
	}
	return didYouMean(word, units)
}

// has reports whether a word is a parameter of the failed form.
func (f *misfit) has(w string) bool {
	for i := range f.st.Params {
		if f.st.Params[i].Word == w {
			return true
		}
	}
	return false
}

// wrongPlace: a parameter's word is due, or nothing more.
func (r *parser) wrongPlace(st *stmt, best []*misfit, t Token, sp Span, want []string, usage string) {
	f := best[0]
	toks := st.toks
	for _, b := range best {
		if b.param >= len(b.st.Params) {
			continue
		}
		s := &b.st.Params[b.param]
		if s.Kind == valueNone || s.Word == "" || t.Kind == KindName && s.Kind != valueName {
			continue
		}
		if _, lacks := s.match(toks, f.at); lacks == nil { // the value is there, its word isn't
			r.add("PM206", sp, fmt.Sprintf("%s is missing before %s", s.Word, show(t)), usageOf([]*misfit{b}), fmt.Sprintf("write %s before it", s.Word)).fix(Span{sp.Line, sp.Col, sp.Line, sp.Col}, s.Word+" ", false)
			return
		}
	}
	var last *binding
	if n := len(f.binds); n > 0 {
		last = &f.binds[n-1]
	}
	switch t.Kind {
	case KindNumber:
		if last != nil && last.param.measured() && f.at > 0 && toks[f.at-1].Kind == KindNumber {
			r.noUnit(toks[f.at-1], last.param)
			return
		}
	case KindUnit:
		if last != nil && last.param.Kind == valueCount && f.at > 0 && toks[f.at-1].Kind == KindNumber {
			r.add("PM306", sp, fmt.Sprintf("%s is a count and has no unit", labelIn(st, last.param)), usage).fix(join(toks[f.at-1].Span, sp), toks[f.at-1].Value, true)
			return
		}
	case KindWord, KindName, KindBad, KindKernel, KindSpace:
		r.wrongWord(st, best, t, sp, usage)
		return
	}
	if f.st.Opens && slices.Contains(f.want, "{") {
		r.add("PM137", sp, fmt.Sprintf("{ is due here, found %s", show(t)), usage)
		return
	}
	if f.param < len(f.st.Params) {
		r.add("PM206", sp, fmt.Sprintf("%s is due here, found %s", orList(required(best)), show(t)), usage)
		return
	}
	r.add("PM208", sp, fmt.Sprintf("%s is left over at the line's end", show(t)), usage).fix(sp, "", false)
}

// wrongWord: a word stands where another word is due.
func (r *parser) wrongWord(st *stmt, best []*misfit, t Token, sp Span, usage string) {
	f := best[0]
	for _, b := range f.binds {
		if b.param.Word != "" && b.param.Word == t.Value {
			o := st.toks[b.at]
			r.add("PM205", sp, fmt.Sprintf("%s is given twice, first on line %d, column %d, then on line %d, column %d", t.Value, o.Line, o.Col, t.Line, t.Col), usage, "keep one of the two")
			return
		}
	}
	if len(best) > 1 && t.Kind != KindWord { // the word that tells the forms apart
		due := required(best)
		r.add("PM209", sp, fmt.Sprintf("%s isn't a choice here", t.Value), fmt.Sprintf("%s takes %s. %s", capital(st.name()), orList(due), usage), didYouMean(t.Value, due)...).fixNear(sp, nearest(t.Value, due))
		return
	}
	var words []string
	for _, b := range best {
		for i := range b.st.Params {
			s := &b.st.Params[i]
			if s.Word == "" {
				continue
			}
			words = append(words, s.Word)
			if s.Word != t.Value {
				continue
			}
			if i > b.param && b.param < len(b.st.Params) {
				due := b.st.Params[b.param].Word
				found := false
				for _, x := range st.toks[b.at:] {
					found = found || x.Value == due && x.Kind == KindWord
				}
				if !found {
					r.add("PM206", sp, fmt.Sprintf("%s is missing before %s", due, t.Value), usage)
					return
				}
			}
			r.add("PM204", sp, fmt.Sprintf("%s stands out of order", t.Value), "Parameters stand in a fixed order, so that a line is always written the same way. "+usage)
			return
		}
	}
	if st.line.In.Kind == "top" && st.word == "print" && (t.Value == "on" || t.Value == "for") {
		r.later(t)
		return
	}
	for _, x := range st.ways {
		for i := range x.Params {
			if s := &x.Params[i]; s.Word != "" && s.Word == t.Value {
				r.add("PM210", sp, fmt.Sprintf("%s doesn't belong here", t.Value), fmt.Sprintf("It is a parameter of: %s. This line is written: %s", x.Usage(), f.st.Usage()), "take it out, or use that form")
				return
			}
		}
	}
	if t.Value == "x" && f.param > 0 {
		r.add("PM208", sp, "x is left over", usage, "take it out")
		return
	}
	if near := nearest(t.Value, words); near != "" {
		r.add("PM203", sp, fmt.Sprintf("%s has no parameter %s", st.name(), t.Value), usage, "did you mean "+near+"?").fixNear(sp, near)
		return
	}
	if owners := ownersOf(t.Value); len(owners) > 0 {
		r.add("PM210", sp, fmt.Sprintf("%s isn't a parameter of %s", t.Value, st.name()), fmt.Sprintf("It belongs to %s. %s", andList(owners), usage))
		return
	}
	if f.st.Opens && slices.Contains(f.want, "{") {
		r.add("PM137", sp, fmt.Sprintf("{ is due here, found %s", show(t)), usage)
		return
	}
	if len(words) == 0 {
		r.add("PM208", sp, fmt.Sprintf("%s is left over at the line's end", t.Value), usage, "take it out")
		return
	}
	r.add("PM203", sp, fmt.Sprintf("%s has no parameter %s", st.name(), t.Value), usage)
}

// ownersOf returns the statements that have a parameter of this word.
func ownersOf(w string) []string {
	var out []string
	for _, s := range Statements {
		has := slices.ContainsFunc(s.Params, func(p Param) bool { return p.Word == w })
		if has && s.Word != "" && !slices.Contains(out, s.Word) {
			out = append(out, s.Word)
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
	if u == "%" {
		return v + u
	}
	return v + " " + u
}

// badName reports a word that can't be a name.
func (r *parser) badName(t Token, usage string) {
	if reserved[t.Value] {
		r.add("PM404", t.Span, fmt.Sprintf("%s is a word of the language and can't be a name", t.Value), usage, "choose another name, such as "+t.Value+"-1")
		return
	}
	low := strings.ToLower(strings.Map(func(c rune) rune {
		if c == '_' || c == '.' {
			return '-'
		}
		return c
	}, t.Value))
	d := r.add("PM405", t.Span, fmt.Sprintf("%s can't be a name", t.Value), "A name begins with a letter from a to z and holds letters from a to z, digits and hyphens.")
	if goodName(low) && !reserved[low] {
		d.fix(t.Span, low, false)
	} else {
		d.Hints = []string{"choose another name"}
	}
}

// later reports a word of version 1 that isn't built.
func (r *parser) later(t Token) {
	r.add("PM901", t.Span, fmt.Sprintf("%s isn't built in this engine yet", t.Value), "It is a word of version 1, and its meaning is settled; this engine can't make it, and leaves nothing out silently.", "take the line out, or use an engine that builds it")
}

func kindName(s *Param, forms int) string {
	switch {
	case s.Kind == valueKernel:
		return "a kernel"
	case s.Kind == valueSpace && forms > 1:
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
	if s.Word != "" {
		return s.Word
	}
	if st.word != "" {
		return st.word
	}
	return s.Label
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
