package lang

import (
	"maps"
	"slices"
)

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
	Block *Block // the block of the top that it stands in or names; nil outside one
}

// elsewhere says that a picture made elsewhere gets its name here.
func (n *NameAt) elsewhere() bool { return n.Of == NamePicture && n.Gives && n.Block == nil }

// Outline is a recipe cut into blocks, whatever is wrong with it.
type Outline struct {
	*Source
	Names []NameAt // in the file's order
}

// ReadOutline cuts a recipe into blocks and finds its names.
func ReadOutline(src []byte) *Outline {
	s, _ := ReadSource("", src)
	o := &Outline{Source: s}
	for _, l := range s.Top.statements() {
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

// bind fits the line to the statement that goes furthest, nil where none
// begins like it.
func (l *Line) bind() (st *Statement, binds []binding) {
	word, start := l.word()
	at := -1
	for _, s := range statementsOf(word, l.In.Kind) {
		b, fail := s.match(l.Tokens, start)
		if fail == nil {
			return s, b
		}
		if fail.at > at {
			st, binds, at = s, fail.binds, fail.at
		}
	}
	return st, binds
}

// word is the statement's word and the token behind it.
func (l *Line) word() (string, int) {
	t := l.Tokens
	switch {
	case l.In.Kind == "inputs" && t[0].Kind == KindString:
		return "", 0
	case t[0].Kind == KindString:
		return "", 1
	case l.In.Kind == "mask" && (t[0].Value == "less" || t[0].Value == "within") && len(t) > 1:
		return t[1].Value, 2
	}
	return t[0].Value, 1
}

// block is the block of the top that the line stands in or opens, nil outside
// one.
func (l *Line) block() *Block {
	if l.Opens != nil {
		return l.Opens.outer()
	}
	return l.In.outer()
}

func (o *Outline) names(l *Line) {
	_, binds := l.bind()
	for _, b := range binds {
		if t := l.Tokens[b.from:b.to]; b.param.Of != "" && len(t) == 1 && t[0].Kind == KindName {
			o.Names = append(o.Names, NameAt{t[0], b.param.Of, b.param.Gives, l.block()})
		}
	}
}

// At returns the token that holds the byte at, or that ends there, and its
// line; nil where there is none. Of two that touch, the second is it, unless it
// alone is a sign.
func (o *Outline) At(at int) (tok *Token, line *Line) {
	for _, l := range o.Top.statements() {
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
	in := o.reach(n)
	for _, x := range o.Names {
		if x.Value == n.Value && (x.Of == NamePicture) == (n.Of == NamePicture) && (in == nil || in[x.Block]) {
			out = append(out, x)
		}
	}
	return out
}

// sets returns, for each block of the top, the blocks whose names of pictures
// it sees: itself and the blocks that it follows.
func (o *Outline) sets() [][]*Block {
	var out [][]*Block
	for _, b := range o.Top.Blocks {
		set := []*Block{b}
		for _, n := range o.Names {
			if n.Of != NameSteps || n.Gives || n.Block != b {
				continue
			}
			if k := slices.IndexFunc(o.Top.Blocks, func(x *Block) bool { return x.title() == BlockName{"steps", n.Value} }); k >= 0 {
				set = append(set, o.Top.Blocks[k])
			}
		}
		out = append(out, set)
	}
	return out
}

// reach finds the blocks in which a picture's name means the same picture:
// those joined by prints that see the name in both. It is nil for other names,
// and for that of a picture made elsewhere, which means one thing everywhere.
func (o *Outline) reach(n *NameAt) map[*Block]bool {
	if n.Of != NamePicture || slices.ContainsFunc(o.Names, func(x NameAt) bool { return x.Value == n.Value && x.elsewhere() }) {
		return nil
	}
	has := map[*Block]bool{}
	for _, x := range o.Names {
		if x.Of == NamePicture && x.Value == n.Value {
			has[x.Block] = true
		}
	}
	in := map[*Block]bool{n.Block: true}
	for grown := true; grown; {
		grown = false
		for _, set := range o.sets() {
			if !slices.ContainsFunc(set, func(k *Block) bool { return in[k] }) {
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
	case Reserved(value):
		return value + " is a word of the language and can't be a name"
	case !goodName(value):
		return "a name begins with a letter from a to z and holds letters from a to z, digits and hyphens"
	}
	in := o.reach(n)
	for _, x := range o.Names {
		if x.Value == value && (in == nil || x.Of != NamePicture || x.elsewhere() || o.meet(in, x.Block)) {
			return value + " is the name of a " + kindOf(string(x.Of)) + " already; a name means one thing in a recipe"
		}
	}
	return ""
}

// meet reports whether a print sees names of one of the blocks and of k.
func (o *Outline) meet(in map[*Block]bool, k *Block) bool {
	return slices.ContainsFunc(o.sets(), func(set []*Block) bool {
		return slices.Contains(set, k) && slices.ContainsFunc(set, func(x *Block) bool { return in[x] })
	})
}

// Given lists the names that may be used for a kind of thing in a block of the
// top, in the file's order, each once. For pictures they are those of the
// block, of the blocks that it follows and, in a steps block, of those that
// follow it. The block is given by its number, -1 outside one.
func (o *Outline) Given(of NameKind, at int) []NameAt {
	var block *Block
	if at >= 0 && at < len(o.Top.Blocks) {
		block = o.Top.Blocks[at]
	}
	var out []NameAt
	for _, n := range o.Names {
		if n.Of != of || !n.Gives || slices.ContainsFunc(out, func(x NameAt) bool { return x.Value == n.Value }) {
			continue
		}
		if of == NamePicture && !n.elsewhere() && !o.meet(map[*Block]bool{block: true}, n.Block) {
			continue
		}
		out = append(out, n)
	}
	return out
}

// Words returns every reserved word of the language, sorted.
func Words() []string { return slices.Sorted(maps.Keys(reserved())) }
