package lang

import (
	"bytes"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/rogpeppe/go-internal/diff"
)

// The canonical form of a recipe. Only layout changes: no word, number, string
// or comment does, so that the meaning and the marks stay. The form of a line
// depends on that line and on the depth of its block alone, never on its
// neighbours: a change of one line in a recipe is a change of one line in its
// canonical form.

const (
	formatIndent  = 4   // columns a block
	formatColumns = 100 // a longer list breaks behind a comma
	commentColumn = 44  // characters before a comment behind a statement
)

// valueColumns are the characters before the values of a block's lines, where
// they stand in a column: that of the longest word of the block.
var valueColumns = map[string]int{
	"top":   len("master") + 2,
	"paper": len("black-point") + 2,
	"lab":   len("largest file") + 1,
	"tone":  len("local contrast") + 1,
}

// twoWords are statements of which the value stands behind a second word.
var twoWords = map[string]string{"largest": "file", "local": "contrast", "muted": "chroma"}

// Format returns the canonical form of a recipe. A recipe with an error is not
// touched: out is nil then, and the diagnostics say what to mend. A text
// without any statement, with comments only, is no recipe and has a form all
// the same.
//
// It promises: formatting twice is formatting once; every comment survives
// word for word beside its statement, without spaces at its end; the formatted
// text reads to the same meaning. CR LF and a byte-order mark are not kept.
func Format(file string, src []byte) (out []byte, ds []Diagnostic) {
	_, ds = Parse(file, src)
	s, lexical := ReadSource(file, src)
	if HasErrors(ds) {
		if len(lexical) > 0 || slices.ContainsFunc(s.Lines, func(l Line) bool { return len(l.Tokens) > 0 }) {
			return nil, ds
		}
		ds = nil
	}
	f := &formatter{src: s}
	for i := range s.Lines {
		f.line(&s.Lines[i])
	}
	return f.out.Bytes(), ds
}

type formatter struct {
	src   *Source
	out   bytes.Buffer
	blank bool // a blank line is due before the next line
	fresh bool // the line before opened a block
}

// begin puts the blank line that is due: at most one, none at the file's
// start, behind { and before }.
func (f *formatter) begin(closing bool) {
	if f.blank && f.out.Len() > 0 && !f.fresh && !closing {
		f.out.WriteByte('\n')
	}
	f.blank, f.fresh = false, false
}

func (f *formatter) line(l *Line) {
	if len(l.Tokens) == 0 {
		if len(l.Comments) == 0 {
			f.blank = true
			return
		}
		f.begin(false)
		f.out.WriteString(strings.Repeat(" ", formatIndent*l.In.depth()) + l.Comments[0].Text + "\n")
		return
	}
	in := l.In
	closes := in.Close == l
	if closes {
		in = in.In
	}
	f.begin(closes)
	f.out.WriteString(formatLine(f.src, l, in.Kind, in.depth()))
	f.fresh = l.Opens != nil
}

// formatLine lays one statement out, its comments with it.
func formatLine(s *Source, l *Line, block string, depth int) string {
	w := &lineWriter{indent: formatIndent * depth}
	w.pad(w.indent)
	column := 0
	if c, ok := valueColumns[block]; ok && !isPunct(l.Tokens, len(l.Tokens)-1, "{") && l.Tokens[0].Value != "recipe" {
		column = w.indent + c
	}
	head := 1 // the tokens before the value
	if len(l.Tokens) > 1 && twoWords[l.Tokens[0].Value] == l.Tokens[1].Value {
		head = 2
	}
	comments := l.Comments
	brackets := 0
	for i, t := range l.Tokens {
		for len(comments) > 0 && comments[0].Offset < t.Offset {
			w.comment(comments[0], l.Tokens[i-1])
			comments = comments[1:]
		}
		text := string(s.Text[t.Offset:t.End])
		switch {
		case w.fresh:
			w.text(text)
		case i == 0:
			w.text(text)
		case i == head && column > w.at:
			w.pad(column - w.at)
			w.text(text)
		default:
			gap := gapBefore(l.Tokens[i-1], t)
			// Between the parts of a list, behind a comma, a line may break.
			if isPunct(l.Tokens, i-1, ",") && brackets == 0 && w.at+1+chunk(s, l, i, comments) > formatColumns {
				w.wrap()
				gap = 0
			}
			w.pad(gap)
			w.text(text)
		}
		if t.Kind == KindPunct {
			switch t.Value {
			case "(":
				brackets++
			case ")":
				brackets--
			}
		}
	}
	for _, c := range comments {
		w.comment(c, l.Tokens[len(l.Tokens)-1])
	}
	if !w.fresh {
		w.b.WriteByte('\n')
	}
	return w.b.String()
}

// chunk is how long the part of a list is that begins at token i: to the next
// comma between parts, to the comment that ends the line, or to the end.
func chunk(s *Source, l *Line, i int, comments []Comment) int {
	n, brackets := 0, 0
	for k := i; k < len(l.Tokens); k++ {
		t := l.Tokens[k]
		if k > i {
			if len(comments) > 0 && comments[0].Offset < t.Offset {
				return n
			}
			n += gapBefore(l.Tokens[k-1], t)
		}
		n += utf8.RuneCount(s.Text[t.Offset:t.End])
		switch {
		case isPunct(l.Tokens, k, "("):
			brackets++
		case isPunct(l.Tokens, k, ")"):
			brackets--
		case isPunct(l.Tokens, k, ",") && brackets == 0:
			return n
		}
	}
	return n
}

// gapBefore is the space between two tokens of one line.
func gapBefore(a, b Token) int {
	switch {
	case a.Kind == KindPunct && a.Value == "(",
		b.Kind == KindPunct && (b.Value == ")" || b.Value == ","),
		b.Kind == KindUnit && b.Value == "%":
		return 0
	}
	return 1
}

// lineWriter writes a statement that may take several lines of the file.
type lineWriter struct {
	b      strings.Builder
	indent int
	at     int  // characters on the line of the file so far
	fresh  bool // a continuation has begun and is still empty
}

func (w *lineWriter) text(s string) {
	if w.fresh {
		w.pad(w.indent + formatIndent)
	}
	w.b.WriteString(s)
	w.at += utf8.RuneCountInString(s)
	w.fresh = false
}

func (w *lineWriter) pad(n int) {
	w.b.WriteString(strings.Repeat(" ", n))
	w.at += n
}

// wrap begins a continuation in the middle of a list.
func (w *lineWriter) wrap() {
	w.b.WriteByte('\n')
	w.at = 0
	w.pad(w.indent + formatIndent)
}

// comment writes a comment beside the token before it, or on a line of its
// own where it stands on one. A line ends with it.
func (w *lineWriter) comment(c Comment, before Token) {
	switch {
	case w.fresh:
		w.pad(w.indent + formatIndent)
	case c.Line != before.EndLine:
		w.wrap()
	default:
		w.pad(max(commentColumn-w.at, 2))
	}
	w.b.WriteString(c.Text + "\n")
	w.at, w.fresh = 0, true
}

// UnifiedDiff shows how two texts differ, in the unified form that patch reads,
// with three lines of context; "" where they don't.
func UnifiedDiff(oldName, newName string, a, b []byte) string {
	_, text, _ := strings.Cut(string(diff.Diff(oldName, a, newName, b)), "\n")
	return text
}
