package lang

import (
	"cmp"
	"fmt"
	"math/big"
	"reflect"
	"slices"
	"strings"
	"sync"
)

// statements is every way to write a statement, in the order in which a recipe
// has them: the line, the blocks where it may stand, how often it may stand
// there and when, and the node that it fills.
//
// A line is its words, in small letters, and the node's fields: [ … ] may be
// left out, Field, is a list with commas, W×H a size, A|B one of two, Field=word
// a word that sets a field, Field…word a word behind a value, Field:list one whose
// ranges are that list's in this way, { opens a block.
// A node that is also its block's holds the values of all the block's lines.
var statements = []struct {
	line  string
	in    string
	often often
	node  any
}{
	{"recipe Version [Draft=draft]", "top", once, version{}},
	{"title Title", "top", once, Recipe{}},
	{"rights Rights", "top", once, Recipe{}},
	{"round Round", "top", once, Recipe{}},
	{"master Path [space Space] [on OnWhite]", "top", once, Master{}},
	{"picture Name Path [space Space]", "top", many, Picture{}},
	{"paper Name {", "top", many, Paper{}},
	{"lab Name {", "top", many, Lab{}},
	{"mask Name {", "top", many, Mask{}},
	{"prepare {", "top", once, Prepare{}},
	{"steps Name {", "top", many, StepBlock{}},
	{"print Name [on On] [for For] {", "top", many, Print{}},
	{"sheet Name on On {", "top", many, Print{}},
	{"inputs {", "top", once, Inputs{}},

	{"profile Profile", "paper", once, Paper{}},
	{"intent Intent", "paper", once, Paper{}},
	{"black-point BlackPoint", "paper", once, Paper{}},

	{"takes Takes,", "lab", once, Lab{}},
	{"space Space", "lab", once, Lab{}},
	{"resolution Resolution", "lab", once, Lab{}},
	{"bits Bits", "lab", once, Lab{}},
	{"largest file Largest", "lab", once, Lab{}},

	{"stroke along Points, width Width [soft Soft]", "mask", many, Element{}},
	{"ellipse at Points size Size [soft Soft]", "mask", many, Element{}},
	{"rectangle at Points size Size [soft Soft]", "mask", many, Element{}},
	{"polygon Points, [soft Soft]", "mask", many, Element{}},
	{"gradient from Points to Points", "mask", many, Element{}},
	{"range Of=lightness Low:lightness to High:lightness [soft Fade:lightness]", "mask", many, Element{}},
	{"range Of=chroma Low:chroma to High:chroma [soft Fade:chroma]", "mask", many, Element{}},
	{"range Of=hue Low:hue to High:hue [soft Fade:turn]", "mask", many, Element{}},
	{"edges radius Radius:near over Over", "mask", many, Element{}},
	{"file Path", "mask", many, Element{}},
	{"mask Mask", "mask", many, Element{}},
	{"invert", "mask", many, Element{}},
	{"soften Radius", "mask", many, Element{}},

	{"turn Way", "prepare", many, Turn{}},
	{"mirror", "prepare", many, Mirror{}},
	{"crop to To [at At]", "prepare steps print", once.rank(3), Crop{}},
	{"crop From to Till", "prepare steps print", once.rank(3), Crop{}},
	{"convert to Space|Name [intent Intent] [black-point BlackPoint] [keep KeepHue]", "prepare steps print", once.rank(5), Convert{}},
	{"convert to profile Profile [intent Intent] [black-point BlackPoint] [keep KeepHue]", "prepare steps print", once.rank(5), Convert{}},
	{"spot at At radius Radius [soft Soft] [from From]", "prepare steps print", many, SpotAt{}},
	{"spot pixels over Over [through Through]", "prepare steps print", many, SpotPixels{}},
	{"fringe [through Through] radius Radius", "prepare steps print", many, Fringe{}},
	{"fringe [through Through] radius Radius hue HueFrom to HueTo", "prepare steps print", many, Fringe{}},
	{"denoise lightness Lightness chroma Chroma [through Through] [as As]", "prepare steps print", many, Denoise{}},
	{"enlarge with Kernel [light Light] [as As]", "steps print", many, Enlarge{}},
	{"take Name", "prepare steps print", many, Take{}},
	{"follow Name", "prepare print", many, Follow{}},
	{"blend Top over Over [through Through] [at At] [as As]", "prepare steps print", many, Blend{}},
	{"sharpen radius Radius amount Amount [method Method] [blur Blur] [quiet Quiet] [halo Halo] [through Through] [as As]", "prepare steps print", many, Sharpen{}},

	{"tone [for For] [through Through] {", "prepare steps print", many, Tone{}},
	{"exposure Exposure", "tone", once, Tone{}},
	{"curve Curve,", "tone", once, Tone{}},
	{"contrast Contrast", "tone", once, Tone{}},
	{"local contrast Local radius LocalRadius", "tone", once, Tone{}},
	{"warmth Warmth", "tone", once, Tone{}},
	{"chroma Chroma", "tone", once, Tone{}},
	{"muted chroma Muted", "tone", once, Tone{}},

	{"grain amount Amount size Size seed Seed", "steps print", many, Grain{}},
	{"mix red Red green Green blue Blue", "prepare steps print", many, Mix{}},
	{"tint hue Hue chroma Chroma", "prepare steps print", many, Tint{}},

	{"border Width [colour Colour]", "print", once.rank(6), Border{}},
	{"wrap Width continued Way", "print", once.rank(6), Wrap{}},
	{"wrap Width of picture", "print", once.rank(6), Wrap{}},
	{"wrap Width colour Colour", "print", once.rank(6), Wrap{}},
	{"edition Count [plus Proofs…proofs]", "print", once.rank(1), Edition{}},
	{"size [Within=within] W×H at At", "print", once.rank(2), Size{}},
	{"size W…wide at At", "print", once.rank(2), Size{}},
	{"size H…high at At", "print", once.rank(2), Size{}},
	{"save Format=jpeg Path [quality Quality] [chroma Chroma]", "print sheet", once.rank(7), Save{}},
	{"save Format=tiff Path [bits Bits]", "print sheet", once.rank(7), Save{}},

	{"size W×H at At", "sheet", once.rank(2), Size{}},
	{"simulate Paper", "sheet", once, Simulate{}},
	{"show Of", "sheet", many, Piece{}},
	{"section of Of at At size Size", "sheet", many, Piece{}},
	{"strip of Of at At size Size vary Step Param From to To by By", "sheet", many, Piece{}},
	{"ring of Of at At size Size warmth Warmth exposure Exposure", "sheet", many, Piece{}},
	{"wedge grey Greys", "sheet", many, Piece{}},
	{"wedge Colours=colour", "sheet", many, Piece{}},

	{"Path sha256 SHA256", "inputs", many, Input{}},
}

