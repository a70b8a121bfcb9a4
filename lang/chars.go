package lang

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/runenames"
)

// char is one character outside strings and comments, or one of a string,
// after look-alikes have been mended.
type char struct {
	r        rune // mended
	col      int  // from 1
	off, end int  // bytes in the file
	quoted   bool // part of a string, its quotes included
	inch     bool // a double quote right behind a digit, meant as inches
}

// lookAlikes leads from characters that are typed or pasted by accident to the
// plain ones. Full-width forms are handled by their fixed distance.
var lookAlikes = map[rune]rune{
	'“': '"', '”': '"', '„': '"', '‟': '"', '«': '"', '»': '"', '″': '"', '〝': '"', '〞': '"',
	'‘': '\'', '’': '\'', '‚': ',', '′': '\'',
	'\u2212': '-', '\u2010': '-', '\u2011': '-', '\u2012': '-', '\u2013': '-', '\u2014': '-', '\u2015': '-', '\u207B': '-', '\uFE63': '-',
	'×': 'x', '✕': 'x', '✖': 'x', '⨯': 'x', '╳': 'x',
	'٪': '%', '﹪': '%', '、': ',', '，': ',', '٫': '.', '٬': ',', '։': ':', '∶': ':', '꞉': ':',
	'⁺': '+', '﹢': '+', '❨': '(', '❩': ')', '⁽': '(', '⁾': ')',
	// Cyrillic and Greek letters in the shape of Latin ones.
	'а': 'a', 'с': 'c', 'ԁ': 'd', 'е': 'e', 'һ': 'h', 'і': 'i', 'ј': 'j', 'ӏ': 'l', 'о': 'o', 'р': 'p', 'ԛ': 'q', 'ѕ': 's', 'ԝ': 'w', 'х': 'x', 'у': 'y',
	'В': 'B', 'М': 'M', 'Р': 'P', 'С': 'C', 'Н': 'H', 'К': 'K', 'Т': 'T', 'О': 'O', 'А': 'A', 'Е': 'E', 'Х': 'X',
	'ο': 'o', 'ν': 'v', 'ι': 'i', 'α': 'a', 'ρ': 'p', 'Ο': 'O', 'Β': 'B', 'Μ': 'M', 'Ρ': 'P', 'ı': 'i',
}

// mend returns the plain character that r looks like.
func mend(r rune) (rune, bool) {
	if r < 0x80 {
		return r, false
	}
	if r >= 0xFF01 && r <= 0xFF5E {
		return r - 0xFEE0, true
	}
	m, ok := lookAlikes[r]
	return m, ok
}

// invisible reports characters that take no room or only room.
func invisible(r rune) bool {
	if r < 0x80 {
		return false
	}
	switch r {
	case '\u115F', '\u1160', '\u3164', '\uFFA0', '\u2800', '\u034F':
		return true
	}
	return unicode.In(r, unicode.Cf, unicode.Zs, unicode.Zl, unicode.Zp) || unicode.Is(unicode.Variation_Selector, r)
}

// wideSpace reports a space that isn't the plain one.
func wideSpace(r rune) bool { return r >= 0x80 && unicode.Is(unicode.Zs, r) }

// charName names a character for people: its Unicode name, its number, and
// itself where it can be seen.
func charName(r rune) string {
	n := strings.ToLower(runenames.Name(r))
	if r < 0x20 || r == 0x7F || n == "" || strings.HasPrefix(n, "<") {
		n = "a control character"
	}
	if invisible(r) || !unicode.IsPrint(r) {
		return fmt.Sprintf("%s (U+%04X)", n, r)
	}
	return fmt.Sprintf("%s “%c” (U+%04X)", n, r, r)
}

