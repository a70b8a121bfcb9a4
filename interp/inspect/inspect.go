// Package inspect looks over a whole picture for what the eye would miss: hot and
// dead pixels, dust, hairs, coloured fringes, and what it has suffered before. It
// finds and measures; what is done about it is a recipe's business, of which it
// knows nothing.
//
// What it promises: the finds, their order and their numbers are the same on every
// machine and however the work is cut, and the same for a picture of 8 bits and for
// its twin of 16.
package inspect

import (
	"image"
)

// A Kind is what a find is.
type Kind string

const (
	Hot    Kind = "hot"    // up to a few pixels far lighter than all around
	Dead   Kind = "dead"   // as many far darker
	Dust   Kind = "dust"   // a soft dark or light blot on smooth ground
	Hair   Kind = "hair"   // a thin line on smooth ground, or a scratch
	Fringe Kind = "fringe" // a rim of a colour that neither side of an edge has

	Posterised Kind = "posterised" // a gradient of fewer levels than its bits hold
	Halo       Kind = "halo"       // light or dark rims beside edges, of sharpening
	Blocks     Kind = "blocks"     // the grid of a file that was compressed hard
	Banding    Kind = "banding"    // stripes from side to side, or from top to bottom
)

// A Point is a place in the picture, in pixels from its upper left corner; the
// centres of pixels lie at .5.
type Point struct{ X, Y float64 }

// A Disc is a round part of the picture, in pixels.
type Disc struct {
	Point
	Radius float64
}

// A Find is one thing found, at one place.
type Find struct {
	Kind Kind
	At   Point   // its middle
	W, H float64 // its extent, px
	// Spots are the discs that cover it, for one run of `spot` lines: one, or along
	// a hair as many as it takes, which don't overlap. Hair's are to be wholly
	// filled (soft 0%). A fringe has none.
	Spots []Disc
	// Contrast is how much lighter than its surroundings it is, as a share of their
	// luminance; below 0 it is darker. Of a fringe it is the distance of its colour
	// from the edge's, in CIELAB.
	Contrast float64
	Width    float64  // px: of a dot its diameter, across a hair or a fringe
	Ends     [2]Point // of a hair
	// HueFrom and HueTo hold a fringe's colours, in degrees of OKLab, from HueFrom
	// upwards to HueTo.
	HueFrom, HueTo float64
	// Seen is how visible it is, in multiples of what is just seen; see Rank.
	Seen float64

	like int32 // how like a blot dust is, see likeness
}

// More is how many finds of a kind were left out in a part of the picture, all of
// them less visible than those named there.
type More struct {
	Kind  Kind
	In    image.Rectangle
	Count int
}

// A Part is a part of the picture and how much of something it has.
type Part struct {
	In     image.Rectangle
	Amount float64
}

// Clipped says how much of the picture lies at an end of its range.
type Clipped struct {
	Share float64 // of the pixels that have a channel there, 0 to 1
	Whole float64 // of the pixels with all channels there
	Parts []Part  // where most of it lies, the most first; Amount is the share of the part
}

// A Fault is what a larger part of the picture suffers from.
type Fault struct {
	Kind Kind
	In   image.Rectangle
	// Amount is, of Posterised, the step between neighbouring levels, and of Halo,
	// Blocks and Banding the height of rim, seam or stripe, as shares of full scale.
	Amount float64
	// Share is how much of the picture has it, 0 to 1.
	Share float64
}

// Noise is the picture's noise by brightness, from the darkest eighth of the range
// to the lightest, as shares of full scale.
type Noise struct{ Light, Colour [8]float64 }

// Sharpness is how wide edges are in squares of the picture.
type Sharpness struct {
	Side       int       // of a square, px
	Cols, Rows int       // squares; the last of a row and column may be cut
	Blur       []float64 // row by row: the sigma of the sharpest edges, px; 0 where no edge tells
	Focus      []Part    // where it is sharpest; Amount is the blur
	Soft       []Part    // where it is much softer than there
}

// A Report is what was found in a picture.
type Report struct {
	W, H       int    // px
	Finds      []Find // the most visible first; see Rank
	More       []More
	Highlights Clipped
	Shadows    Clipped
	Faults     []Fault
	Noise      Noise
	Sharpness  Sharpness
}

// Viewing is how a print is looked at.
type Viewing struct {
	W, H float64 // of the whole picture on the print, mm
	From float64 // mm; 0 is the picture's diagonal
}
