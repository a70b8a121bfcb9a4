// Package png reads masters from PNG files.
//
// Reading promises exact samples: an accepted file gives the same 16-bit
// samples on every machine. Accepted are all colour types and depths of the
// standard, interlaced or not. A file whose meaning is doubtful is refused
// with an *Error that names the property and says how to mend the file; a
// picture that isn't opaque is decoded only when the caller asks for it to be
// laid on white (OnWhite).
//
// The reader trusts nothing: every length is checked against the size of the
// file before memory is set aside, the checksum of every chunk is checked, and
// the picture's data are refused beforehand where they are too few to hold the
// picture that the header claims. Memory in use depends on the width of the
// picture; an interlaced picture is held whole, up to maxInterlaced bytes.
//
// Colours: an embedded profile is handed on as it is; what other chunks say is
// named where a standard defines it (Info.Space), else only told (Info.Says).
// Gamma and primaries alone aren't taken for a space.
//
// Source: Portable Network Graphics, third edition (W3C), ISO/IEC 15948;
// ITU-T H.273 for the numbers of the cICP chunk.
package png

import (
	"io"
	"slices"

	"platemark/ops/codec"
)

// Limits on what a file may hold.
const (
	// maxInterlaced is the most that the 16-bit samples of an interlaced
	// picture may take in memory, in bytes: 89 megapixels of RGB.
	maxInterlaced = 512 << 20

	maxChunks = 1 << 20 // chunks in one file
	maxOthers = 1 << 16 // of those that say nothing that is read
	maxExif   = 1 << 20 // bytes of an eXIf chunk
)

// Info describes the picture that a file holds, as stored. Bits is that of a
// palette's colours, 8, where the file has one. XPPI and YPPI are what the
// stored whole pixels per metre come to; Shown gives the number that was meant.
// ICC is nil too where another chunk counts instead of it.
type Info struct {
	codec.Info

	Palette int // colours in the palette, 0 where there is none

	// Alpha is "" for an opaque picture, else "straight": PNG never multiplies
	// it into the colours. AlphaAs says in words where it comes from.
	Alpha, AlphaAs string

	// Space is the name of the colour space that the file states by number,
	// "sRGB" or "Display-P3", as recipes write it; "" where there is none.
	// Only one of ICC and Space is set.
	Space string
	// Says tells in words what the file says about its colours, whether or
	// not that is enough to read it; "" where it says nothing.
	Says string

	Compression string // "Deflate"
	Layout      string // "rows" or "interlaced"
}

const mendSave = "save it again as PNG or TIFF"

// File is a checked PNG file. It doesn't change and may be used by several
// goroutines.
type File struct {
	src  source
	info Info

	depth, colour int // as IHDR has them
	interlaced    bool
	palette       []byte // 3 bytes a colour
	trns          []byte // as stored, nil where every pixel is opaque
	onWhite       bool

	idat      uint64 // where the first IDAT chunk begins
	idatBytes uint64 // data in all IDAT chunks
}

// Open reads every chunk of the file of size bytes behind r but the picture's
// data, and checks that the picture can be decoded. What is wrong with the
// file comes as an *Error, a failing r as its own error.
func Open(r io.ReaderAt, size int64) (*File, error) {
	f := &File{src: source{codec.NewSource(r, size)}}
	f.info.Orientation, f.info.Compression, f.info.Layout = 1, "Deflate", "rows"
	if err := f.walk(); err != nil {
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

// OnWhite is the same picture laid on paper white: each 16-bit sample v with
// alpha a decodes to (v·a + 65535·(65535−a)) / 65535, rounded to the nearest,
// on the encoded values as they stand. Without alpha it is f itself.
func (f *File) OnWhite() *File {
	if f.info.Alpha == "" {
		return f
	}
	g := *f
	g.onWhite = true
	return &g
}

// channels is the number of samples that are stored for a pixel.
func (f *File) channels() int {
	switch f.colour {
	case 2:
		return 3
	case 4:
		return 2
	case 6:
		return 4
	}
	return 1
}

// rowBytes is the size of a filtered row of w pixels without its filter byte.
func (f *File) rowBytes(w int) int {
	return int((uint64(w)*uint64(f.channels()*f.depth) + 7) / 8)
}

func (f *File) header(b []byte) error {
	if len(b) != 13 {
		return codec.Errorf("IHDR", codec.Damaged, "the header (IHDR) has %d bytes, where 13 must stand", len(b))
	}
	w, h := be.Uint32(b), be.Uint32(b[4:])
	f.depth, f.colour = int(b[8]), int(b[9])
	if err := codec.CheckSides("IHDR", uint64(w), uint64(h)); err != nil {
		return err
	}
	depths := map[int][]int{0: {1, 2, 4, 8, 16}, 2: {8, 16}, 3: {1, 2, 4, 8}, 4: {8, 16}, 6: {8, 16}}[f.colour]
	if !slices.Contains(depths, f.depth) {
		return codec.Errorf("IHDR", codec.Damaged, "the header claims colour type %d with %d bits a sample, which no PNG file has", f.colour, f.depth)
	}
	if b[10] != 0 || b[11] != 0 || b[12] > 1 {
		return codec.Errorf("IHDR", codec.Damaged, "the header names compression %d, filter %d and interlace %d; 0, 0 and 0 or 1 are known", b[10], b[11], b[12])
	}
	f.interlaced = b[12] == 1
	f.info.W, f.info.H, f.info.Bits, f.info.Channels = int(w), int(h), f.depth, 1
	switch f.colour {
	case 2, 6:
		f.info.Channels = 3
	case 3:
		f.info.Channels, f.info.Bits = 3, 8
	}
	if f.colour >= 4 {
		f.info.Alpha, f.info.AlphaAs = "straight", "an alpha channel"
	}
	if f.interlaced {
		f.info.Layout = "interlaced"
		if need := uint64(w) * uint64(h) * uint64(f.info.Channels) * 2; need > maxInterlaced {
			return codec.Errorf("IHDR", "save it again without interlacing", "the picture is interlaced and has %d x %d pixels; it would have to be held whole in memory, %d MB, and up to %d MB are",
				w, h, need/1000000, maxInterlaced/1000000)
		}
	}
	return nil
}

// room checks that the IDAT chunks can hold the picture at all: Deflate makes
// at most 1032 bytes of one (258 bytes for two bits).
func (f *File) room() error {
	need := uint64(0)
	for _, p := range f.passes() {
		need += uint64(p.h) * (uint64(f.rowBytes(p.w)) + 1)
	}
	if need/1032 > f.idatBytes {
		return codec.Errorf("IDAT", codec.Damaged, "the header claims %d x %d pixels, which need %d bytes; the file has %d compressed bytes of picture, which hold %d at most",
			f.info.W, f.info.H, need, f.idatBytes, f.idatBytes*1032)
	}
	return nil
}
