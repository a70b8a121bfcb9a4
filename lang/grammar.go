package lang

import (
	"io"
	"strings"
	"sync"

	"github.com/alecthomas/participle/v2"
	"github.com/alecthomas/participle/v2/lexer"
)

// The grammar: one for the lines of each kind of block. A line is parsed
// alone. Words that a later statement needs are given by the token's kind, so
// that a quoted text never matches a word.

// tokenNames are the kinds as the grammars write them.
var tokenNames = map[Kind]string{
	KindWord: "Word", KindName: "Name", KindNumber: "Number", KindUnit: "Unit", KindString: "String",
	KindSpace: "Space", KindKernel: "Kernel", KindRatio: "Ratio", KindPunct: "Punct", KindBad: "Bad",
}

type (
	gMeasure struct {
		Number lexer.Token `parser:"@Number"`
		Unit   lexer.Token `parser:"@Unit?"`
	}
	gPoint struct {
		Open  lexer.Token `parser:"@'('"`
		X     gMeasure    `parser:"@@ ','"`
		Y     gMeasure    `parser:"@@"`
		Close lexer.Token `parser:"@')'"`
	}
	gPair struct {
		W gMeasure `parser:"@@ 'x'"`
		H gMeasure `parser:"@@"`
	}

	// gTop is a line at the top of the file.
	gTop struct {
		Recipe  *gRecipe    `parser:"  @@"`
		Title   lexer.Token `parser:"| 'title' @String"`
		Rights  lexer.Token `parser:"| 'rights' @String"`
		Round   lexer.Token `parser:"| 'round' @Number"`
		Master  *gMaster    `parser:"| @@"`
		Paper   lexer.Token `parser:"| 'paper' @Name '{'"`
		Lab     lexer.Token `parser:"| 'lab' @Name '{'"`
		Mask    lexer.Token `parser:"| 'mask' @Name '{'"`
		Prepare lexer.Token `parser:"| @'prepare' '{'"`
		Steps   lexer.Token `parser:"| 'steps' @Name '{'"`
		Print   *gPrintHead `parser:"| @@"`
		Inputs  lexer.Token `parser:"| @'inputs' '{'"`
	}
	gRecipe struct {
		Version lexer.Token `parser:"'recipe' @Number"`
		Draft   lexer.Token `parser:"@'draft'?"`
	}
	gMaster struct {
		File  lexer.Token `parser:"'master' @String"`
		Space lexer.Token `parser:"( 'space' @Space )?"`
		White lexer.Token `parser:"( 'on' @'white' )?"`
	}
	gPrintHead struct {
		Name lexer.Token `parser:"'print' @Name"`
		On   lexer.Token `parser:"( 'on' @Name )?"`
		For  lexer.Token `parser:"( 'for' @Name )? '{'"`
	}

	// gPaper is a line of a paper block.
	gPaper struct {
		Profile    lexer.Token `parser:"  'profile' @String"`
		Intent     lexer.Token `parser:"| 'intent' @( 'perceptual' | 'relative' | 'saturation' | 'absolute' )"`
		BlackPoint lexer.Token `parser:"| 'black-point' @( 'on' | 'off' )"`
	}

	// gLab is a line of a lab block.
	gLab struct {
		Takes      []gFormat   `parser:"  'takes' @@ ( ',' @@ )*"`
		Space      lexer.Token `parser:"| 'space' @Space"`
		Resolution *gMeasure   `parser:"| 'resolution' @@"`
		Bits       lexer.Token `parser:"| 'bits' @Number"`
		Largest    *gMeasure   `parser:"| 'largest' 'file' @@"`
	}
	// gFormat is a rule of its own since the parser keeps only the last of
	// repeated tokens, but every one of repeated rules.
	gFormat struct {
		Word lexer.Token `parser:"@( 'jpeg' | 'tiff' )"`
	}

	// gTone is a line of a tone block.
	gTone struct {
		Exposure *gMeasure `parser:"  'exposure' @@"`
		Warmth   *gMeasure `parser:"| 'warmth' @@"`
		Contrast *gMeasure `parser:"| 'contrast' @@"`
		Curve    []gPoint  `parser:"| 'curve' @@ ( ',' @@ )*"`
		Local    *gLocal   `parser:"| @@"`
		Chroma   *gMeasure `parser:"| 'chroma' @@"`
		Muted    *gMeasure `parser:"| 'muted' 'chroma' @@"`
	}
	gLocal struct {
		Contrast gMeasure `parser:"'local' 'contrast' @@"`
		Radius   gMeasure `parser:"'radius' @@"`
	}
	gColour struct {
		Word  lexer.Token `parser:"  @( 'white' | 'black' )"`
		Grey  lexer.Token `parser:"| @'grey'"`
		Light lexer.Token `parser:"  @Number"`
	}

	// gMask is a line of a mask block.
	gMask struct {
		Invert lexer.Token `parser:"  @'invert'"`
		Soften *gMeasure   `parser:"| 'soften' @@"`
		Op     lexer.Token `parser:"| ( @( 'less' | 'within' )?"`
		Shape  *gShape     `parser:"  @@ )"`
	}
	gShape struct {
		Stroke    *gStroke    `parser:"  @@"`
		Ellipse   *gBox       `parser:"| 'ellipse' @@"`
		Rectangle *gBox       `parser:"| 'rectangle' @@"`
		Polygon   *gPolygon   `parser:"| @@"`
		Gradient  *gGradient  `parser:"| @@"`
		File      lexer.Token `parser:"| 'file' @String"`
		Mask      lexer.Token `parser:"| 'mask' @Name"`
	}
	gStroke struct {
		Points []gPoint  `parser:"'stroke' 'along' @@ ( ',' @@ )*"`
		Width  gMeasure  `parser:"'width' @@"`
		Soft   *gMeasure `parser:"( 'soft' @@ )?"`
	}
	gBox struct {
		At   gPoint    `parser:"'at' @@"`
		Size gPair     `parser:"'size' @@"`
		Soft *gMeasure `parser:"( 'soft' @@ )?"`
	}
	gPolygon struct {
		Points []gPoint  `parser:"'polygon' @@ ( ',' @@ )*"`
		Soft   *gMeasure `parser:"( 'soft' @@ )?"`
	}
	gGradient struct {
		From gPoint `parser:"'gradient' 'from' @@"`
		To   gPoint `parser:"'to' @@"`
	}

	// gStep is a line of prepare, steps and print.
	gStep struct {
		Turn    lexer.Token `parser:"  'turn' @( 'left' | 'right' | 'over' )"`
		Mirror  lexer.Token `parser:"| @'mirror'"`
		Crop    *gCrop      `parser:"| @@"`
		Convert *gConvert   `parser:"| @@"`
		Spot    *gSpot      `parser:"| @@"`
		Enlarge *gEnlarge   `parser:"| @@"`
		Take    lexer.Token `parser:"| 'take' @Name"`
		Follow  lexer.Token `parser:"| 'follow' @Name"`
		Blend   *gBlend     `parser:"| @@"`
		Sharpen *gSharpen   `parser:"| @@"`
		Tone    *gToneHead  `parser:"| @@"`
		Mix     *gMix       `parser:"| @@"`
		Tint    *gTint      `parser:"| @@"`
	}
	gToneHead struct {
		Tone    lexer.Token `parser:"@'tone'"`
		For     lexer.Token `parser:"( 'for' @Name )?"`
		Through lexer.Token `parser:"( 'through' @Name )? '{'"`
	}
	gMix struct {
		Red   gMeasure `parser:"'mix' 'red' @@"`
		Green gMeasure `parser:"'green' @@"`
		Blue  gMeasure `parser:"'blue' @@"`
	}
	gTint struct {
		Hue    gMeasure `parser:"'tint' 'hue' @@"`
		Chroma gMeasure `parser:"'chroma' @@"`
	}
	gCrop struct {
		To   lexer.Token `parser:"'crop' ( 'to' @Ratio"`
		At   *gPoint     `parser:"( 'at' @@ )?"`
		From *gPoint     `parser:"| @@"`
		Till *gPoint     `parser:"'to' @@ )"`
	}
	gConvert struct {
		Space      lexer.Token `parser:"'convert' 'to' ( @Space"`
		Profile    lexer.Token `parser:"| 'profile' @String"`
		Name       lexer.Token `parser:"| @Name )"`
		Intent     lexer.Token `parser:"( 'intent' @( 'perceptual' | 'relative' | 'saturation' | 'absolute' ) )?"`
		BlackPoint lexer.Token `parser:"( 'black-point' @( 'on' | 'off' ) )?"`
	}
	gSpot struct {
		At      *gPoint     `parser:"'spot' ( 'at' @@"`
		Radius  *gMeasure   `parser:"'radius' @@"`
		Soft    *gMeasure   `parser:"( 'soft' @@ )?"`
		From    *gPoint     `parser:"( 'from' @@ )?"`
		Over    *gMeasure   `parser:"| 'pixels' 'over' @@"`
		Through lexer.Token `parser:"( 'through' @Name )? )"`
	}
	gEnlarge struct {
		Kernel lexer.Token `parser:"'enlarge' 'with' @Kernel"`
		Light  lexer.Token `parser:"( 'light' @( 'linear' | 'encoded' ) )?"`
		As     lexer.Token `parser:"( 'as' @Name )?"`
	}
	gBlend struct {
		Top     lexer.Token `parser:"'blend' @Name"`
		Over    lexer.Token `parser:"'over' @Name"`
		Through lexer.Token `parser:"( 'through' @Name )?"`
		At      *gMeasure   `parser:"( 'at' @@ )?"`
		As      lexer.Token `parser:"( 'as' @Name )?"`
	}
	gSharpen struct {
		Radius  gMeasure    `parser:"'sharpen' 'radius' @@"`
		Amount  gMeasure    `parser:"'amount' @@"`
		Method  lexer.Token `parser:"( 'method' @'unsharp' )?"`
		Quiet   *gMeasure   `parser:"( 'quiet' @@ )?"`
		Halo    *gMeasure   `parser:"( 'halo' @@ )?"`
		Through lexer.Token `parser:"( 'through' @Name )?"`
		As      lexer.Token `parser:"( 'as' @Name )?"`
	}

	// gPrint is a line of print that isn't a step.
	gPrint struct {
		Edition *gEdition `parser:"  @@"`
		Size    *gSize    `parser:"| @@"`
		Save    *gSave    `parser:"| @@"`
		Border  *gBorder  `parser:"| @@"`
		Wrap    *gWrap    `parser:"| @@"`
	}
	gBorder struct {
		Width  gMeasure `parser:"'border' @@"`
		Colour *gColour `parser:"( 'colour' @@ )?"`
	}
	gWrap struct {
		Width  gMeasure    `parser:"'wrap' @@"`
		Way    lexer.Token `parser:"( @( 'mirror' | 'stretch' | 'picture' )"`
		Colour *gColour    `parser:"| 'colour' @@ )"`
	}
	gEdition struct {
		Count  lexer.Token `parser:"'edition' @Number"`
		Proofs lexer.Token `parser:"( 'plus' @Number 'proofs' )?"`
	}
	gSize struct {
		Within *gPair      `parser:"'size' ( 'within' @@"`
		First  *gMeasure   `parser:"| @@"`
		Second *gMeasure   `parser:"( 'x' @@"`
		Way    lexer.Token `parser:"| @( 'wide' | 'high' ) ) )"`
		At     gMeasure    `parser:"'at' @@"`
	}
	gSave struct {
		JPEG    lexer.Token `parser:"'save' ( @'jpeg'"`
		Path    lexer.Token `parser:"@String"`
		Quality lexer.Token `parser:"( 'quality' @Number )?"`
		Chroma  lexer.Token `parser:"( 'chroma' @( 'full' | 'half' ) )?"`
		TIFF    lexer.Token `parser:"| @'tiff'"`
		TPath   lexer.Token `parser:"@String"`
		Bits    lexer.Token `parser:"( 'bits' @Number )? )"`
	}

	// gInput is a line of inputs.
	gInput struct {
		Path   lexer.Token `parser:"@String"`
		SHA256 lexer.Token `parser:"'sha256' @String"`
	}
)

