package lang

import "math/big"

// Span is a stretch of the source. Lines and columns count from 1; a column
// counts characters (runes), and EndCol is the column after the last one.
type Span struct {
	Line, Col, EndLine, EndCol int
}

// Text is a quoted string or a word with its place.
type Text struct {
	Span
	Value string // without quotes, escapes resolved
}

// Number is a bare number.
type Number struct {
	Span
	Value *big.Rat
}

// Measure is a number with a unit.
//
// Unit is one of "in", "cm", "mm", "px", "ppi", "%", "stop", "stops",
// "mired", "deg", "KB", "MB", "GB", or "" where the rule allows a bare one.
// Value is as written (40 % is 40).
type Measure struct {
	Span
	Value *big.Rat
	Unit  string
	// Default is true where the recipe says nothing and the value comes from
	// the table of defaults; Span is then zero.
	Default bool
}

// Point is a position, X across from the left, Y down from the top.
type Point struct {
	Span
	X, Y Measure
}

// Ratio is a shape, W:H, both positive.
type Ratio struct {
	Span
	W, H *big.Rat
}

// The nodes of the tree. What a field can know is in its tags, and nowhere else:
//
//	takes    units with the values allowed, or whole numbers, or the name of such a list
//	whole    "px": a whole number where it is in px
//	words    the words to choose from
//	of       "space" or "kernel": one of the language's
//	gives    the kind of thing that it names
//	uses     the kind of thing that it names and that is given elsewhere
//	path     what the file that it names is for
//	default  what it is where it is left out
//	label    what messages call it where no word stands before it
//
// In which order they stand on a line, and where that may stand, is in the list
// of statements.

// Recipe is a whole file's meaning before any picture is looked at.
type Recipe struct {
	Version  int  // 1
	Draft    bool // "recipe 1 draft"
	Head     Span // of the recipe line
	Title    *Text
	Rights   *Text
	Round    *Number `label:"number" takes:"1..100000"`
	Master   *Master
	Pictures []*Picture // made elsewhere
	Papers   []*Paper
	Labs     []*Lab
	Masks    []*Mask      // in the order written
	Prepare  *Prepare     // nil where there is none
	Steps    []*StepBlock // steps NAME { … }
	Prints   []*Print
	Inputs   *Inputs // nil where there is none
	Uses     []Use   // the statements, block by block in the order written
}

// version is the recipe line.
type version struct {
	Span
	Version Text `of:"number"`
	Draft   bool
}

// Master names the picture that everything starts from.
type Master struct {
	Span
	Path  Text  `path:"master"`
	Space *Text `of:"space"` // nil: the file's own profile
	// OnWhite lays a picture with alpha on white; without it one with alpha
	// that isn't solid is refused.
	OnWhite bool `words:"white"`
}

// Picture is a picture made elsewhere, an input as the master is.
type Picture struct {
	Span
	Name  Text  `gives:"picture"`
	Path  Text  `path:"picture"`
	Space *Text `of:"space"` // nil: the file's own profile
}

// Paper is a paper with the inks it is printed with: what its profile says.
type Paper struct {
	Span
	Name       Text  `gives:"paper"`
	Profile    *Text `path:"profile"` // never nil in a checked recipe
	Intent     Text  `words:"perceptual relative saturation absolute" default:"relative"`
	BlackPoint Text  `words:"on off" default:"on" label:"black point"`
}

// Lab is what a printing house takes. Nil means that the recipe doesn't say.
type Lab struct {
	Span
	Name       Text     `gives:"lab"`
	Takes      []Text   `words:"jpeg tiff"` // empty: both
	Space      *Text    `of:"space"`
	Resolution *Measure `takes:"ppi 1..10000"`
	Bits       *Number  `takes:"8 or 16"`
	Largest    *Measure `takes:"KB 1..1000000000, MB 1..1000000, GB >0..1000"`
}

// Mask is a named mask.
type Mask struct {
	Span
	Name     Text `gives:"mask"`
	Elements []*Element
}

