package lang

import "slices"

// binding is a parameter found on a line: the token of its word (or of its
// value where it has none), and the tokens of its value.
type binding struct {
	param    *Param
	at       int
	from, to int
}

// misfit says where a statement stopped fitting a line.
type misfit struct {
	st    *Statement
	param int // the one that was due; len(Params) where the statement was complete
	at    int // the token that didn't fit; len(toks) at the line's end
	value bool
	want  []string
	binds []binding
}

// match fits a statement to the tokens behind its word.
func (s *Statement) match(toks []Token, start int) ([]binding, *misfit) {
	i := start
	binds := make([]binding, 0, len(s.Params))
	var want []string // of optional parameters passed over
	for k := range s.Params {
		p := &s.Params[k]
		at := i
		if p.Word != "" {
			if !isWord(toks, i, p.Word) {
				if p.Optional {
					want = append(want, p.Word)
					continue
				}
				return nil, &misfit{s, k, i, false, append(want, p.Word), binds}
			}
			i++
		}
		from := i
		next, w := p.match(toks, i)
		if w != nil {
			if p.Word == "" && next == from {
				w = append(want, w...)
			}
			return nil, &misfit{s, k, next, true, w, binds}
		}
		i, want = next, nil
		binds = append(binds, binding{p, at, from, i})
		if p.Tail != "" {
			if !isWord(toks, i, p.Tail) {
				return nil, &misfit{s, k, i, true, []string{p.Tail}, binds}
			}
			i++
		}
	}
	if s.Opens {
		if !isPunct(toks, i, "{") {
			return nil, &misfit{s, len(s.Params), i, false, append(want, "{"), binds}
		}
		i++
	}
	if i < len(toks) {
		return nil, &misfit{s, len(s.Params), i, false, append(want, "the line's end"), binds}
	}
	return binds, nil
}

func isWord(toks []Token, i int, w string) bool {
	return i < len(toks) && toks[i].Value == w && toks[i].Kind != KindString && toks[i].Kind != KindUnit && toks[i].Kind != KindBad
}

func isKind(toks []Token, i int, k Kind) bool { return i < len(toks) && toks[i].Kind == k }

func isPunct(toks []Token, i int, v string) bool {
	return isKind(toks, i, KindPunct) && toks[i].Value == v
}

// match fits a value: the token behind it, or the token that didn't fit and
// what was due there.
func (p *Param) match(toks []Token, i int) (next int, want []string) {
	oneOf := func(words []string) bool {
		return slices.ContainsFunc(words, func(w string) bool { return isWord(toks, i, w) })
	}
	switch p.Kind {
	case valueNone:
		return i, nil
	case valueMeasure:
		return matchMeasure(toks, i)
	case valuePair:
		if i, want = matchMeasure(toks, i); want != nil {
			return i, want
		}
		if !isWord(toks, i, "x") {
			return i, []string{"x"}
		}
		return matchMeasure(toks, i+1)
	case valuePoint:
		return matchPoint(toks, i)
	case valuePoints:
		for {
			if i, want = matchPoint(toks, i); want != nil || !isPunct(toks, i, ",") {
				return i, want
			}
			i++
		}
	case valueWord, valueList:
		for {
			if !oneOf(p.Words) {
				return i, p.Words
			}
			if i++; p.Kind == valueWord || !isPunct(toks, i, ",") {
				return i, nil
			}
			i++
		}
	case valueColour:
		switch {
		case oneOf([]string{"white", "black"}):
			return i + 1, nil
		case !oneOf([]string{"grey"}):
			return i, []string{"white", "black", "grey"}
		case !isKind(toks, i+1, KindNumber):
			return i + 1, []string{"a lightness from 0 to 100"}
		}
		return i + 2, nil
	}
	if k := kinds[p.Kind]; !isKind(toks, i, k.token) && !(p.Kind == valueTarget && isKind(toks, i, KindName)) {
		return i, []string{k.due}
	}
	return i + 1, nil
}

func matchMeasure(toks []Token, i int) (int, []string) {
	if !isKind(toks, i, KindNumber) {
		return i, []string{kinds[valueMeasure].due}
	}
	if i++; isKind(toks, i, KindUnit) {
		i++
	}
	return i, nil
}

func matchPoint(toks []Token, i int) (next int, want []string) {
	if !isPunct(toks, i, "(") {
		return i, []string{kinds[valuePoint].due}
	}
	if i, want = matchMeasure(toks, i+1); want != nil {
		return i, want
	}
	if !isPunct(toks, i, ",") {
		return i, []string{"a comma"}
	}
	if i, want = matchMeasure(toks, i+1); want != nil {
		return i, want
	}
	if !isPunct(toks, i, ")") {
		return i, []string{")"}
	}
	return i + 1, nil
}