// chars turns one line of the file into mended characters, tells what was
// wrong with them, and cuts the comment off.
func (s *scanner) chars(r row, n int) []char {
	out := s.buf[:0]
	seen := map[rune]bool{}
	once := func(c rune, col int, code, summary, detail string, hints ...string) *Diagnostic {
		s.broken = true
		if seen[c] { // the first of its kind on a line speaks for all
			return &Diagnostic{}
		}
		seen[c] = true
		return s.add(code, Span{n, col, n, col + 1}, summary, detail, hints...)
	}
	inString, closer, escaped := false, rune(0), false
	text, col := r.text, 1
	for at := 0; at < len(text); col++ {
		c, size := utf8.DecodeRuneInString(text[at:])
		ch := char{r: c, col: col, off: r.offset + at, end: r.offset + at + size}
		raw := text[at:]
		at += size
		switch {
		case c == utf8.RuneError && size == 1:
			once(c, col, "PM102", fmt.Sprintf("column %d holds a byte that isn't UTF-8 (hexadecimal %02X)", col, raw[0]),
				"A recipe is UTF-8 text.", "save the file as UTF-8, then type this character again")
			if !inString {
				continue
			}
		case c < 0x20 && c != '\t', c == 0x7F, c >= 0x80 && c < 0xA0, c == '\t' && inString:
			what := charName(c)
			if c == '\r' {
				what = "a carriage return without a line feed"
			} else if c == '\t' {
				what = "a tab inside a string"
			}
			once(c, col, "PM106", fmt.Sprintf("column %d holds %s", col, what),
				"Lines end with a line feed, or with carriage return and line feed; no other control character has a meaning.", "delete it")
			if !inString {
				ch.r = ' '
			}
		}
		if inString {
			ch.quoted = true
			switch {
			case escaped:
				escaped = false
			case c == '\\':
				escaped = true
			case c == closer, closer != '"' && c == '"', closer == '”' && c == '“', closer == '«' && c == '»':
				inString = false
				ch.r = '"'
			case invisible(c) && !wideSpace(c):
				once(c, col, "PM103", fmt.Sprintf("column %d holds an invisible character: %s", col, charName(c)),
					"Nobody can see it in a name or a text, and two texts that look the same would differ.", "delete it")
			}
			out = append(out, ch)
			continue
		}
		if c == '#' || c == '＃' {
			if c != '#' {
				once(c, col, "PM104", fmt.Sprintf("column %d holds %s, which looks like #", col, charName(c)), "", "type a plain #").fix(Span{n, col, n, col + 1}, "#", true)
			}
			s.comment(r, n, ch, col)
			break
		}
		if invisible(c) {
			what, hint := "an invisible character", "delete it"
			if wideSpace(c) {
				what, hint = "a special space", "type a plain space"
				ch.r = ' '
			}
			plain := strings.TrimLeft(string(ch.r), string(c)) // nothing, or the plain space
			once(c, col, "PM103", fmt.Sprintf("column %d holds %s: %s", col, what, charName(c)), "", hint).fix(Span{n, col, n, col + 1}, plain, true)
			if !wideSpace(c) {
				continue
			}
		}
		if m, ok := mend(c); ok {
			if c != closer {
				d := once(c, col, "PM104", fmt.Sprintf("column %d holds %s, which looks like %c", col, charName(c), m), "", fmt.Sprintf("type a plain %c", m))
				if m != '"' {
					d.fix(Span{n, col, n, col + 1}, string(m), true)
				} else if in, _, ok := strings.Cut(text[at:], string(closing(c))); ok && !strings.ContainsAny(in, `"\`) {
					d.fix(Span{n, col, n, col + utf8.RuneCountInString(in) + 2}, quote(in), true)
				}
			}
			ch.r = m
		}
		if ch.r == '"' {
			if c == '″' || c == '"' && behindNumber(out, ch.off) {
				ch.inch = true
			} else {
				inString, ch.quoted, closer = true, true, closing(c)
			}
		}
		out = append(out, ch)
	}
	s.buf = out
	return out
}

// closing is the quote that closes a text, by the one that opened it.
func closing(c rune) rune {
	switch c {
	case '“', '„', '‟', '”':
		return '”'
	case '«', '»':
		return '«'
	}
	return '"'
}

// behindNumber reports whether a number, not a word with a digit, ends right
// before the byte at off: a double quote there is meant as inches.
func behindNumber(cs []char, off int) bool {
	i := len(cs) - 1
	if i < 0 || cs[i].end != off || !isDigit(cs[i].r) {
		return false
	}
	for i >= 0 && (isDigit(cs[i].r) || cs[i].r == '.') {
		i--
	}
	return i < 0 || !isWordRune(cs[i].r)
}

// comment keeps a comment, which runs to the line's end.
func (s *scanner) comment(r row, n int, first char, col int) {
	text := r.text[first.off-r.offset:]
	trim := strings.TrimRight(text, " \t\r")
	s.comments = append(s.comments, Comment{
		Span:   Span{n, col, n, col + utf8.RuneCountInString(trim)},
		Text:   trim,
		Offset: first.off, End: first.off + len(trim),
	})
	c := col
	for at, x := range text {
		if x == utf8.RuneError && !strings.HasPrefix(text[at:], "\uFFFD") {
			s.add("PM102", Span{n, c, n, c + 1}, fmt.Sprintf("column %d holds a byte that isn't UTF-8 (hexadecimal %02X)", c, text[at]),
				"A recipe is UTF-8 text, its comments too.", "save the file as UTF-8, then type this character again")
			return
		}
		// Direction marks can make a comment look like a statement.
		if x == '\u061C' || x == '\u200E' || x == '\u200F' || x >= '\u202A' && x <= '\u202E' || x >= '\u2066' && x <= '\u2069' {
			s.add("PM103", Span{n, c, n, c + 1}, fmt.Sprintf("column %d holds an invisible character: %s", c, charName(x)),
				"It changes the order in which a line is shown, so that a comment can look like a statement.", "delete it")
			return
		}
		if x < 0x20 && x != '\t' || x == 0x7F {
			s.add("PM106", Span{n, c, n, c + 1}, fmt.Sprintf("column %d holds %s", c, charName(x)), "", "delete it")
			return
		}
		c++
	}
}
