package lang

import (
	"fmt"
	"slices"
	"sync"
)

// reader reads the lines of a source into statements and blocks.
type reader struct {
	problems
	src      *Source
	top      *block
	blocks   []*block // of the top, in order
	searched int      // names looked at for a near one
	lines    int      // of prepare and all prints so far, see flatten
}

// statement is a line with its meaning. A broken one has been complained
// about; it counts where only its presence matters.
type statement struct {
	word   string
	block  string
	line   *Line
	toks   []Token
	span   Span
	forms  []*Form
	node   any
	child  *block // the block that it opens
	broken bool
}

func (st *statement) name() string {
	if st.word == "" {
		return "this line"
	}
	return st.word
}

// block is a block with its statements.
type block struct {
	kind  string
	head  *statement
	name  *Text
	stmts []*statement
	end   Span
}

// Parse reads a recipe and checks everything that needs no picture. file is
// the name that the diagnostics carry; no file is opened.
//
// The recipe is never nil; where HasErrors(diagnostics) it holds only what
// could be read, and must not be run. Diagnostics come in the file's order.
func Parse(file string, src []byte) (*Recipe, []Diagnostic) {
	buildGrammars()
	s, ps := readSource(file, src)
	r := &reader{problems: ps, src: s}
	if len(s.Lines) == 0 && len(ps.ds) > 0 { // no text at all, or more than is read
		return &Recipe{}, r.told()
	}
	r.top = r.block(s.Top, nil)
	r.braces()
	rec := r.check()
	return rec, r.told()
}

// block reads the lines of a block. Those of a block whose word is unknown, or
// isn't built, can't be judged.
func (r *reader) block(b *Block, head *statement) *block {
	out := &block{kind: b.Kind, head: head}
	if b.Name != nil {
		out.name = &Text{b.Name.Span, b.Name.Value}
	}
	if b.Close != nil {
		out.end = b.Close.Tokens[0].Span
	}
	if b.Kind == "" {
		return out
	}
	for _, l := range b.Lines {
		st := r.line(l)
		out.stmts = append(out.stmts, st)
		if l.Opens != nil {
			st.child = r.block(l.Opens, st)
			if b.In == nil && l.Opens.Kind != "" {
				r.blocks = append(r.blocks, st.child)
			}
		}
	}
	return out
}

// braces complains about braces that close nothing and blocks that aren't
// closed.
func (r *reader) braces() {
	for i := range r.src.Lines {
		l := &r.src.Lines[i]
		if isPunct(l.Tokens, 0, "}") && l.In.Close != l {
			r.add("PM134", l.Tokens[0].Span, "} closes nothing", "No block is open here.", "take it out")
		}
		b := l.Opens
		switch {
		case b == nil || b.Close != nil:
		case b.cut == nil:
			r.unclosed(b, "before the end of the file")
		case b.Kind != "" || b.In.In == nil:
			r.unclosed(b, fmt.Sprintf("before line %d", b.cut.Line))
		}
	}
}

func (r *reader) unclosed(b *Block, where string) {
	r.add("PM135", b.Head.Span, fmt.Sprintf("this block isn't closed: } is missing %s", where), "", "write } on a line of its own behind the block's last line")
}

// line reads one statement.
func (r *reader) line(l *Line) *statement {
	toks := l.Tokens
	t := toks[0]
	st := &statement{word: t.Value, block: l.In.Kind, line: l, toks: toks, span: l.Span}
	switch {
	case st.block == "inputs" && t.Kind == KindString:
		st.word = ""
		r.known(st, 0)
	case t.Kind == KindNumber || t.Kind == KindUnit || t.Kind == KindString || t.Kind == KindPunct || t.Kind == KindRatio:
		st.broken = true
		if !l.Broken {
			r.add("PM211", t.Span, fmt.Sprintf("a line begins with a word, not with %s", show(t)), whatMayStand(st.block))
		}
	case st.block == "mask" && (t.Value == "less" || t.Value == "within"):
		r.prefixed(st)
	default:
		r.known(st, 1)
	}
	return st
}

// known reads a statement by its word.
func (r *reader) known(st *statement, start int) {
	t := st.toks[max(start-1, 0)]
	st.forms = formsOf(st.word, st.block)
	if len(st.forms) == 0 || t.Kind == KindBad {
		r.unknown(st, t)
		return
	}
	var fails []*failure
	for _, f := range st.forms {
		binds, fl := matchForm(f, st.toks, start)
		if fl == nil {
			r.values(st, binds)
			r.parse(st)
			return
		}
		fails = append(fails, fl)
	}
	st.broken = true
	lacksBrace := st.forms[0].Opens && !isPunct(st.toks, len(st.toks)-1, "{") && fails[0].at == len(st.toks)
	if !st.line.Broken || lacksBrace {
		r.explain(st, start, fails)
	}
}

