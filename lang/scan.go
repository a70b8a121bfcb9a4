package lang

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
)

// scanner turns lines of the file into tokens. What is wrong it reports and
// mends, so that the rest of the line can still be read.
type scanner struct {
	problems

	// of the line at hand
	n        int
	cs       []char
	tokens   []Token
	comments []Comment
	broken   bool
	depth    int   // open brackets, carried on from line to line
	cross    []int // tokens x that didn't stand between spaces
	buf      []char
}

// bad reports a problem of the text, which makes the line broken.
func (s *scanner) bad(code string, sp Span, summary, detail string, hints ...string) *Diagnostic {
	s.broken = true
	return s.add(code, sp, summary, detail, hints...)
}

func isDigit(r rune) bool { return r >= '0' && r <= '9' }

func isWordRune(r rune) bool {
	return r == '-' || r == '_' || isDigit(r) || unicode.IsLetter(r) || unicode.IsDigit(r)
}

// at returns the character at i, or 0 behind the end and inside strings.
func (s *scanner) at(i int) rune {
	if i < 0 || i >= len(s.cs) || s.cs[i].quoted || s.cs[i].inch {
		return 0
	}
	return s.cs[i].r
}

// text returns the mended characters from i to j.
func (s *scanner) text(i, j int) string {
	var b strings.Builder
	for _, c := range s.cs[i:j] {
		b.WriteRune(c.r)
	}
	return b.String()
}

func (s *scanner) span(i, j int) Span {
	return Span{s.n, s.cs[i].col, s.n, s.cs[j-1].col + 1}
}

func (s *scanner) emit(k Kind, i, j int, value string) {
	s.tokens = append(s.tokens, Token{Span: s.span(i, j), Kind: k, Value: value, Offset: s.cs[i].off, End: s.cs[j-1].end})
}

// row scans one line of the file into s.tokens and s.comments.
func (s *scanner) row(r row, n int) {
	s.n, s.tokens, s.comments, s.broken, s.cross = n, nil, nil, false, nil
	s.cs = s.chars(r, n)
	for i := 0; i < len(s.cs); {
		c := s.cs[i]
		switch {
		case c.quoted:
			i = s.str(i)
		case c.inch:
			s.inch(i)
			i++
		case c.r == ' ' || c.r == '\t':
			i++
		case isDigit(c.r), c.r == '.' && isDigit(s.at(i+1)),
			(c.r == '+' || c.r == '-') && (isDigit(s.at(i+1)) || s.at(i+1) == '.'):
			i = s.number(i)
		case (c.r == '+' || c.r == '-') && unicode.IsLetter(s.at(i+1)):
			j := i + 1
			for isWordRune(s.at(j)) {
				j++
			}
			s.notNumber(i, j)
			i = j
		case c.r == '∞':
			s.notNumber(i, i+1)
			i++
		case unicode.IsLetter(c.r), c.r == '_':
			i = s.word(i)
		case c.r == '%':
			s.unit(i, i+1)
			i++
		case strings.ContainsRune("(),{}", c.r):
			if c.r == '(' {
				s.depth++
			} else if c.r == ')' && s.depth > 0 {
				s.depth--
			}
			s.emit(KindPunct, i, i+1, string(c.r))
			i++
		default:
			i = s.stray(i)
		}
	}
	s.showCross()
}

