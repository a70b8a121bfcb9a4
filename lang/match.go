package lang

import "strings"

// binding is a parameter found on a line: the slot, the token of its word (or
// of its value where it has none), and the tokens of its value.
type binding struct {
	slot     *Slot
	at       int
	from, to int
}

// failure says where a form stopped fitting a line.
type failure struct {
	form  *Form
	slot  int // the slot that was due; len(Slots) where the form was complete
	at    int // the token that didn't fit; len(toks) at the line's end
	value bool
	want  []string
	binds []binding
}

// matchForm fits a form to the tokens behind its word.
func matchForm(f *Form, toks []Token, start int) ([]binding, *failure) {
	i := start
	var binds []binding
	var want []string // of optional slots passed over
	for k := range f.Slots {
		s := &f.Slots[k]
		at := i
		if s.Word != "" {
			if !isWord(toks, i, s.Word) {
				if s.Optional {
					want = append(want, s.Word)
					continue
				}
				return nil, &failure{f, k, i, false, append(want, s.Word), binds}
			}
			i++
		}
		from := i
		next, bad, w := matchValue(s, toks, i)
		if bad {
			if s.Word == "" && next == from {
				w = append(want, w...)
			}
			return nil, &failure{f, k, next, true, w, binds}
		}
		i, want = next, nil
		binds = append(binds, binding{s, at, from, i})
		if s.Tail != "" {
			if !isWord(toks, i, s.Tail) {
				return nil, &failure{f, k, i, true, []string{s.Tail}, binds}
			}
			i++
		}
	}
	if f.Opens {
		if i >= len(toks) || toks[i].Kind != KindPunct || toks[i].Value != "{" {
			return nil, &failure{f, len(f.Slots), i, false, append(want, "{"), binds}
		}
		i++
	}
	if i < len(toks) {
		return nil, &failure{f, len(f.Slots), i, false, append(want, "the line's end"), binds}
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

// matchValue fits a value: the token behind it, or the token that didn't fit
// and what was due there.
func matchValue(s *Slot, toks []Token, i int) (next int, bad bool, want []string) {
	one := func(k Kind, w string) (int, bool, []string) {
		if isKind(toks, i, k) {
			return i + 1, false, nil
		}
		return i, true, []string{w}
	}
	switch s.Kind {
	case ValueNone:
		return i, false, nil
	case ValueCount:
		return one(KindNumber, "a number")
	case ValueRatio:
		return one(KindRatio, "a shape such as 3:2")
	case ValueText, ValuePath:
		return one(KindString, "a text in double quotes")
	case ValueName:
		return one(KindName, "a name")
	case ValueSpace:
		return one(KindSpace, "a colour space")
	case ValueKernel:
		return one(KindKernel, "a kernel")
	case ValueTarget:
		if isKind(toks, i, KindName) {
			return i + 1, false, nil
		}
		return one(KindSpace, "a colour space, or the name of a paper or a lab")
	case ValueList:
		for {
			fits := false
			for _, w := range s.Words {
				fits = fits || isWord(toks, i, w)
			}
			if !fits {
				return i, true, s.Words
			}
			if i++; !isPunct(toks, i, ",") {
				return i, false, nil
			}
			i++
		}
	case ValueColour:
		switch {
		case isWord(toks, i, "white"), isWord(toks, i, "black"):
			return i + 1, false, nil
		case !isWord(toks, i, "grey"):
			return i, true, []string{"white", "black", "grey"}
		case !isKind(toks, i+1, KindNumber):
			return i + 1, true, []string{"a lightness from 0 to 100"}
		}
		return i + 2, false, nil
	case ValueWord:
		for _, w := range s.Words {
			if isWord(toks, i, w) {
				return i + 1, false, nil
			}
		}
		return i, true, s.Words
	case ValueMeasure:
		return matchMeasure(toks, i)
	case ValuePair:
		if i, bad, want = matchMeasure(toks, i); bad {
			return i, true, want
		}
		if !isWord(toks, i, "x") {
			return i, true, []string{"x"}
		}
		return matchMeasure(toks, i+1)
	case ValuePoint:
		return matchPoint(toks, i)
	case ValuePoints:
		for {
			if i, bad, want = matchPoint(toks, i); bad {
				return i, true, want
			}
			if !isPunct(toks, i, ",") {
				return i, false, nil
			}
			i++
		}
	}
	return i, true, nil
}

func matchMeasure(toks []Token, i int) (int, bool, []string) {
	if !isKind(toks, i, KindNumber) {
		return i, true, []string{"a number with its unit"}
	}
	i++
	if isKind(toks, i, KindUnit) {
		i++
	}
	return i, false, nil
}

func matchPoint(toks []Token, i int) (next int, bad bool, want []string) {
	if !isPunct(toks, i, "(") {
		return i, true, []string{"a point such as (22%, 11%)"}
	}
	if i, bad, want = matchMeasure(toks, i+1); bad {
		return i, true, want
	}
	if !isPunct(toks, i, ",") {
		return i, true, []string{"a comma"}
	}
	if i, bad, want = matchMeasure(toks, i+1); bad {
		return i, true, want
	}
	if !isPunct(toks, i, ")") {
		return i, true, []string{")"}
	}
	return i + 1, false, nil
}

// Usage shows how a form is written, on one line: N for a number, W for a
// word's choices, square brackets around what may be left out.
func (f *Form) Usage() string {
	var out []string
	if f.Word != "" {
		out = append(out, f.Word)
	}
	for i := range f.Slots {
		out = append(out, f.Slots[i].usage())
	}
	if f.Opens {
		out = append(out, "{")
	}
	return strings.Join(out, " ")
}

func (s *Slot) usage() string {
	var p []string
	if s.Word != "" {
		p = append(p, s.Word)
	}
	switch s.Kind {
	case ValueCount:
		if s.OneOf != nil {
			p = append(p, strings.Join(s.OneOf, "|"))
		} else {
			p = append(p, "N")
		}
	case ValueMeasure:
		p = append(p, "N "+strings.Join(s.units(), "|"))
	case ValuePair:
		p = append(p, "N x N "+strings.Join(s.units(), "|"))
	case ValuePoint:
		p = append(p, "(X, Y)")
	case ValuePoints:
		p = append(p, "(X, Y), (X, Y), …")
	case ValueRatio:
		p = append(p, "W:H")
	case ValueText:
		p = append(p, `"TEXT"`)
	case ValuePath:
		p = append(p, `"FILE"`)
	case ValueName:
		p = append(p, "NAME")
	case ValueSpace:
		p = append(p, "SPACE")
	case ValueKernel:
		p = append(p, "KERNEL")
	case ValueTarget:
		p = append(p, "SPACE|NAME")
	case ValueList:
		p = append(p, strings.Join(s.Words, ", "))
	case ValueColour:
		p = append(p, "white|black|grey N")
	case ValueWord:
		p = append(p, strings.Join(s.Words, "|"))
	}
	if s.Tail != "" {
		p = append(p, s.Tail)
	}
	t := strings.Join(p, " ")
	if s.Optional {
		return "[" + t + "]"
	}
	return t
}

// units returns the units that a parameter takes.
func (s *Slot) units() []string {
	out := make([]string, len(s.Ranges))
	for i, r := range s.Ranges {
		out[i] = r.Unit
	}
	return out
}
