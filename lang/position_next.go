package lang

import (
	"cmp"
	"slices"
	"strings"
)

// PathUse says what a path is for.
type PathUse string

const (
	PathMaster  PathUse = "master"
	PathPicture PathUse = "picture"
	PathMask    PathUse = "mask"
	PathProfile PathUse = "profile"
	PathSave    PathUse = "save"
	PathInput   PathUse = "input" // of an inputs block
)

// Next says what may be written at a place of a recipe.
type Next struct {
	From  int    // the byte where the word or text being written begins
	Block string // the kind of the place's block: top, mask, …; "" where its lines can't be judged
	At    int    // the number of the top's block that it lies in, -1 outside one
	Word  string // the statement that has begun, "" at a line's beginning

	Words   []string // words of the language, in the table's order
	Units   []string // behind a number
	Kernels bool
	Spaces  bool
	Names   []NameKind // names of these kinds
	Path    PathUse    // a path, inside its double quotes
	Text    string     // the part of the path before the place
}

// Following says what may be written at byte at, from what stands before it
// alone. Inside comments, texts and numbers that is nothing.
func Following(src []byte, at int) Next {
	at = max(0, min(at, len(src)))
	from := at
	for from > 0 && (isNameByte(src[from-1]) || src[from-1] == '.' && from > 1 && isNameByte(src[from-2])) {
		from--
	}
	// A number that a unit is glued to isn't part of the word.
	for from < at && (src[from] >= '0' && src[from] <= '9' || src[from] == '.' || src[from] == '-') {
		from++
	}
	n := Next{From: from, At: -1}
	whole, _ := ReadSource("", src[:at])
	if inComment(whole, at) {
		return n
	}
	if l := whole.last(); l != nil {
		if t := openString(whole, l, at); t != nil {
			n.From = t.Offset + 1
			n.inString(whole, l, t)
			return n
		}
	}
	s, _ := ReadSource("", src[:from])
	l := s.going()
	if l == nil {
		n.place(s, s.open)
		if n.Block != "" && n.Block != "inputs" {
			n.Words = wordsIn(n.Block)
		}
		return n
	}
	n.place(s, l.In)
	n.following(l)
	return n
}

// last is the last statement, nil where there is none.
func (s *Source) last() *Line {
	all := s.Top.statements()
	if len(all) == 0 {
		return nil
	}
	return all[len(all)-1]
}

func isNameByte(b byte) bool {
	return b == '-' || b == '_' || b >= '0' && b <= '9' || b >= 'a' && b <= 'z' || b >= 'A' && b <= 'Z' || b >= 0x80
}

func (n *Next) place(s *Source, b *Block) {
	n.Block, n.At = b.Kind, slices.Index(s.Top.Blocks, b.outer())
}

func inComment(s *Source, at int) bool {
	for i := len(s.Lines) - 1; i >= 0; i-- {
		if c := s.Lines[i].Comments; len(c) > 0 {
			k := c[len(c)-1]
			return k.Offset < at && at <= k.End
		}
		if len(s.Lines[i].Tokens) > 0 {
			return false
		}
	}
	return false
}

// openString returns the string that the end of the text lies in, which l is the
// last line of; nil where it lies in none.
func openString(s *Source, l *Line, at int) *Token {
	t := &l.Tokens[len(l.Tokens)-1]
	if t.Kind != KindString || t.End != at || s.Text[t.Offset] != '"' {
		return nil
	}
	// Closed by a double quote that isn't escaped?
	in := false
	for i := t.Offset; i < t.End; i++ {
		switch s.Text[i] {
		case '\\':
			if in {
				i++
			}
		case '"':
			in = !in
		}
	}
	if !in {
		return nil
	}
	return t
}

// inString: which path stands here?
func (n *Next) inString(s *Source, l *Line, t *Token) {
	n.place(s, l.In)
	n.Text = t.Value
	n.Word, _ = l.word()
	if n.Block == "inputs" && len(l.Tokens) == 1 {
		n.Path = PathInput
		return
	}
	before := &Line{Tokens: l.Tokens[:len(l.Tokens)-1], In: l.In}
	if len(before.Tokens) == 0 {
		return
	}
	for _, f := range before.fails() {
		if f.value {
			n.Path = cmp.Or(f.st.Params[f.param].Path, n.Path)
		}
	}
}

// going returns the statement that goes on at the end of the text, nil where
// a new one begins there.
func (s *Source) going() *Line {
	l := s.last()
	if l == nil || isPunct(l.Tokens, len(l.Tokens)-1, "{") {
		return nil
	}
	tail := string(s.Text[l.Tokens[len(l.Tokens)-1].End:])
	if strings.Contains(tail, "}") {
		return nil
	}
	if !strings.Contains(tail, "\n") {
		return l
	}
	depth := 0
	for i := range l.Tokens {
		if isPunct(l.Tokens, i, "(") {
			depth++
		} else if isPunct(l.Tokens, i, ")") {
			depth--
		}
	}
	if depth > 0 || isPunct(l.Tokens, len(l.Tokens)-1, ",") {
		return l
	}
	return nil
}

// pastEnd is a token that fits nothing.
var pastEnd = Token{Kind: KindBad, Value: "\x00"}

// fails fits every statement of its word to a line that goes on, and returns
// what each that fits so far waits for.
func (l *Line) fails() []*misfit {
	word, start := l.word()
	toks := append(slices.Clone(l.Tokens), pastEnd)
	var out []*misfit
	for _, s := range statementsOf(word, l.In.Kind) {
		if _, fail := s.match(toks, min(start, len(toks)-1)); fail != nil && fail.at == len(toks)-1 {
			out = append(out, fail)
		}
	}
	return out
}

// following collects what a statement that has begun waits for.
func (n *Next) following(l *Line) {
	n.Word, _ = l.word()
	if n.Block == "mask" && len(l.Tokens) == 1 && (l.Tokens[0].Value == "less" || l.Tokens[0].Value == "within") {
		n.Word, n.Words = "", shapes
		return
	}
	number := l.Tokens[len(l.Tokens)-1].Kind == KindNumber
	for _, f := range l.fails() {
		for _, w := range f.want {
			if Reserved(w) {
				n.Words = appendNew(n.Words, w)
			}
		}
		var due *Param // whose value is due
		if f.value && f.param < len(f.st.Params) {
			due = &f.st.Params[f.param]
			n.Kernels = n.Kernels || due.Kind == valueKernel
			n.Spaces = n.Spaces || due.Kind == valueSpace || due.Kind == valueTarget
			switch {
			case due.Kind == valueTarget:
				n.Names = append(n.Names, NamePaper, NameLab)
			case due.Of != "" && !due.Gives:
				n.Names = append(n.Names, due.Of)
			}
		}
		if k := len(f.binds); k > 0 && f.binds[k-1].to == len(l.Tokens) {
			due = f.binds[k-1].param
		}
		if number && due != nil && due.measured() {
			for _, u := range due.units() {
				n.Units = appendNew(n.Units, u)
			}
		}
	}
}

// appendNew adds a word to a list that doesn't hold it.
func appendNew(list []string, w string) []string {
	if slices.Contains(list, w) {
		return list
	}
	return append(list, w)
}