// unknown: the word doesn't begin a line of this block.
func (r *reader) unknown(st *statement, t Token) {
	st.broken = true
	word := t.Value
	if laterStatements[word] != "" {
		r.later(t)
		return
	}
	blocks := blocksOf(word)
	if word == "less" || word == "within" {
		blocks = []string{"mask"}
	}
	if t.Kind != KindBad && len(blocks) > 0 {
		if st.block == "steps" && word == "follow" {
			r.add("PM711", t.Span, "follow can't stand in a steps block", "Steps blocks don't nest, so that each can be read alone.", "write the lines out here")
			return
		}
		var hints []string
		if st.block != "prepare" && (word == "turn" || word == "mirror") {
			hints = []string{"move it to the head of prepare: it belongs to the picture, not to one print"}
		}
		if st.block == "prepare" && word == "enlarge" {
			hints = []string{"prepare works at the master's own size; enlarge in a print"}
		}
		r.add("PM202", t.Span, fmt.Sprintf("%s can't stand %s", word, blockIn(st.block)), fmt.Sprintf("It stands %s. %s", orList(places(blocks)), whatMayStand(st.block)), hints...)
		return
	}
	var hints []string
	if near := nearest(word, wordsIn(st.block)); near != "" {
		hints = []string{"did you mean " + near + "?"}
		st.word = near
	} else if far := nearest(word, allWords()); far != "" {
		hints = []string{fmt.Sprintf("did you mean %s? It stands %s", far, orList(places(blocksOf(far))))}
	}
	r.add("PM201", t.Span, fmt.Sprintf("%s isn't a word that begins a line", word), whatMayStand(st.block), hints...)
}

// prefixed reads a mask line that begins with less or within.
func (r *reader) prefixed(st *statement) {
	op := st.toks[0]
	if len(st.toks) < 2 {
		st.broken = true
		r.add("PM206", op.Span, op.Value+" lacks its shape", "It is written: less|within SHAPE …", "write a shape behind it: stroke, ellipse, rectangle, polygon, gradient, file or mask")
		return
	}
	t := st.toks[1]
	st.word = t.Value
	shapes := []string{"stroke", "ellipse", "rectangle", "polygon", "gradient", "file", "mask"}
	if slices.Contains(shapes, t.Value) && t.Kind != KindBad && t.Kind != KindString {
		r.known(st, 2)
		return
	}
	st.broken = true
	switch {
	case laterStatements[t.Value] == "mask":
		r.later(t)
	case t.Value == "invert" || t.Value == "soften":
		r.add("PM210", op.Span, fmt.Sprintf("%s takes no %s", t.Value, op.Value), "It works on the mask so far, not on a shape.", "write "+t.Value+" alone")
	default:
		r.add("PM209", t.Span, fmt.Sprintf("%s isn't a shape", show(t)), fmt.Sprintf("%s takes one of %s.", capital(op.Value), orList(shapes)), didYouMean(t.Value, shapes)...)
	}
}

// parse builds the node of a line that fits its form. The grammar has the last
// word: what it refuses is refused, also where the table of forms took it.
func (r *reader) parse(st *statement) {
	b := &builder{toks: st.toks, span: st.span}
	var err error
	switch st.block {
	case "top":
		var g *gTop
		if g, err = parseTokens(grammars.top, st.toks); err == nil {
			st.node = g
		}
	case "mask":
		var g *gMask
		if g, err = parseTokens(grammars.mask, st.toks); err == nil {
			st.node = b.element(g)
		}
	case "inputs":
		var g *gInput
		if g, err = parseTokens(grammars.input, st.toks); err == nil {
			st.node = &Input{b.span, b.text(g.Path), b.text(g.SHA256)}
		}
	case "paper":
		var g *gPaper
		if g, err = parseTokens(grammars.paper, st.toks); err == nil {
			st.node = g
		}
	case "lab":
		var g *gLab
		if g, err = parseTokens(grammars.lab, st.toks); err == nil {
			st.node = g
		}
	case "tone":
		var g *gTone
		if g, err = parseTokens(grammars.tone, st.toks); err == nil {
			st.node = g
		}
	default:
		if st.block == "print" && contains([]string{"edition", "size", "save", "border", "wrap"}, st.word) {
			var g *gPrint
			if g, err = parseTokens(grammars.print, st.toks); err == nil {
				switch {
				case g.Edition != nil:
					st.node = b.edition(g.Edition)
				case g.Size != nil:
					st.node = b.size(g.Size)
				case g.Border != nil, g.Wrap != nil:
					st.node = b.edge(g)
				default:
					st.node = b.save(g.Save)
				}
			}
			break
		}
		var g *gStep
		if g, err = parseTokens(grammars.step, st.toks); err == nil {
			st.node = b.step(g)
		}
	}
	if err != nil {
		st.broken = true
		r.add("PM208", st.span, "this line doesn't fit the grammar", usageOf([]*failure{{form: st.forms[0]}}))
	}
}

var allWords = sync.OnceValue(func() []string {
	var out []string
	for _, b := range []string{"top", "paper", "lab", "prepare", "print", "steps", "mask", "tone"} {
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
	switch b {
	case "mask":
		return "a mask block"
	case "steps":
		return "a steps block"
	case "print":
		return "a print block"
	case "paper":
		return "a paper block"
	case "lab":
		return "a lab block"
	case "tone":
		return "a tone block"
	}
	return b
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
