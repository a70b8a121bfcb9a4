package png

import (
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"io"
)

var be = binary.BigEndian

const signature = "\x89PNG\r\n\x1a\n"

// source is the file.
type source struct {
	r    io.ReaderAt
	size int64
}

// at fills p from byte off. What says in an error what was being read.
func (s *source) at(p []byte, off int64, what string) error {
	if off < 0 || off > s.size || int64(len(p)) > s.size-off {
		return &Error{"size", fmt.Sprintf("%s should stand at bytes %d to %d, but the file has only %d bytes", what, off, off+int64(len(p)), s.size), mendDamaged}
	}
	n, err := s.r.ReadAt(p, off)
	if n == len(p) {
		return nil
	}
	if err == nil || err == io.EOF || err == io.ErrUnexpectedEOF {
		return &Error{"size", fmt.Sprintf("the file ended at byte %d while %s was being read", off+int64(max(n, 0)), what), mendDamaged}
	}
	return fmt.Errorf("reading %s: %w", what, err)
}

// window reads ahead, so that many small chunks don't mean as many calls of
// the file behind.
type window struct {
	r   io.ReaderAt
	off int64
	n   int
	b   [4096]byte
}

func (w *window) ReadAt(p []byte, off int64) (int, error) {
	if len(p) > len(w.b)/4 {
		return w.r.ReadAt(p, off)
	}
	if off < w.off || off+int64(len(p)) > w.off+int64(w.n) {
		w.off = off
		if w.n, _ = w.r.ReadAt(w.b[:], off); w.n < len(p) {
			w.n = 0
			return w.r.ReadAt(p, off)
		}
	}
	return copy(p, w.b[off-w.off:w.n]), nil
}

// chunk is the place of one chunk, which lies inside the file.
type chunk struct {
	name string
	off  int64 // of its data
	n    int64 // bytes of data
}

func (c chunk) end() int64 { return c.off + c.n + 4 }

// chunk reads the head of the chunk at off.
func (s *source) chunk(off int64) (chunk, error) {
	var h [8]byte
	if err := s.at(h[:], off, "a chunk"); err != nil {
		return chunk{}, err
	}
	c := chunk{name: string(h[4:]), off: off + 8, n: int64(be.Uint32(h[:]))}
	for _, l := range h[4:] {
		if (l|0x20) < 'a' || (l|0x20) > 'z' {
			return chunk{}, &Error{"chunk", fmt.Sprintf("at byte %d a chunk should begin, but its name is the bytes % X", off, h[4:]), mendDamaged}
		}
	}
	if c.n > 1<<31-1 || c.n > s.size-c.off-4 {
		return chunk{}, &Error{c.name, fmt.Sprintf("the chunk %s at byte %d claims %d bytes, but the file has only %d", c.name, off, c.n, s.size), mendDamaged}
	}
	return c, nil
}

// check compares a chunk's checksum.
func (s *source) check(c chunk, crc uint32) error {
	var b [4]byte
	if err := s.at(b[:], c.off+c.n, "the checksum of the chunk "+c.name); err != nil {
		return err
	}
	if want := be.Uint32(b[:]); want != crc {
		return &Error{c.name, fmt.Sprintf("the chunk %s at byte %d doesn't fit its checksum (%08x, it has %08x)", c.name, c.off-8, want, crc), mendDamaged}
	}
	return nil
}

// data reads a chunk of at most limit bytes and checks it.
func (s *source) data(c chunk, limit int64) ([]byte, error) {
	if c.n > limit {
		return nil, &Error{c.name, fmt.Sprintf("the chunk %s has %d bytes; at most %d are read", c.name, c.n, limit), mendSave}
	}
	b := make([]byte, 4+c.n)
	if err := s.at(b, c.off-4, "the chunk "+c.name); err != nil {
		return nil, err
	}
	return b[4:], s.check(c, crc32.ChecksumIEEE(b))
}

