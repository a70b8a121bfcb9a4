package lang

// A Form is one way to write a statement: its word, and its parameters in
// their fixed order. The grammar says what is right; this table says what is
// wrong with the rest, and holds what the grammar can't say: units, ranges,
// defaults. A test compares the two on generated lines, and with the SPEC.
type Form struct {
	Word   string
	Blocks []string // where it may stand: top, paper, lab, mask, prepare, steps, print, tone, inputs
	Opens  bool     // it ends with { and opens a block of its own name
	Slots  []Slot
}

// ValueKind says what a parameter's value is.
type ValueKind int

const (
	ValueNone    ValueKind = iota // a word alone
	ValueCount                    // a bare number
	ValueMeasure                  // a number with a unit
	ValuePair                     // W x H
	ValuePoint                    // (x, y)
	ValuePoints                   // points, separated by commas
	ValueRatio                    // 3:2
	ValueText                     // a quoted text
	ValuePath                     // a quoted path
	ValueName                     // a name
	ValueWord                     // one of Words
	ValueSpace                    // a colour space
	ValueKernel                   // a kernel
	ValueTarget                   // a colour space, or the name of a paper or a lab
	ValueList                     // some of Words, separated by commas
	ValueColour                   // white, black or grey N
)

// Slot is one parameter.
type Slot struct {
	Word     string // the word before the value; "" where none stands
	Label    string // what messages call it where Word is ""
	Kind     ValueKind
	Tail     string // a word behind the value
	Optional bool
	Words    []string // ValueWord: the choices
	Ranges   []Range  // the units it takes, each with its range
	Whole    bool     // a whole number; of a measure, where it is in px
	OneOf    []string // ValueCount: the only values
	Default  string   // as written in a recipe; "" is none
	Place    bool     // a position of a step: in, cm, mm only where a print is
}

// Range is a unit with the values allowed. Above says that Min itself isn't.
type Range struct {
	Unit     string
	Min, Max string
	Above    bool
}

var (
	steps3      = []string{"prepare", "steps", "print"}
	percent     = []Range{{"%", "0", "100", false}}
	sharePos    = []Range{{"%", "0", "100", true}}
	signedShare = []Range{{"%", "-100", "100", false}}
	mixShare    = []Range{{"%", "-200", "300", false}}
	edgeUnits   = []Range{
		{"in", "0", "20", true}, {"cm", "0", "50", true}, {"mm", "0", "500", true}, {"px", "1", "10000", false},
	}
	ppi       = []Range{{"ppi", "1", "10000", false}}
	sideUnits = []Range{
		{"in", "0", "1000", true}, {"cm", "0", "2540", true},
		{"mm", "0", "25400", true}, {"px", "1", "300000", false},
	}
	placeUnits = []Range{
		{"%", "0", "100", false}, {"px", "0", "300000", false}, {"in", "0", "1000", false},
		{"cm", "0", "2540", false}, {"mm", "0", "25400", false},
	}
	framePlace  = []Range{{"%", "-100", "200", false}, {"px", "-300000", "300000", false}}
	frameLength = []Range{{"%", "0", "400", true}, {"px", "0", "300000", true}}
)

func maskSoft() Slot {
	return Slot{Word: "soft", Kind: ValueMeasure, Optional: true, Ranges: percent, Default: "0%"}
}

func intentSlots(head ...Slot) []Slot {
	return append(head,
		Slot{Word: "intent", Kind: ValueWord, Optional: true, Words: Intents, Default: "relative"},
		Slot{Word: "black-point", Kind: ValueWord, Optional: true, Words: []string{"on", "off"}, Default: "on"})
}