// stray reports a character without a meaning.
func (s *scanner) stray(i int) int {
	c := s.cs[i].r
	hint, plain, safe := "take it out", "", false
	if k := len(s.tokens); c == ':' && k > 0 && s.tokens[k-1].Kind == KindNumber {
		sp := s.span(i, i+1)
		s.bad("PM119", sp, "a shape is one word, W:H", "", "write it without spaces, such as 3:2")
		return i + 1
	}
	switch c {
	case '\'', '`':
		j := i + 1
		for j < len(s.cs) && s.at(j) != c {
			j++
		}
		if j < len(s.cs) {
			t := s.text(i+1, j)
			s.bad("PM122", s.span(i, j+1), "single quotes around a text", "Texts and paths stand in double quotes.").fix(s.span(i, j+1), quote(t), true)
			s.emit(KindString, i, j+1, t)
			return j + 1
		}
		hint = "use double quotes around texts and paths"
	case ';':
		hint, safe = "take it out: a statement ends at the line's end", i == len(s.cs)-1
	case '=', ':':
		hint, plain, safe = "take it out: a word and its value stand side by side", " ", true
	case '[', ']':
		hint, plain, safe = "write a point with round brackets: (22%, 11%)", map[rune]string{'[': "(", ']': ")"}[c], true
	case '*':
		hint, plain, safe = "write x between the sides of a size: 60 x 40 in", "x", true
	case '°':
		hint, plain, safe = "write deg", " deg", true
	case '/':
		hint = "comments begin with #; a path stands in double quotes"
	default:
		if unicode.IsNumber(c) {
			hint = "write numbers with the digits 0 to 9 and a point, such as 0.5"
		}
	}
	if d := s.bad("PM105", s.span(i, i+1), fmt.Sprintf("%s has no meaning here", charName(c)), "", hint); safe {
		d.fix(d.Span, plain, true)
	}
	if c == '*' {
		s.emit(KindWord, i, i+1, "x")
	}
	return i + 1
}

func (s *scanner) str(i int) int {
	var b strings.Builder
	j := i + 1
	for ; j < len(s.cs) && s.cs[j].quoted; j++ {
		c := s.cs[j]
		if c.r == '\\' {
			if j+1 >= len(s.cs) || !s.cs[j+1].quoted {
				break
			}
			e := s.cs[j+1].r
			if e != '"' && e != '\\' {
				s.bad("PM121", s.span(j, j+2), fmt.Sprintf(`\%c isn't known`, e), `In a string only \" and \\ stand for something else than themselves; paths are written with forward slashes.`,
					`write \\ for a backslash, / between folders`)
				b.WriteRune('\\')
			}
			b.WriteRune(e)
			j++
			continue
		}
		if c.r == '"' {
			s.emit(KindString, i, j+1, b.String())
			return j + 1
		}
		b.WriteRune(c.r)
	}
	j = min(j, len(s.cs))
	for j < len(s.cs) && s.cs[j].quoted {
		j++
	}
	s.bad("PM120", s.span(i, j), "this string has no end", "A string begins and ends with a double quote on one line.", `close it with "`)
	s.emit(KindString, i, j, strings.TrimRight(b.String(), " \t"))
	return j
}

// inch mends a double quote that stands for inches.
func (s *scanner) inch(i int) {
	s.bad("PM118", s.span(i, i+1), "inches are written in", "", "write in behind the number").fix(s.span(i, i+1), " in", true)
	s.emit(KindUnit, i, i+1, "in")
}

// notNumber reports NaN, Inf and what looks like them.
func (s *scanner) notNumber(i, j int) {
	t := s.text(i, j)
	low := strings.ToLower(strings.TrimLeft(t, "+-"))
	if low == "nan" || low == "inf" || low == "infinity" || t == "∞" {
		s.bad("PM114", s.span(i, j), t+" isn't a number of this language", "Numbers are plain decimal numbers such as 40 or 0.5.", "write a number")
		s.emit(KindNumber, i, j, "1")
		return
	}
	s.bad("PM105", s.span(i, i+1), fmt.Sprintf("%s before a word has no meaning", charName(s.cs[i].r)), "", "take it out")
	s.classify(i+1, j)
}

func (s *scanner) word(i int) int {
	j := i
	for isWordRune(s.at(j)) || s.at(j) == '.' && (isDigit(s.at(j+1)) || unicode.IsLetter(s.at(j+1))) && s.at(j-1) != 0 {
		j++
	}
	t := s.text(i, j)
	low := strings.ToLower(t)
	if low == "nan" || low == "inf" || low == "infinity" {
		s.notNumber(i, j)
		return j
	}
	if k := len(s.tokens); k > 0 {
		p := s.tokens[k-1]
		if p.Kind == KindNumber && p.Line == s.n {
			if s.asUnit(i, j, t) {
				return j
			}
		}
		// x40: the x of a size, glued to what follows.
		if (p.Kind == KindNumber || p.Kind == KindUnit) && len(t) > 1 && t[0] == 'x' && isDigit(rune(t[1])) {
			s.cross = append(s.cross, k)
			s.emit(KindWord, i, i+1, "x")
			return i + 1
		}
	}
	s.classify(i, j)
	return j
}

