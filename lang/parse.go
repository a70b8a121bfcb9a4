package lang

import (
	"fmt"
	"slices"
	"sync"
)

// parser turns lines into statements.
type parser struct {
	*problems
	src *Source
}

// stmt is a statement on a line. A broken one has been complained about; it
// counts where only its presence matters.
type stmt struct {
	word   string
	toks   []Token
	span   Span
	line   *Line
	ways   []*Statement // in which its word may be written
	is     *Statement   // the one that it is, nil for a broken one
	node   any
	opens  *block // the block that it opens, nil where it opens none
	broken bool
}

func (st *stmt) name() string {
	if st.word == "" {
		return "this line"
	}
	return st.word
}

type block struct {
	*Block
	head  *stmt
	stmts []*stmt
}

// Parse reads a recipe and checks everything that needs no picture. file is
// the name that the diagnostics carry; no file is opened.
//
// The recipe is never nil; where HasErrors(diagnostics) it holds only what
// could be read, and must not be run. Diagnostics come in the file's order.
func Parse(file string, src []byte) (*Recipe, []Diagnostic) {
	s, ps := readSource(file, src)
	if len(s.Lines) == 0 && len(ps.ds) > 0 { // no text at all, or more than is read
		return &Recipe{}, ps.told()
	}
	p := &parser{&ps, s}
	top := p.block(s.Top, nil)
	p.braces()
	rec := check(&ps, top)
	return rec, ps.told()
}

// block reads the lines of a block. Those of a block whose word is unknown, or
// isn't built, can't be judged.
func (r *parser) block(b *Block, head *stmt) *block {
	out := &block{Block: b, head: head}
	if b.Kind == "" {
		return out
	}
	for _, l := range b.Lines {
		st := &stmt{word: l.Tokens[0].Value, line: l, toks: l.Tokens, span: l.Span}
		r.line(st)
		out.stmts = append(out.stmts, st)
		if l.Opens != nil {
			st.opens = r.block(l.Opens, st)
		}
	}
	return out
}

// braces complains about braces that close nothing and blocks that aren't
// closed.
func (r *parser) braces() {
	for i := range r.src.Lines {
		l := &r.src.Lines[i]
		if isPunct(l.Tokens, 0, "}") && l.In.Close != l {
			r.add("PM134", l.Tokens[0].Span, "} closes nothing", "No block is open here.", "take it out")
		}
		b := l.Opens
		switch {
		case b == nil || b.Close != nil:
		case len(b.Lines) == 0 && !isPunct(l.Tokens, len(l.Tokens)-1, "{"): // that is told of its line
		case b.cut == nil:
			r.unclosed(b, "before the end of the file")
		case b.Kind != "" || b.In.In == nil:
			r.unclosed(b, fmt.Sprintf("before line %d", b.cut.Line))
		}
	}
}

func (r *parser) unclosed(b *Block, where string) {
	r.add("PM135", b.Head.Span, fmt.Sprintf("this block isn't closed: } is missing %s", where), "", "write } on a line of its own behind the block's last line")
}

func (r *parser) line(st *stmt) {
	t := st.toks[0]
	switch in := st.line.In.Kind; {
	case in == "inputs" && t.Kind == KindString:
		st.word = ""
		r.known(st, 0)
	case t.Kind == KindNumber || t.Kind == KindUnit || t.Kind == KindString || t.Kind == KindPunct || t.Kind == KindRatio:
		st.broken = true
		if !st.line.Broken {
			r.add("PM211", t.Span, fmt.Sprintf("a line begins with a word, not with %s", show(t)), whatMayStand(in))
		}
	case in == "mask" && (t.Value == "less" || t.Value == "within"):
		r.prefixed(st)
	default:
		r.known(st, 1)
	}
}

// known reads a statement by its word.
func (r *parser) known(st *stmt, start int) {
	t := st.toks[max(start-1, 0)]
	st.ways = statementsOf(st.word, st.line.In.Kind)
	if len(st.ways) == 0 || t.Kind == KindBad {
		r.unknown(st, t)
		return
	}
	var fails []*misfit
	for _, s := range st.ways {
		binds, fail := s.match(st.toks, start)
		if fail == nil {
			st.is = s
			r.values(st, binds)
			st.node = s.fill(binds, st.line)
			st.settle(start)
			return
		}
		fails = append(fails, fail)
	}
	st.broken = true
	lacksBrace := st.ways[0].Opens && !isPunct(st.toks, len(st.toks)-1, "{") && fails[0].at == len(st.toks)
	if !st.line.Broken || lacksBrace {
		r.misfit(st, start, fails)
	}
}

