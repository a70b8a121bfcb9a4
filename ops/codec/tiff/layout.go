package tiff

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/big"
)

// stripBytes is the size of a strip that is aimed at; see NewLayout.
const stripBytes = 256 << 10

// Options say what a print file holds.
type Options struct {
	W, H int // pixels, 1 to MaxSide
	C    int // channels: 1 grey or 3 RGB
	Bits int // a sample: 8 or 16

	// PPI is the resolution both ways in pixels per inch, exactly; numerator
	// and denominator must each fit 32 bits. nil writes a file without
	// resolution (unit 1).
	PPI *big.Rat

	ICC []byte // the profile, embedded as it is; nil for none
	XMP []byte // the XMP packet, embedded as it is; nil for none

	// Title and Rights are written as ImageDescription and Copyright where
	// they are printable ASCII, and left out where they aren't: those tags
	// have no other letters. The XMP packet is their place then.
	Title, Rights string
}

// Layout is a print file whose every byte but the samples is known. The file
// is Header, then the rows from the top as AppendRow gives them, then Trailer.
// Row y begins at byte len(Header()) + y x (bytes of a row). A Layout doesn't
// change and may be used by several goroutines.
type Layout struct {
	o      Options
	big    bool
	header []byte
	size   int64
}

// NewLayout lays out an uncompressed little-endian TIFF file: one directory
// with ascending tags, every value on a word boundary, then the strips without
// gaps. A strip has as many rows as fit 256 KiB, at least one, made even where
// a row has an odd number of bytes, so that strips begin on word boundaries
// too. Files up to 4294967295 bytes are classic TIFF, larger ones BigTIFF.
// The error is an *Error.
func NewLayout(o Options) (*Layout, error) {
	switch {
	case o.W < 1 || o.H < 1 || o.W > MaxSide || o.H > MaxSide:
		return nil, &Error{"ImageWidth", fmt.Sprintf("a TIFF file of %d x %d pixels can't be written; sides are 1 to %d", o.W, o.H, MaxSide), "choose another size"}
	case o.C != 1 && o.C != 3:
		return nil, &Error{"SamplesPerPixel", fmt.Sprintf("a TIFF file with %d channels can't be written; grey has 1 and RGB 3", o.C), ""}
	case o.Bits != 8 && o.Bits != 16:
		return nil, &Error{"BitsPerSample", fmt.Sprintf("a TIFF file with %d bits a sample can't be written", o.Bits), "choose bits 8 or bits 16"}
	case len(o.ICC) > maxProfile || len(o.XMP) > maxProfile:
		return nil, &Error{"ICCProfile", fmt.Sprintf("the profile has %d bytes and the XMP packet %d; each may have up to %d", len(o.ICC), len(o.XMP), maxProfile), ""}
	}
	if o.PPI != nil {
		if o.PPI.Sign() <= 0 || !fits32(o.PPI.Num()) || !fits32(o.PPI.Denom()) {
			return nil, &Error{"XResolution", fmt.Sprintf("the resolution %s can't be written exactly", o.PPI.RatString()), "choose one with fewer digits"}
		}
		o.PPI = new(big.Rat).Set(o.PPI)
	}
	l := &Layout{o: o}
	l.build()
	if l.size > math.MaxUint32 {
		l.big = true
		l.build()
	}
	l.o.ICC, l.o.XMP = nil, nil // they stand in the header
	return l, nil
}

func fits32(n *big.Int) bool { return n.IsUint64() && n.Uint64() <= math.MaxUint32 }

// rowBytes is the stored size of a row.
func (l *Layout) rowBytes() int { return l.o.W * l.o.C * (l.o.Bits / 8) }

// stripRows is the number of rows in every strip but the last.
func (l *Layout) stripRows() int {
	row := l.rowBytes()
	n := max(1, stripBytes/row)
	if row%2 == 1 {
		n += n % 2
	}
	return min(n, l.o.H)
}

// entry is a field to be written: the values in file order.
type entry struct {
	tag, typ uint16
	count    int
	value    []byte
}

var le = binary.LittleEndian

func shorts(tag uint16, v ...uint16) entry {
	e := entry{tag: tag, typ: typeShort, count: len(v)}
	for _, x := range v {
		e.value = le.AppendUint16(e.value, x)
	}
	return e
}

func long(tag uint16, v int) entry {
	return entry{tag, typeLong, 1, le.AppendUint32(nil, uint32(v))}
}

func rational(tag uint16, num, den uint32) entry {
	return entry{tag, typeRational, 1, le.AppendUint32(le.AppendUint32(nil, num), den)}
}

