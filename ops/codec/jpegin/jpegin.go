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
	"bufio"
	"io"
	"slices"

	"platemark/ops/codec"
)

const (
	maxPixels   = 400_000_000 // of the picture
	maxSegments = 1 << 16
	maxScans    = 1000 // counted; more is an error
)

// Kinds of compression.
const (
	baseline    = "baseline"
	extended    = "extended"
	progressive = "progressive"
	lossless    = "lossless"
	arithmetic  = "arithmetically coded"
	layered     = "hierarchical"
)

// Info describes the picture that a file holds, as stored. XPPI and YPPI are
// from JFIF, else from Exif.
type Info struct {
	codec.Info

	Kind  string // baseline, progressive, …
	Scans int

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

	// Space is what the camera says in Exif: "sRGB", "opRGB" or "".
	Space string

	// Title and Rights stand in XMP (dc:title, dc:rights) or else in Exif.
	Title, Rights string
}

const (
	mendDamaged = "the file is damaged or incomplete; take it from a backup, or export it again from the program that made it"
	mendExport  = "export the picture again as TIFF, or as an ordinary JPEG in RGB"
)

// Open reads the file of size bytes behind r from its first to its last byte.
// What is wrong with it comes as an *Error, a failing r as its own error.
func Open(r io.ReaderAt, size int64) (Info, error) {
	h := &head{size: max(size, 0)}
	h.r.r = bufio.NewReaderSize(io.NewSectionReader(r, 0, h.size), 64<<10)
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
		return codec.Errorf("SOF", mendExport, "CMYK not accepted: the picture is stored as four inks, and JPEG files differ in whether they store inks or their lack")
	case in.Channels != 1 && in.Channels != 3:
		return codec.Errorf("SOF", mendExport, "the picture has %d channels; grey has 1 and colour 3", in.Channels)
	case in.Bits != 8:
		return codec.Errorf("SOF", mendExport, "the picture has %d bits a sample; JPEG files with 8 are read", in.Bits)
	case !slices.Contains([]string{baseline, extended, progressive}, in.Kind):
		return codec.Errorf("SOF", mendExport, "the picture is %s JPEG; baseline and progressive are read", in.Kind)
	case in.Channels == 3 && in.Adobe > 1:
		return codec.Errorf("APP14", mendExport, "the segment APP14 says transform %d, which is for four inks", in.Adobe)
	case in.NoTable:
		return codec.Errorf("DQT", mendDamaged, "a quantisation table, which the picture's data need, is missing")
	case in.LoneRestarts:
		return codec.Errorf("DRI", "export the picture again as TIFF, or as JPEG without restart markers; the file itself is not damaged", "the picture has restart markers in scans of a single channel, beside colour differences of a smaller size; such files are not read")
	case in.Scans > 100:
		return codec.Errorf("SOS", mendExport, "the picture is stored in %d scans; up to 100 are read", in.Scans)
	}
	return nil
}
