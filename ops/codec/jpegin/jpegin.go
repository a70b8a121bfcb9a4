// Package jpegin reads the head of a JPEG file: everything that the file says
// about its picture, but not the picture. Decoders differ in their last digits,
// so a JPEG file can't be a master; it is taken over into a TIFF file once, and
// this package tells what belongs into that file.
//
// It trusts nothing: every length is checked against the size of the file,
// pixels are refused where the file is too small to hold them, and memory in
// use doesn't depend on what the file claims.
//
// A profile comes in up to 255 segments, in any order, even twice. Where one is
// missing or they contradict each other the file is refused by name; it is
// never taken as a file without profile.
//
// Source: ITU-T T.81 (ISO/IEC 10918-1), JFIF (T.871), Exif 2.32, ICC.1 annex
// B.4, XMP part 3, and T.872 for the segment APP14.
package jpegin

import (
	"fmt"
	"io"
	"math/big"
	"slices"
)

// MaxPixels is the largest picture that is read, in pixels.
const MaxPixels = 400_000_000

const (
	maxSegments = 1 << 16
	maxScans    = 1000 // counted; more is an error
)

// Kinds of compression.
const (
	Baseline    = "baseline"
	Extended    = "extended"
	Progressive = "progressive"
	Lossless    = "lossless"
	Arithmetic  = "arithmetically coded"
	Layered     = "hierarchical"
)

// Info describes the picture that a file holds, as stored.
type Info struct {
	W, H     int    // pixels as stored, before Orientation
	Bits     int    // a sample
	Channels int    // as stored: 1 grey, 3 YCbCr or RGB, 4 inks
	Kind     string // Baseline, Progressive, …
	Scans    int

	// Sampling tells how the second and third channel are stored: "full",
	// "half" (both ways), "half across", "half down" or "other"; "" for grey.
	Sampling string

	// NoTable says that a scan stands before a quantisation table that it
	// needs. Go's decoder gives a flat picture for it.
	NoTable bool
	// LoneRestarts says that restart markers stand in a scan of one channel
	// that is stored larger than others. Go's decoder counts them wrongly
	// there.
	LoneRestarts bool

	// Adobe is the transform that the segment APP14 names: 0 none, 1 YCbCr,
	// 2 YCCK; -1 where there is no such segment.
	Adobe int

	// ICC is the embedded profile, nil where there is none.
	ICC []byte
	// Space is what the camera says in Exif: "sRGB", "opRGB" or "".
	Space string

	// XPPI and YPPI are pixels per inch, from JFIF, else from Exif; nil where
	// neither says.
	XPPI, YPPI *big.Rat

	// Orientation is 1 to 8 as Exif has it, 1 where it is missing.
	Orientation int

	// Title and Rights stand in XMP (dc:title, dc:rights) or else in Exif.
	Title, Rights string

	// Others names what else is in the file, such as "a preview in Exif".
	Others []string

	// Warnings are sentences about what was wrong but did no harm.
	Warnings []string
}

// Error says why a file can't be read, in plain words.
type Error struct {
	Property string // the property at fault: a segment's name, "size", …
	Detail   string // what was found and what the rule is
	Mend     string // what to do about it; may be empty
}

// Error is Detail, a colon and Mend.
func (e *Error) Error() string {
	if e.Mend == "" {
		return e.Detail
	}
	return e.Detail + ": " + e.Mend
}

const (
	mendDamaged = "the file is damaged or incomplete; take it from a backup, or export it again from the program that made it"
	mendExport  = "export the picture again as TIFF, or as an ordinary JPEG in RGB"
)

// Open reads the file of size bytes behind r from its first to its last byte.
// What is wrong with it comes as an *Error, a failing r as its own error.
func Open(r io.ReaderAt, size int64) (Info, error) {
	h := &head{size: max(size, 0)}
	h.r.r, h.r.left = r, h.size
	h.info.Orientation, h.info.Adobe = 1, -1
	if err := h.walk(); err != nil {
		return Info{}, err
	}
	if err := h.finish(); err != nil {
		return Info{}, err
	}
	return h.info, nil
}

// Decodable says whether a decoder of grey, YCbCr and RGB pictures can be
// asked for the pixels, else why not.
func (in Info) Decodable() error {
	switch {
	case in.Channels == 4:
		return &Error{"SOF", "CMYK not accepted: the picture is stored as four inks, and JPEG files differ in whether they store inks or their lack", mendExport}
	case in.Channels != 1 && in.Channels != 3:
		return &Error{"SOF", fmt.Sprintf("the picture has %d channels; grey has 1 and colour 3", in.Channels), mendExport}
	case in.Bits != 8:
		return &Error{"SOF", fmt.Sprintf("the picture has %d bits a sample; JPEG files with 8 are read", in.Bits), mendExport}
	case !slices.Contains([]string{Baseline, Extended, Progressive}, in.Kind):
		return &Error{"SOF", "the picture is " + in.Kind + " JPEG; baseline and progressive are read", mendExport}
	case in.Channels == 3 && in.Adobe > 1:
		return &Error{"APP14", fmt.Sprintf("the segment APP14 says transform %d, which is for four inks", in.Adobe), mendExport}
	case in.NoTable:
		return &Error{"DQT", "a quantisation table, which the picture's data need, is missing", mendDamaged}
	case in.LoneRestarts:
		return &Error{"DRI", "the picture has restart markers in scans of a single channel, beside colour differences of a smaller size; such files are not read",
			"export the picture again as TIFF, or as JPEG without restart markers; the file itself is not damaged"}
	case in.Scans > 100:
		return &Error{"SOS", fmt.Sprintf("the picture is stored in %d scans; up to 100 are read", in.Scans), mendExport}
	}
	return nil
}