// build makes the header, classic or BigTIFF as l.big says, and the size.
func (l *Layout) build() {
	o := l.o
	rows, strips := l.stripRows(), ceilDiv(o.H, l.stripRows())
	bits := make([]uint16, o.C)
	for i := range bits {
		bits[i] = uint16(o.Bits)
	}
	photometric := uint16(1) // black is zero
	if o.C == 3 {
		photometric = 2
	}
	entries := []entry{long(tagImageWidth, o.W), long(tagImageLength, o.H), shorts(tagBitsPerSample, bits...),
		shorts(tagCompression, 1), shorts(tagPhotometric, photometric)}
	if printable(o.Title) {
		entries = append(entries, entry{tagImageDescription, typeASCII, len(o.Title) + 1, append([]byte(o.Title), 0)})
	}
	offsetType, offsetSize := uint16(typeLong), 4
	if l.big {
		offsetType, offsetSize = typeLong8, 8
	}
	stripOffsets := len(entries) // filled when the length of the header is known
	entries = append(entries, entry{tagStripOffsets, offsetType, strips, make([]byte, strips*offsetSize)},
		shorts(tagOrientation, 1), shorts(tagSamplesPerPixel, uint16(o.C)), long(tagRowsPerStrip, rows))
	counts := entry{tagStripByteCounts, typeLong, strips, nil}
	for i := range strips {
		counts.value = le.AppendUint32(counts.value, uint32(min(rows, o.H-i*rows)*l.rowBytes()))
	}
	num, den, unit := uint32(1), uint32(1), uint16(1)
	if o.PPI != nil {
		num, den, unit = uint32(o.PPI.Num().Uint64()), uint32(o.PPI.Denom().Uint64()), 2
	}
	entries = append(entries, counts, rational(tagXResolution, num, den), rational(tagYResolution, num, den),
		shorts(tagPlanarConfig, 1), shorts(tagResolutionUnit, unit))
	if len(o.XMP) > 0 {
		entries = append(entries, entry{tagXMP, typeByte, len(o.XMP), o.XMP})
	}
	if printable(o.Rights) {
		entries = append(entries, entry{tagCopyright, typeASCII, len(o.Rights) + 1, append([]byte(o.Rights), 0)})
	}
	if len(o.ICC) > 0 {
		entries = append(entries, entry{tagICCProfile, typeUndefined, len(o.ICC), o.ICC})
	}

	// The values that don't fit their field follow the directory.
	at := 8 + 2 + 12*len(entries) + 4
	if l.big {
		at = 16 + 8 + 20*len(entries) + 8
	}
	places := make([]int, len(entries))
	for i, e := range entries {
		if len(e.value) > offsetSize {
			places[i] = at
			at += len(e.value) + len(e.value)%2
		}
	}
	strip := int64(rows) * int64(l.rowBytes())
	for i := range strips {
		off := int64(at) + int64(i)*strip
		if l.big {
			le.PutUint64(entries[stripOffsets].value[8*i:], uint64(off))
		} else {
			le.PutUint32(entries[stripOffsets].value[4*i:], uint32(off))
		}
	}
	l.size = int64(at) + int64(o.H)*int64(l.rowBytes())
	l.header = l.write(make([]byte, 0, at), entries, places)
}

// write appends the header with the entries and the values that stand at
// places.
func (l *Layout) write(b []byte, entries []entry, places []int) []byte {
	number := func(v uint64) {
		if l.big {
			b = le.AppendUint64(b, v)
		} else {
			b = le.AppendUint32(b, uint32(v))
		}
	}
	b = append(b, 'I', 'I')
	if l.big {
		b = append(b, 43, 0, 8, 0, 0, 0)
		number(16)
		number(uint64(len(entries)))
	} else {
		b = append(b, 42, 0)
		number(8)
		b = le.AppendUint16(b, uint16(len(entries)))
	}
	for i, e := range entries {
		b = le.AppendUint16(b, e.tag)
		b = le.AppendUint16(b, e.typ)
		number(uint64(e.count))
		if places[i] != 0 {
			number(uint64(places[i]))
			continue
		}
		end := len(b)
		number(0)
		copy(b[end:], e.value)
	}
	number(0) // no further directory
	for i, e := range entries {
		if places[i] != 0 {
			b = append(b, e.value...)
			if len(b)%2 == 1 {
				b = append(b, 0)
			}
		}
	}
	return b
}

// printable says whether s can stand in an ASCII field.
func printable(s string) bool {
	for i := range len(s) {
		if s[i] < ' ' || s[i] > '~' {
			return false
		}
	}
	return s != ""
}

// Size is the size of the whole file in bytes.
func (l *Layout) Size() int64 { return l.size }

// BigTIFF says whether the file is a BigTIFF file.
func (l *Layout) BigTIFF() bool { return l.big }

// Header is everything before the first row. It is read-only.
func (l *Layout) Header() []byte { return l.header }

// Trailer is everything behind the last row: nothing, in this layout.
func (l *Layout) Trailer() []byte { return nil }

// AppendRow appends one row of W x C samples as the file stores it: 16 bits
// little-endian, or 8 bits as (v + 128) div 257, which is v / 257 rounded to
// the nearest.
func (l *Layout) AppendRow(dst []byte, row []uint16) []byte {
	n := len(dst)
	if l.o.Bits == 8 {
		dst = grow(dst, len(row))
		out := dst[n:][:len(row)]
		for i, v := range row {
			out[i] = byte((uint32(v) + 128) / 257)
		}
		return dst
	}
	if nativeLittle {
		return append(dst, memory(row)...)
	}
	dst = grow(dst, 2*len(row))
	out := dst[n:]
	for i, v := range row {
		le.PutUint16(out[2*i:], v)
	}
	return dst
}

// grow makes dst n bytes longer.
func grow(dst []byte, n int) []byte {
	if cap(dst)-len(dst) < n {
		dst = append(make([]byte, 0, len(dst)+n), dst...)
	}
	return dst[:len(dst)+n]
}
