package lang

import (
	"fmt"
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
	open     []*block // the blocks that the line at hand stands in, outermost first
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
	child  *block // the block that a step opens
	broken bool
}

func (st *statement) name() string {
	if st.word == "" {
		return "this line"
	}
	return st.word
}

// block is a block with its lines. kind "skip" is one whose lines can't be
// judged: its word is unknown or isn't built.
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
	r := &reader{problems: ps, src: s, top: &block{kind: "top"}}
	if len(s.Lines) == 0 && len(ps.ds) > 0 { // no text at all, or more than is read
		return &Recipe{}, r.told()
	}
	r.walk()
	rec := r.check()
	return rec, r.told()
}

func (r *reader) in() *block {
	if n := len(r.open); n > 0 {
		return r.open[n-1]
	}
	return r.top
}

// walk takes line after line.
func (r *reader) walk() {
	lines := r.src.Lines
	loneBrace := false // the line before opened a block and lacked its {
	for i := range lines {
		l := &lines[i]
		if len(l.Tokens) == 0 {
			continue
		}
		if loneBrace && len(l.Tokens) == 1 && isPunct(l.Tokens, 0, "{") {
			loneBrace = false
			continue
		}
		loneBrace = false
		if isPunct(l.Tokens, 0, "}") {
			r.closing(l)
			continue
		}
		loneBrace = r.line(l)
	}
	for len(r.open) > 0 {
		b := r.in()
		r.unclosed(b, "before the end of the file")
		r.pop(Span{})
	}
}

func (r *reader) unclosed(b *block, where string) {
	r.add("PM135", b.head.span, fmt.Sprintf("this block isn't closed: } is missing %s", where), "", "write } on a line of its own behind the block's last line")
}

func (r *reader) closing(l *Line) {
	if len(r.open) == 0 {
		r.add("PM134", l.Tokens[0].Span, "} closes nothing", "No block is open here.", "take it out")
		return
	}
	r.pop(l.Tokens[0].Span)
}

func (r *reader) pop(end Span) {
	r.in().end = end
	r.open = r.open[:len(r.open)-1]
}

func (r *reader) push(kind string, st *statement) *block {
	b := &block{kind: kind, head: st}
	r.open = append(r.open, b)
	if len(r.open) == 1 && kind != "skip" {
		r.blocks = append(r.blocks, b)
	}
	return b
}

// line reads one statement. It reports whether the line opened a block and
// lacked its brace.
func (r *reader) line(l *Line) bool {
	toks := l.Tokens
	t := toks[0]
	brace := isPunct(toks, len(toks)-1, "{")
	st := &statement{word: t.Value, line: l, toks: toks, span: l.Span}

	// A block of the top inside another: the other was never closed.
	if brace && len(r.open) > 0 && t.Kind == KindWord && (openers[t.Value] && t.Value != "tone") {
		for len(r.open) > 0 {
			if b := r.in(); b.kind != "skip" || len(r.open) == 1 {
				r.unclosed(b, fmt.Sprintf("before line %d", t.Line))
			}
			r.pop(Span{})
		}
	}
	in := r.in()
	st.block = in.kind
	if in.kind == "skip" {
		if brace {
			r.push("skip", st)
		}
		return false
	}
	in.stmts = append(in.stmts, st)

	switch {
	case in.kind == "inputs" && t.Kind == KindString:
		st.word = ""
	case t.Kind == KindNumber || t.Kind == KindUnit || t.Kind == KindString || t.Kind == KindPunct || t.Kind == KindRatio:
		st.broken = true
		if !l.Broken {
			r.add("PM211", t.Span, fmt.Sprintf("a line begins with a word, not with %s", show(t)), whatMayStand(in.kind))
		}
		if brace {
			r.push("skip", st)
		}
		return false
	}
	start := 1
	if st.word == "" {
		start = 0
	}
	if in.kind == "mask" && (t.Value == "less" || t.Value == "within") {
		return r.prefixed(st)
	}
	return r.known(st, start, brace)
}