// Element is one line of a mask. Op is "add", "less" or "within" for shapes.
// Shape is "stroke", "ellipse", "rectangle", "polygon", "gradient", "range",
// "edges", "file", "mask", or the operations on the plane so far: "invert", "soften".
type Element struct {
	Span
	Op    string
	Shape string
	// Points are all of a stroke and a polygon, the centre of an ellipse and a
	// rectangle, and the two ends of a gradient.
	Points []Point   `takes:"frame"`
	Size   []Measure `takes:"% >0..400, px >0..300000"` // ellipse, rectangle: width, height
	Width  *Measure  `takes:"% >0..400, px >0..300000"` // stroke
	Radius *Measure  `takes:"% >0..10, px 0.125..1000"` // soften, edges
	// Of is what a range is of: "lightness", "chroma" or "hue". It runs from Low to
	// High, a hue upwards and through 0 where it must, and fades over Fade at both ends.
	Of        string
	Low, High *Measure
	Fade      *Measure
	Over      *Measure `takes:"% 1..100"` // edges: the step in lightness
	Path      *Text    `path:"mask"`
	Mask      *Text    `uses:"mask"`
	Soft      *Measure `takes:"% 0..100" default:"0%"` // of a shape's half-width, which fades
}

// Prepare holds the steps at the master's own size.
type Prepare struct {
	Span
	Steps []Step
}

// StepBlock is a named list of shared steps.
type StepBlock struct {
	Span
	Name  Text `gives:"steps"`
	Steps []Step
}

// Print is one print file to make, or with Sheet a sheet of proofs.
type Print struct {
	Span
	Name    Text  `gives:"print"`
	On      *Text `uses:"paper"`
	For     *Text `uses:"lab"`
	Edition *Edition
	Size    *Size
	Steps   []Step
	Save    *Save
	Sheet   *Sheet // nil for a print
}

// Sheet is what lies on a sheet of proofs.
type Sheet struct {
	Pieces   []*Piece
	Simulate *Simulate // nil: the sheet's own paper shows as it is
}

// Piece is a line of a sheet. Kind is "show", "section", "strip", "ring" or
// "wedge".
type Piece struct {
	Span
	Kind string
	Of   *Text     `uses:"print"`
	At   *Point    `takes:"place"` // the middle of a section
	Size []Measure `takes:"edge"`  // of a section: width, height
	// A strip repeats its section with a parameter of a step of the print from one
	// value to another.
	Step  Text     `words:"sharpen grain denoise fringe blend tone" label:"step"`
	Param Text     `words:"amount radius quiet halo size at lightness chroma exposure contrast warmth" label:"parameter"`
	From  *Measure `takes:"% -400..1000, px 0..1000, mm 0..20, stops -5..5, stop -5..5, mired -50..50" label:"first value"`
	To    *Measure `takes:"% -400..1000, px 0..1000, mm 0..20, stops -5..5, stop -5..5, mired -50..50"`
	By    *Measure `takes:"% >0..400, px >0..1000, mm >0..20, stops >0..5, stop >0..5, mired >0..50"`
	// A ring has its section as it is, and around it warmer, colder, lighter, darker.
	Warmth   *Measure `takes:"mired >0..25"`
	Exposure *Measure `takes:"stops >0..2, stop >0..2"`
	Colours  string   // of a wedge: "colour"; "" for greys
	Greys    *Number  `takes:"3..51"`
}

// Simulate names the paper that a sheet shows as it will look.
type Simulate struct {
	Span
	Paper Text `uses:"paper"`
}

// Edition is "edition 10 plus 2 proofs".
type Edition struct {
	Span
	Count  Number  `takes:"1..100000"`
	Proofs *Number `takes:"1..100000"`
}

// Size is the print's size: exactly W x H, at most that (Within), or one side
// alone, the other being nil.
type Size struct {
	Span
	Within bool
	W, H   *Measure `takes:"side" whole:"px" label:"side"`
	At     Measure  `takes:"ppi 1..10000"`
}

