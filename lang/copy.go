package lang

import (
	"fmt"
	"slices"
	"strings"
)

// A BlockName names a block of a recipe: its word and its name.
type BlockName struct{ Kind, Name string }

func (b BlockName) String() string { return b.Kind + " " + b.Name }

// BlockKinds are the blocks that have a name and can be copied, in the order
// in which recipes usually have them.
var BlockKinds = []string{"paper", "lab", "mask", "steps", "print", "sheet"}

// blockOrder is the usual order of all blocks.
var blockOrder = []string{"paper", "lab", "mask", "prepare", "steps", "print", "sheet", "inputs"}

// Blocks lists the named blocks of a recipe in the order of the file. It is
// for texts that read without error; of others it lists what it can.
func Blocks(src []byte) []BlockName {
	s, _ := ReadSource("", src)
	var out []BlockName
	for _, b := range s.Top.Blocks {
		if b.Name != nil && slices.Contains(BlockKinds, b.Kind) {
			out = append(out, b.title())
		}
	}
	return out
}

func (b *Block) title() BlockName {
	if b.Name == nil {
		return BlockName{Kind: b.Kind}
	}
	return BlockName{b.Kind, b.Name.Value}
}

// whole is the bytes of a block in whole lines, the last line's end included.
func (s *Source) whole(b *Block) (from, to int) {
	from, to = b.Bytes()
	return s.WholeLines(from, to)
}

// Above is the first byte of the comment lines that stand right above a block,
// or of the block.
func (s *Source) Above(b *Block) int {
	i := slices.IndexFunc(s.Lines, func(l Line) bool { return l.Opens == b })
	first := b.Head.Tokens[0].Offset
	for i--; i >= 0 && len(s.Lines[i].Tokens) == 0 && len(s.Lines[i].Comments) > 0; i-- {
		first = s.Lines[i].Comments[0].Offset
	}
	from, _ := s.WholeLines(first, first)
	return from
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
	fs, _ := ReadSource("", from)
	if move != nil {
		moved, err := movePaths(fs, blocks, move)
		if err != nil {
			return nil, err
		}
		from = moved
		fs, _ = ReadSource("", from)
	}
	out := to
	for _, want := range blocks {
		b := fs.block(want)
		if b == nil {
			return nil, noBlock(fs, want)
		}
		s, _ := ReadSource("", out)
		for _, t := range s.Top.Blocks {
			if n := t.title(); n.Name == want.Name && n.Kind != want.Kind {
				return nil, &CopyError{fmt.Sprintf("the name %s is taken by a %s", want.Name, kindOf(n.Kind)), []string{"a name means one thing in a recipe; rename one of the two first"}}
			}
		}
		start, end := fs.whole(b)
		t := s.block(want)
		switch {
		case t == nil:
			out = Apply(out, s.insertion(want.Kind, s.withLineEnds(from[fs.Above(b):end])))
		case !replace:
			return nil, &CopyError{fmt.Sprintf("there is a %s already", want), []string{"--replace puts the new one in its place"}}
		default:
			text := s.withLineEnds(from[start:end])
			start, end = s.whole(t)
			if out[end-1] != '\n' {
				text = strings.TrimRight(text, "\r\n")
			}
			out = Apply(out, Edit{start, end, text})
		}
	}
	if err := stillRight(to, out, blocks); err != nil {
		return nil, err
	}
	return out, nil
}

// movePaths writes the paths of the files that blocks read anew.
func movePaths(s *Source, blocks []BlockName, move func(string) (string, error)) ([]byte, error) {
	var edits []Edit
	for _, b := range s.Top.Blocks {
		if !slices.Contains(blocks, b.title()) {
			continue
		}
		for _, l := range b.statements() {
			for k, t := range l.Tokens {
				if t.Kind != KindString || k == 0 || l.Tokens[k-1].Value != "file" && l.Tokens[k-1].Value != "profile" {
					continue
				}
				p, err := move(t.Value)
				if err != nil {
					return nil, err
				}
				if p != t.Value {
					edits = append(edits, Edit{t.Offset, t.End, quote(p)})
				}
			}
		}
	}
	return Apply(s.Text, edits...), nil
}

// block is the block of a kind and name, nil where there is none.
func (s *Source) block(want BlockName) *Block {
	for _, b := range s.Top.Blocks {
		if b.title() == want {
			return b
		}
	}
	return nil
}

func noBlock(s *Source, want BlockName) error {
	var names []string
	for _, b := range s.Top.Blocks {
		if b.Kind == want.Kind {
			names = append(names, b.title().Name)
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
func (s *Source) withLineEnds(text []byte) string {
	t := strings.ReplaceAll(strings.TrimPrefix(string(text), "\uFEFF"), "\r\n", "\n")
	return strings.ReplaceAll(strings.TrimSuffix(t, "\n")+"\n", "\n", s.EOL())
}

// insertion puts a block where its kind usually stands, a blank line away from
// its neighbours.
func (s *Source) insertion(kind, text string) Edit {
	at, before, eol := len(s.Text), false, s.EOL()
	for _, b := range slices.Backward(s.Top.Blocks) {
		if b.Kind == kind {
			_, at = s.whole(b)
			before = false
			break
		}
		if slices.Index(blockOrder, b.Kind) > slices.Index(blockOrder, kind) {
			at, before = s.Above(b), true
		}
	}
	head := strings.ReplaceAll(string(s.Text[:at]), "\r\n", "\n")
	if before {
		if head != "" && !strings.HasSuffix(head, "\n\n") {
			text = eol + text
		}
		return Edit{at, at, text + eol}
	}
	if head != "" && !strings.HasSuffix(head, "\n") {
		text = eol + text
	}
	text = eol + text
	// What follows keeps its distance where a blank line stands there, and gets
	// one where none does.
	if rest := strings.TrimLeft(string(s.Text[at:]), " \t"); rest != "" && !strings.ContainsAny(rest[:1], "\r\n") {
		text += eol
	}
	return Edit{at, at, text}
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
		if name := excerpt(after, d.Span); kind != "" {
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