// Forms is the table of statements that this engine builds.
var Forms = []Form{
	{Word: "recipe", Blocks: []string{"top"}, Slots: []Slot{
		{Label: "version", Kind: ValueCount},
		{Word: "draft", Kind: ValueNone, Optional: true},
	}},
	{Word: "title", Blocks: []string{"top"}, Slots: []Slot{{Label: "text", Kind: ValueText}}},
	{Word: "rights", Blocks: []string{"top"}, Slots: []Slot{{Label: "text", Kind: ValueText}}},
	{Word: "round", Blocks: []string{"top"}, Slots: []Slot{
		{Label: "number", Kind: ValueCount, Whole: true, Ranges: []Range{{"", "1", "100000", false}}},
	}},
	{Word: "master", Blocks: []string{"top"}, Slots: []Slot{
		{Label: "file", Kind: ValuePath},
		{Word: "space", Kind: ValueSpace, Optional: true},
		{Word: "on", Kind: ValueWord, Words: []string{"white"}, Optional: true},
	}},
	{Word: "paper", Blocks: []string{"top"}, Opens: true, Slots: []Slot{{Label: "name", Kind: ValueName}}},
	{Word: "lab", Blocks: []string{"top"}, Opens: true, Slots: []Slot{{Label: "name", Kind: ValueName}}},
	{Word: "mask", Blocks: []string{"top"}, Opens: true, Slots: []Slot{{Label: "name", Kind: ValueName}}},
	{Word: "prepare", Blocks: []string{"top"}, Opens: true},
	{Word: "steps", Blocks: []string{"top"}, Opens: true, Slots: []Slot{{Label: "name", Kind: ValueName}}},
	{Word: "print", Blocks: []string{"top"}, Opens: true, Slots: []Slot{
		{Label: "name", Kind: ValueName},
		{Word: "on", Kind: ValueName, Optional: true},
		{Word: "for", Kind: ValueName, Optional: true},
	}},
	{Word: "inputs", Blocks: []string{"top"}, Opens: true},

	{Word: "profile", Blocks: []string{"paper"}, Slots: []Slot{{Label: "file", Kind: ValuePath}}},
	{Word: "intent", Blocks: []string{"paper"}, Slots: []Slot{{Label: "intent", Kind: ValueWord, Words: Intents}}},
	{Word: "black-point", Blocks: []string{"paper"}, Slots: []Slot{{Label: "black point", Kind: ValueWord, Words: []string{"on", "off"}}}},
	{Word: "takes", Blocks: []string{"lab"}, Slots: []Slot{{Label: "formats", Kind: ValueList, Words: []string{"jpeg", "tiff"}}}},
	{Word: "space", Blocks: []string{"lab"}, Slots: []Slot{{Label: "space", Kind: ValueSpace}}},
	{Word: "resolution", Blocks: []string{"lab"}, Slots: []Slot{{Label: "resolution", Kind: ValueMeasure, Ranges: ppi}}},
	{Word: "bits", Blocks: []string{"lab"}, Slots: []Slot{{Label: "bits", Kind: ValueCount, OneOf: []string{"8", "16"}}}},
	{Word: "largest", Blocks: []string{"lab"}, Slots: []Slot{
		{Word: "file", Kind: ValueMeasure, Ranges: []Range{{"KB", "1", "1000000000", false}, {"MB", "1", "1000000", false}, {"GB", "0", "1000", true}}},
	}},

	{Word: "stroke", Blocks: []string{"mask"}, Slots: []Slot{
		{Word: "along", Kind: ValuePoints, Ranges: framePlace},
		{Word: "width", Kind: ValueMeasure, Ranges: frameLength},
		maskSoft(),
	}},
	{Word: "ellipse", Blocks: []string{"mask"}, Slots: []Slot{
		{Word: "at", Kind: ValuePoint, Ranges: framePlace},
		{Word: "size", Kind: ValuePair, Ranges: frameLength},
		maskSoft(),
	}},
	{Word: "rectangle", Blocks: []string{"mask"}, Slots: []Slot{
		{Word: "at", Kind: ValuePoint, Ranges: framePlace},
		{Word: "size", Kind: ValuePair, Ranges: frameLength},
		maskSoft(),
	}},
	{Word: "polygon", Blocks: []string{"mask"}, Slots: []Slot{
		{Label: "points", Kind: ValuePoints, Ranges: framePlace},
		maskSoft(),
	}},
	{Word: "gradient", Blocks: []string{"mask"}, Slots: []Slot{
		{Word: "from", Kind: ValuePoint, Ranges: framePlace},
		{Word: "to", Kind: ValuePoint, Ranges: framePlace},
	}},
	{Word: "file", Blocks: []string{"mask"}, Slots: []Slot{{Label: "file", Kind: ValuePath}}},
	{Word: "mask", Blocks: []string{"mask"}, Slots: []Slot{{Label: "name", Kind: ValueName}}},
	{Word: "invert", Blocks: []string{"mask"}},
	{Word: "soften", Blocks: []string{"mask"}, Slots: []Slot{
		{Label: "radius", Kind: ValueMeasure, Ranges: []Range{{"%", "0", "10", true}, {"px", "0.125", "1000", false}}},
	}},

	{Word: "turn", Blocks: []string{"prepare"}, Slots: []Slot{
		{Label: "way", Kind: ValueWord, Words: []string{"left", "right", "over"}},
	}},
	{Word: "mirror", Blocks: []string{"prepare"}},
	{Word: "crop", Blocks: steps3, Slots: []Slot{
		{Word: "to", Kind: ValueRatio},
		{Word: "at", Kind: ValuePoint, Optional: true, Ranges: placeUnits, Place: true, Default: "(50%, 50%)"},
	}},
	{Word: "crop", Blocks: steps3, Slots: []Slot{
		{Label: "from", Kind: ValuePoint, Whole: true, Ranges: placeUnits, Place: true},
		{Word: "to", Kind: ValuePoint, Whole: true, Ranges: placeUnits, Place: true},
	}},
	{Word: "convert", Blocks: steps3, Slots: intentSlots(
		Slot{Word: "to", Kind: ValueTarget})},
	{Word: "convert", Blocks: steps3, Slots: intentSlots(
		Slot{Word: "to", Kind: ValueNone}, Slot{Word: "profile", Kind: ValuePath})},
	{Word: "spot", Blocks: steps3, Slots: []Slot{
		{Word: "at", Kind: ValuePoint, Ranges: placeUnits, Place: true},
		{Word: "radius", Kind: ValueMeasure, Ranges: []Range{{"%", "0", "1", true}, {"px", "0", "3000", true}}},
		{Word: "soft", Kind: ValueMeasure, Optional: true, Ranges: percent, Default: "30%"},
		{Word: "from", Kind: ValuePoint, Optional: true, Ranges: placeUnits, Place: true},
	}},
	{Word: "spot", Blocks: steps3, Slots: []Slot{
		{Word: "pixels", Kind: ValueNone},
		{Word: "over", Kind: ValueMeasure, Ranges: sharePos},
		{Word: "through", Kind: ValueName, Optional: true},
	}},
	{Word: "enlarge", Blocks: []string{"steps", "print"}, Slots: []Slot{
		{Word: "with", Kind: ValueKernel},
		{Word: "light", Kind: ValueWord, Optional: true, Words: []string{"linear", "encoded"}},
		{Word: "as", Kind: ValueName, Optional: true},
	}},
	{Word: "take", Blocks: steps3, Slots: []Slot{{Label: "name", Kind: ValueName}}},
	{Word: "follow", Blocks: []string{"prepare", "print"}, Slots: []Slot{{Label: "name", Kind: ValueName}}},
	{Word: "blend", Blocks: steps3, Slots: []Slot{
		{Label: "name", Kind: ValueName},
		{Word: "over", Kind: ValueName},
		{Word: "through", Kind: ValueName, Optional: true},
		{Word: "at", Kind: ValueMeasure, Optional: true, Ranges: percent, Default: "100%"},
		{Word: "as", Kind: ValueName, Optional: true},
	}},
	{Word: "sharpen", Blocks: steps3, Slots: []Slot{
		{Word: "radius", Kind: ValueMeasure, Ranges: []Range{{"px", "0.1", "100", false}}},
		{Word: "amount", Kind: ValueMeasure, Ranges: []Range{{"%", "0", "500", false}}},
		{Word: "method", Kind: ValueWord, Optional: true, Words: []string{"unsharp"}, Default: "unsharp"},
		{Word: "quiet", Kind: ValueMeasure, Optional: true, Ranges: percent, Default: "0%"},
		{Word: "halo", Kind: ValueMeasure, Optional: true, Ranges: percent, Default: "10%"},
		{Word: "through", Kind: ValueName, Optional: true},
		{Word: "as", Kind: ValueName, Optional: true},
	}},

	{Word: "tone", Blocks: steps3, Opens: true, Slots: []Slot{
		{Word: "for", Kind: ValueName, Optional: true},
		{Word: "through", Kind: ValueName, Optional: true},
	}},
	{Word: "exposure", Blocks: []string{"tone"}, Slots: []Slot{
		{Label: "exposure", Kind: ValueMeasure, Ranges: []Range{{"stops", "-5", "5", false}, {"stop", "-5", "5", false}}},
	}},
	{Word: "warmth", Blocks: []string{"tone"}, Slots: []Slot{
		{Label: "warmth", Kind: ValueMeasure, Ranges: []Range{{"mired", "-50", "50", false}}},
	}},
	{Word: "contrast", Blocks: []string{"tone"}, Slots: []Slot{
		{Label: "contrast", Kind: ValueMeasure, Ranges: []Range{{"%", "-50", "100", false}}},
	}},
	{Word: "curve", Blocks: []string{"tone"}, Slots: []Slot{
		{Label: "points", Kind: ValuePoints, Ranges: []Range{{"", "0", "100", false}}},
	}},
	{Word: "local", Blocks: []string{"tone"}, Slots: []Slot{
		{Word: "contrast", Kind: ValueMeasure, Ranges: signedShare},
		{Word: "radius", Kind: ValueMeasure, Ranges: []Range{{"%", "0", "2", true}, {"px", "0.5", "100", false}}},
	}},
	{Word: "chroma", Blocks: []string{"tone"}, Slots: []Slot{
		{Label: "chroma", Kind: ValueMeasure, Ranges: signedShare},
	}},
	{Word: "muted", Blocks: []string{"tone"}, Slots: []Slot{
		{Word: "chroma", Kind: ValueMeasure, Ranges: signedShare},
	}},
	{Word: "mix", Blocks: steps3, Slots: []Slot{
		{Word: "red", Kind: ValueMeasure, Ranges: mixShare},
		{Word: "green", Kind: ValueMeasure, Ranges: mixShare},
		{Word: "blue", Kind: ValueMeasure, Ranges: mixShare},
	}},
	{Word: "tint", Blocks: steps3, Slots: []Slot{
		{Word: "hue", Kind: ValueMeasure, Ranges: []Range{{"deg", "0", "360", false}}},
		{Word: "chroma", Kind: ValueMeasure, Ranges: []Range{{"%", "0", "40", false}}},
	}},

	{Word: "border", Blocks: []string{"print"}, Slots: []Slot{
		{Label: "width", Kind: ValueMeasure, Whole: true, Ranges: edgeUnits},
		{Word: "colour", Kind: ValueColour, Optional: true, Default: "white"},
	}},
	{Word: "wrap", Blocks: []string{"print"}, Slots: []Slot{
		{Label: "width", Kind: ValueMeasure, Whole: true, Ranges: edgeUnits},
		{Label: "way", Kind: ValueWord, Words: []string{"mirror", "stretch", "picture"}},
	}},
	{Word: "wrap", Blocks: []string{"print"}, Slots: []Slot{
		{Label: "width", Kind: ValueMeasure, Whole: true, Ranges: edgeUnits},
		{Word: "colour", Kind: ValueColour},
	}},
	{Word: "edition", Blocks: []string{"print"}, Slots: []Slot{
		{Label: "count", Kind: ValueCount, Whole: true, Ranges: []Range{{"", "1", "100000", false}}},
		{Word: "plus", Kind: ValueCount, Tail: "proofs", Optional: true, Whole: true, Ranges: []Range{{"", "1", "100000", false}}},
	}},
	{Word: "size", Blocks: []string{"print"}, Slots: []Slot{
		{Word: "within", Kind: ValueNone, Optional: true},
		{Label: "size", Kind: ValuePair, Whole: true, Ranges: sideUnits},
		{Word: "at", Kind: ValueMeasure, Ranges: ppi},
	}},
	{Word: "size", Blocks: []string{"print"}, Slots: []Slot{
		{Label: "side", Kind: ValueMeasure, Tail: "wide", Whole: true, Ranges: sideUnits},
		{Word: "at", Kind: ValueMeasure, Ranges: ppi},
	}},
	{Word: "size", Blocks: []string{"print"}, Slots: []Slot{
		{Label: "side", Kind: ValueMeasure, Tail: "high", Whole: true, Ranges: sideUnits},
		{Word: "at", Kind: ValueMeasure, Ranges: ppi},
	}},
	{Word: "save", Blocks: []string{"print"}, Slots: []Slot{
		{Word: "jpeg", Kind: ValueNone},
		{Label: "file", Kind: ValuePath},
		{Word: "quality", Kind: ValueCount, Optional: true, Whole: true, Ranges: []Range{{"", "1", "100", false}}, Default: "100"},
		{Word: "chroma", Kind: ValueWord, Optional: true, Words: []string{"full", "half"}, Default: "full"},
	}},
	{Word: "save", Blocks: []string{"print"}, Slots: []Slot{
		{Word: "tiff", Kind: ValueNone},
		{Label: "file", Kind: ValuePath},
		{Word: "bits", Kind: ValueCount, Optional: true, OneOf: []string{"8", "16"}, Default: "16"},
	}},
	// A line of inputs begins with the file itself.
	{Word: "", Blocks: []string{"inputs"}, Slots: []Slot{
		{Label: "file", Kind: ValuePath},
		{Word: "sha256", Kind: ValueText},
	}},
}