// pass checks a chunk that isn't used, in bounded memory.
func (s *source) pass(c chunk, buf []byte) error {
	crc := crc32.ChecksumIEEE([]byte(c.name))
	for off, left := c.off, c.n; left > 0; {
		p := buf[:min(left, int64(len(buf)))]
		if err := s.at(p, off, "the chunk "+c.name); err != nil {
			return err
		}
		crc = crc32.Update(crc, crc32.IEEETable, p)
		off += int64(len(p))
		left -= int64(len(p))
	}
	return s.check(c, crc)
}

// limits are the chunks that are read, with the most bytes each may have.
var limits = map[string]int64{
	"IHDR": 13, "PLTE": 768, "tRNS": 256, "iCCP": maxProfile, "cICP": 4, "sRGB": 1, "gAMA": 4, "cHRM": 32, "pHYs": 9,
	"eXIf": maxExif, "acTL": 8,
}

// walk goes through all chunks.
func (f *File) walk() error {
	s := &source{r: &window{r: f.src.r}, size: f.src.size}
	var head [8]byte
	if s.size < 8 {
		return &Error{"signature", fmt.Sprintf("the file has %d bytes, too few for a PNG file", s.size), mendDamaged}
	}
	if err := s.at(head[:], 0, "the file's first bytes"); err != nil {
		return err
	}
	if string(head[:]) != signature {
		return &Error{"signature", fmt.Sprintf("not a PNG file (it begins with the bytes % X)", head[:4]), "give a PNG file, whatever its name ends in"}
	}
	data := map[string][]byte{} // by name, for the chunks of limits
	behind := ""                // the last chunk's name
	var buf []byte
	off := int64(8)
	others := 0 // chunks that aren't read
	for n := 0; ; n++ {
		if n == maxChunks || others == maxOthers {
			return &Error{"chunk", fmt.Sprintf("the file has more than %d chunks", n-1), mendSave}
		}
		c, err := s.chunk(off)
		if err != nil {
			return err
		}
		off = c.end()
		if (n == 0) != (c.name == "IHDR") {
			return &Error{c.name, fmt.Sprintf("the chunk %s stands at byte %d; a PNG file begins with one chunk IHDR", c.name, c.off-8), mendDamaged}
		}
		if c.name == "IDAT" {
			switch {
			case f.idat == 0:
				f.idat = c.off - 8
			case behind != "IDAT":
				return &Error{"IDAT", fmt.Sprintf("the picture's data (IDAT) are cut in two: %s stands between them", behind), mendDamaged}
			}
			f.idatBytes += uint64(c.n)
			behind = c.name
			continue // checked when they are decoded
		}
		behind = c.name
		limit, known := limits[c.name]
		if !known {
			if c.name[0]&0x20 == 0 && c.name != "IEND" {
				return &Error{c.name, fmt.Sprintf("the file has a chunk %s, without which its picture isn't right, and which isn't known", c.name), mendSave}
			}
			others++
			if buf == nil {
				buf = make([]byte, 32<<10)
			}
			if err := s.pass(c, buf); err != nil {
				return err
			}
			if c.name == "IEND" {
				break
			}
			continue
		}
		if _, twice := data[c.name]; twice {
			return &Error{c.name, fmt.Sprintf("the chunk %s stands twice in the file", c.name), mendDamaged}
		}
		if f.idat != 0 && c.name != "eXIf" && c.name != "pHYs" {
			return &Error{c.name, fmt.Sprintf("the chunk %s stands behind the picture that it describes", c.name), mendSave}
		}
		if c.name == "PLTE" && data["tRNS"] != nil {
			return &Error{"tRNS", "the palette's transparency (tRNS) stands before the palette", mendSave}
		}
		b, err := s.data(c, limit)
		if err != nil {
			return err
		}
		if c.name == "IHDR" {
			if err := f.header(b); err != nil {
				return err
			}
		}
		data[c.name] = b
	}
	if off < s.size {
		f.warn("%d bytes stand behind the end of the picture; they aren't used", s.size-off)
	}
	if f.idat == 0 {
		return &Error{"IDAT", "the file holds no picture (it has no IDAT chunk)", mendDamaged}
	}
	if err := f.room(); err != nil {
		return err
	}
	return f.describe(data)
}

func (f *File) warn(format string, a ...any) {
	f.info.Warnings = append(f.info.Warnings, fmt.Sprintf(format, a...))
}
