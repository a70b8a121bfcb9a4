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
	"encoding/binary"
	"errors"
	"fmt"
	"math/big"
	"strings"
	"unicode/utf8"
)

const (
	maxDirs = 16
	maxTags = 1024
	maxText = 4096 // bytes of a text that is taken
)

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

type field struct {
	typ   uint16
	count uint32
	value []byte // its bytes in the block
}

type reader struct {
	b    []byte
	o    binary.ByteOrder
	seen map[uint32]bool
}

var errLoop = errors.New("loop")

// Read reads a block that begins with its TIFF header.
func Read(b []byte) (Info, error) {
	in := Info{Orientation: 1}
	r := &reader{b: b, seen: map[uint32]bool{}}
	if len(b) < 8 {
		return in, fmt.Errorf("it has %d bytes, too few", len(b))
	}
	switch string(b[:4]) {
	case "II*\x00":
		r.o = binary.LittleEndian
	case "MM\x00*":
		r.o = binary.BigEndian
	default:
		return in, fmt.Errorf("it begins with the bytes % X, where a TIFF header must stand", b[:4])
	}
	first, next, err := r.dir(r.o.Uint32(b[4:]))
	if err != nil {
		return in, plain(err)
	}
	warn := func(format string, a ...any) { in.Warnings = append(in.Warnings, "Exif: "+fmt.Sprintf(format, a...)) }
	if f, ok := first[0x0112]; ok {
		v, ok := r.short(f)
		if !ok || v < 1 || v > 8 {
			warn("the orientation isn't one of 1 to 8; taken as 1, upright")
		} else {
			in.Orientation = int(v)
		}
	}
	in.Title, in.Rights = text(first[0x010e]), text(first[0x8298])
	unit := uint16(2)
	if f, ok := first[0x0128]; ok {
		unit, _ = r.short(f)
	}
	if unit == 2 || unit == 3 {
		in.XPPI, in.YPPI = r.perInch(first[0x011a], unit), r.perInch(first[0x011b], unit)
	}
	if in.XPPI == nil || in.YPPI == nil {
		in.XPPI, in.YPPI = nil, nil
	}

	// The other directories: the camera's, interoperability, then previews.
	space, index := uint16(0), ""
	if f, ok := first[0x8769]; ok {
		off, fine := r.long(f)
		sub, _, err := r.dir(off)
		if errors.Is(err, errLoop) {
			return in, plain(err)
		}
		if !fine || err != nil {
			warn("its second part can't be read")
		}
		if f, ok := sub[0xa001]; ok {
			space, _ = r.short(f)
		}
		if f, ok := sub[0xa005]; ok {
			off, _ := r.long(f)
			inter, _, err := r.dir(off)
			if errors.Is(err, errLoop) {
				return in, plain(err)
			}
			if err != nil {
				warn("its interoperability part can't be read")
			}
			index = text(inter[0x0001])
		}
	}
	switch {
	case index == "R03" && space != 1:
		in.Space = "opRGB"
	case space == 1:
		in.Space = "sRGB"
	}
	for next != 0 {
		in.Preview = true
		if _, next, err = r.dir(next); errors.Is(err, errLoop) {
			return in, plain(err)
		} else if err != nil {
			warn("its preview can't be read; it isn't used")
			break
		}
	}
	return in, nil
}

func plain(err error) error {
	if errors.Is(err, errLoop) {
		return errors.New("its directories lead in a circle")
	}
	return err
}

// dir reads the directory at off. A tag that stands twice counts once, the
// first time.
func (r *reader) dir(off uint32) (map[uint16]field, uint32, error) {
	if r.seen[off] {
		return nil, 0, errLoop
	}
	if len(r.seen) == maxDirs {
		return nil, 0, fmt.Errorf("it has more than %d directories", maxDirs)
	}
	r.seen[off] = true
	size := uint64(len(r.b))
	at := uint64(off)
	if at < 8 || at+2 > size {
		return nil, 0, fmt.Errorf("a directory should stand at byte %d of %d", off, size)
	}
	n := uint64(r.o.Uint16(r.b[at:]))
	if n > maxTags || at+2+12*n+4 > size {
		return nil, 0, fmt.Errorf("the directory at byte %d claims %d tags, more than fit", off, n)
	}
	fields := map[uint16]field{}
	for i := range n {
		e := r.b[at+2+12*i:]
		f := field{typ: r.o.Uint16(e[2:]), count: r.o.Uint32(e[4:])}
		bytes := uint64(f.count) * map[uint16]uint64{1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 7: 1}[f.typ]
		if bytes == 0 {
			continue // empty, or of a type that none of ours has
		}
		if bytes <= 4 {
			f.value = e[8 : 8+bytes]
		} else if p := uint64(r.o.Uint32(e[8:])); p+bytes <= size {
			f.value = r.b[p : p+bytes]
		} else {
			continue // outside the block; if it is one of ours it counts as missing
		}
		tag := r.o.Uint16(e)
		if _, twice := fields[tag]; !twice {
			fields[tag] = f
		}
	}
	return fields, r.o.Uint32(r.b[at+2+12*n:]), nil
}

func (r *reader) short(f field) (uint16, bool) {
	if f.typ != 3 || f.count != 1 {
		return 0, false
	}
	return r.o.Uint16(f.value), true
}

func (r *reader) long(f field) (uint32, bool) {
	if f.typ != 4 || f.count != 1 {
		return 0, false
	}
	return r.o.Uint32(f.value), true
}

// perInch is a resolution in unit 2, inches, or 3, centimetres.
func (r *reader) perInch(f field, unit uint16) *big.Rat {
	if f.typ != 5 || f.count != 1 {
		return nil
	}
	n, d := r.o.Uint32(f.value), r.o.Uint32(f.value[4:])
	if n == 0 || d == 0 {
		return nil
	}
	v := new(big.Rat).SetFrac64(int64(n), int64(d))
	if unit == 3 {
		v.Mul(v, big.NewRat(254, 100))
	}
	return v
}

// text is an ASCII field, which in practice holds UTF-8.
func text(f field) string {
	if f.typ != 2 || len(f.value) > maxText {
		return ""
	}
	s, _, _ := strings.Cut(string(f.value), "\x00")
	if !utf8.ValidString(s) {
		return ""
	}
	return strings.TrimSpace(s)
}
