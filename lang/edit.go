package lang

import (
	"bytes"
	"cmp"
	"slices"
)

// Edit puts Text in the place of the bytes From to To of a text.
type Edit struct {
	From, To int
	Text     string
}

// Apply returns a text after edits, whose places are those before any of them
// and don't overlap; of several at one place the first stands first. Every
// other byte stays as it is.
func Apply(src []byte, edits ...Edit) []byte {
	edits = slices.Clone(edits)
	slices.SortStableFunc(edits, func(a, b Edit) int { return cmp.Compare(a.From, b.From) })
	var out bytes.Buffer
	at := 0
	for _, e := range edits {
		out.Write(src[at:e.From])
		out.WriteString(e.Text)
		at = e.To
	}
	out.Write(src[at:])
	return out.Bytes()
}

// Mend returns a recipe after its safe mends, and the problems that they mended.
func Mend(file string, src []byte) (out []byte, mended []Diagnostic) {
	out = src
	for range 100 { // a mend may show the next; each kind of character is told once a line
		_, ds := Parse(file, out)
		var edits []Edit
		behind := 0
		for _, d := range ds {
			if d.Fix == nil || !d.Fix.Safe {
				continue
			}
			if e := d.Fix.edit(out); e.From >= behind {
				edits, behind = append(edits, e), max(e.To, e.From+1)
				mended = append(mended, d)
			}
		}
		if len(edits) == 0 {
			break
		}
		out = Apply(out, edits...)
	}
	return out, mended
}

// EOL is the line end of a source.
func (s *Source) EOL() string {
	if s.CRLF {
		return "\r\n"
	}
	return "\n"
}

// WholeLines widens a stretch of bytes to whole lines of the file, the last
// line's end included.
func (s *Source) WholeLines(from, to int) (int, int) {
	src, body := s.Text, 0
	if bytes.HasPrefix(src, []byte("\xEF\xBB\xBF")) {
		body = 3
	}
	if from > body {
		from = max(body, bytes.LastIndexByte(src[:from], '\n')+1)
	}
	if i := bytes.IndexByte(src[to:], '\n'); i >= 0 {
		return from, to + i + 1
	}
	return from, len(src)
}

// Prepare is the prepare block, nil where there is none.
func (s *Source) Prepare() *Block {
	for _, b := range s.Top.Blocks {
		if b.Kind == "prepare" {
			return b
		}
	}
	return nil
}
