package png

import (
	"encoding/binary"
	"hash/crc32"
	"io"

	"platemark/ops/codec"
)

var be = binary.BigEndian

const signature = "\x89PNG\r\n\x1a\n"

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

// source is the file.
type source struct{ codec.Source }

// chunk is the place of one chunk, which lies inside the file.
type chunk struct {
	name string
	off  uint64 // of its data
	n    uint64 // bytes of data
}

func (c chunk) end() uint64 { return c.off + c.n + 4 }

func (s *source) chunk(off uint64) (chunk, error) {
	var h [8]byte
	if err := s.At(h[:], off, "a chunk"); err != nil {
		return chunk{}, err
	}
	c := chunk{name: string(h[4:]), off: off + 8, n: uint64(be.Uint32(h[:]))}
	for _, l := range h[4:] {
		if (l|0x20) < 'a' || (l|0x20) > 'z' {
			return chunk{}, codec.Errorf("chunk", codec.Damaged, "at byte %d a chunk should begin, but its name is the bytes % X", off, h[4:])
		}
	}
	if c.n > 1<<31-1 || !s.Holds(c.off, c.n+4) {
		return chunk{}, codec.Errorf(c.name, codec.Damaged, "the chunk %s at byte %d claims %d bytes, but the file has only %d", c.name, off, c.n, s.Size)
	}
	return c, nil
}

// check compares a chunk's checksum.
func (s *source) check(c chunk, crc uint32) error {
	var b [4]byte
	if err := s.At(b[:], c.off+c.n, "the checksum of the chunk "+c.name); err != nil {
		return err
	}
	if want := be.Uint32(b[:]); want != crc {
		return codec.Errorf(c.name, codec.Damaged, "the chunk %s at byte %d doesn't fit its checksum (%08x, it has %08x)", c.name, c.off-8, want, crc)
	}
	return nil
}

// data reads a chunk of at most limit bytes and checks it.
func (s *source) data(c chunk, limit uint64) ([]byte, error) {
	if c.n > limit {
		return nil, codec.Errorf(c.name, mendSave, "the chunk %s has %d bytes; at most %d are read", c.name, c.n, limit)
	}
	b := make([]byte, 4+c.n)
	if err := s.At(b, c.off-4, "the chunk "+c.name); err != nil {
		return nil, err
	}
	return b[4:], s.check(c, crc32.ChecksumIEEE(b))
}

// pass checks a chunk that isn't used, in bounded memory.
func (s *source) pass(c chunk, buf []byte) error {
	crc := crc32.ChecksumIEEE([]byte(c.name))
	for off, left := c.off, c.n; left > 0; {
		p := buf[:min(left, uint64(len(buf)))]
		if err := s.At(p, off, "the chunk "+c.name); err != nil {
			return err
		}
		crc = crc32.Update(crc, crc32.IEEETable, p)
		off += uint64(len(p))
		left -= uint64(len(p))
	}
	return s.check(c, crc)
}

// limits are the chunks that are read, with the most bytes each may have.
var limits = map[string]uint64{
	"IHDR": 13, "PLTE": 768, "tRNS": 256, "iCCP": codec.MaxProfile, "cICP": 4, "sRGB": 1, "gAMA": 4, "cHRM": 32, "pHYs": 9,
	"eXIf": maxExif, "acTL": 8,
}

// walk goes through all chunks.
func (f *File) walk() error {
	s := &source{codec.Source{R: &window{r: f.src.R}, Size: f.src.Size}}
	var head [8]byte
	if s.Size < 8 {
		return codec.Errorf("signature", codec.Damaged, "the file has %d bytes, too few for a PNG file", s.Size)
	}
	if err := s.At(head[:], 0, "the file's first bytes"); err != nil {
		return err
	}
	if string(head[:]) != signature {
		return codec.Errorf("signature", "give a PNG file, whatever its name ends in", "not a PNG file (it begins with the bytes % X)", head[:4])
	}
	data := map[string][]byte{} // by name, for the chunks of limits
	behind := ""                // the last chunk's name
	var buf []byte
	off := uint64(8)
	others := 0 // chunks that aren't read
	for n := 0; ; n++ {
		if n == maxChunks || others == maxOthers {
			return codec.Errorf("chunk", mendSave, "the file has more than %d chunks", n-1)
		}
		c, err := s.chunk(off)
		if err != nil {
			return err
		}
		off = c.end()
		if (n == 0) != (c.name == "IHDR") {
			return codec.Errorf(c.name, codec.Damaged, "the chunk %s stands at byte %d; a PNG file begins with one chunk IHDR", c.name, c.off-8)
		}
		if c.name == "IDAT" {
			switch {
			case f.idat == 0:
				f.idat = c.off - 8
			case behind != "IDAT":
				return codec.Errorf("IDAT", codec.Damaged, "the picture's data (IDAT) are cut in two: %s stands between them", behind)
			}
			f.idatBytes += c.n
			behind = c.name
			continue // checked when they are decoded
		}
		behind = c.name
		limit, known := limits[c.name]
		if !known {
			if c.name[0]&0x20 == 0 && c.name != "IEND" {
				return codec.Errorf(c.name, mendSave, "the file has a chunk %s, without which its picture isn't right, and which isn't known", c.name)
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
			return codec.Errorf(c.name, codec.Damaged, "the chunk %s stands twice in the file", c.name)
		}
		if f.idat != 0 && c.name != "eXIf" && c.name != "pHYs" {
			return codec.Errorf(c.name, mendSave, "the chunk %s stands behind the picture that it describes", c.name)
		}
		if c.name == "PLTE" && data["tRNS"] != nil {
			return codec.Errorf("tRNS", mendSave, "the palette's transparency (tRNS) stands before the palette")
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
	if off < s.Size {
		f.info.Warn("%d bytes stand behind the end of the picture; they aren't used", s.Size-off)
	}
	if f.idat == 0 {
		return codec.Errorf("IDAT", codec.Damaged, "the file holds no picture (it has no IDAT chunk)")
	}
	if err := f.room(); err != nil {
		return err
	}
	return f.describe(data)
}
