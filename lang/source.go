package lang

import (
	"bytes"
	"strings"
	"unicode/utf8"
)

// Kind is the kind of a token.
type Kind int

const (
	KindWord   Kind = iota // a word of the language
	KindName               // a name that a recipe may give
	KindNumber             // a number in its one form
	KindUnit               // a unit behind its number
	KindString             // a quoted text
	KindSpace              // a colour space
	KindKernel             // a kernel
	KindRatio              // a shape, 3:2
	KindPunct              // ( ) , { }
	KindBad                // a word that is none of these
)

// Token is one word, number or sign of a recipe.
type Token struct {
	Span
	Kind Kind
	// Value is what the token means: mended where a diagnostic was given,
	// without quotes and escapes for a string.
	Value string
	// Offset and End are the token's bytes in Source.Text.
	Offset, End int
}

// Comment is a comment with its #, as it stands in the file.
type Comment struct {
	Span
	Text        string
	Offset, End int
}

// Line is a logical line: one statement, or no tokens at all for a line that
// is blank or holds a comment only. It spans several lines of the file where
// brackets or a comma carry it on.
type Line struct {
	Span
	Tokens   []Token
	Comments []Comment
	In       *Block // the block that it stands in; of a }, the one that it closes
	Opens    *Block // the block that it opens, nil where it opens none
	// Broken says that a character or the layout of the line is wrong, so
	// that what doesn't fit the grammar may only follow from that.
	Broken bool
}

// Source is a recipe's text, cut into lines and tokens, with every comment.
type Source struct {
	File  string
	Text  []byte
	CRLF  bool // its first line ends with CR LF
	Lines []Line
	Top   *Block
	open  *Block // the block that is open at the end
}

// row is one line of the file without its line end.
type row struct {
	text   string
	offset int
}

// Bounds of a recipe, so that a picture given by mistake is refused at once,
// and any file soon. They are many times the longest recipe we could think of.
const (
	MaxSource = 4 << 20   // bytes
	maxLines  = 30_000    // lines, of the file and of statements
	maxTokens = 300_000   // words, numbers and signs
	maxRow    = 256 << 10 // bytes of one line
)

// ReadSource cuts a recipe's text into logical lines. It never fails: what is
// wrong with characters, numbers, strings and layout is in the diagnostics. A
// text beyond the bounds of a recipe has no lines.
func ReadSource(file string, src []byte) (*Source, []Diagnostic) {
	s, ps := readSource(file, src)
	return s, ps.told()
}

func readSource(file string, src []byte) (*Source, problems) {
	s := &Source{File: file, Text: src, Top: &Block{Kind: "top"}}
	s.open = s.Top
	sc := &scanner{problems: problems{file: file}}
	if sc.notText(src) {
		return s, sc.problems
	}
	body := 0
	if bytes.HasPrefix(src, []byte("\xEF\xBB\xBF")) {
		body = 3
	}
	if i := bytes.IndexByte(src, '\n'); i > 0 && src[i-1] == '\r' {
		s.CRLF = true
	}
	g := &grouper{sc: sc, out: s}
	for at, n := body, 1; at < len(src); n++ {
		end, next := len(src), len(src)
		if i := bytes.IndexByte(src[at:], '\n'); i >= 0 {
			end, next = at+i, at+i+1
			if end > at && src[end-1] == '\r' {
				end--
			}
		}
		what := ""
		switch {
		case end-at > maxRow:
			what = "this line has more than 256 KiB"
		case n > maxLines || len(s.Lines) > maxLines:
			what = "a recipe has at most 30,000 lines"
		case g.tokens > maxTokens:
			what = "a recipe has at most 300,000 words, numbers and signs"
		}
		if what != "" {
			sc.add("PM108", Span{n, 1, n, 1}, what, "What follows isn't read.", "take out what isn't a recipe's, or cut it into several recipes")
			s.Lines = nil
			return s, sc.problems
		}
		sc.row(row{string(src[at:end]), at}, n)
		g.row(n)
		at = next
	}
	g.finish()
	s.build()
	return s, sc.problems
}

// notText recognises what isn't a UTF-8 text at all.
func (p *problems) notText(src []byte) bool {
	name := ""
	switch {
	case bytes.HasPrefix(src, []byte("\xFF\xFE\x00\x00")), bytes.HasPrefix(src, []byte("\x00\x00\xFE\xFF")):
		name = "UTF-32"
	case bytes.HasPrefix(src, []byte("\xFF\xFE")), bytes.HasPrefix(src, []byte("\xFE\xFF")):
		name = "UTF-16"
	case len(src) >= 4 && (src[0] == 0) != (src[1] == 0) && (src[2] == 0) != (src[3] == 0) && (src[0] == 0) == (src[2] == 0):
		name = "UTF-16" // no mark, but every other byte is zero
	}
	at := Span{1, 1, 1, 1}
	switch {
	case name != "":
		p.add("PM101", at, "this file is saved as "+name, "A recipe is UTF-8 text.", "open it in your editor, choose “save as”, and save as UTF-8")
	case len(src) > MaxSource:
		p.add("PM107", at, "this file is too large for a recipe", "A recipe is a text of at most 4 MiB.", "give the recipe, not the picture")
	default:
		return false
	}
	return true
}

// rows returns the lines of the file without line ends and mark.
func rows(src []byte) []string {
	t := strings.TrimPrefix(string(src), "\uFEFF")
	out := strings.Split(t, "\n")
	for i := range out[:len(out)-1] { // what follows the last line end has none
		out[i] = strings.TrimSuffix(out[i], "\r")
	}
	return out
}

// excerpt returns the exact text of a span, lines joined by line feeds. For a
// statement that is its text without indent and comment behind it.
func excerpt(src []byte, sp Span) string {
	e := (&Fix{Span: sp}).edit(src)
	return strings.ReplaceAll(string(src[e.From:e.To]), "\r\n", "\n")
}

// edit is a mend as an edit of a text.
func (f *Fix) edit(src []byte) Edit {
	return Edit{offset(src, f.Line, f.Col), offset(src, f.EndLine, f.EndCol), f.Text}
}

// offset is the byte of a line and a column.
func offset(src []byte, line, col int) int {
	at := 0
	if bytes.HasPrefix(src, []byte("\uFEFF")) {
		at = 3
	}
	for ; line > 1; line-- {
		at += bytes.IndexByte(src[at:], '\n') + 1
	}
	row, _, _ := bytes.Cut(src[at:], []byte("\n"))
	return at + byteColumn(string(row), col)
}

// byteColumn returns the byte at which column col of a line begins.
func byteColumn(line string, col int) int {
	at := 0
	for c := 1; c < col && at < len(line); c++ {
		_, n := utf8.DecodeRuneInString(line[at:])
		at += n
	}
	return at
}
