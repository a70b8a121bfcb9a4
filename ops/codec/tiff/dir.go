package tiff

import (
	"encoding/binary"
	"fmt"
	"io"
	"math/big"
)

const mendDamaged = "the file is damaged or incomplete; take it from a backup, or save it again from the program that made it"

// field is one entry of a directory.
type field struct {
	tag, typ uint16
	count    uint64
	value    [8]byte // as stored: the value itself where it fits, else its offset
}

func (e field) name() string { return fmt.Sprintf("%s (tag %d)", tagNames[e.tag], e.tag) }

// dir is one directory: the fields of tagNames, each at most once.
type dir struct {
	off    uint64
	fields []field
	next   uint64
}

func (d *dir) get(tag uint16) (field, bool) {
	for _, e := range d.fields {
		if e.tag == tag {
			return e, true
		}
	}
	return field{}, false
}

// source is the file with its byte order and the shape of its directories.
type source struct {
	r     io.ReaderAt
	size  uint64
	order binary.ByteOrder
	big   bool
}

// at fills p from byte off. What says in an error what was being read.
func (s *source) at(p []byte, off uint64, what string) error {
	if !s.holds(off, uint64(len(p))) {
		return &Error{"size", fmt.Sprintf("%s should stand at bytes %d to %s, but the file has only %d bytes",
			what, off, sum(off, uint64(len(p))), s.size), mendDamaged}
	}
	n, err := s.r.ReadAt(p, int64(off))
	if n == len(p) {
		return nil
	}
	if err == nil || err == io.EOF || err == io.ErrUnexpectedEOF {
		return &Error{"size", fmt.Sprintf("the file ended at byte %d while %s was being read", off+uint64(max(n, 0)), what), mendDamaged}
	}
	return fmt.Errorf("reading %s: %w", what, err)
}

// holds says whether n bytes from off lie inside the file.
func (s *source) holds(off, n uint64) bool { return off <= s.size && n <= s.size-off }

// sum is a + b in decimal, however large.
func sum(a, b uint64) string {
	return new(big.Int).Add(new(big.Int).SetUint64(a), new(big.Int).SetUint64(b)).String()
}

// header reads the first bytes and gives the offset of the first directory.
func (s *source) header() (uint64, error) {
	var h [16]byte
	n := min(s.size, 16)
	if n < 8 {
		return 0, &Error{"signature", fmt.Sprintf("the file has %d bytes, too few for a TIFF file", s.size), mendDamaged}
	}
	if err := s.at(h[:n], 0, "the file's first bytes"); err != nil {
		return 0, err
	}
	switch string(h[:2]) {
	case "II":
		s.order = binary.LittleEndian
	case "MM":
		s.order = binary.BigEndian
	default:
		return 0, notTIFF(h[:4])
	}
	switch s.order.Uint16(h[2:]) {
	case 42:
		return uint64(s.order.Uint32(h[4:])), nil
	case 43:
		s.big = true
		if n < 16 {
			return 0, &Error{"signature", fmt.Sprintf("the file has %d bytes, too few for a BigTIFF file", s.size), mendDamaged}
		}
		if a, b := s.order.Uint16(h[4:]), s.order.Uint16(h[6:]); a != 8 || b != 0 {
			return 0, &Error{"signature", fmt.Sprintf("the BigTIFF header says offsets of %d bytes and %d, where 8 and 0 must stand", a, b), mendDamaged}
		}
		return s.order.Uint64(h[8:]), nil
	}
	return 0, notTIFF(h[:4])
}

func notTIFF(h []byte) error {
	return &Error{"signature", fmt.Sprintf("not a TIFF file (it begins with the bytes % X)", h),
		"give a TIFF file, whatever its name ends in"}
}

// headLen is the size of the file's header.
func (s *source) headLen() uint64 {
	if s.big {
		return 16
	}
	return 8
}

// dir reads the directory at off.
func (s *source) dir(off uint64) (*dir, error) {
	what := fmt.Sprintf("the directory at byte %d", off)
	if off < s.headLen() {
		return nil, &Error{"directory", what + " lies inside the file's header", mendDamaged}
	}
	headN, fieldN, nextN := 2, 12, 4
	if s.big {
		headN, fieldN, nextN = 8, 20, 8
	}
	b := make([]byte, headN, 64)
	if err := s.at(b, off, what); err != nil {
		return nil, err
	}
	n := uint64(0)
	if s.big {
		n = s.order.Uint64(b)
	} else {
		n = uint64(s.order.Uint16(b))
	}
	if n > maxTags {
		return nil, &Error{"directory", fmt.Sprintf("%s claims %d tags; at most %d are read", what, n, maxTags), mendDamaged}
	}
	b = make([]byte, int(n)*fieldN+nextN)
	if err := s.at(b, off+uint64(headN), what+fmt.Sprintf(" with %d tags", n)); err != nil {
		return nil, err
	}
	d := &dir{off: off}
	for ; len(b) > nextN; b = b[fieldN:] {
		e := field{tag: s.order.Uint16(b), typ: s.order.Uint16(b[2:])}
		if _, known := tagNames[e.tag]; !known {
			continue
		}
		if s.big {
			e.count = s.order.Uint64(b[4:])
			copy(e.value[:], b[12:20])
		} else {
			e.count = uint64(s.order.Uint32(b[4:]))
			copy(e.value[:], b[8:12])
		}
		if _, twice := d.get(e.tag); twice {
			return nil, &Error{tagNames[e.tag], fmt.Sprintf("%s stands twice in %s", e.name(), what), mendDamaged}
		}
		d.fields = append(d.fields, e)
	}
	if s.big {
		d.next = s.order.Uint64(b)
	} else {
		d.next = uint64(s.order.Uint32(b))
	}
	return d, nil
}

