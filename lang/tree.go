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

// Recipe is a whole file's meaning before any picture is looked at.
type Recipe struct {
	Version int  // 1
	Draft   bool // "recipe 1 draft"
	Head    Span // of the recipe line
	Title   *Text
	Rights  *Text
	Round   *Number
	Master  *Master
	Papers  []*Paper
	Labs    []*Lab
	Masks   []*Mask      // in the order written
	Prepare *Prepare     // nil where there is none
	Series  []*StepBlock // steps NAME { … }
	Prints  []*Print
	Inputs  *Inputs // nil where there is none
}

// Master names the picture that everything starts from.
type Master struct {
	Span
	Path  Text
	Space *Text // nil: the file's own profile
	// OnWhite lays a picture with alpha on white; without it one with alpha
	// that isn't solid is refused.
	OnWhite bool
}

// Paper is a paper with the inks it is printed with: what its profile says.
type Paper struct {
	Span
	Name       Text
	Profile    *Text // a path; never nil in a checked recipe
	Intent     Text  // "relative" by default
	BlackPoint Text  // "on" by default
}

// Lab is what a printing house takes. Nil means that the recipe doesn't say.
type Lab struct {
	Span
	Name       Text
	Takes      []Text   // "jpeg", "tiff"; empty: both
	Space      *Text    // a built-in space
	Resolution *Measure // ppi
	Bits       *Number  // 8 or 16
	Largest    *Measure // KB, MB, GB
}

// Mask is a named mask.
type Mask struct {
	Span
	Name     Text
	Elements []*Element
}

// Element is one line of a mask. Op is "add", "less" or "within" for shapes.
// Shape is "stroke", "ellipse", "rectangle", "polygon", "gradient", "file",
// "mask", or the operations on the plane so far: "invert", "soften".
type Element struct {
	Span
	Op     string
	Shape  string
	Points []Point   // stroke and polygon: all; ellipse and rectangle: the centre; gradient: from, to
	Size   []Measure // ellipse, rectangle: width, height
	Width  *Measure  // stroke
	Radius *Measure  // soften
	Path   *Text     // file
	Mask   *Text     // mask
	Soft   *Measure  // shapes; % of the half-width that fades; default 0 %
}

// Prepare holds the steps at the master's own size.
type Prepare struct {
	Span
	Steps []Step
}

// StepBlock is a named list of shared steps.
type StepBlock struct {
	Span
	Name  Text
	Steps []Step
}

// Print is one print file to make.
type Print struct {
	Span
	Name    Text
	On      *Text // the paper
	For     *Text // the lab
	Edition *Edition
	Size    *Size
	Steps   []Step
	Save    *Save
}

// Edition is "edition 10 plus 2 proofs".
type Edition struct {
	Span
	Count  Number
	Proofs *Number
}

// Size is the print's size. Within, Wide and High say which form it has:
// neither is the exact W x H; Wide has W only, High has H only.
type Size struct {
	Span
	Within, Wide, High bool
	W, H               *Measure
	At                 Measure // ppi
}

// Save is "save jpeg …" or "save tiff …".
type Save struct {
	Span
	Format  string // "jpeg" or "tiff"
	Path    Text
	Quality *Number // jpeg, 1 to 100, default 100
	Chroma  *Text   // jpeg, "full" or "half", default full
	Bits    *Number // tiff, 8 or 16, default 16
}

// Inputs is the block that `platemark pin` writes.
type Inputs struct {
	Span
	Lines []*Input
}

// Input is one pinned file.
type Input struct {
	Span
	Path   Text
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
	// Crop has either To (with an optional At), or From and Till.
	Crop struct {
		Span
		To         *Ratio
		At         *Point
		From, Till *Point
	}
	// Turn is "turn left", "turn right" or "turn over".
	Turn struct {
		Span
		Way Text
	}
	// Mirror swaps left and right.
	Mirror struct{ Span }
	// Convert has either Space, Profile (a path), or Name (of a paper or a
	// lab). Intent and BlackPoint that aren't written (zero span) are the
	// paper's where Name is a paper.
	Convert struct {
		Span
		Space      *Text
		Name       *Text
		Profile    *Text
		Intent     Text // "relative" by default
		BlackPoint Text // "on" by default
	}
	// SpotAt fills one speck; neighbours form a run.
	SpotAt struct {
		Span
		At     Point
		Radius Measure
		Soft   Measure // default 30 %
		From   *Point
	}
	// SpotPixels removes isolated outliers.
	SpotPixels struct {
		Span
		Over    Measure
		Through *Text
	}
	// Enlarge brings the picture to the print's size.
	Enlarge struct {
		Span
		Kernel Text
		Light  *Text // "linear" or "encoded"; nil: by rule
		As     *Text
	}
	// Take makes a named picture current.
	Take struct {
		Span
		Name Text
	}
	// Follow stands for the lines of a steps block.
	Follow struct {
		Span
		Name Text
	}
	// Blend is Over + At·mask·(Top − Over).
	Blend struct {
		Span
		Top, Over Text
		Through   *Text
		At        Measure // default 100 %
		As        *Text
	}
	// Sharpen is an unsharp mask.
	Sharpen struct {
		Span
		Radius  Measure
		Amount  Measure
		Method  Text    // "unsharp"
		Quiet   Measure // default 0 %
		Halo    Measure // default 10 %
		Through *Text
		As      *Text
	}
	// Tone changes tones and colours; what isn't written is nil.
	Tone struct {
		Span
		For      *Text    // a paper
		Through  *Text    // a mask
		Exposure *Measure // stops
		Warmth   *Measure // mired
		Contrast *Measure // %
		Curve    []CurvePoint
		Local    *Measure // %
		Radius   *Measure // of Local
		Chroma   *Measure // %
		Muted    *Measure // %
		// Lines are the lines inside, each with its word and place.
		Lines []ToneLine
	}
	// ToneLine is one line of a tone block.
	ToneLine struct {
		Span
		Param string // exposure, warmth, contrast, curve, local, chroma, muted
	}
	// CurvePoint is a point of a curve in lightness, both 0 to 100.
	CurvePoint struct {
		Span
		X, Y *big.Rat
	}
	// Mix makes grey from shares of red, green and blue.
	Mix struct {
		Span
		Red, Green, Blue Measure
	}
	// Tint colours a grey picture.
	Tint struct {
		Span
		Hue    Measure // deg
		Chroma Measure // %, 100 % is a CIELAB chroma of 100
	}
	// Border adds a border on all sides.
	Border struct {
		Span
		Width  Measure
		Colour Colour // white by default
	}
	// Wrap adds what goes round the sides of a stretcher.
	Wrap struct {
		Span
		Width  Measure
		Way    Text // mirror, stretch, picture, colour
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
func (*Enlarge) Word() string    { return "enlarge" }
func (*Take) Word() string       { return "take" }
func (*Follow) Word() string     { return "follow" }
func (*Blend) Word() string      { return "blend" }
func (*Sharpen) Word() string    { return "sharpen" }
func (*Tone) Word() string       { return "tone" }
func (*Mix) Word() string        { return "mix" }
func (*Tint) Word() string       { return "tint" }
func (*Border) Word() string     { return "border" }
func (*Wrap) Word() string       { return "wrap" }
