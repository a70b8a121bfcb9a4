package lang

import (
	"fmt"
	"strings"
)

// Pin is one file of the inputs block: its path as the recipe writes it, and
// the SHA-256 of its bytes in 64 hexadecimal digits.
type Pin struct{ Path, SHA256 string }

// SetInputs returns the recipe with an inputs block that holds exactly these
// pins, in the order given for new ones. Every other byte stays as it is:
// comments, also those inside the block, the order of lines that remain, the
// line ends of the file and its byte-order mark. Where there is no block, one
// is added at the end behind a blank line; with no pins a recipe without block
// comes back unchanged.
func SetInputs(src []byte, pins []Pin) ([]byte, error) {
	seen := map[string]bool{}
	for _, p := range pins {
		if !goodDigest(p.SHA256) {
			return nil, fmt.Errorf("the digest of %q isn't 64 hexadecimal digits in lower case", p.Path)
		}
		if seen[p.Path] {
			return nil, fmt.Errorf("%q is given twice", p.Path)
		}
		for _, c := range p.Path {
			if steers(c) {
				return nil, fmt.Errorf("the path %q holds a control character", p.Path)
			}
		}
		seen[p.Path] = true
	}
	s, ds := ReadSource("", src)
	if len(s.Lines) == 0 && len(ds) > 0 {
		return nil, fmt.Errorf("this isn't a recipe: %s", ds[0].Summary)
	}
	eol := "\n"
	if s.CRLF {
		eol = "\r\n"
	}
	open, end, err := inputsBlock(s)
	if err != nil {
		return nil, err
	}
	if open < 0 {
		return addInputs(s, pins, eol), nil
	}
	// Copy, editing the block's lines on the way.
	var out strings.Builder
	at := 0
	done := map[string]bool{}
	byPath := map[string]Pin{}
	for _, p := range pins {
		byPath[p.Path] = p
	}
	for i := open + 1; i < end; i++ {
		l := &s.Lines[i]
		if len(l.Tokens) == 0 {
			continue
		}
		if l.Broken || len(l.Tokens) != 3 || l.Tokens[0].Kind != KindString || l.Tokens[1].Value != "sha256" || l.Tokens[2].Kind != KindString {
			return nil, fmt.Errorf("line %d of the inputs block isn't written as \"FILE\" sha256 \"DIGEST\"; mend it first, or take the block out", l.Line)
		}
		p, ok := byPath[l.Tokens[0].Value]
		if !ok || done[p.Path] { // no longer an input
			a, b := wholeLine(src, l.Tokens[0].Offset, l.Tokens[2].End)
			out.Write(src[at:a])
			at = b
			continue
		}
		done[p.Path] = true
		out.Write(src[at:l.Tokens[2].Offset])
		out.WriteString(`"` + p.SHA256 + `"`)
		at = l.Tokens[2].End
	}
	a, _ := wholeLine(src, s.Lines[end].Tokens[0].Offset, s.Lines[end].Tokens[0].End)
	out.Write(src[at:a])
	for _, p := range pins {
		if !done[p.Path] {
			out.WriteString("    " + pinLine(p) + eol)
		}
	}
	out.Write(src[a:])
	return []byte(out.String()), nil
}

func pinLine(p Pin) string { return quote(p.Path) + ` sha256 "` + p.SHA256 + `"` }

// inputsBlock finds the block's first and last line, -1 where there is none.
func inputsBlock(s *Source) (open, end int, err error) {
	open = -1
	depth := 0
	for i := range s.Lines {
		t := s.Lines[i].Tokens
		if len(t) == 0 {
			continue
		}
		switch {
		case isPunct(t, 0, "}"):
			depth = max(depth-1, 0)
			if open >= 0 && depth == 0 {
				return open, i, nil
			}
		case isPunct(t, len(t)-1, "{"):
			if depth == 0 && t[0].Value == "inputs" && t[0].Kind == KindWord {
				if len(t) != 2 || t[0].Line == nextLine(s, i) {
					return 0, 0, fmt.Errorf("the inputs block on line %d isn't written as a block of lines; mend it first", t[0].Line)
				}
				open = i
			}
			depth++
		}
	}
	if open >= 0 {
		return 0, 0, fmt.Errorf("the inputs block on line %d isn't closed; mend it first", s.Lines[open].Line)
	}
	return -1, -1, nil
}

// nextLine returns the line of the file on which the next statement begins.
func nextLine(s *Source, i int) int {
	for i++; i < len(s.Lines); i++ {
		if len(s.Lines[i].Tokens) > 0 {
			return s.Lines[i].Line
		}
	}
	return 0
}

// wholeLine widens a stretch of bytes to whole lines of the file, the last
// line's end included.
func wholeLine(src []byte, a, b int) (int, int) {
	for a > 0 && src[a-1] != '\n' && !(a == 3 && string(src[:3]) == "\xEF\xBB\xBF") {
		a--
	}
	for b < len(src) && src[b] != '\n' {
		b++
	}
	return a, min(b+1, len(src))
}

func addInputs(s *Source, pins []Pin, eol string) []byte {
	if len(pins) == 0 {
		return s.Text
	}
	var b strings.Builder
	b.Write(s.Text)
	t := string(s.Text)
	if len(t) > 0 && !strings.HasSuffix(t, "\n") {
		b.WriteString(eol)
	}
	if body := strings.TrimPrefix(t, "\uFEFF"); body != "" && !strings.HasSuffix(body, "\n\n") && !strings.HasSuffix(body, "\n\r\n") {
		b.WriteString(eol)
	}
	b.WriteString("inputs {" + strings.Repeat(" ", commentColumn-len("inputs {")) + "# written by platemark pin" + eol)
	for _, p := range pins {
		b.WriteString("    " + pinLine(p) + eol)
	}
	b.WriteString("}" + eol)
	return []byte(b.String())
}
