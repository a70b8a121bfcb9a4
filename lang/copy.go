package lang

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
)

// A BlockName names a block of a recipe: its word and its name.
type BlockName struct{ Kind, Name string }

func (b BlockName) String() string { return b.Kind + " " + b.Name }

// BlockKinds are the blocks that have a name and can be copied, in the order
// in which recipes usually have them.
var BlockKinds = []string{"paper", "lab", "mask", "steps", "print"}

// blockOrder is the usual order of all blocks.
var blockOrder = []string{"paper", "lab", "mask", "prepare", "steps", "print", "sheet", "inputs"}

// blockText is where a block of the top stands in a text.
type blockText struct {
	BlockName
	comments   int // the first byte of the comment lines that stand right above it, or of the block
	start, end int // whole lines, the last line's end included
}

// blocksOfText finds the blocks at the top of a text that reads without error.
func blocksOfText(s *Source) []blockText {
	var out []blockText
	depth, above := 0, -1
	for i := range s.Lines {
		l := &s.Lines[i]
		if len(l.Tokens) == 0 {
			switch {
			case len(l.Comments) == 0:
				above = -1
			case above < 0 && depth == 0:
				above, _ = wholeLine(s.Text, l.Comments[0].Offset, l.Comments[0].End)
			}
			continue
		}
		last := l.Tokens[len(l.Tokens)-1]
		switch {
		case isPunct(l.Tokens, 0, "}"):
			if depth--; depth == 0 && len(out) > 0 {
				_, out[len(out)-1].end = wholeLine(s.Text, last.Offset, last.End)
			}
		case isPunct(l.Tokens, len(l.Tokens)-1, "{"):
			if depth == 0 {
				b := blockText{BlockName: BlockName{Kind: l.Tokens[0].Value}}
				if len(l.Tokens) > 2 {
					b.Name = l.Tokens[1].Value
				}
				b.start, _ = wholeLine(s.Text, l.Tokens[0].Offset, last.End)
				b.comments = b.start
				if above >= 0 {
					b.comments = above
				}
				out = append(out, b)
			}
			depth++
		}
		above = -1
	}
	return out
}

// Blocks lists the named blocks of a recipe in the order of the file. It is
// for texts that read without error; of others it lists what it can.
func Blocks(src []byte) []BlockName {
	s, _ := ReadSource("", src)
	var out []BlockName
	for _, b := range blocksOfText(s) {
		if b.Name != "" && contains(BlockKinds, b.Kind) {
			out = append(out, b.BlockName)
		}
	}
	return out
}

// CopyError says why blocks can't be copied, for people.
type CopyError struct {
	Summary string
	Hints   []string
}

func (e *CopyError) Error() string { return e.Summary }

// CopyBlocks returns the recipe to with blocks of the recipe from. The blocks
// come over byte for byte, with the comment lines right above them, but for
// line ends, which are those of to; every other byte of to stays as it is. A
// block goes behind the last one of its kind, or before the first one of the
// kinds that usually follow it.
//
// Where to has a block of that kind and name, replace puts the new one in its
// place (the comments above it stay to's own); without replace that is an
// error, as is a name that something of another kind has. Both texts must read
// without error, and the result must too: what copied blocks refer to must be
// copied with them or be there.
//
// move says how to write the path of a file that from reads; nil where paths
// mean the same in both. Names of print files stay as they are.
func CopyBlocks(from, to []byte, blocks []BlockName, replace bool, move func(path string) (string, error)) ([]byte, error) {
	if move != nil {
		var err error
		if from, err = movePaths(from, blocks, move); err != nil {
			return nil, err
		}
	}
	fs, _ := ReadSource("", from)
	have := blocksOfText(fs)
	out := to
	for _, want := range blocks {
		b := findBlock(have, want)
		if b == nil {
			return nil, noBlock(have, want)
		}
		s, _ := ReadSource("", out)
		there := blocksOfText(s)
		for i := range there {
			if t := &there[i]; t.Name == want.Name && t.Kind != want.Kind {
				return nil, &CopyError{fmt.Sprintf("the name %s is taken by a %s", want.Name, kindOf(t.Kind)), []string{"a name means one thing in a recipe; rename one of the two first"}}
			}
		}
		if t := findBlock(there, want); t != nil {
			if !replace {
				return nil, &CopyError{fmt.Sprintf("there is a %s already", want), []string{"--replace puts the new one in its place"}}
			}
			text := withLineEnds(from[b.start:b.end], s)
			if !bytes.HasSuffix(out[t.start:t.end], []byte("\n")) {
				text = bytes.TrimRight(text, "\r\n")
			}
			out = splice(out, t.start, t.end, text)
			continue
		}
		out = insertBlock(out, s, there, want.Kind, withLineEnds(from[b.comments:b.end], s))
	}
	if err := stillRight(to, out, blocks); err != nil {
		return nil, err
	}
	return out, nil
}