// definition tells participle the kinds of token. It reads no text: lines come
// as tokens.
type definition struct{}

func (definition) Symbols() map[string]lexer.TokenType {
	m := map[string]lexer.TokenType{"EOF": lexer.EOF}
	for k, n := range tokenNames {
		m[n] = symbol(k)
	}
	return m
}

func (definition) Lex(string, io.Reader) (lexer.Lexer, error) { return &tokenLexer{}, nil }

func symbol(k Kind) lexer.TokenType { return lexer.TokenType(-2 - int(k)) }

// tokenLexer hands one line's tokens to participle. Pos.Offset is the token's
// number in the line, which leads back to its place.
type tokenLexer struct {
	toks []Token
	at   int
}

func (l *tokenLexer) Next() (lexer.Token, error) {
	if l.at >= len(l.toks) {
		return lexer.EOFToken(lexer.Position{Offset: l.at}), nil
	}
	t := l.toks[l.at]
	v := t.Value
	if t.Kind == KindString {
		v = `"` + v // never equal to a word
	}
	l.at++
	return lexer.Token{Type: symbol(t.Kind), Value: v, Pos: lexer.Position{Offset: l.at - 1, Line: t.Line, Column: t.Col}}, nil
}

// grammars are built once, when the first recipe is read.
var grammars struct {
	once  sync.Once
	top   *participle.Parser[gTop]
	mask  *participle.Parser[gMask]
	step  *participle.Parser[gStep]
	print *participle.Parser[gPrint]
	input *participle.Parser[gInput]
	paper *participle.Parser[gPaper]
	lab   *participle.Parser[gLab]
	tone  *participle.Parser[gTone]
}