// classify emits a word under its kind.
func (s *scanner) classify(i, j int) {
	t := s.text(i, j)
	k := KindBad
	switch {
	case slices.Contains(Spaces, t):
		k = KindSpace
	case slices.Contains(Kernels, t):
		k = KindKernel
	case Reserved(t):
		k = KindWord
	case goodName(t):
		k = KindName
	}
	s.emit(k, i, j, t)
}

// goodName reports whether a word has the form of a name.
func goodName(t string) bool {
	return t != "" && t[0] >= 'a' && t[0] <= 'z' && strings.Trim(t, "abcdefghijklmnopqrstuvwxyz0123456789-") == ""
}

// asUnit reads a word behind a number as its unit, where it is one or is
// meant as one.
func (s *scanner) asUnit(i, j int, t string) bool {
	if slices.Contains(Units, t) {
		s.unit(i, j)
		return true
	}
	if u := meantUnit(t); u != "" && !Reserved(t) {
		s.unitWord(i, j, u)
		return true
	}
	return false
}

// unitWord reads a unit in another spelling.
func (s *scanner) unitWord(i, j int, u string) {
	s.bad("PM118", s.span(i, j), fmt.Sprintf("%s isn't how this unit is written", s.text(i, j)), "The units are "+andList(Units)+".").fix(s.span(i, j), u, true)
	s.emit(KindUnit, i, j, u)
}

// meantUnit finds the unit in another spelling or other letter case.
func meantUnit(t string) string {
	low := strings.ToLower(t)
	if u, ok := unitSynonyms[low]; ok {
		return u
	}
	if i := slices.IndexFunc(Units, func(u string) bool { return strings.ToLower(u) == low }); i >= 0 {
		return Units[i]
	}
	return ""
}

// unit emits a unit and checks how far it stands from its number.
func (s *scanner) unit(i, j int) {
	t := s.text(i, j)
	if k := len(s.tokens); k == 0 || s.tokens[k-1].Kind != KindNumber {
		if t == "%" {
			hint := "write the number before it: 40%"
			if k > 0 && s.tokens[k-1].End == s.cs[i].off { // amount190%
				w := s.tokens[k-1].Value
				if stem := strings.TrimRight(w, ".0123456789"); stem != "" && stem != w {
					right := stem + " " + w[len(stem):] + "%"
					s.bad("PM105", s.span(i, j), "% stands behind no number", "").fix(join(s.tokens[k-1].Span, s.span(i, j)), right, false)
					return
				}
			}
			s.bad("PM105", s.span(i, j), "% stands behind no number", "", hint)
			return
		}
	} else {
		p := s.tokens[k-1]
		gap := s.cs[i].off - p.End
		if gap > 1 || gap == 1 && s.at(i-1) != ' ' {
			at := join(p.Span, s.span(i, j))
			s.bad("PM117", at, fmt.Sprintf("the unit %s stands too far from its number", t),
				"A unit touches its number or stands one space behind it.").fix(at, p.Value+" "+t, true)
		}
	}
	s.emit(KindUnit, i, j, t)
}

// showCross reports sizes such as 60x40 in, with the right form of the whole.
func (s *scanner) showCross() {
	for _, k := range s.cross {
		lo, hi := k, k+1
		for lo > 0 && (s.tokens[lo-1].Kind == KindNumber || s.tokens[lo-1].Kind == KindUnit) && k-lo < 2 {
			lo--
		}
		for hi < len(s.tokens) && (s.tokens[hi].Kind == KindNumber || s.tokens[hi].Kind == KindUnit) && hi-k <= 2 {
			hi++
		}
		var right string
		for i := lo; i < hi; i++ {
			if i > lo && s.tokens[i].Value != "%" {
				right += " "
			}
			right += s.tokens[i].Value
		}
		sp := s.tokens[lo].Span
		sp.EndCol = s.tokens[hi-1].EndCol
		s.bad("PM116", sp, "the x of a size stands between spaces", "").fix(sp, right, true)
	}
}