// movePaths writes the paths of the files that blocks read anew.
func movePaths(src []byte, blocks []BlockName, move func(string) (string, error)) ([]byte, error) {
	s, _ := ReadSource("", src)
	have := blocksOfText(s)
	out := src
	for i := len(s.Lines) - 1; i >= 0; i-- { // from the end, so that places stay
		toks := s.Lines[i].Tokens
		for k := len(toks) - 1; k > 0; k-- {
			t, word := toks[k], toks[k-1]
			copied := slices.ContainsFunc(have, func(b blockText) bool {
				return t.Offset >= b.start && t.End <= b.end && slices.Contains(blocks, b.BlockName)
			})
			if t.Kind != KindString || word.Value != "file" && word.Value != "profile" || !copied {
				continue
			}
			p, err := move(t.Value)
			if err != nil {
				return nil, err
			}
			if p != t.Value {
				out = splice(out, t.Offset, t.End, []byte(quote(p)))
			}
		}
	}
	return out, nil
}

func splice(src []byte, a, b int, text []byte) []byte {
	return append(append(append([]byte{}, src[:a]...), text...), src[b:]...)
}

func findBlock(list []blockText, want BlockName) *blockText {
	for i := range list {
		if list[i].BlockName == want {
			return &list[i]
		}
	}
	return nil
}

func noBlock(have []blockText, want BlockName) error {
	var names []string
	for _, b := range have {
		if b.Kind == want.Kind {
			names = append(names, b.Name)
		}
	}
	e := &CopyError{Summary: fmt.Sprintf("there is no %s to copy", want)}
	switch near := nearest(want.Name, names); {
	case near != "":
		e.Hints = []string{"did you mean " + near + "?"}
	case len(names) > 0:
		e.Hints = []string{"there is: " + andList(names)}
	}
	return e
}

// withLineEnds gives a text the line ends of a source, the last line included.
func withLineEnds(text []byte, s *Source) []byte {
	t := strings.ReplaceAll(strings.TrimPrefix(string(text), "\uFEFF"), "\r\n", "\n")
	if !strings.HasSuffix(t, "\n") {
		t += "\n"
	}
	if s.CRLF {
		t = strings.ReplaceAll(t, "\n", "\r\n")
	}
	return []byte(t)
}

// insertBlock puts a block where its kind usually stands, a blank line away
// from its neighbours.
func insertBlock(src []byte, s *Source, there []blockText, kind string, text []byte) []byte {
	eol := "\n"
	if s.CRLF {
		eol = "\r\n"
	}
	rank := map[string]int{}
	for i, k := range blockOrder {
		rank[k] = i
	}
	at, before := len(src), false
	for i := len(there) - 1; i >= 0; i-- {
		if there[i].Kind == kind {
			at, before = there[i].end, false
			break
		}
		if rank[there[i].Kind] > rank[kind] {
			at, before = there[i].comments, true
		}
	}
	var b bytes.Buffer
	if before {
		if head := strings.ReplaceAll(string(src[:at]), "\r\n", "\n"); at > 0 && !strings.HasSuffix(head, "\n\n") {
			b.WriteString(eol)
		}
		b.Write(text)
		b.WriteString(eol)
		return splice(src, at, at, b.Bytes())
	}
	if at > 0 && src[at-1] != '\n' {
		b.WriteString(eol)
	}
	b.WriteString(eol)
	b.Write(text)
	// What follows keeps its distance where a blank line stands there, and gets
	// one where none does.
	if rest := bytes.TrimLeft(src[at:], " \t"); len(rest) > 0 && rest[0] != '\n' && rest[0] != '\r' {
		b.WriteString(eol)
	}
	return splice(src, at, at, b.Bytes())
}

// stillRight checks that copying brought no error into a recipe.
func stillRight(before, after []byte, blocks []BlockName) error {
	_, old := Parse("", before)
	_, ds := Parse("", after)
	if HasErrors(old) || !HasErrors(ds) {
		return nil
	}
	e := &CopyError{Summary: "the recipe would no longer read"}
	for _, d := range ds {
		if d.Severity != Error {
			continue
		}
		e.Summary = "the recipe would no longer read: " + d.Summary
		kind := map[string]string{"PM401": "mask", "PM402": "steps", "PM410": "paper", "PM411": "lab"}[d.Code]
		if name := Excerpt(after, d.Span); kind != "" {
			var list []string
			for _, b := range append(blocks, BlockName{kind, name}) {
				list = append(list, b.String())
			}
			e.Hints = []string{"copy it too: " + strings.Join(list, ", ")}
		} else {
			e.Hints = d.Hints
		}
		break
	}
	return e
}
