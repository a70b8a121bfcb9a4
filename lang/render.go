package lang

import (
	"fmt"
	"io"
	"strings"
	"unicode"

	"github.com/mattn/go-runewidth"
)

// RenderOptions say how diagnostics are shown. Colour is for terminals only;
// Width is the number of columns that lines are broken at, 0 for 100.
type RenderOptions struct {
	Colour bool
	Width  int
}

// cells measures text; ambiguous characters count as narrow everywhere, so
// that the output doesn't depend on the locale.
var cells = runewidth.Condition{EastAsianWidth: false, StrictEmojiNeutral: true}

// Render writes diagnostics for people: what is wrong, where, the line of the
// source with the place underlined, the rule, and how to mend it.
func Render(w io.Writer, src []byte, ds []Diagnostic, opt RenderOptions) error {
	width := opt.Width
	if width <= 0 {
		width = 100
	}
	width = max(width, 40)
	paint := func(code, s string) string {
		if !opt.Colour {
			return s
		}
		return "\x1b[" + code + "m" + s + "\x1b[0m"
	}
	lines := rows(src)
	var b strings.Builder
	for i, d := range ds {
		if i > 0 {
			b.WriteByte('\n')
		}
		hue := map[Severity]string{Error: "1;31", Warning: "1;33", Note: "1;36"}[d.Severity]
		lead := d.Severity.String() + ":"
		for k, l := range wrap(lead+" "+plain(d.Summary)+" ["+d.Code+"]", width, "  ") {
			if k == 0 {
				l = paint(hue, lead) + paint("1", strings.TrimPrefix(l, lead))
			}
			b.WriteString(l + "\n")
		}
		fmt.Fprintf(&b, "  %s:%d:%d\n", plain(d.File), d.Span.Line, d.Span.Col)
		if n := d.Span.Line; n >= 1 && n <= len(lines) {
			text, mark := underline(lines[n-1], d.Span, width-6)
			if text != "" {
				b.WriteString("      " + text + "\n")
				b.WriteString("      " + strings.Repeat(" ", len(mark)-len(strings.TrimLeft(mark, " "))) + paint(hue, strings.TrimLeft(mark, " ")) + "\n")
			}
		}
		if d.Detail != "" {
			for _, l := range wrap("  "+plain(d.Detail), width, "  ") {
				b.WriteString(l + "\n")
			}
		}
		for _, h := range d.Hints {
			for k, l := range wrap("hint: "+plain(h), width, "      ") {
				if k == 0 {
					l = paint("1;32", "hint:") + strings.TrimPrefix(l, "hint:")
				}
				b.WriteString(l + "\n")
			}
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// plain replaces what would steer a terminal.
func plain(s string) string {
	return strings.Map(func(r rune) rune {
		if steers(r) {
			return '\uFFFD'
		}
		return r
	}, s)
}

func steers(r rune) bool {
	return r < 0x20 || r == 0x7F || r >= 0x80 && r < 0xA0 || unicode.Is(unicode.Bidi_Control, r) || r == '\u2028' || r == '\u2029'
}

// underline returns a line as it is shown, tabs as spaces, and the marks below
// it; where the line is wider than width, the part around the span.
func underline(line string, sp Span, width int) (text, mark string) {
	type cell struct {
		s string
		w int
		m bool
	}
	var cs []cell
	if near := 1000; len(line) > 8*near { // of an endless line only what may be shown
		from := max(sp.Col-near, 1)
		line = line[byteColumn(line, from):]
		line = line[:byteColumn(line, 3*near)]
		sp.Col, sp.EndCol = sp.Col-from+1, sp.EndCol-from+1
	}
	col, at := 0, 0
	end := sp.EndCol
	if sp.EndLine > sp.Line {
		end = 1 << 30
	}
	end = max(end, sp.Col+1)
	runes := []rune(line)
	trimmed := len([]rune(strings.TrimRight(line, " \t")))
	for i, r := range runes {
		c := cell{m: i+1 >= sp.Col && i+1 < end && (i < trimmed || i+1 == sp.Col)}
		switch {
		case r == '\t':
			c.w = 4 - at%4
			c.s = strings.Repeat(" ", c.w)
		case steers(r):
			c.s, c.w = "\uFFFD", 1
		default:
			c.s, c.w = string(r), cells.RuneWidth(r)
			if c.w == 0 && c.m && invisible(r) { // invisible: give the mark something to stand under
				c.s, c.w = "\u00B7", 1
			}
		}
		at += c.w
		cs = append(cs, c)
		col++
	}
	if sp.Col > col { // behind the line's end
		cs = append(cs, cell{" ", 1, true})
	}
	// Leave the indent out, as far as it isn't marked.
	for len(cs) > 0 && strings.TrimSpace(cs[0].s) == "" && cs[0].s != "" && !cs[0].m {
		cs = cs[1:]
	}
	first, total := -1, 0
	for i, c := range cs {
		total += c.w
		if c.m && first < 0 {
			first = i
		}
	}
	if first < 0 {
		return "", ""
	}
	lo, hi := 0, len(cs)
	if total > width {
		w := 0
		for lo = first; lo > 0 && w+cs[lo-1].w < width/3; lo-- {
			w += cs[lo-1].w
		}
		for w, hi = 2, lo; hi < len(cs) && w+cs[hi].w < width; hi++ {
			w += cs[hi].w
		}
	}
	var t, m strings.Builder
	if lo > 0 {
		t.WriteString("…")
		m.WriteString(" ")
	}
	for _, c := range cs[lo:hi] {
		t.WriteString(c.s)
		k := " "
		if c.m {
			k = "^"
		}
		m.WriteString(strings.Repeat(k, c.w))
	}
	if hi < len(cs) {
		t.WriteString("…")
	}
	return strings.TrimRight(t.String(), " "), strings.TrimRight(m.String(), " ")
}

// wrap breaks a text at spaces; lines behind the first begin with indent.
func wrap(s string, width int, indent string) []string {
	var out []string
	lead := s[:len(s)-len(strings.TrimLeft(s, " "))]
	cur, w := lead, cells.StringWidth(lead)
	empty := true
	for _, f := range strings.Fields(s) {
		n := cells.StringWidth(f)
		if !empty && w+1+n > width {
			out = append(out, cur)
			cur, w, empty = indent, len(indent), true
		}
		if !empty {
			cur += " "
			w++
		}
		cur += f
		w += n
		empty = false
	}
	return append(out, cur)
}