// Save is "save jpeg …" or "save tiff …".
type Save struct {
	Span
	Format  string  // "jpeg" or "tiff"
	Path    Text    `path:"save"`
	Quality *Number `takes:"1..100" default:"100"`     // jpeg
	Chroma  *Text   `words:"full half" default:"full"` // jpeg
	Bits    *Number `takes:"8 or 16" default:"16"`     // tiff
}

// Inputs is the block that `platemark pin` writes.
type Inputs struct {
	Span
	Lines []*Input
}

// Input is one pinned file.
type Input struct {
	Span
	Path   Text `path:"input"`
	SHA256 Text
}

// Step is one statement that makes a picture from a picture.
type Step interface {
	Where() Span
	// Word is the statement's word: "crop", "enlarge", …
	Word() string
}

// Where returns the span itself, so that every node has it.
func (s Span) Where() Span { return s }

type (
	// Crop has either To (with an optional At), or From and Till. At is nil where
	// it isn't written: it is the middle of the picture then, which a crop
	// before it may have moved away from the frame's.
	Crop struct {
		Span
		To         *Ratio
		At         *Point `takes:"place" default:"(50%, 50%)"`
		From, Till *Point `takes:"place" whole:"px"`
	}
	// Turn is "turn left", "turn right" or "turn over".
	Turn struct {
		Span
		Way Text `words:"left right over"`
	}
	// Mirror swaps left and right.
	Mirror struct{ Span }
	// Convert has either Space, Profile, or Name (of a paper or a lab). Intent and
	// BlackPoint that aren't written (zero span) are the paper's where Name is a
	// paper.
	Convert struct {
		Span
		Space      *Text `of:"space"`
		Name       *Text `uses:"lab"`
		Profile    *Text `path:"profile"`
		Intent     Text  `words:"perceptual relative saturation absolute" default:"relative"`
		BlackPoint Text  `words:"on off" default:"on"`
		KeepHue    bool  `words:"hue"`
	}
	// SpotAt fills one speck; neighbours form a run.
	SpotAt struct {
		Span
		At     Point   `takes:"place"`
		Radius Measure `takes:"% >0..1, px >0..3000"`
		Soft   Measure `takes:"% 0..100" default:"30%"`
		From   *Point  `takes:"place"`
	}
	// SpotPixels removes isolated outliers.
	SpotPixels struct {
		Span
		Over    Measure `takes:"% >0..100"`
		Through *Text   `uses:"mask"`
	}
	// Fringe smooths the colour left over at edges; HueFrom and HueTo are nil, or
	// the hues from one to the other, upwards.
	Fringe struct {
		Span
		Through *Text    `uses:"mask"`
		Radius  Measure  `takes:"px 1..60"`
		HueFrom *Measure `takes:"deg 0..360"`
		HueTo   *Measure `takes:"deg 0..360"`
	}
	// Denoise takes noise away, each part in shares of what is measured.
	Denoise struct {
		Span
		Lightness Measure `takes:"% 0..200"`
		Chroma    Measure `takes:"% 0..200"`
		Through   *Text   `uses:"mask"`
		As        *Text   `gives:"picture"`
	}
	// Enlarge brings the picture to the print's size.
	Enlarge struct {
		Span
		Kernel Text  `of:"kernel"`
		Light  *Text `words:"linear encoded"` // nil: by rule
		As     *Text `gives:"picture"`
	}
	// Take makes a named picture current.
	Take struct {
		Span
		Name Text `uses:"picture"`
	}
	// Follow stands for the lines of a steps block.
	Follow struct {
		Span
		Name Text `uses:"steps"`
	}
	// Blend is Over + At·mask·(Top − Over).
	Blend struct {
		Span
		Top, Over Text    `uses:"picture"`
		Through   *Text   `uses:"mask"`
		At        Measure `takes:"% 0..100" default:"100%"`
		As        *Text   `gives:"picture"`
	}
	// Sharpen is an unsharp mask, or takes back a blur.
	Sharpen struct {
		Span
		Radius  Measure  `takes:"px 0.1..100, mm 0.01..1, % >0..0.1"`
		Amount  Measure  `takes:"% 0..500"`
		Method  Text     `words:"unsharp deconvolve" default:"unsharp"`
		Blur    *Text    `words:"disc gaussian"` // with deconvolve
		Quiet   *Measure `takes:"% 0..100"`
		Halo    Measure  `takes:"% 0..100" default:"10%"`
		Through *Text    `uses:"mask"`
		As      *Text    `gives:"picture"`
	}
	// Tone changes tones and colours; what isn't written is nil.
	Tone struct {
		Span
		For         *Text        `uses:"paper"`
		Through     *Text        `uses:"mask"`
		Exposure    *Measure     `takes:"stops -5..5, stop -5..5"`
		Curve       []CurvePoint `takes:"0..100"`
		Contrast    *Measure     `takes:"% -50..100"`
		Local       *Measure     `takes:"% -100..100"`
		LocalRadius *Measure     `takes:"% >0..2, px 0.5..100"` // of Local
		Warmth      *Measure     `takes:"mired -50..50"`
		Chroma      *Measure     `takes:"% -100..100"`
		Muted       *Measure     `takes:"% -100..100"`
		// Lines are the lines inside, each with its word and place.
		Lines []ToneLine
	}
	// ToneLine is one line of a tone block.
	ToneLine struct {
		Span
		Param string // exposure, curve, contrast, local, warmth, chroma, muted
	}
	// CurvePoint is a point of a curve in lightness, both 0 to 100.
	CurvePoint struct {
		Span
		X, Y *big.Rat
	}
	// Grain lays film-like grain over the picture.
	Grain struct {
		Span
		Amount Measure `takes:"% 0..25"`
		Size   Measure `takes:"mm 0.01..1"` // on the print
		Seed   Number  `takes:"0..4294967295"`
	}
	// Mix makes grey from shares of red, green and blue.
	Mix struct {
		Span
		Red, Green, Blue Measure `takes:"% -200..300"`
	}
	// Tint colours a grey picture.
	Tint struct {
		Span
		Hue    Measure `takes:"deg 0..360"`
		Chroma Measure `takes:"% 0..40"` // 100 % is a CIELAB chroma of 100
	}
	// Border adds a border on all sides.
	Border struct {
		Span
		Width  Measure `takes:"edge" whole:"px"`
		Colour Colour  `default:"white"`
	}
	// Wrap adds what goes round the sides of a stretcher.
	Wrap struct {
		Span
		Width  Measure `takes:"edge" whole:"px"`
		Way    Text    `words:"reflected repeated"` // or picture, colour
		Colour *Colour
	}
)

// Colour is a neutral colour: "white", "black" or "grey" of a lightness.
type Colour struct {
	Span
	Word      string
	Lightness *big.Rat // 0 to 100
}

func (*Crop) Word() string       { return "crop" }
func (*Turn) Word() string       { return "turn" }
func (*Mirror) Word() string     { return "mirror" }
func (*Convert) Word() string    { return "convert" }
func (*SpotAt) Word() string     { return "spot" }
func (*SpotPixels) Word() string { return "spot" }
func (*Fringe) Word() string     { return "fringe" }
func (*Denoise) Word() string    { return "denoise" }
func (*Enlarge) Word() string    { return "enlarge" }
func (*Take) Word() string       { return "take" }
func (*Follow) Word() string     { return "follow" }
func (*Blend) Word() string      { return "blend" }
func (*Sharpen) Word() string    { return "sharpen" }
func (*Tone) Word() string       { return "tone" }
func (*Grain) Word() string      { return "grain" }
func (*Mix) Word() string        { return "mix" }
func (*Tint) Word() string       { return "tint" }
func (*Border) Word() string     { return "border" }
func (*Wrap) Word() string       { return "wrap" }
