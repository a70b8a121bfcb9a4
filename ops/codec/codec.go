// Package codec is what the formats of files share: what is wrong with a file,
// a file that is read within its bounds, and limits of pictures.
package codec

import (
	"fmt"
	"io"
	"math/big"
	"slices"
)

// MaxSide is the longest side of a picture, in pixels, that is read or
// written. At 300 per inch it is 88 metres.
const MaxSide = 1 << 20

// MaxProfile is the most bytes of an embedded profile that is read or written.
const MaxProfile = 1 << 25

// Damaged is the mend of a damaged file.
const Damaged = "the file is damaged or incomplete; take it from a backup, or save it again from the program that made it"

// Error says why a file can't be read or written, in plain words.
type Error struct {
	Property string // the property at fault: a tag, chunk or segment, "size", "signature", …
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

// Errorf is an *Error whose detail is formatted.
func Errorf(property, mend, detail string, a ...any) error {
	return &Error{property, fmt.Sprintf(detail, a...), mend}
}

// CheckSides refuses a picture without pixels or with a side above MaxSide.
func CheckSides(property string, w, h uint64) error {
	if w == 0 || h == 0 {
		return Errorf(property, Damaged, "the picture is %d x %d pixels", w, h)
	}
	if w > MaxSide || h > MaxSide {
		return Errorf(property, "", "the picture claims %d x %d pixels; sides up to %d are read", w, h, MaxSide)
	}
	return nil
}

// Source is a file of Size bytes that is read within its bounds.
type Source struct {
	R    io.ReaderAt
	Size uint64
}

// NewSource is the file of size bytes behind r.
func NewSource(r io.ReaderAt, size int64) Source { return Source{r, uint64(max(size, 0))} }

// Holds says whether n bytes from off lie inside the file.
func (s *Source) Holds(off, n uint64) bool { return off <= s.Size && n <= s.Size-off }

// At fills p from byte off. What says in an error what was being read: an
// *Error where the file ends before that, else the reader's own error.
func (s *Source) At(p []byte, off uint64, what string) error {
	if n := uint64(len(p)); !s.Holds(off, n) {
		return Errorf("size", Damaged, "%s should stand at bytes %d to %s, but the file has only %d bytes", what, off, Sum(off, n), s.Size)
	}
	n, err := s.R.ReadAt(p, int64(off))
	if n == len(p) {
		return nil
	}
	if err == nil || err == io.EOF || err == io.ErrUnexpectedEOF {
		return Errorf("size", Damaged, "the file ended at byte %d while %s was being read", off+uint64(max(n, 0)), what)
	}
	return fmt.Errorf("reading %s: %w", what, err)
}

// Sum is a + b in decimal, however large.
func Sum(a, b uint64) string {
	return new(big.Int).Add(new(big.Int).SetUint64(a), new(big.Int).SetUint64(b)).String()
}

// OnWhite lays c with alpha a on white: c a + (1 - a), all as 16-bit numbers,
// rounded to the nearest. There are no ties: 65535 is odd.
func OnWhite(c, a uint16) uint16 {
	return uint16((uint32(c)*uint32(a) + 65535*(65535-uint32(a)) + 32767) / 65535)
}

// Info is what every format says of its picture, as stored.
type Info struct {
	W, H     int // pixels as stored, before Orientation; 1 to MaxSide
	Bits     int // of a sample
	Channels int // of colour: 1 grey, 3 RGB (or YCbCr), 4 inks; without alpha

	// ICC is the embedded profile, nil where there is none.
	ICC []byte

	// XPPI and YPPI are pixels per inch, exactly as stored; nil where the file
	// gives no resolution or one without a unit.
	XPPI, YPPI *big.Rat

	// Orientation is 1 to 8 as TIFF's tag 274 has it, 1 where it is missing.
	Orientation int

	// Others names what else is in the file, such as
	// "a reduced copy, 160 x 120". It isn't read.
	Others []string

	// Warnings are sentences about what was wrong but did no harm.
	Warnings []string
}

// Warn adds a warning.
func (in *Info) Warn(format string, a ...any) {
	in.Warnings = append(in.Warnings, fmt.Sprintf(format, a...))
}

// Clone is a copy that shares nothing.
func (in Info) Clone() Info {
	in.ICC, in.Others, in.Warnings = slices.Clone(in.ICC), slices.Clone(in.Others), slices.Clone(in.Warnings)
	in.XPPI, in.YPPI = cloneRat(in.XPPI), cloneRat(in.YPPI)
	return in
}

func cloneRat(r *big.Rat) *big.Rat {
	if r == nil {
		return nil
	}
	return new(big.Rat).Set(r)
}