// known reads a statement by its word.
func (r *reader) known(st *statement, start int, brace bool) bool {
	t := st.toks[max(start-1, 0)]
	block := st.block
	st.forms = formsOf(st.word, block)
	if len(st.forms) == 0 || t.Kind == KindBad {
		r.unknown(st, t, brace)
		return false
	}
	var fails []*failure
	var binds []binding
	fits := false
	for _, f := range st.forms {
		b, fl := matchForm(f, st.toks, start)
		if fl == nil {
			binds, fits = b, true
			break
		}
		fails = append(fails, fl)
	}
	opens := st.forms[0].Opens
	if !fits {
		st.broken = true
		if !st.line.Broken || opens && !brace && fails[0].at == len(st.toks) {
			r.explain(st, start, fails)
		}
	} else {
		r.values(st, binds)
		r.parse(st)
	}
	if opens {
		b := r.push(st.word, st)
		st.child = b
		if st.word != "tone" && len(st.toks) > 1 && st.toks[1].Kind == KindName {
			b.name = &Text{st.toks[1].Span, st.toks[1].Value}
		}
		return !brace
	}
	if brace {
		r.push("skip", st)
	}
	return false
}

// unknown: the word doesn't begin a line of this block.
func (r *reader) unknown(st *statement, t Token, brace bool) {
	st.broken = true
	word := t.Value
	switch {
	case laterStatements[word] != "":
		r.later(t)
		if brace {
			r.push("skip", st)
		}
		return
	case t.Kind != KindBad && len(blocksOf(word)) > 0 || word == "less" || word == "within":
		blocks := blocksOf(word)
		if word == "less" || word == "within" {
			blocks = []string{"mask"}
		}
		hints := []string{}
		if st.block == "steps" && word == "follow" {
			r.add("PM711", t.Span, "follow can't stand in a steps block", "Steps blocks don't nest, so that each can be read alone.", "write the lines out here")
			return
		}
		if st.block != "prepare" && (word == "turn" || word == "mirror") {
			hints = append(hints, "move it to the head of prepare: it belongs to the picture, not to one print")
		}
		if st.block == "prepare" && word == "enlarge" {
			hints = append(hints, "prepare works at the master's own size; enlarge in a print")
		}
		r.add("PM202", t.Span, fmt.Sprintf("%s can't stand %s", word, blockIn(st.block)), fmt.Sprintf("It stands %s. %s", orList(places(blocks)), whatMayStand(st.block)), hints...)
		if brace {
			r.push("skip", st)
		}
		return
	}
	candidates := wordsIn(st.block)
	near := nearest(word, candidates)
	hints := []string{}
	if near != "" {
		hints = append(hints, "did you mean "+near+"?")
	} else if far := nearest(word, allWords()); far != "" {
		hints = append(hints, fmt.Sprintf("did you mean %s? It stands %s", far, orList(places(blocksOf(far)))))
	}
	r.add("PM201", t.Span, fmt.Sprintf("%s isn't a word that begins a line", word), whatMayStand(st.block), hints...)
	if near != "" {
		st.word = near
	}
	if brace {
		kind := "skip"
		if openers[near] && !laterBlocks[near] {
			kind = near
		}
		b := r.push(kind, st)
		if len(st.toks) > 1 && st.toks[1].Kind == KindName {
			b.name = &Text{st.toks[1].Span, st.toks[1].Value}
		}
	}
}

// prefixed reads a mask line that begins with less or within.
func (r *reader) prefixed(st *statement) bool {
	op := st.toks[0]
	if len(st.toks) < 2 {
		st.broken = true
		r.add("PM206", op.Span, op.Value+" lacks its shape", "It is written: less|within SHAPE …", "write a shape behind it: stroke, ellipse, rectangle, polygon, gradient, file or mask")
		return false
	}
	t := st.toks[1]
	st.word = t.Value
	shapes := []string{"stroke", "ellipse", "rectangle", "polygon", "gradient", "file", "mask"}
	if contains(shapes, t.Value) && t.Kind != KindBad && t.Kind != KindString {
		return r.known(st, 2, isPunct(st.toks, len(st.toks)-1, "{"))
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
	return false
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