// often says how often a statement may stand in a block, and its place in the
// order of a print.
type often struct {
	once  bool
	place int
}

var (
	once = often{true, 4} // among the steps
	many = often{false, 4}
)

func (o often) rank(place int) often { return often{o.once, place} }

// ranges are the lists of units that several fields take.
var ranges = map[string]string{
	"edge":  "in >0..20, cm >0..50, mm >0..500, px 1..10000",
	"side":  "in >0..1000, cm >0..2540, mm >0..25400, px 1..300000",
	"place": "% 0..100, px 0..300000, in 0..1000, cm 0..2540, mm 0..25400",
	"frame": "% -100..200, px -300000..300000",

	"lightness": "0..100",
	"chroma":    "% 0..200",
	"hue":       "deg 0..360",
	"turn":      "deg 0..90",
	"near":      "% >0..0.2, px 0.25..50",
}

// A Statement is one way to write a statement: its word, and its parameters in
// their fixed order.
type Statement struct {
	Word   string   // "" for a line of inputs, which begins with the file
	Blocks []string // where it may stand: top, paper, lab, mask, prepare, steps, print, sheet, tone, inputs
	Opens  bool     // it ends with { and opens a block of its own name
	Params []Param
	often
	node reflect.Type
}

// Param is one parameter of a statement.
type Param struct {
	Word     string // the word before the value; "" where none stands
	Label    string // what messages call it where Word is ""
	Kind     valueKind
	Tail     string // a word behind the value
	Optional bool
	Words    []string // the choices
	Ranges   []Range  // the units it takes, each with its range
	Whole    bool     // a whole number; of a measure, where it is in px
	OneOf    []string // of a bare number: the only values
	Default  string   // as written in a recipe; "" is none
	Place    bool     // a position of a step: in, cm, mm only where a print is
	Of       NameKind // what a name is of
	Gives    bool     // the name is given here
	Path     PathUse  // what a path is for

	fields []reflect.StructField
	read   func([]Token) (any, int) // a value from the tokens before it, and how many those are
	value  any                      // Default as the tree has it; nil where the tree has none
}