// place says where the values of a field lie: inline, or n bytes at off,
// which are inside the file.
func (s *source) place(e field) (inline bool, off, n uint64, err error) {
	size := typeSize(e.typ)
	if size == 0 {
		return false, 0, 0, &Error{tagNames[e.tag], fmt.Sprintf("%s has the unknown field type %d", e.name(), e.typ), mendDamaged}
	}
	room := uint64(4)
	off = uint64(s.order.Uint32(e.value[:]))
	if s.big {
		room, off = 8, s.order.Uint64(e.value[:])
	}
	if e.count > s.size/size {
		return false, 0, 0, &Error{tagNames[e.tag], fmt.Sprintf("%s claims %d values of %d bytes, but the file has only %d bytes",
			e.name(), e.count, size, s.size), mendDamaged}
	}
	n = e.count * size
	if n <= room {
		return true, 0, n, nil
	}
	if !s.holds(off, n) {
		return false, 0, 0, &Error{tagNames[e.tag], fmt.Sprintf("%s has its values at bytes %d to %s, but the file has only %d bytes",
			e.name(), off, sum(off, n), s.size), mendDamaged}
	}
	return false, off, n, nil
}

// bytes reads the values of a field as they stand, at most limit bytes.
func (s *source) bytes(e field, limit uint64) ([]byte, error) {
	inline, off, n, err := s.place(e)
	if err != nil {
		return nil, err
	}
	if n > limit {
		return nil, &Error{tagNames[e.tag], fmt.Sprintf("%s has %d bytes; at most %d are read", e.name(), n, limit), ""}
	}
	if inline {
		return append([]byte(nil), e.value[:n]...), nil
	}
	b := make([]byte, n)
	return b, s.at(b, off, e.name())
}

// uints reads a field of whole numbers, at most limit of them.
func (s *source) uints(e field, limit uint64) ([]uint64, error) {
	switch e.typ {
	case typeByte, typeShort, typeLong, typeLong8, typeIFD, typeIFD8:
	default:
		return nil, &Error{tagNames[e.tag], fmt.Sprintf("%s has field type %d, where whole numbers must stand", e.name(), e.typ), mendDamaged}
	}
	if e.count == 0 {
		return nil, &Error{tagNames[e.tag], e.name() + " is there but has no value", mendDamaged}
	}
	if e.count > limit {
		return nil, &Error{tagNames[e.tag], fmt.Sprintf("%s has %d values; at most %d are read", e.name(), e.count, limit), mendDamaged}
	}
	inline, off, n, err := s.place(e)
	if err != nil {
		return nil, err
	}
	out := make([]uint64, 0, e.count)
	if inline {
		return s.appendUints(out, e.typ, e.value[:n]), nil
	}
	var piece [4096]byte
	for n > 0 {
		p := piece[:min(n, uint64(len(piece)))]
		if err := s.at(p, off, e.name()); err != nil {
			return nil, err
		}
		out = s.appendUints(out, e.typ, p)
		off += uint64(len(p))
		n -= uint64(len(p))
	}
	return out, nil
}

func (s *source) appendUints(out []uint64, typ uint16, b []byte) []uint64 {
	size := int(typeSize(typ))
	for ; len(b) >= size; b = b[size:] {
		switch size {
		case 1:
			out = append(out, uint64(b[0]))
		case 2:
			out = append(out, uint64(s.order.Uint16(b)))
		case 4:
			out = append(out, uint64(s.order.Uint32(b)))
		default:
			out = append(out, s.order.Uint64(b))
		}
	}
	return out
}

// one reads a field of exactly one whole number; fallback where it is missing.
func (s *source) one(d *dir, tag uint16, fallback uint64) (uint64, error) {
	e, ok := d.get(tag)
	if !ok {
		return fallback, nil
	}
	v, err := s.uints(e, 1)
	if err != nil {
		return 0, err
	}
	return v[0], nil
}

// walk reads all directories: each one, then its SubIFDs, then the next. One
// that several lead to is read once; one that leads back to itself is an
// error. Damage behind the first full picture is a warning: the picture itself
// is still whole.
func (s *source) walk(first uint64) (dirs []*dir, warnings []string, err error) {
	open := map[uint64]bool{} // by offset: whether the way to the present one leads through it
	found := false
	var visit func(off uint64) error
	visit = func(off uint64) error {
		if through, seen := open[off]; through {
			return &Error{"directory", fmt.Sprintf("the directories lead in a circle: the one at byte %d leads back to itself", off), mendDamaged}
		} else if seen {
			return nil
		}
		if len(open) == maxDirs {
			return &Error{"directory", fmt.Sprintf("the file has more than %d directories", maxDirs), "save the picture alone in its own file"}
		}
		open[off] = true
		defer func() { open[off] = false }()
		d, err := s.dir(off)
		if err == nil {
			var subs []uint64
			if e, ok := d.get(tagSubIFDs); ok {
				subs, err = s.uints(e, maxDirs)
			}
			if d.next != 0 {
				subs = append(subs, d.next)
			}
			dirs = append(dirs, d)
			if kind, _ := s.kind(d); kind == kindFull {
				found = true
			}
			for _, next := range subs {
				if err := visit(next); err != nil {
					return err
				}
			}
		}
		if damage, plain := err.(*Error); plain && found {
			warnings = append(warnings, "the file is damaged behind its first picture, which is whole: "+damage.Detail)
			return nil
		}
		return err
	}
	return dirs, warnings, visit(first)
}
