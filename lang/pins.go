package lang

import (
	"fmt"
	"slices"
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
	s, err := recipeText(src)
	if err != nil {
		return nil, err
	}
	var block *Block
	for _, b := range s.Top.Blocks {
		if b.Head.Tokens[0].Value == "inputs" && block == nil {
			block = b
		}
	}
	if block == nil {
		return Apply(src, s.newInputs(pins)...), nil
	}
	at := block.Head.Line
	switch {
	case len(block.Head.Tokens) != 2 || len(block.Lines) > 0 && block.Lines[0].Line == at || block.Close != nil && block.Close.Line == at:
		return nil, fmt.Errorf("the inputs block on line %d isn't written as a block of lines; mend it first", at)
	case block.Close == nil:
		return nil, fmt.Errorf("the inputs block on line %d isn't closed; mend it first", at)
	}
	var edits []Edit
	done := map[string]bool{}
	for _, l := range block.Lines {
		t := l.Tokens
		if l.Broken || len(t) != 3 || t[0].Kind != KindString || t[1].Value != "sha256" || t[2].Kind != KindString {
			return nil, fmt.Errorf("line %d of the inputs block isn't written as \"FILE\" sha256 \"DIGEST\"; mend it first, or take the block out", l.Line)
		}
		k := slices.IndexFunc(pins, func(p Pin) bool { return p.Path == t[0].Value })
		if k < 0 || done[t[0].Value] { // no longer an input
			from, to := s.WholeLines(t[0].Offset, t[2].End)
			edits = append(edits, Edit{from, to, ""})
			continue
		}
		done[t[0].Value] = true
		edits = append(edits, Edit{t[2].Offset, t[2].End, quote(pins[k].SHA256)})
	}
	end := block.Close.Tokens[0]
	from, _ := s.WholeLines(end.Offset, end.End)
	for _, p := range pins {
		if !done[p.Path] {
			edits = append(edits, Edit{from, from, "    " + pinLine(p) + s.EOL()})
		}
	}
	return Apply(src, edits...), nil
}

// recipeText cuts a text into lines, and refuses what has none.
func recipeText(src []byte) (*Source, error) {
	s, ds := ReadSource("", src)
	if len(s.Lines) == 0 && len(ds) > 0 {
		return nil, fmt.Errorf("this isn't a recipe: %s", ds[0].Summary)
	}
	return s, nil
}

func pinLine(p Pin) string { return quote(p.Path) + ` sha256 "` + p.SHA256 + `"` }

// newInputs puts an inputs block behind a recipe that has none.
func (s *Source) newInputs(pins []Pin) []Edit {
	if len(pins) == 0 {
		return nil
	}
	eol, text := s.EOL(), ""
	t := strings.TrimPrefix(string(s.Text), "\uFEFF")
	if len(s.Text) > 0 && !strings.HasSuffix(t, "\n") {
		text = eol
	}
	if t != "" && !strings.HasSuffix(t, "\n\n") && !strings.HasSuffix(t, "\n\r\n") {
		text += eol
	}
	text += "inputs {" + strings.Repeat(" ", commentColumn-len("inputs {")) + "# written by platemark pin" + eol
	for _, p := range pins {
		text += "    " + pinLine(p) + eol
	}
	return []Edit{{len(s.Text), len(s.Text), text + "}" + eol}}
}
