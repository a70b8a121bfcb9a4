// Package exif reads the few properties of an Exif block that matter for
// printing: which way up the picture stands, its resolution, its title and
// rights, and the colour space that a camera states.
//
// It trusts nothing: every offset and count is checked against the block,
// directories that lead in a circle are an error, and nothing is copied but
// what is returned. A block whose first directory can't be read is an error,
// damage elsewhere a warning.
//
// Source: Exif 2.32 (CIPA DC-008), TIFF 6.0 for the shape of the directories.
package exif

import (
	"bytes"
	"errors"
	"fmt"
	"math/big"
	"strings"
	"unicode/utf8"

	"platemark/ops/codec"
	"platemark/ops/codec/ifd"
)

const (
	maxDirs = 16
	maxText = 4096 // bytes of a text that is taken
)

// Tags beside those of package ifd.
const (
	tagInteropIndex = 0x0001
	tagExif         = 0x8769
	tagColorSpace   = 0xa001
	tagInterop      = 0xa005
)

var tagNames = ifd.Names{
	ifd.ImageDescription: "ImageDescription", ifd.Orientation: "Orientation", ifd.XResolution: "XResolution", ifd.YResolution: "YResolution",
	ifd.ResolutionUnit: "ResolutionUnit", ifd.Copyright: "Copyright",
	tagInteropIndex: "InteroperabilityIndex", tagExif: "Exif", tagColorSpace: "ColorSpace", tagInterop: "Interoperability",
}

// Info is what a block says.
type Info struct {
	Orientation int // 1 to 8; 1 where it is missing
	// XPPI and YPPI are pixels per inch, nil where there is none.
	XPPI, YPPI *big.Rat
	// Title is ImageDescription and Rights is Copyright, without the spaces
	// around them; "" where they are missing or aren't UTF-8.
	Title, Rights string
	// Space is "sRGB" or "opRGB" where the block says so (ColorSpace and
	// InteroperabilityIndex), else "".
	Space string
	// Preview says that the block holds a small copy of the picture.
	Preview  bool
	Warnings []string
}

type reader struct {
	*ifd.Reader
	seen map[uint64]bool
}

var errLoop = errors.New("its directories lead in a circle")

// Read reads a block that begins with its TIFF header.
func Read(b []byte) (Info, error) {
	in := Info{Orientation: 1}
	src, at, err := ifd.Open(bytes.NewReader(b), int64(len(b)), tagNames)
	if err == nil && src.Big {
		err = errors.New("it is laid out as BigTIFF, which no Exif block is")
	}
	if err != nil {
		return in, detail(err)
	}
	r := &reader{src, map[uint64]bool{}}
	first, err := r.dir(at)
	if err != nil {
		return in, detail(err)
	}
	warn := func(format string, a ...any) { in.Warnings = append(in.Warnings, "Exif: "+fmt.Sprintf(format, a...)) }
	if _, ok := first.Get(ifd.Orientation); ok {
		if v := r.number(first, ifd.Orientation, ifd.Short); v < 1 || v > 8 {
			warn("the orientation isn't one of 1 to 8; taken as 1, upright")
		} else {
			in.Orientation = int(v)
		}
	}
	in.Title, in.Rights = r.text(first, ifd.ImageDescription), r.text(first, ifd.Copyright)
	unit := uint64(2)
	if _, ok := first.Get(ifd.ResolutionUnit); ok {
		unit = r.number(first, ifd.ResolutionUnit, ifd.Short)
	}
	if unit == 2 || unit == 3 {
		silent := func(string, ...any) {}
		in.XPPI, _ = r.PerInch(first, ifd.XResolution, unit, silent)
		in.YPPI, _ = r.PerInch(first, ifd.YResolution, unit, silent)
	}
	if in.XPPI == nil || in.YPPI == nil {
		in.XPPI, in.YPPI = nil, nil
	}

	// The other directories: the camera's, interoperability, then previews.
	camera, err := r.sub(first, tagExif)
	if err == errLoop {
		return in, err
	} else if err != nil {
		warn("its second part can't be read")
	}
	inter, err := r.sub(camera, tagInterop)
	if err == errLoop {
		return in, err
	} else if err != nil {
		warn("its interoperability part can't be read")
	}
	switch space := r.number(camera, tagColorSpace, ifd.Short); {
	case space == 1:
		in.Space = "sRGB"
	case r.text(inter, tagInteropIndex) == "R03":
		in.Space = "opRGB"
	}
	for next := first.Next; next != 0; {
		in.Preview = true
		d, err := r.dir(next)
		if err == errLoop {
			return in, err
		} else if err != nil {
			warn("its preview can't be read; it isn't used")
			break
		}
		next = d.Next
	}
	return in, nil
}

// detail says of the block what was said of a file, without its mend, which
// isn't a block's.
func detail(err error) error {
	if e := (*codec.Error)(nil); errors.As(err, &e) {
		return errors.New(strings.NewReplacer("a TIFF file", "an Exif block", "the file", "the block").Replace(e.Detail))
	}
	return err
}

// dir reads the directory at off. Each is read once.
func (r *reader) dir(off uint64) (*ifd.Dir, error) {
	if r.seen[off] {
		return nil, errLoop
	}
	if len(r.seen) == maxDirs {
		return nil, fmt.Errorf("it has more than %d directories", maxDirs)
	}
	r.seen[off] = true
	return r.Dir(off)
}

// sub reads the directory that a field of d leads to; an empty one where there
// is no such field.
func (r *reader) sub(d *ifd.Dir, tag uint16) (*ifd.Dir, error) {
	if _, ok := d.Get(tag); !ok {
		return &ifd.Dir{}, nil
	}
	sub, err := r.dir(r.number(d, tag, ifd.Long))
	if err != nil {
		sub = &ifd.Dir{}
	}
	return sub, err
}

// number is a field of one whole number of a type, 0 where it is none.
func (r *reader) number(d *ifd.Dir, tag, typ uint16) uint64 {
	if e, ok := d.Get(tag); !ok || e.Type != typ {
		return 0
	}
	v, _ := r.One(d, tag, 0)
	return v
}

// text is an ASCII field, which in practice holds UTF-8, without the spaces
// around it; "" where it is missing, too long or lies outside the block.
func (r *reader) text(d *ifd.Dir, tag uint16) string {
	e, ok := d.Get(tag)
	if !ok || e.Type != ifd.ASCII {
		return ""
	}
	b, err := r.Bytes(e, maxText)
	s, _, _ := strings.Cut(string(b), "\x00")
	if err != nil || !utf8.ValidString(s) {
		return ""
	}
	return strings.TrimSpace(s)
}
