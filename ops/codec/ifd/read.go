// Package ifd reads and writes the directories of TIFF files and Exif blocks.
//
// It trusts nothing: every offset and count is checked against the file before
// memory is set aside.
//
// Sources: TIFF Revision 6.0 (1992) section 2, TIFF Technical Note 1 (SubIFDs),
// the BigTIFF layout as in libtiff's specification.
package ifd

import (
	"encoding/binary"
	"fmt"
	"io"
	"math/big"
	"slices"

	"platemark/ops/codec"
)

// maxFields is the most fields in one directory.
const maxFields = 4096

// Types of fields.
const (
	Byte      = 1
	ASCII     = 2
	Short     = 3
	Long      = 4
	Rational  = 5
	Undefined = 7
	IFD       = 13
	Long8     = 16
	IFD8      = 18
)

// Tags that TIFF files and Exif blocks share.
const (
	ImageDescription = 270
	Orientation      = 274
	XResolution      = 282
	YResolution      = 283
	ResolutionUnit   = 296
	Copyright        = 33432
)

// typeSize is the size of one value of a field type in bytes, 0 where the
// type is unknown.
func typeSize(typ uint16) uint64 {
	switch typ {
	case Byte, ASCII, 6, Undefined:
		return 1
	case Short, 8:
		return 2
	case Long, 9, 11, IFD:
		return 4
	case Rational, 10, 12, Long8, 17, IFD8:
		return 8
	}
	return 0
}

// Names are the tags that are looked at; fields with others are passed over.
type Names map[uint16]string

// Reader is a file with its byte order and the shape of its directories.
type Reader struct {
	codec.Source
	Order binary.ByteOrder
	Big   bool // BigTIFF
	names Names
}

// Field is one entry of a directory.
type Field struct {
	Tag, Type uint16
	Count     uint64
	Name      string  // of the tag
	value     [8]byte // as stored: the value itself where it fits, else its offset
}

// String is name and tag, for messages.
func (e Field) String() string { return fmt.Sprintf("%s (tag %d)", e.Name, e.Tag) }

// Dir is one directory: the fields that are looked at, in the file's order.
type Dir struct {
	Fields []Field
	Next   uint64 // where the next directory stands, 0 for none
}

// Get is the first field with a tag.
func (d *Dir) Get(tag uint16) (Field, bool) {
	for _, e := range d.Fields {
		if e.Tag == tag {
			return e, true
		}
	}
	return Field{}, false
}

// Open reads the first bytes of the size bytes behind r and gives the offset
// of the first directory.
func Open(r io.ReaderAt, size int64, names Names) (*Reader, uint64, error) {
	s := &Reader{Source: codec.NewSource(r, size), names: names}
	var h [16]byte
	n := min(s.Size, 16)
	if n < 8 {
		return nil, 0, codec.Errorf("signature", codec.Damaged, "the file has %d bytes, too few for a TIFF file", s.Size)
	}
	if err := s.At(h[:n], 0, "the file's first bytes"); err != nil {
		return nil, 0, err
	}
	switch string(h[:2]) {
	case "II":
		s.Order = binary.LittleEndian
	case "MM":
		s.Order = binary.BigEndian
	default:
		return nil, 0, notTIFF(h[:4])
	}
	switch s.Order.Uint16(h[2:]) {
	case 42:
		return s, uint64(s.Order.Uint32(h[4:])), nil
	case 43:
		s.Big = true
		if n < 16 {
			return nil, 0, codec.Errorf("signature", codec.Damaged, "the file has %d bytes, too few for a BigTIFF file", s.Size)
		}
		if a, b := s.Order.Uint16(h[4:]), s.Order.Uint16(h[6:]); a != 8 || b != 0 {
			return nil, 0, codec.Errorf("signature", codec.Damaged, "the BigTIFF header says offsets of %d bytes and %d, where 8 and 0 must stand", a, b)
		}
		return s, s.Order.Uint64(h[8:]), nil
	}
	return nil, 0, notTIFF(h[:4])
}

func notTIFF(h []byte) error {
	return codec.Errorf("signature", "give a TIFF file, whatever its name ends in", "not a TIFF file (it begins with the bytes % X)", h)
}

// Head is the size of the file's header.
func (s *Reader) Head() uint64 {
	if s.Big {
		return 16
	}
	return 8
}