// settle fills what no single parameter says.
func (st *stmt) settle(start int) {
	switch n := st.node.(type) {
	case *Element:
		n.Shape = st.word
		switch {
		case start == 2:
			n.Op = st.toks[0].Value
		case n.Shape != "invert" && n.Shape != "soften":
			n.Op = "add"
		}
	case *Piece:
		n.Kind = st.word
	case *Wrap:
		if n.Colour != nil {
			n.Way.Value = "colour"
		} else if n.Way.Value == "" {
			n.Way.Value = "picture"
		}
	}
}

// unknown: the word doesn't begin a line of this block.
func (r *parser) unknown(st *stmt, t Token) {
	st.broken = true
	word := t.Value
	blocks := blocksOf(word)
	if word == "less" || word == "within" {
		blocks = []string{"mask"}
	}
	if t.Kind != KindBad && len(blocks) > 0 {
		if st.line.In.Kind == "steps" && word == "follow" {
			r.add("PM711", t.Span, "follow can't stand in a steps block", "Steps blocks don't nest, so that each can be read alone.", "write the lines out here")
			return
		}
		var hints []string
		if st.line.In.Kind != "prepare" && (word == "turn" || word == "mirror") {
			hints = []string{"move it to the head of prepare: it belongs to the picture, not to one print"}
		}
		if st.line.In.Kind == "prepare" && word == "enlarge" {
			hints = []string{"prepare works at the master's own size; enlarge in a print"}
		}
		r.add("PM202", t.Span, fmt.Sprintf("%s can't stand %s", word, blockIn(st.line.In.Kind)), fmt.Sprintf("It stands %s. %s", orList(places(blocks)), whatMayStand(st.line.In.Kind)), hints...)
		return
	}
	var hints []string
	near := nearest(word, wordsIn(st.line.In.Kind))
	if near != "" {
		hints = []string{"did you mean " + near + "?"}
		st.word = near
	} else if far := nearest(word, allWords()); far != "" {
		hints = []string{fmt.Sprintf("did you mean %s? It stands %s", far, orList(places(blocksOf(far))))}
	}
	r.add("PM201", t.Span, fmt.Sprintf("%s isn't a word that begins a line", word), whatMayStand(st.line.In.Kind), hints...).fixNear(t.Span, near)
}

// shapes are the mask's lines that less and within may stand before.
var shapes = []string{"stroke", "ellipse", "rectangle", "polygon", "gradient", "range", "edges", "file", "mask"}

// prefixed reads a mask line that begins with less or within.
func (r *parser) prefixed(st *stmt) {
	op := st.toks[0]
	if len(st.toks) < 2 {
		st.broken = true
		r.add("PM206", op.Span, op.Value+" lacks its shape", "It is written: less|within SHAPE …", "write a shape behind it: "+orList(shapes))
		return
	}
	t := st.toks[1]
	st.word = t.Value
	if slices.Contains(shapes, t.Value) && t.Kind != KindBad && t.Kind != KindString {
		r.known(st, 2)
		return
	}
	st.broken = true
	switch {
	case t.Value == "invert" || t.Value == "soften":
		r.add("PM210", op.Span, fmt.Sprintf("%s takes no %s", t.Value, op.Value), "It works on the mask so far, not on a shape.", "write "+t.Value+" alone")
	default:
		r.add("PM209", t.Span, fmt.Sprintf("%s isn't a shape", show(t)), fmt.Sprintf("%s takes one of %s.", capital(op.Value), orList(shapes)), didYouMean(t.Value, shapes)...)
	}
}

var allWords = sync.OnceValue(func() []string {
	var out []string
	for _, b := range []string{"top", "paper", "lab", "prepare", "print", "sheet", "steps", "mask", "tone"} {
		out = append(out, wordsIn(b)...)
	}
	return out
})

// places says where blocks are: "at the top of the file", "in prepare".
func places(blocks []string) []string {
	out := make([]string, len(blocks))
	for i, b := range blocks {
		out[i] = "in " + blockName(b)
		if b == "top" {
			out[i] = "at the top of the file"
		}
	}
	return out
}

func blockName(b string) string {
	if b == "top" || b == "prepare" || b == "inputs" {
		return b
	}
	return "a " + b + " block"
}

func blockIn(b string) string {
	if b == "top" {
		return "outside a block"
	}
	return "in " + blockName(b)
}

// whatMayStand lists the words of a block.
func whatMayStand(b string) string {
	switch b {
	case "inputs":
		return `A line of inputs is written: "FILE" sha256 "DIGEST"`
	case "top":
		return "At the top of the file stand " + andList(wordsIn(b)) + "."
	}
	return capital(blockName(b)) + " holds " + andList(wordsIn(b)) + "."
}
