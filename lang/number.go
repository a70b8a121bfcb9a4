package lang

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// unknownUnit stands for a unit that has been complained about.
const unknownUnit = "?"

// number reads a number with what touches it: its unit, the other half of a
// shape, or the x of a size.
func (s *scanner) number(i int) int {
	j := i
	if r := s.at(j); r == '+' || r == '-' {
		j++
	}
	// 0x10 and 1e3 are numbers elsewhere; they are taken whole.
	if s.at(j) == '0' && (s.at(j+1) == 'x' || s.at(j+1) == 'X') && isHex(s.at(j+2)) {
		k := j + 2
		for isHex(s.at(k)) {
			k++
		}
		return s.wrongNumber("PM113", i, k, "1", "Numbers are decimal.", "write "+hexValue(s.text(j+2, k)))
	}
	for {
		r := s.at(j)
		next, prev := s.at(j+1), s.at(j-1)
		switch {
		case isDigit(r), r == '.' && (isDigit(next) || isDigit(prev) && next != '.'):
		case r == ',' && isDigit(prev) && isDigit(next):
		case (r == '_' || r == '\'') && isDigit(prev) && isDigit(next):
		default:
			r = 0
		}
		if r == 0 {
			break
		}
		j++
	}
	t := s.text(i, j)
	if (s.at(j) == 'e' || s.at(j) == 'E') && (isDigit(s.at(j+1)) || (s.at(j+1) == '-' || s.at(j+1) == '+') && isDigit(s.at(j+2))) {
		k := j + 2
		for isDigit(s.at(k)) {
			k++
		}
		if !unicode.IsLetter(s.at(k)) {
			return s.wrongNumber("PM113", i, k, "1", "Numbers are written out, without an exponent.", "write the digits out, such as 1000 or 0.001")
		}
	}
	if s.at(j) == '/' && isDigit(s.at(j+1)) {
		k := j + 1
		for isDigit(s.at(k)) {
			k++
		}
		return s.wrongNumber("PM113", i, k, "1", "Numbers are decimal, never fractions.", "write a decimal number such as 0.5")
	}
	value := s.form(i, j, t)
	if k := len(s.tokens); k > 0 && s.tokens[k-1].Kind == KindNumber && len(t) == 3 && !strings.ContainsAny(t, ".+-") && s.at(i-1) == ' ' {
		// 1 000: digits grouped by a space.
		p := &s.tokens[k-1]
		merged := p.EndCol-p.Col > len(p.Value)
		if p.Line == s.n && !strings.Contains(p.Value, ".") && (merged || len(strings.TrimLeft(p.Value, "+-")) <= 3) && len(p.Value) <= 15 {
			p.Value += t
			p.EndCol, p.End = s.cs[j-1].col+1, s.cs[j-1].end
			if merged { // 1 000 000 is one mistake
				if k := len(s.ds) - 1; s.ds[k].Span.Line == s.n && s.ds[k].Span.Col == p.Col {
					s.ds = s.ds[:k]
				}
			}
			s.bad("PM112", p.Span, "digits grouped by a space", "The digits of a number stand together.", "write "+p.Value+" if the space groups its digits, or take one of two numbers out")
			return s.behind(j)
		}
	}
	if s.at(j) == ':' && isDigit(s.at(j+1)) {
		k := j + 1
		for isDigit(s.at(k)) || s.at(k) == '.' && isDigit(s.at(k+1)) {
			k++
		}
		if right := s.text(j+1, k); strings.Count(right, ".") <= 1 && !s.long(i, k, right) {
			s.emit(KindRatio, i, k, value+":"+right)
			return k
		}
	}
	s.emit(KindNumber, i, j, value)
	return s.behind(j)
}