// formIndex and blockIndex are the table by word and block, and by word.
var formIndex, blockIndex = func() (map[[2]string][]*Form, map[string][]string) {
	forms, blocks := map[[2]string][]*Form{}, map[string][]string{}
	for i := range Forms {
		f := &Forms[i]
		for _, b := range f.Blocks {
			forms[[2]string{f.Word, b}] = append(forms[[2]string{f.Word, b}], f)
			if f.Word != "" && !contains(blocks[f.Word], b) {
				blocks[f.Word] = append(blocks[f.Word], b)
			}
		}
	}
	return forms, blocks
}()

// formsOf returns the forms of a word in a block.
func formsOf(word, block string) []*Form { return formIndex[[2]string{word, block}] }

// blocksOf returns the blocks in which a word may begin a line, in the
// table's order.
func blocksOf(word string) []string { return blockIndex[word] }

// wordIndex holds the words that may begin a line, by block.
var wordIndex = func() map[string][]string {
	words := map[string][]string{}
	for i := range Forms {
		for _, b := range Forms[i].Blocks {
			if w := Forms[i].Word; w != "" && !contains(words[b], w) {
				words[b] = append(words[b], w)
			}
		}
	}
	words["mask"] = append(words["mask"], "less", "within")
	return words
}()

// wordsIn returns the words that may begin a line of a block. They are shared.
func wordsIn(block string) []string { return wordIndex[block] }

func contains(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}
