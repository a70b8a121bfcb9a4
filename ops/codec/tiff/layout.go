package tiff

import (
	"encoding/binary"
	"math"
	"math/big"
	"slices"

	"platemark/ops/codec"
	"platemark/ops/codec/ifd"
	"platemark/ops/raster"
)

var le = binary.LittleEndian

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
	case o.W < 1 || o.H < 1 || o.W > codec.MaxSide || o.H > codec.MaxSide:
		return nil, codec.Errorf("ImageWidth", "choose another size", "a TIFF file of %d x %d pixels can't be written; sides are 1 to %d", o.W, o.H, codec.MaxSide)
	case o.C != 1 && o.C != 3:
		return nil, codec.Errorf("SamplesPerPixel", "", "a TIFF file with %d channels can't be written; grey has 1 and RGB 3", o.C)
	case o.Bits != 8 && o.Bits != 16:
		return nil, codec.Errorf("BitsPerSample", "choose bits 8 or bits 16", "a TIFF file with %d bits a sample can't be written", o.Bits)
	case len(o.ICC) > codec.MaxProfile || len(o.XMP) > codec.MaxProfile:
		return nil, codec.Errorf("ICCProfile", "", "the profile has %d bytes and the XMP packet %d; each may have up to %d", len(o.ICC), len(o.XMP), codec.MaxProfile)
	}
	if o.PPI != nil {
		if o.PPI.Sign() <= 0 || !fits32(o.PPI.Num()) || !fits32(o.PPI.Denom()) {
			return nil, codec.Errorf("XResolution", "choose one with fewer digits", "the resolution %s can't be written exactly", o.PPI.RatString())
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

// build makes the header, classic or BigTIFF as l.big says, and the size.
func (l *Layout) build() {
	o := l.o
	rows, strips := l.stripRows(), ceilDiv(o.H, l.stripRows())
	photometric, bits := uint16(1), []uint16{uint16(o.Bits)} // black is zero
	if o.C == 3 {
		photometric, bits = 2, slices.Repeat(bits, 3)
	}
	w := &ifd.Writer{Order: le, Big: l.big}
	w.Longs(tagImageWidth, uint32(o.W))
	w.Longs(tagImageLength, uint32(o.H))
	w.Shorts(tagBitsPerSample, bits...)
	w.Shorts(tagCompression, 1)
	w.Shorts(tagPhotometric, photometric)
	w.Text(ifd.ImageDescription, o.Title)
	offsetType, offsets := uint16(ifd.Long), make([]byte, 4*strips) // filled when the length of the header is known
	if l.big {
		offsetType, offsets = ifd.Long8, make([]byte, 8*strips)
	}
	w.Add(tagStripOffsets, offsetType, strips, offsets)
	w.Shorts(ifd.Orientation, 1)
	w.Shorts(tagSamplesPerPixel, uint16(o.C))
	w.Longs(tagRowsPerStrip, uint32(rows))
	counts := make([]uint32, strips)
	for i := range counts {
		counts[i] = uint32(min(rows, o.H-i*rows) * l.rowBytes())
	}
	w.Longs(tagStripByteCounts, counts...)
	num, den, unit := uint32(1), uint32(1), uint16(1)
	if o.PPI != nil {
		num, den, unit = uint32(o.PPI.Num().Uint64()), uint32(o.PPI.Denom().Uint64()), 2
	}
	w.Resolution(num, den)
	w.Shorts(tagPlanarConfig, 1)
	w.Shorts(ifd.ResolutionUnit, unit)
	if len(o.XMP) > 0 {
		w.Add(tagXMP, ifd.Byte, len(o.XMP), o.XMP)
	}
	w.Text(ifd.Copyright, o.Rights)
	if len(o.ICC) > 0 {
		w.Add(tagICCProfile, ifd.Undefined, len(o.ICC), o.ICC)
	}

	at := int64(w.Size())
	for i := range strips {
		off := at + int64(i)*int64(rows)*int64(l.rowBytes())
		if l.big {
			le.PutUint64(offsets[8*i:], uint64(off))
		} else {
			le.PutUint32(offsets[4*i:], uint32(off))
		}
	}
	l.size = at + int64(o.H)*int64(l.rowBytes())
	l.header = w.Bytes()
}

// Size is the size of the whole file in bytes.
func (l *Layout) Size() int64 { return l.size }

// BigTIFF says whether the file is a BigTIFF file.
func (l *Layout) BigTIFF() bool { return l.big }

// Header is everything before the first row. It is read-only.
func (l *Layout) Header() []byte { return l.header }

// Trailer is everything behind the last row: nothing, in this layout.
func (l *Layout) Trailer() []byte { return nil }

// AppendRow appends row y of W x C samples as the file stores it: 16 bits
// little-endian, or raster.Eight's 8 bits.
func (l *Layout) AppendRow(dst []byte, row []uint16, y int) []byte {
	n := len(dst)
	if l.o.Bits == 8 {
		dst = slices.Grow(dst, len(row))[:n+len(row)]
		raster.Eight(dst[n:], row, l.o.C, 0, y)
		return dst
	}
	if nativeLittle {
		return append(dst, memory(row)...)
	}
	dst = slices.Grow(dst, 2*len(row))[:n+2*len(row)]
	out := dst[n:]
	for i, v := range row {
		le.PutUint16(out[2*i:], v)
	}
	return dst
}
