package lang

import "slices"

// What an editor asks of a recipe that is being written: which name stands
// where, what a position is in, what may follow. Everything here is read from
// the tokens, so that it answers where other lines are wrong too.

// NameKind says what a name is of.
type NameKind string

const (
	NamePaper   NameKind = "paper"
	NameLab     NameKind = "lab"
	NameMask    NameKind = "mask"
	NameSteps   NameKind = "steps"
	NamePrint   NameKind = "print"
	NamePicture NameKind = "picture"
)

// NameAt is a place where a recipe gives or uses a name.
type NameAt struct {
	Token
	Of    NameKind
	Gives bool
	Block int // the block that it stands in, an index of Outline.Blocks
}

// BlockAt is a block at the top of a file.
type BlockAt struct {
	Word  string // paper, lab, mask, prepare, steps, print, inputs; "" where its lines can't be judged
	Name  *Token // nil where it has none
	Lines []*LineAt
	Head  *Line
	// Offset and End are its bytes, from its word to behind its } or, where
	// that is missing, to the end of its last line.
	Offset, End int
}

// LineAt is a statement with the block that it stands in.
type LineAt struct {
	*Line
	In    string // top, mask, prepare, tone, …; "" where its lines can't be judged
	Block int    // index of Outline.Blocks; of a line that opens one, that one; -1 at the top
}

// Outline is a recipe cut into blocks, whatever is wrong with it.
type Outline struct {
	Source *Source
	Blocks []*BlockAt
	Lines  []*LineAt // every statement, braces alone on their line left out
	Names  []NameAt  // in the file's order
	open   []string  // the blocks open at the end, "" for those that can't be judged
}

// ReadOutline cuts a recipe into blocks and finds its names.
func ReadOutline(src []byte) *Outline {
	s, _ := ReadSource("", src)
	o := &Outline{Source: s}
	o.cut()
	for _, l := range o.Lines {
		o.names(l)
	}
	// A conversion names a paper or a lab.
	for i := range o.Names {
		if n := &o.Names[i]; n.Of == NameLab && !n.Gives && slices.ContainsFunc(o.Names, func(x NameAt) bool { return x.Of == NamePaper && x.Gives && x.Value == n.Value }) {
			n.Of = NamePaper
		}
	}
	return o
}

// cut follows the braces as the reader does.
func (o *Outline) cut() {
	var cur *BlockAt
	end := func(at int) {
		if cur != nil && len(o.open) == 0 {
			cur.End = at
			cur = nil
		}
	}
	last, lone := 0, false
	for i := range o.Source.Lines {
		l := &o.Source.Lines[i]
		if len(l.Tokens) == 0 {
			continue
		}
		t, tail := l.Tokens[0], l.Tokens[len(l.Tokens)-1]
		if lone && len(l.Tokens) == 1 && isPunct(l.Tokens, 0, "{") {
			lone = false
			continue
		}
		lone = false
		if isPunct(l.Tokens, 0, "}") {
			if n := len(o.open); n > 0 {
				o.open = o.open[:n-1]
				end(tail.End)
			}
			last = tail.End
			continue
		}
		brace := isPunct(l.Tokens, len(l.Tokens)-1, "{")
		opener := t.Kind == KindWord && openers[t.Value]
		if brace && len(o.open) > 0 && opener && t.Value != "tone" {
			o.open = o.open[:0]
			end(last)
		}
		at := &LineAt{Line: l, In: "top", Block: -1}
		if n := len(o.open); n > 0 {
			at.In = o.open[n-1]
			at.Block = len(o.Blocks) - 1
		}
		o.Lines = append(o.Lines, at)
		if cur != nil {
			cur.Lines = append(cur.Lines, at)
		}
		kind, opens := blockOf(t, at.In)
		if opens || brace {
			o.open = append(o.open, kind)
			lone = !brace
			if len(o.open) == 1 {
				cur = &BlockAt{Word: kind, Head: l, Offset: t.Offset, End: tail.End}
				o.Blocks = append(o.Blocks, cur)
				at.Block = len(o.Blocks) - 1
			}
		}
		last = tail.End
	}
	if cur != nil {
		cur.End = last
	}
}

