// Package jpeg writes print files as baseline JPEG.
//
// What it does: from rows of 16-bit samples, already in the print's own colour
// encoding, it makes the bytes of a baseline, Huffman coded JPEG (ITU-T T.81):
// 4:4:4, 4:2:0 or grey, quality 1 to 100 by the usual scaling of the Annex K
// tables, Annex K Huffman tables, one restart interval per row of blocks. Each
// row of blocks is coded by itself, in any order and on any goroutine; header,
// rows and trailer put one after the other are the file.
//
// What it promises: the bytes are fixed for good. They depend on the samples
// and the options alone, all arithmetic is in integers, and no encoder of the
// Go library takes part. From 8-bit input (16-bit samples v*257) the entropy
// coded data equals what the IJG library's slow integer method writes with the
// same restart interval.
//
// What it refuses: sides that the format can't hold (above 65,535), channels
// other than 1 or 3, a quality outside 1 to 100, a resolution that rounds to
// nothing or to more than the header can hold, and profiles or texts too long
// for their segments. It opens no file and starts no goroutine.
package jpeg

import (
	"fmt"
	"math/big"

	"platemark/ops/codec/meta"
	"platemark/ops/exact"
)

const (
	// MaxSide is the longest side, in pixels, that the frame header holds.
	MaxSide = 65535
	// safeSide is the longest side that a widespread decoder accepts.
	safeSide = 65500
	// maxICC is the longest profile, in bytes: 255 segments of 65,519.
	maxICC = 255 * iccPerSegment
)

const iccPerSegment = 65519 // 65,535 less length, name and numbering

// Options say what kind of file to write.
type Options struct {
	W, H, C    int      // pixels, 1 to 65535; channels, 1 grey or 3 RGB
	Quality    int      // 1 to 100
	HalfChroma bool     // 4:2:0 in place of 4:4:4; means nothing for grey
	PPI        *big.Rat // pixels per inch; nil = not stated
	ICC        []byte   // profile bytes; empty = none
	Title      string   // "" = none
	Rights     string   // "" = none
}

// Encoder holds what is common to all rows of one file. It is immutable and
// may be shared by goroutines.
type Encoder struct {
	o       Options
	density int
	rows    int
	quant   [2][64]byte // luminance, chrominance, row by row
	quants  [2]*quantiser
	codes   *[2]codes
}

// New checks the options and prepares an encoder. The error says in plain
// words which option can't be written, and how to mend it.
func New(o Options) (*Encoder, error) {
	if err := checkSize(o.W, o.H); err != nil {
		return nil, err
	}
	if o.C != 1 && o.C != 3 {
		return nil, fmt.Errorf("a JPEG print file has 1 channel (grey) or 3 (RGB); this picture has %d", o.C)
	}
	if o.Quality < 1 || o.Quality > 100 {
		return nil, fmt.Errorf("JPEG quality is %d; it goes from 1 to 100", o.Quality)
	}
	density, err := Density(o.PPI)
	if err != nil {
		return nil, err
	}
	if len(o.ICC) > maxICC {
		return nil, fmt.Errorf("the colour profile is %d bytes long, and a JPEG holds at most %d; save as TIFF, or use a smaller profile", len(o.ICC), maxICC)
	}
	if err := checkText(o); err != nil {
		return nil, err
	}
	makeTables()
	e := &Encoder{o: o, density: density, codes: &annexK}
	e.rows = (o.H + e.RowHeight() - 1) / e.RowHeight()
	e.quant = [2][64]byte{scaled(&quantLuminance, o.Quality), scaled(&quantChrominance, o.Quality)}
	for i := range e.quants {
		e.quants[i] = newQuantiser(&e.quant[i])
	}
	return e, nil
}

func checkSize(w, h int) error {
	if w < 1 || h < 1 {
		return fmt.Errorf("a JPEG needs at least 1 x 1 px; this picture is %d x %d px", w, h)
	}
	if w > MaxSide || h > MaxSide {
		return fmt.Errorf("a side of a JPEG is at most %d px; this picture is %d x %d px: save it as TIFF, or print it smaller or at fewer ppi", MaxSide, w, h)
	}
	return nil
}

func checkText(o Options) error {
	for _, t := range []struct{ what, text string }{{"title", o.Title}, {"rights", o.Rights}} {
		if err := meta.Check(t.what, t.text); err != nil {
			return err
		}
	}
	const room = 65535 - 2 // a segment less its own length field
	if len(exifName)+len(meta.Exif(o.PPI, o.Title, o.Rights)) > room || len(xmpName)+len(meta.XMP(o.Title, o.Rights)) > room {
		return fmt.Errorf("title and rights together are %d bytes long, too long for a JPEG's 65,535-byte segments; shorten them", len(o.Title)+len(o.Rights))
	}
	return nil
}

// Density is the whole number of pixels per inch that the JFIF header states
// for a resolution: rounded half up, 0 for nil. A resolution that rounds to 0
// or above 65,535 is an error. The Exif block states the resolution exactly.
func Density(ppi *big.Rat) (int, error) {
	if ppi == nil {
		return 0, nil
	}
	n := exact.HalfUp(ppi)
	if n.Sign() <= 0 || n.Cmp(big.NewInt(65535)) > 0 {
		return 0, fmt.Errorf("a JPEG states 1 to 65535 whole pixels per inch; %s ppi can't be written", ppi.RatString())
	}
	return int(n.Int64()), nil
}

// Density is the whole pixels per inch that this file's JFIF header states, 0
// where no resolution is given.
func (e *Encoder) Density() int { return e.density }

// Warning says what a user should know before sending the file, "" for
// nothing.
func (e *Encoder) Warning() string {
	if e.o.W <= safeSide && e.o.H <= safeSide {
		return ""
	}
	return fmt.Sprintf("the JPEG is %d x %d px: a widespread decoder stops at %d px a side and may refuse it; TIFF has no such limit", e.o.W, e.o.H, safeSide)
}

// Rows is the number of rows of blocks, and so of Encode calls.
func (e *Encoder) Rows() int { return e.rows }

// RowHeight is the number of picture rows in a row of blocks: 8, or 16 for
// half chroma. The last row of blocks may have fewer.
func (e *Encoder) RowHeight() int {
	if e.half() {
		return 16
	}
	return 8
}

func (e *Encoder) half() bool { return e.o.C == 3 && e.o.HalfChroma }
