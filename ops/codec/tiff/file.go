package tiff

import (
	"encoding/binary"
	"fmt"
	"io"
	"math/big"
	"slices"
)

// Info describes the picture that a file holds, as stored.
type Info struct {
	W, H     int // pixels as stored, before Orientation; 1 to MaxSide
	Bits     int // a sample: 8 or 16
	Channels int // 1 grey or 3 RGB

	// ICC is the embedded profile (tag 34675), nil where there is none.
	ICC []byte

	// XPPI and YPPI are pixels per inch, exactly; nil where the file gives no
	// resolution or one without a unit.
	XPPI, YPPI *big.Rat

	// Orientation is 1 to 8 as tag 274 has it, 1 where it is missing.
	Orientation int

	// Others names every other picture in the file, such as
	// "a reduced copy, 160 x 120". They are not read.
	Others []string

	// Warnings are sentences about what was wrong but did no harm.
	Warnings []string

	Compression        string // "uncompressed" or "LZW"
	Layout             string // "strips" or "tiles"
	BigTIFF, BigEndian bool
}

// File is a checked TIFF file. It doesn't change and may be used by several
// goroutines.
type File struct {
	src    source
	info   Info
	chunks chunks

	lzw, predict, invert bool

	blockRows int  // rows that are decoded and emitted together
	slow      bool // see plan
}

// Open reads the directories of the file of size bytes behind r and checks
// that its first full-resolution picture can be decoded. It reads no pixels.
// What is wrong with the file comes as an *Error, a failing r as its own error.
func Open(r io.ReaderAt, size int64) (*File, error) {
	f := &File{src: source{r: r, size: uint64(max(size, 0))}}
	first, err := f.src.header()
	if err != nil {
		return nil, err
	}
	dirs, warnings, err := f.src.walk(first)
	if err != nil {
		return nil, err
	}
	d, others, err := f.src.choose(dirs)
	if err != nil {
		return nil, err
	}
	f.info.Others, f.info.Warnings = others, warnings
	f.info.BigTIFF, f.info.BigEndian = f.src.big, f.src.order == binary.ByteOrder(binary.BigEndian)
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
	in.ICC = slices.Clone(in.ICC)
	in.Others = slices.Clone(in.Others)
	in.Warnings = slices.Clone(in.Warnings)
	if in.XPPI != nil {
		in.XPPI = new(big.Rat).Set(in.XPPI)
	}
	if in.YPPI != nil {
		in.YPPI = new(big.Rat).Set(in.YPPI)
	}
	return in
}

// damaged says that chunk i can't be unpacked because of err.
func (f *File) damaged(i int, err error) error {
	if fault, ok := err.(lzwFault); ok {
		return &Error{"Compression", fmt.Sprintf("the LZW data of %s %s", f.chunks.name(i), string(fault)), mendDamaged}
	}
	return err
}