// blockOf is the block that a word opens, at the top also where the word is
// misspelt; "" where its lines can't be judged. opens is false where a word
// opens none without a brace.
func blockOf(t Token, in string) (kind string, opens bool) {
	f := formsOf(t.Value, in)
	switch {
	case t.Kind != KindBad && len(f) > 0 && f[0].Opens:
		return t.Value, true
	case in != "top" || len(f) > 0:
		return "", false
	}
	if w := nearest(t.Value, wordsIn("top")); w != "" && formsOf(w, "top")[0].Opens {
		return w, false
	}
	return "", false
}

// bind fits the statement's tokens to the form that goes furthest.
func (l *LineAt) bind() (form *Form, binds []binding) {
	word, start := l.word()
	at := -1
	for _, f := range formsOf(word, l.In) {
		b, fail := matchForm(f, l.Tokens, start)
		if fail == nil {
			return f, b
		}
		if fail.at > at {
			form, binds, at = f, fail.binds, fail.at
		}
	}
	return form, binds
}

// word is the statement's word and the token behind it.
func (l *LineAt) word() (string, int) {
	t := l.Tokens
	switch {
	case l.In == "inputs" && t[0].Kind == KindString:
		return "", 0
	case t[0].Kind == KindString:
		return "", 1
	case l.In == "mask" && (t[0].Value == "less" || t[0].Value == "within") && len(t) > 1:
		return t[1].Value, 2
	}
	return t[0].Value, 1
}

// names finds the names of one line.
func (o *Outline) names(l *LineAt) {
	form, binds := l.bind()
	if form == nil {
		return
	}
	for _, b := range binds {
		if b.slot.Kind != ValueName && b.slot.Kind != ValueTarget || b.to != b.from+1 || l.Tokens[b.from].Kind != KindName {
			continue
		}
		n := NameAt{Token: l.Tokens[b.from], Block: l.Block}
		n.Of, n.Gives = nameOfSlot(form, b.slot, l.In)
		o.Names = append(o.Names, n)
		if form.Opens && n.Gives && l.Block >= 0 {
			o.Blocks[l.Block].Name = &n.Token
		}
	}
}

// nameOfSlot says what a parameter's name is of, and whether it gives it.
func nameOfSlot(f *Form, s *Slot, in string) (NameKind, bool) {
	switch {
	case s.Word == "as":
		return NamePicture, true
	case s.Kind == ValueTarget, f.Word == "print" && s.Word == "for":
		return NameLab, false
	case s.Word == "on", s.Word == "for":
		return NamePaper, false
	case f.Opens && in == "top":
		return NameKind(f.Word), true
	case s.Word == "through", f.Word == "mask":
		return NameMask, false
	case f.Word == "follow":
		return NameSteps, false
	}
	return NamePicture, false
}

// At returns the token that holds the byte at, or that ends there; nil where
// there is none. Of two that touch, the second is it.
func (o *Outline) At(at int) (*Token, *LineAt) {
	var tok *Token
	var line *LineAt
	for _, l := range o.Lines {
		for i := range l.Tokens {
			if t := &l.Tokens[i]; t.Offset <= at && at <= t.End {
				if tok == nil || t.Offset == at && (t.Kind != KindPunct || tok.Kind == KindPunct) || tok.Kind == KindPunct {
					tok, line = t, l
				}
			}
		}
	}
	return tok, line
}

// NameAtByte returns the name at a byte, nil where there is none.
func (o *Outline) NameAtByte(at int) *NameAt {
	t, _ := o.At(at)
	if t == nil {
		return nil
	}
	for i := range o.Names {
		if o.Names[i].Offset == t.Offset {
			return &o.Names[i]
		}
	}
	return nil
}

