package lsp

import (
	"bytes"
	"sort"
	"unicode/utf16"
	"unicode/utf8"

	"platemark/lang"
)

// text is one version of a document: it doesn't change. Between the editor and
// this server places are lines and UTF-16 units; inside they are bytes.
type text struct {
	uri     string
	version int
	src     []byte
	lines   []int // where the protocol's lines begin: after LF, CR LF or a lone CR
	rows    []int // where the language's lines begin: after LF, and behind a mark
}

func newText(uri string, version int, src []byte) *text {
	t := &text{uri: uri, version: version, src: src, lines: []int{0}, rows: []int{0}}
	if bytes.HasPrefix(src, []byte("\xEF\xBB\xBF")) {
		t.rows[0] = 3
	}
	for i, b := range src {
		switch {
		case b == '\n':
			t.lines, t.rows = append(t.lines, i+1), append(t.rows, i+1)
		case b == '\r' && (i+1 == len(src) || src[i+1] != '\n'):
			t.lines = append(t.lines, i+1)
		}
	}
	return t
}

// lineEnd is the byte behind the last character of a line, before its end.
func (t *text) lineEnd(line int) int {
	if line+1 >= len(t.lines) {
		return len(t.src)
	}
	end := t.lines[line+1] - 1
	if end > t.lines[line] && t.src[end] == '\n' && t.src[end-1] == '\r' {
		end--
	}
	return end
}

// byteAt is the byte of a position. What lies behind a line's end is its end,
// what lies behind the text is the text's end, and what lies inside a
// character is its start.
func (t *text) byteAt(p position) int {
	switch {
	case p.Line < 0:
		return 0
	case p.Line >= len(t.lines):
		return len(t.src)
	}
	at, end := t.lines[p.Line], t.lineEnd(p.Line)
	for n := 0; at < end; {
		r, k := utf8.DecodeRune(t.src[at:end])
		if n += utf16.RuneLen(r); n > p.Character {
			break
		}
		at += k
	}
	return at
}

// position is the position of a byte.
func (t *text) position(at int) position {
	at = max(0, min(at, len(t.src)))
	line := sort.SearchInts(t.lines, at+1) - 1
	p := position{Line: line}
	for i := t.lines[line]; i < at; {
		r, k := utf8.DecodeRune(t.src[i:])
		p.Character += utf16.RuneLen(r)
		i += k
	}
	return p
}

func (t *text) span(from, to int) span { return span{t.position(from), t.position(to)} }

// place is the byte of a line and a column of characters, as diagnostics have
// them, both from 1.
func (t *text) place(line, col int) int {
	if line < 1 {
		return 0
	}
	if line > len(t.rows) {
		return len(t.src)
	}
	at, end := t.rows[line-1], len(t.src)
	if line < len(t.rows) {
		end = t.rows[line] - 1
		if end > at && t.src[end-1] == '\r' {
			end--
		}
	}
	for c := 1; c < col && at < end; c++ {
		_, k := utf8.DecodeRune(t.src[at:end])
		at += k
	}
	return at
}

func (t *text) ofSpan(s lang.Span) span {
	return t.span(t.place(s.Line, s.Col), t.place(s.EndLine, s.EndCol))
}

// row is the text of one line of the language, from 1.
func (t *text) row(line int) string {
	return string(t.src[t.place(line, 1):t.place(line, 1<<30)])
}

func (t *text) apply(c change) []byte {
	if c.Range == nil {
		return []byte(c.Text)
	}
	from, to := t.byteAt(c.Range.Start), t.byteAt(c.Range.End)
	if from > to {
		from, to = to, from
	}
	out := make([]byte, 0, len(t.src)-(to-from)+len(c.Text))
	out = append(out, t.src[:from]...)
	out = append(out, c.Text...)
	return append(out, t.src[to:]...)
}