// Dir reads the directory at off.
func (s *Reader) Dir(off uint64) (*Dir, error) {
	what := fmt.Sprintf("the directory at byte %d", off)
	if off < s.Head() {
		return nil, codec.Errorf("directory", codec.Damaged, "%s lies inside the file's header", what)
	}
	headN, fieldN, wordN := 2, 12, 4
	if s.Big {
		headN, fieldN, wordN = 8, 20, 8
	}
	b := make([]byte, headN, 64)
	if err := s.At(b, off, what); err != nil {
		return nil, err
	}
	n := uint64(s.Order.Uint16(b))
	if s.Big {
		n = s.Order.Uint64(b)
	}
	if n > maxFields {
		return nil, codec.Errorf("directory", codec.Damaged, "%s claims %d tags; at most %d are read", what, n, maxFields)
	}
	b = make([]byte, int(n)*fieldN+wordN)
	if err := s.At(b, off+uint64(headN), fmt.Sprintf("%s with %d tags", what, n)); err != nil {
		return nil, err
	}
	d := &Dir{}
	for ; len(b) > wordN; b = b[fieldN:] {
		e := Field{Tag: s.Order.Uint16(b), Type: s.Order.Uint16(b[2:])}
		known := false
		if e.Name, known = s.names[e.Tag]; !known {
			continue
		}
		e.Count = s.word(b[4:])
		copy(e.value[:], b[4+wordN:fieldN])
		d.Fields = append(d.Fields, e)
	}
	d.Next = s.word(b)
	return d, nil
}

// word reads a number as wide as the file's offsets.
func (s *Reader) word(b []byte) uint64 {
	if s.Big {
		return s.Order.Uint64(b)
	}
	return uint64(s.Order.Uint32(b))
}

// Bytes reads the values of a field as they stand, at most limit bytes.
func (s *Reader) Bytes(e Field, limit uint64) ([]byte, error) {
	size := typeSize(e.Type)
	if size == 0 {
		return nil, codec.Errorf(e.Name, codec.Damaged, "%s has the unknown field type %d", e, e.Type)
	}
	if e.Count > s.Size/size {
		return nil, codec.Errorf(e.Name, codec.Damaged, "%s claims %d values of %d bytes, but the file has only %d bytes", e, e.Count, size, s.Size)
	}
	n := e.Count * size
	if n <= 4 || s.Big && n <= 8 {
		return slices.Clone(e.value[:n]), nil
	}
	off := s.word(e.value[:])
	if !s.Holds(off, n) {
		return nil, codec.Errorf(e.Name, codec.Damaged, "%s has its values at bytes %d to %s, but the file has only %d bytes", e, off, codec.Sum(off, n), s.Size)
	}
	if n > limit {
		return nil, codec.Errorf(e.Name, "", "%s has %d bytes; at most %d are read", e, n, limit)
	}
	b := make([]byte, n)
	return b, s.At(b, off, e.String())
}

// Uints reads a field of whole numbers, at most limit of them.
func (s *Reader) Uints(e Field, limit uint64) ([]uint64, error) {
	switch e.Type {
	case Byte, Short, Long, Long8, IFD, IFD8:
	default:
		return nil, codec.Errorf(e.Name, codec.Damaged, "%s has field type %d, where whole numbers must stand", e, e.Type)
	}
	if e.Count == 0 {
		return nil, codec.Errorf(e.Name, codec.Damaged, "%s is there but has no value", e)
	}
	if e.Count > limit {
		return nil, codec.Errorf(e.Name, codec.Damaged, "%s has %d values; at most %d are read", e, e.Count, limit)
	}
	b, err := s.Bytes(e, s.Size)
	if err != nil {
		return nil, err
	}
	out := make([]uint64, 0, e.Count)
	for size := typeSize(e.Type); len(b) > 0; b = b[size:] {
		switch size {
		case 1:
			out = append(out, uint64(b[0]))
		case 2:
			out = append(out, uint64(s.Order.Uint16(b)))
		case 4:
			out = append(out, uint64(s.Order.Uint32(b)))
		default:
			out = append(out, s.Order.Uint64(b))
		}
	}
	return out, nil
}

// One reads a field of exactly one whole number; fallback where it is missing.
func (s *Reader) One(d *Dir, tag uint16, fallback uint64) (uint64, error) {
	e, ok := d.Get(tag)
	if !ok {
		return fallback, nil
	}
	v, err := s.Uints(e, 1)
	if err != nil {
		return 0, err
	}
	return v[0], nil
}

// PerInch reads a resolution in unit 2, inches, or 3, centimetres, exactly; nil
// where there is none. A field that isn't one fraction, or one of nothing, is
// told to warn.
func (s *Reader) PerInch(d *Dir, tag uint16, unit uint64, warn func(format string, a ...any)) (*big.Rat, error) {
	e, ok := d.Get(tag)
	if !ok {
		return nil, nil
	}
	if e.Type != Rational || e.Count != 1 {
		warn("%s isn't one fraction", e)
		return nil, nil
	}
	b, err := s.Bytes(e, 8)
	if err != nil {
		return nil, err
	}
	n, den := s.Order.Uint32(b), s.Order.Uint32(b[4:])
	if n == 0 || den == 0 {
		warn("%s is %d/%d", e, n, den)
		return nil, nil
	}
	v := new(big.Rat).SetFrac64(int64(n), int64(den))
	if unit == 3 {
		v.Mul(v, big.NewRat(254, 100))
	}
	return v, nil
}