// Same returns every place where the thing with this name is given or used,
// in the file's order: for pictures, those of one prepare or print and of the
// blocks that it follows.
func (o *Outline) Same(n *NameAt) []NameAt {
	var out []NameAt
	var in map[int]bool
	if n.Of == NamePicture {
		in = o.reach(n)
	}
	for _, x := range o.Names {
		if x.Value != n.Value || (x.Of == NamePicture) != (n.Of == NamePicture) || in != nil && !in[x.Block] {
			continue
		}
		out = append(out, x)
	}
	return out
}

// sets returns, for each block where pictures have names, the blocks whose
// names it sees: itself and the blocks that it follows.
func (o *Outline) sets() [][]int {
	byName := map[string]int{}
	for i, b := range o.Blocks {
		if b.Word == "steps" && b.Name != nil {
			if _, ok := byName[b.Name.Value]; !ok {
				byName[b.Name.Value] = i
			}
		}
	}
	out := make([][]int, len(o.Blocks))
	for i := range o.Blocks {
		out[i] = []int{i}
	}
	for _, n := range o.Names {
		if n.Of == NameSteps && !n.Gives && n.Block >= 0 {
			if k, ok := byName[n.Value]; ok {
				out[n.Block] = append(out[n.Block], k)
			}
		}
	}
	return out
}

// reach finds the blocks in which a picture's name means the same picture:
// those joined by prints that see the name in both.
func (o *Outline) reach(n *NameAt) map[int]bool {
	has := map[int]bool{}
	for _, x := range o.Names {
		if x.Of == NamePicture && x.Value == n.Value {
			has[x.Block] = true
		}
	}
	in := map[int]bool{n.Block: true}
	for grown := true; grown; {
		grown = false
		for _, set := range o.sets() {
			if !slices.ContainsFunc(set, func(k int) bool { return in[k] }) {
				continue
			}
			for _, k := range set {
				if has[k] && !in[k] {
					in[k], grown = true, true
				}
			}
		}
	}
	return in
}

// Taken says why a name can't take another value, in plain words; "" where it
// can.
func (o *Outline) Taken(n *NameAt, value string) string {
	switch {
	case value == n.Value:
		return ""
	case reserved[value]:
		return value + " is a word of the language and can't be a name"
	case !goodName(value):
		return "a name begins with a letter from a to z and holds letters from a to z, digits and hyphens"
	}
	var in map[int]bool
	if n.Of == NamePicture {
		in = o.reach(n)
	}
	for _, x := range o.Names {
		if x.Value != value {
			continue
		}
		if n.Of == NamePicture && x.Of == NamePicture && !o.meet(in, x.Block) {
			continue
		}
		return value + " is the name of a " + kindOf(string(x.Of)) + " already; a name means one thing in a recipe"
	}
	return ""
}

// meet reports whether a print sees names of one of the blocks and of k.
func (o *Outline) meet(in map[int]bool, k int) bool {
	for _, set := range o.sets() {
		if slices.Contains(set, k) && slices.ContainsFunc(set, func(x int) bool { return in[x] }) {
			return true
		}
	}
	return false
}

// Given lists the names that may be used for a kind of thing in a block, in
// the file's order, each once. For pictures they are those of the block, of
// the blocks that it follows and, in a steps block, of those that follow it.
func (o *Outline) Given(of NameKind, block int) []NameAt {
	var out []NameAt
	for _, n := range o.Names {
		if n.Of != of || !n.Gives || slices.ContainsFunc(out, func(x NameAt) bool { return x.Value == n.Value }) {
			continue
		}
		if of == NamePicture && !o.meet(map[int]bool{block: true}, n.Block) {
			continue
		}
		out = append(out, n)
	}
	return out
}

// Words returns every reserved word of the language, sorted.
func Words() []string {
	var out []string
	for w := range reserved {
		out = append(out, w)
	}
	slices.Sort(out)
	return out
}