func buildGrammars() {
	grammars.once.Do(func() {
		lex := participle.Lexer(definition{})
		look := participle.UseLookahead(2)
		grammars.top = participle.MustBuild[gTop](lex, look)
		grammars.mask = participle.MustBuild[gMask](lex, look)
		grammars.step = participle.MustBuild[gStep](lex, look)
		grammars.print = participle.MustBuild[gPrint](lex, look)
		grammars.input = participle.MustBuild[gInput](lex, look)
		grammars.paper = participle.MustBuild[gPaper](lex, look)
		grammars.lab = participle.MustBuild[gLab](lex, look)
		grammars.tone = participle.MustBuild[gTone](lex, look)
	})
}

// grammarText is the grammar as participle writes it, for the test that
// compares it with the SPEC.
func grammarText() string {
	buildGrammars()
	return strings.Join([]string{
		grammars.top.String(), grammars.mask.String(), grammars.step.String(),
		grammars.print.String(), grammars.input.String(), grammars.paper.String(),
		grammars.lab.String(), grammars.tone.String(),
	}, "\n")
}

func parseTokens[G any](p *participle.Parser[G], toks []Token) (*G, error) {
	lex, err := lexer.Upgrade(&tokenLexer{toks: toks})
	if err != nil {
		return nil, err
	}
	return p.ParseFromLexer(lex)
}
