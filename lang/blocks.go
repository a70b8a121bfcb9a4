package lang

// Block is a block of a recipe as its braces have it, whatever else is wrong.
type Block struct {
	Kind   string // top, paper, lab, mask, prepare, steps, print, tone, inputs; "" where its lines can't be judged
	In     *Block // nil for the top
	Head   *Line  // nil for the top
	Name   *Token // nil where it has none
	Lines  []*Line
	Blocks []*Block
	Close  *Line // its }, nil where that is missing
	cut    *Line // the line that ended it, where its } is missing; nil at the end of the file
}

// depth is how many blocks a line of this one stands in.
func (b *Block) depth() int {
	n := 0
	for ; b.In != nil; b = b.In {
		n++
	}
	return n
}

// outer is the block at the top of the file that this one is or stands in; nil
// for the top.
func (b *Block) outer() *Block {
	for b.In != nil && b.In.In != nil {
		b = b.In
	}
	if b.In == nil {
		return nil
	}
	return b
}

// span runs from the block's head to its }.
func (b *Block) span() Span {
	if b.Close == nil {
		return b.Head.Span
	}
	return join(b.Head.Span, b.Close.Tokens[0].Span)
}

// Bytes are the block's bytes, from its word to behind its } or, where that is
// missing, to the end of its last line.
func (b *Block) Bytes() (from, to int) {
	last := b.Head
	if b.Close != nil {
		last = b.Close
	} else if n := len(b.Lines); n > 0 {
		if last = b.Lines[n-1]; last.Opens != nil {
			_, to = last.Opens.Bytes()
			return b.Head.Tokens[0].Offset, to
		}
	}
	return b.Head.Tokens[0].Offset, last.Tokens[len(last.Tokens)-1].End
}

// build follows the braces. A line that opens a block of the top ends every
// block that is open: theirs were forgotten.
func (s *Source) build() {
	s.Top = &Block{Kind: "top"}
	in := s.Top
	loneBrace := false // the line before opened a block and lacked its {
	for i := range s.Lines {
		l := &s.Lines[i]
		l.In = in
		switch lone := loneBrace; {
		case len(l.Tokens) == 0:
			continue
		case lone && len(l.Tokens) == 1 && isPunct(l.Tokens, 0, "{"):
			loneBrace = false
			continue
		case isPunct(l.Tokens, 0, "}"):
			loneBrace = false
			if in.In != nil {
				in.Close, in = l, in.In
			}
			continue
		}
		t := l.Tokens[0]
		brace := isPunct(l.Tokens, len(l.Tokens)-1, "{")
		if brace && t.Kind == KindWord && opener(t.Value) && t.Value != "tone" {
			for ; in.In != nil; in = in.In {
				in.cut = l
			}
			l.In = in
		}
		in.Lines = append(in.Lines, l)
		kind, opens := blockOf(t, in.Kind)
		loneBrace = opens && !brace
		if opens || brace {
			l.Opens = &Block{Kind: kind, In: in, Head: l}
			if kind != "" && kind != "tone" && isKind(l.Tokens, 1, KindName) {
				l.Opens.Name = &l.Tokens[1]
			}
			in.Blocks = append(in.Blocks, l.Opens)
			in = l.Opens
		}
	}
	s.open = in
}

// blockOf is the block that a word opens, also where it is misspelt; "" where
// its lines can't be judged. opens is false where a word opens none without a
// brace.
func blockOf(t Token, in string) (kind string, opens bool) {
	if f := statementsOf(t.Value, in); t.Kind == KindWord && len(f) > 0 && f[0].Opens {
		return t.Value, true
	}
	if in == "" || t.Kind == KindString || len(blocksOf(t.Value)) > 0 {
		return "", false
	}
	if w := nearest(t.Value, wordsIn(in)); w != "" && opener(w) && statementsOf(w, in)[0].Opens {
		return w, false
	}
	return "", false
}

// statements are the lines of a block and of those in it, in the file's order.
func (b *Block) statements() []*Line {
	var out []*Line
	for _, l := range b.Lines {
		out = append(out, l)
		if l.Opens != nil {
			out = append(out, l.Opens.statements()...)
		}
	}
	return out
}