// Range is a unit with the values allowed. Above says that Min itself isn't.
type Range struct {
	Unit     string
	Min, Max string
	Above    bool
	min, max *big.Rat
}

// Statements are all statements of the language, read once from the list above
// and the tags of the nodes.
var Statements = sync.OnceValue(func() []*Statement {
	var out []*Statement
	brackets := strings.NewReplacer("[", "[ ", "]", " ]")
	var params []Param            // of one statement
	rats := map[string]*big.Rat{} // ranges share their ends
	for _, row := range statements {
		items := strings.Fields(brackets.Replace(row.line))
		st := &Statement{Blocks: strings.Fields(row.in), often: row.often, node: reflect.TypeOf(row.node)}
		if !isField(items[0]) {
			st.Word, items = items[0], items[1:]
		}
		params = params[:0]
		optional := false
		for i := 0; i < len(items); i++ {
			switch items[i] {
			case "[", "]":
				optional = items[i] == "["
				continue
			case "{":
				st.Opens = true
				continue
			}
			p := Param{Optional: optional}
			item := items[i]
			if !isField(item) {
				p.Word, item = item, ""
				if i+1 < len(items) && isField(items[i+1]) && !strings.Contains(items[i+1], "=") {
					i++
					item = items[i]
				}
			}
			p.from(st.node, item, rats)
			params = append(params, p)
		}
		st.Params = slices.Clone(params)
		out = append(out, st)
	}
	return out
})

func isField(item string) bool { return item[0] >= 'A' && item[0] <= 'Z' }

// from reads what the fields of an item say.
func (p *Param) from(node reflect.Type, item string, rats map[string]*big.Rat) {
	item, p.Tail, _ = strings.Cut(item, "…")
	item, ranges, _ := strings.Cut(item, ":")
	name, list := strings.CutSuffix(item, ",")
	name, word, sets := strings.Cut(name, "=")
	for _, f := range strings.FieldsFunc(name, func(r rune) bool { return r == '×' || r == '|' }) {
		field, ok := node.FieldByName(f)
		if !ok {
			panic(fmt.Sprintf("%s has no field %s", node, f))
		}
		p.fields = append(p.fields, field)
	}
	if sets {
		p.Word = word
	}
	if sets || item == "" {
		return
	}
	f := p.fields[0]
	t := f.Type
	if t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
		t = t.Elem()
	}
	p.read = readers[t]
	get := f.Tag.Get
	p.Words = strings.Fields(get("words"))
	p.takes(cmp.Or(ranges, get("takes")), rats)
	p.Gives = get("gives") != ""
	p.Of = NameKind(get("gives") + p.fields[len(p.fields)-1].Tag.Get("uses"))
	p.Path = PathUse(get("path"))
	p.Kind = p.kind(t, list || f.Type == reflect.TypeFor[[]CurvePoint]())
	p.Whole = get("whole") != "" || t == reflect.TypeFor[Number]() && p.Ranges != nil
	if p.Word == "" {
		p.Label = cmp.Or(kinds[p.Kind].label, get("label"), strings.ToLower(f.Name))
	}
	if p.Optional {
		p.Default = get("default")
	}
	if p.Default != "" && p.Kind != valuePoint {
		number, percent := strings.CutSuffix(p.Default, "%")
		toks := []Token{{Value: number}}
		if percent {
			toks = append(toks, Token{Kind: KindUnit, Value: "%"})
		}
		p.value, _ = p.read(toks)
	}
}

// takes reads units and ranges: "px 0.1..100, % >0..1", or the only values: "8
// or 16".
func (p *Param) takes(tag string, rats map[string]*big.Rat) {
	p.Place = tag == "place"
	if r, ok := ranges[tag]; ok {
		tag = r
	}
	if strings.Contains(tag, " or ") {
		p.OneOf = strings.Split(tag, " or ")
		return
	}
	for _, r := range strings.Split(tag, ", ") {
		if r == "" {
			continue
		}
		unit, span, ok := strings.Cut(r, " ")
		if !ok {
			unit, span = "", r
		}
		g := Range{Unit: unit}
		span, g.Above = strings.CutPrefix(span, ">")
		g.Min, g.Max, _ = strings.Cut(span, "..")
		for _, s := range []string{g.Min, g.Max} {
			if rats[s] == nil {
				rats[s] = rat(s)
			}
		}
		g.min, g.max = rats[g.Min], rats[g.Max]
		p.Ranges = append(p.Ranges, g)
	}
}

