package png

import (
	"bytes"
	"compress/zlib"
	"context"
	"hash/crc32"
	"slices"
	"sync"
)

// picture is a picture to be written as PNG for a test, with every freedom
// that the standard gives.
type picture struct {
	w, h, depth, colour int
	interlaced          bool
	filter              func(y int) byte               // nil: 0 to 4 in turn
	at                  func(x, y, channel int) uint16 // a stored sample
	before              []byte                         // whole chunks behind IHDR
	after               []byte                         // whole chunks behind IDAT
	split               int                            // bytes in one IDAT, 0 for all
}

func mkChunk(name string, data []byte) []byte {
	b := be.AppendUint32(nil, uint32(len(data)))
	b = append(append(b, name...), data...)
	return be.AppendUint32(b, crc32.ChecksumIEEE(b[4:]))
}

func (p picture) channels() int { return map[int]int{0: 1, 2: 3, 3: 1, 4: 2, 6: 4}[p.colour] }

func (p picture) header() []byte {
	b := be.AppendUint32(be.AppendUint32(nil, uint32(p.w)), uint32(p.h))
	i := byte(0)
	if p.interlaced {
		i = 1
	}
	return append(b, byte(p.depth), byte(p.colour), 0, 0, i)
}

// raw is the filtered rows.
func (p picture) raw() []byte {
	var out []byte
	ch := p.channels()
	bpp := max(1, ch*p.depth/8)
	// Written out from the standard's table of passes, apart from the reader's.
	starts := [][4]int{{0, 0, 1, 1}}
	if p.interlaced {
		starts = [][4]int{{0, 0, 8, 8}, {4, 0, 8, 8}, {0, 4, 4, 8}, {2, 0, 4, 4}, {0, 2, 2, 4}, {1, 0, 2, 2}, {0, 1, 1, 2}}
	}
	for _, s := range starts {
		var prev []byte
		n := 0
		for y := s[1]; y < p.h; y += s[3] {
			var row []byte
			acc, have := uint32(0), 0
			for x := s[0]; x < p.w; x += s[2] {
				for c := range ch {
					acc, have = acc<<p.depth|uint32(p.at(x, y, c)), have+p.depth
					for have >= 8 {
						row = append(row, byte(acc>>(have-8)))
						have -= 8
					}
				}
			}
			if have > 0 {
				row = append(row, byte(acc<<(8-have)))
			}
			if len(row) == 0 {
				continue
			}
			if prev == nil {
				prev = make([]byte, len(row))
			}
			kind := byte(n % 5)
			if p.filter != nil {
				kind = p.filter(n)
			}
			n++
			out = append(out, kind)
			for i := range row {
				var a, c byte
				if i >= bpp {
					a, c = row[i-bpp], prev[i-bpp]
				}
				var take byte
				switch kind {
				case 1:
					take = a
				case 2:
					take = prev[i]
				case 3:
					take = byte((int(a) + int(prev[i])) / 2)
				case 4:
					take = slowPaeth(a, prev[i], c)
				}
				out = append(out, row[i]-take)
			}
			prev = row
		}
	}
	return out
}

// slowPaeth is the pseudocode of 9.4.
func slowPaeth(a, b, c byte) byte {
	p := int(a) + int(b) - int(c)
	abs := func(v int) int {
		if v < 0 {
			return -v
		}
		return v
	}
	pa, pb, pc := abs(p-int(a)), abs(p-int(b)), abs(p-int(c))
	switch {
	case pa <= pb && pa <= pc:
		return a
	case pb <= pc:
		return b
	}
	return c
}

var writers = sync.Pool{New: func() any { return zlib.NewWriter(nil) }}

func deflate(raw []byte) []byte {
	var z bytes.Buffer
	w := writers.Get().(*zlib.Writer)
	defer writers.Put(w)
	w.Reset(&z)
	w.Write(raw)
	w.Close()
	return z.Bytes()
}

func (p picture) bytes() []byte { return p.with(deflate(p.raw())) }

// with is the file around some compressed data.
func (p picture) with(data []byte) []byte {
	b := append([]byte(signature), mkChunk("IHDR", p.header())...)
	b = append(b, p.before...)
	if p.split == 0 {
		b = append(b, mkChunk("IDAT", data)...)
	} else {
		for part := range slices.Chunk(data, p.split) {
			b = append(b, mkChunk("IDAT", part)...)
		}
	}
	b = append(b, p.after...)
	return append(b, mkChunk("IEND", nil)...)
}

func cat(parts ...[]byte) []byte { return slices.Concat(parts...) }

func open(b []byte) (*File, error) { return Open(bytes.NewReader(b), int64(len(b))) }

// decodeAll reads all samples; white lays transparent pictures on white.
func decodeAll(b []byte, white bool) (*File, []uint16, error) {
	f, err := open(b)
	if err != nil {
		return nil, nil, err
	}
	if white {
		f = f.OnWhite()
	}
	var got []uint16
	err = f.Decode(context.Background(), 2, func(y0 int, rows []uint16) error {
		if y0*f.info.W*f.info.Channels != len(got) {
			panic("rows out of order")
		}
		got = append(got, rows...)
		return nil
	})
	return f, got, err
}

// mix is a sample of n bits, noise and runs.
func mix(n int) func(x, y, c int) uint16 {
	return func(x, y, c int) uint16 {
		h := uint32(x*374761393 + y*668265263 + c*2147483647)
		h = (h ^ h>>13) * 1274126177
		if y%7 == 3 {
			h = uint32(x/5+c) << 27
		}
		return uint16(h >> 16 >> (16 - n))
	}
}
