package tiff

import (
	"compress/zlib"
	"io"

	"platemark/ops/codec"
)

// fault is what is wrong with compressed data, to be said of a strip or tile.
type fault string

func (e fault) Error() string { return string(e) }

const errShort = fault("ends before all of its pixels are there")

// unpacker unpacks one strip or tile, a piece at a time, with fixed memory.
type unpacker interface {
	// reset starts on count bytes at off.
	reset(src *codec.Source, off, count uint64)
	// read fills the whole of dst or gives an error.
	read(dst []byte) error
	// finish is called when all pixels are there; left is the number of
	// bytes that the strip or tile may still hold. It checks what can be
	// checked of the data's end.
	finish(left uint64) error
}

// newUnpacker is an unpacker for the file's compression.
func (f *File) newUnpacker() unpacker {
	switch f.packing {
	case packLZW:
		return new(lzwReader)
	case packDeflate:
		return new(deflateReader)
	}
	return new(packBitsReader)
}

// packedInput is the size of the piece of compressed data that is held.
const packedInput = 8192

// packed hands out compressed bytes with fixed memory.
type packed struct {
	src       *codec.Source
	off, left uint64 // compressed bytes not yet in buf
	buf       []byte // unread compressed bytes
	err       error  // what filling buf met
	input     [packedInput]byte
}

func (d *packed) start(src *codec.Source, off, count uint64) {
	d.src, d.off, d.left, d.buf, d.err = src, off, count, nil, nil
}

// fill brings more compressed bytes into buf behind the unread ones.
func (d *packed) fill() error {
	n := copy(d.input[:], d.buf)
	m := int(min(uint64(packedInput-n), d.left))
	if d.err = d.src.At(d.input[n:n+m], d.off, "the picture's compressed data"); d.err != nil {
		return d.err
	}
	d.off += uint64(m)
	d.left -= uint64(m)
	d.buf = d.input[:n+m]
	return nil
}

// more makes buf longer than empty; io.EOF where nothing is left.
func (d *packed) more() error {
	if len(d.buf) > 0 {
		return nil
	}
	if d.left == 0 {
		return io.EOF
	}
	return d.fill()
}

// Read and ReadByte are for the zlib reader.
func (d *packed) Read(p []byte) (int, error) {
	if err := d.more(); err != nil {
		return 0, err
	}
	n := copy(p, d.buf)
	d.buf = d.buf[n:]
	return n, nil
}

func (d *packed) ReadByte() (byte, error) {
	if err := d.more(); err != nil {
		return 0, err
	}
	b := d.buf[0]
	d.buf = d.buf[1:]
	return b, nil
}

// deflateMost bounds what one byte of Deflate data can unpack to: a match of
// 258 bytes takes at least two bits (RFC 1951).
const deflateMost = 258 * 4

// deflateReader unpacks a zlib stream (TIFF Technical Note 2, RFC 1950).
// Unpacking has one right answer, so that any correct library may do it.
type deflateReader struct {
	packed
	z    io.ReadCloser
	open bool // z stands in the stream that reset named
	one  [1]byte
	skip [512]byte
}

func (d *deflateReader) reset(src *codec.Source, off, count uint64) {
	d.start(src, off, count)
	d.open = false
}

// begin reads the stream's header.
func (d *deflateReader) begin() (err error) {
	if d.z == nil {
		d.z, err = zlib.NewReader(&d.packed)
	} else {
		err = d.z.(zlib.Resetter).Reset(&d.packed, nil)
	}
	d.open = err == nil
	return err
}

func (d *deflateReader) read(dst []byte) error {
	if !d.open {
		if err := d.begin(); err != nil {
			return d.fault(err)
		}
	}
	if _, err := io.ReadFull(d.z, dst); err != nil {
		return d.fault(err)
	}
	return nil
}

func (d *deflateReader) fault(err error) error {
	switch {
	case d.err != nil:
		return d.err
	case err == io.EOF || err == io.ErrUnexpectedEOF:
		return errShort
	case err == zlib.ErrChecksum:
		return fault("doesn't agree with its checksum")
	}
	return fault("isn't what a zlib stream can hold")
}

// finish goes on to the end of the stream, where it isn't too far, so that
// the checksum is looked at. A missing end is let pass: all pixels are there.
func (d *deflateReader) finish(left uint64) error {
	for {
		p := d.skip[:min(left, uint64(len(d.skip)))]
		if len(p) == 0 {
			p = d.one[:]
		}
		n, err := d.z.Read(p)
		switch {
		case err == zlib.ErrChecksum:
			return d.fault(err)
		case err != nil:
			return d.err // nil for an end, early or not
		case uint64(n) > left:
			return nil // a stream that is longer than the strip
		}
		left -= uint64(n)
	}
}

// packBitsMost bounds what one byte of PackBits data can unpack to.
const packBitsMost = 64

// packBitsReader unpacks TIFF 6.0 section 9.
type packBitsReader struct {
	packed
	copies int // bytes of a literal run still to come
	runs   int // times that again is still to come
	again  byte
}

func (d *packBitsReader) reset(src *codec.Source, off, count uint64) {
	d.start(src, off, count)
	d.copies, d.runs = 0, 0
}

func (d *packBitsReader) read(dst []byte) error {
	for len(dst) > 0 {
		switch {
		case d.runs > 0:
			n := min(d.runs, len(dst))
			for i := range dst[:n] {
				dst[i] = d.again
			}
			d.runs -= n
			dst = dst[n:]
			continue
		case d.copies > 0:
			if err := d.more(); err != nil {
				return short(err)
			}
			n := copy(dst[:min(d.copies, len(dst))], d.buf)
			d.buf = d.buf[n:]
			d.copies -= n
			dst = dst[n:]
			continue
		}
		k, err := d.ReadByte()
		if err != nil {
			return short(err)
		}
		switch {
		case k < 128:
			d.copies = int(k) + 1
		case k > 128:
			if d.again, err = d.ReadByte(); err != nil {
				return short(err)
			}
			d.runs = 257 - int(k)
		}
	}
	return nil
}

func short(err error) error {
	if err == io.EOF {
		return errShort
	}
	return err
}

func (d *packBitsReader) finish(uint64) error { return nil }