// kind says what is read for a field of a type.
func (p *Param) kind(t reflect.Type, list bool) valueKind {
	of := p.fields[0].Tag.Get("of")
	switch t {
	case reflect.TypeFor[Number]():
		return valueCount
	case reflect.TypeFor[Measure]():
		if len(p.fields) == 2 || p.fields[0].Type.Kind() == reflect.Slice {
			return valuePair
		}
		if !p.measured() {
			return valueCount
		}
		return valueMeasure
	case reflect.TypeFor[Point](), reflect.TypeFor[CurvePoint]():
		if list {
			return valuePoints
		}
		return valuePoint
	case reflect.TypeFor[Ratio]():
		return valueRatio
	case reflect.TypeFor[Colour]():
		return valueColour
	}
	switch {
	case len(p.fields) == 2:
		return valueTarget
	case list:
		return valueList
	case len(p.Words) > 0:
		return valueWord
	case of == "number":
		return valueCount
	case of == "space":
		return valueSpace
	case of == "kernel":
		return valueKernel
	case p.Of != "":
		return valueName
	case p.Path != "":
		return valuePath
	}
	return valueText
}

// The statements by word and block, the blocks of a word, the words that may
// begin a line of a block, and those that open one, in the list's order.
type statementIndex struct {
	statements map[[2]string][]*Statement
	blocks     map[string][]string
	words      map[string][]string
	openers    map[string]bool
}

var index = sync.OnceValue(func() *statementIndex {
	x := &statementIndex{map[[2]string][]*Statement{}, map[string][]string{}, map[string][]string{}, map[string]bool{}}
	for _, s := range Statements() {
		if s.Opens {
			x.openers[s.Word] = true
		}
		for _, b := range s.Blocks {
			key := [2]string{s.Word, b}
			if x.statements[key] == nil && s.Word != "" {
				x.blocks[s.Word] = append(x.blocks[s.Word], b)
				x.words[b] = append(x.words[b], s.Word)
			}
			x.statements[key] = append(x.statements[key], s)
		}
	}
	x.words["mask"] = append(x.words["mask"], "less", "within")
	return x
})

// statementsOf returns the ways to write a statement in a block.
func statementsOf(word, block string) []*Statement { return index().statements[[2]string{word, block}] }

// blocksOf returns the blocks in which a word may begin a line.
func blocksOf(word string) []string { return index().blocks[word] }

// wordsIn returns the words that may begin a line of a block. They are shared.
func wordsIn(block string) []string { return index().words[block] }

// opener reports whether a word may begin a line that opens a block.
func opener(word string) bool { return index().openers[word] }

func (p *Param) units() []string {
	out := make([]string, len(p.Ranges))
	for i, r := range p.Ranges {
		out[i] = r.Unit
	}
	return out
}

// measured reports whether a parameter's numbers have units.
func (p *Param) measured() bool { return len(p.Ranges) > 0 && p.Ranges[0].Unit != "" }

// Usage shows how a statement is written, on one line: N for a number, square
// brackets around what may be left out.
func (s *Statement) Usage() string {
	out := []string{s.Word}
	for i := range s.Params {
		out = append(out, s.Params[i].usage())
	}
	if s.Opens {
		out = append(out, "{")
	}
	return strings.TrimSpace(strings.Join(out, " "))
}

func (p *Param) usage() string {
	value := kinds[p.Kind].usage
	switch p.Kind {
	case valueCount:
		if p.OneOf != nil {
			value = strings.Join(p.OneOf, "|")
		}
	case valueMeasure, valuePair:
		value += " " + strings.Join(p.units(), "|")
	case valueList:
		value = strings.Join(p.Words, ", ")
	case valueWord:
		value = strings.Join(p.Words, "|")
	}
	t := strings.Join(slices.DeleteFunc([]string{p.Word, value, p.Tail}, func(w string) bool { return w == "" }), " ")
	if p.Optional {
		return "[" + t + "]"
	}
	return t
}