// form checks the one form of a number and returns the mended one.
func (s *scanner) form(i, j int, t string) string {
	sign := ""
	d := t
	if d[0] == '+' || d[0] == '-' {
		sign, d = d[:1], d[1:]
	}
	sp := s.span(i, j)
	commas, points := strings.Count(d, ","), strings.Count(d, ".")
	strip := func(s, set string) string {
		return strings.Map(func(r rune) rune {
			if strings.ContainsRune(set, r) {
				return -1
			}
			return r
		}, s)
	}
	const rule = "Only a point stands in a number, whatever the language of the system; digits aren't grouped."
	switch {
	case strings.ContainsAny(d, "_'"):
		v := strip(d, "_',")
		d = tidy(v)
		s.bad("PM112", sp, fmt.Sprintf("%s has grouped digits", t), rule).fix(sp, sign+d, true)
	case commas > 0:
		v := ""
		hints := []string{}
		switch {
		case points > 0 && strings.LastIndex(d, ",") > strings.LastIndex(d, "."):
			v = strings.ReplaceAll(strip(d[:strings.LastIndex(d, ",")], ".,"), ",", "") + "." + d[strings.LastIndex(d, ",")+1:]
		case points > 0 || commas > 1:
			v = strip(d, ",")
		default:
			v = strings.Replace(d, ",", ".", 1)
		}
		v = tidy(v)
		hints = append(hints, "write "+sign+v)
		if k := strings.Index(d, ","); commas == 1 && points == 0 && len(d)-k-1 == 3 && d[0] != '0' && k <= 3 {
			hints[0] += ", or " + sign + strip(d, ",") + " if the comma groups the digits"
		}
		if k := len(s.tokens); s.depth > 0 && commas == 1 && points == 0 && s.at(j) == ')' && k > 0 && s.tokens[k-1].Value == "(" {
			// (0,0): the whole point.
			hints = []string{"put a space behind the comma: " + strings.Replace(t, ",", ", ", 1)}
		} else if s.depth > 0 && commas == 1 {
			hints = append(hints, fmt.Sprintf("or put a space behind the comma if these are two numbers: %s", strings.Replace(t, ",", ", ", 1)))
		}
		// A comma may part two numbers or group digits.
		s.bad("PM111", sp, fmt.Sprintf("%s is written with a comma", t), rule, hints...).fix(sp, sign+v, s.depth == 0 && !strings.Contains(hints[0], ", or "))
		d = v
	case points > 1:
		v := tidy(strip(d, "."))
		if slices.ContainsFunc(strings.Split(d, ".")[1:], func(g string) bool { return len(g) != 3 }) {
			s.bad("PM112", sp, fmt.Sprintf("%s has more than one point", t), rule, "leave one point")
		} else {
			s.bad("PM112", sp, fmt.Sprintf("%s has more than one point", t), rule, "write "+sign+v+" if the points group the digits").fix(sp, sign+v, false)
		}
		d = v
	case strings.HasPrefix(d, "."), strings.HasSuffix(d, "."):
		d = tidy(d)
		s.bad("PM110", sp, fmt.Sprintf("%s has a bare point", t), "A point has digits on both sides.").fix(sp, sign+d, true)
	}
	if s.long(i, j, d) {
		return sign + "1"
	}
	return sign + d
}

// tidy gives a number digits on both sides of its point, or no point.
func tidy(v string) string {
	a, b, ok := strings.Cut(v, ".")
	if a == "" {
		a = "0"
	}
	if !ok || b == "" {
		return a
	}
	return a + "." + strings.ReplaceAll(b, ".", "")
}

// long refuses numbers that no print needs.
func (s *scanner) long(i, j int, d string) bool {
	a, b, _ := strings.Cut(d, ".")
	if len(a) <= 18 && len(b) <= 18 {
		return false
	}
	s.bad("PM115", s.span(i, j), "this number is too long", "A number has at most 18 digits before the point and 18 behind it.", "round it")
	return true
}

func (s *scanner) wrongNumber(code string, i, j int, value, detail, hint string) int {
	s.bad(code, s.span(i, j), fmt.Sprintf("%s isn't a number of this language", s.text(i, j)), detail, hint)
	s.emit(KindNumber, i, j, value)
	return s.behind(j)
}

// behind reads what touches a number that ends before j.
func (s *scanner) behind(j int) int {
	r := s.at(j)
	if !unicode.IsLetter(r) {
		return j
	}
	// 60x40, 60x 40, 60inx40in: found before the word's end is looked for, since
	// such a word may be as long as its line.
	for _, u := range append([]string{""}, Units...) {
		x := j
		for _, c := range u {
			if s.at(x) != c {
				break
			}
			x++
		}
		if x-j != len(u) || s.at(x) != 'x' || isWordRune(s.at(x+1)) && !isDigit(s.at(x+1)) {
			continue
		}
		if u != "" {
			s.unit(j, x)
		}
		s.cross = append(s.cross, len(s.tokens))
		s.emit(KindWord, x, x+1, "x")
		return x + 1
	}
	k := j
	for isWordRune(s.at(k)) {
		k++
	}
	t := s.text(j, k)
	if slices.Contains(Units, t) {
		s.unit(j, k)
		return k
	}
	if u := meantUnit(t); u != "" {
		s.unitWord(j, k, u)
		return k
	}
	hints := unitHints(t, Units)
	if t == "x" || Reserved(t) {
		hints = []string{fmt.Sprintf("put a space before %s", t)}
	} else if len(hints) == 0 {
		hints = []string{"use one of the units; a name begins with a letter"}
	}
	s.bad("PM118", s.span(j, k), fmt.Sprintf("%s isn't a unit", t), "The units are "+andList(Units)+".", hints...)
	if Reserved(t) {
		s.classify(j, k)
	} else {
		s.emit(KindUnit, j, k, unknownUnit)
	}
	return k
}

func isHex(r rune) bool { return strings.ContainsRune("0123456789abcdefABCDEF", r) }

// hexValue shows hexadecimal digits in decimal.
func hexValue(t string) string {
	v, err := strconv.ParseUint(t, 16, 48)
	if err != nil {
		return "a decimal number"
	}
	return fmt.Sprint(v)
}
