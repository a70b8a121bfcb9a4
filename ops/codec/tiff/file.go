package tiff

import (
	"encoding/binary"
	"fmt"
	"io"
	"math/big"

	"platemark/ops/codec"
	"platemark/ops/codec/ifd"
)

// Info describes the picture that a file holds, as stored.
//
// Bits is the depth of a stored sample (of a colour's number, in a palette
// picture): 1, 2, 4, 8, 12, 16, 24 or 32, and 16, 24, 32 or 64 where Float says
// that the samples are floating-point numbers. Others are the other pictures in
// the file.
type Info struct {
	codec.Info

	Float   bool
	Palette bool // the pixels are numbers of colours in a colour map

	// Alpha is the kind of alpha: AlphaNone, AlphaStraight or
	// AlphaAssociated. See File.OnWhite.
	Alpha string

	Compression        string // "uncompressed", "LZW", "Deflate" or "PackBits"
	Layout             string // "strips" or "tiles"
	Planes             bool   // each channel is stored by itself
	BigTIFF, BigEndian bool
}

// Kinds of alpha (TIFF 6.0 section 18, ExtraSamples).
const (
	AlphaNone       = ""
	AlphaStraight   = "straight"   // the colours stand as they are
	AlphaAssociated = "associated" // the colours are stored multiplied by alpha
)

// File is a checked TIFF file. It doesn't change and may be used by several
// goroutines.
type File struct {
	src    *ifd.Reader
	info   Info
	chunks chunks
	form   form

	packing packing
	most    uint64 // bytes that one stored byte can unpack to; 1 uncompressed
	predict int    // Predictor: 1 none, 2 or 3
	onWhite bool
	into    []uint16 // see Into

	blockRows int  // rows that are decoded and emitted together
	slow      bool // see plan
}

// packing is a way of compression.
type packing int

const (
	packNone packing = iota
	packLZW
	packDeflate
	packBits
)

// Open reads the directories of the file of size bytes behind r and checks
// that its first full-resolution picture can be decoded. It reads no pixels.
// What is wrong with the file comes as an *Error, a failing r as its own error.
func Open(r io.ReaderAt, size int64) (*File, error) {
	src, first, err := ifd.Open(r, size, tagNames)
	if err != nil {
		return nil, err
	}
	dirs, warnings, err := walk(src, first)
	if err != nil {
		return nil, err
	}
	d, others, err := choose(src, dirs)
	if err != nil {
		return nil, err
	}
	f := &File{src: src}
	f.info.Others, f.info.Warnings = others, warnings
	f.info.BigTIFF, f.info.BigEndian = src.Big, src.Order == binary.ByteOrder(binary.BigEndian)
	if err := f.describe(d); err != nil {
		return nil, err
	}
	if err := f.findChunks(d); err != nil {
		return nil, err
	}
	if err := f.plan(); err != nil {
		return nil, err
	}
	return f, nil
}

// Info describes the picture. The caller may keep and change it.
func (f *File) Info() Info {
	in := f.info
	in.Info = in.Info.Clone()
	return in
}

// OnWhite is the same picture laid on paper white: with colour c and alpha a
// from 0 to 1 it decodes to c a + (1 - a), or c + (1 - a) where c is stored
// multiplied by a. The encoded values are mixed as they stand, not amounts of
// light. Without alpha it is f itself. Without OnWhite Decode gives the
// colours as if alpha were full everywhere.
func (f *File) OnWhite() *File {
	if f.form.alpha == AlphaNone {
		return f
	}
	g := *f
	g.onWhite = true
	return &g
}

// Into is the same picture, decoded into px, which has room for all of it: Decode
// hands parts of px to emit, in order and whole, and they stay.
func (f *File) Into(px []uint16) *File {
	g := *f
	g.into = px
	return &g
}

// Counts says what Decode met in the samples. It doesn't depend on the number
// of workers.
type Counts struct {
	Pixels  int64
	Samples int64 // of colour and alpha

	// Clipped is the number of samples that had to be brought into range:
	// floating-point numbers below 0 or above 1, and colours above the alpha
	// that they are multiplied by.
	Clipped int64

	NotNumbers  int64 // floating-point samples that are no number, read as 0
	Translucent int64 // pixels whose alpha is below full
}

func (c *Counts) add(o *Counts) {
	c.Clipped += o.Clipped
	c.NotNumbers += o.NotNumbers
	c.Translucent += o.Translucent
}

// Warnings are sentences about what was clipped or was no number, none where
// all samples were in range.
func (c Counts) Warnings() []string {
	var w []string
	if c.Clipped > 0 {
		w = append(w, fmt.Sprintf("%s of the samples (%d of %d) lie outside the range from black to white and were clipped", share(c.Clipped, c.Samples), c.Clipped, c.Samples))
	}
	if c.NotNumbers > 0 {
		w = append(w, fmt.Sprintf("%s of the samples (%d of %d) are no numbers (NaN) and were read as black", share(c.NotNumbers, c.Samples), c.NotNumbers, c.Samples))
	}
	return w
}

// share is n of total in per cent with two decimals, rounded down, but never
// 0 where n isn't.
func share(n, total int64) string {
	r := new(big.Int).Mul(big.NewInt(n), big.NewInt(10000))
	h := r.Div(r, big.NewInt(max(total, 1))).Int64()
	if h == 0 && n > 0 {
		return "less than 0.01 %"
	}
	return fmt.Sprintf("%d.%02d %%", h/100, h%100)
}

// damaged says that chunk i can't be unpacked because of err.
func (f *File) damaged(i int, err error) error {
	if fault, ok := err.(fault); ok {
		return codec.Errorf("Compression", codec.Damaged, "the %s data of %s %s", f.info.Compression, f.chunks.name(i), string(fault))
	}
	return err
}
