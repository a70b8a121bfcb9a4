package jpeg

import (
	"math/big"
	"math/bits"

	"platemark/ops/raster"
)

// plainEntropy is the slow reference: the entropy coded data of a whole
// picture, one block, one coefficient, one bit at a time, with restart markers.
// pix are 16-bit samples, interleaved. It shares only the Annex K tables with
// the fast encoder.
func plainEntropy(o Options, pix []uint16) []byte {
	planes := plainPlanes(o, pix)
	h := 1 // blocks of luma in a unit, each way
	if o.C == 3 && o.HalfChroma {
		h = 2
		planes[1], planes[2] = plainHalve(planes[1]), plainHalve(planes[2])
	}
	var out plainBits
	perRow, rows := (o.W+8*h-1)/(8*h), (o.H+8*h-1)/(8*h)
	for v := range rows {
		var last [3]int
		for u := range perRow {
			for c, p := range planes {
				kind, n := min(c, 1), 1
				if c == 0 {
					n = h
				}
				var steps [64]byte
				if kind == 0 {
					steps = scaled(&quantLuminance, o.Quality)
				} else {
					steps = scaled(&quantChrominance, o.Quality)
				}
				for b := range n * n {
					x, y := (u*n+b%n)*8, (v*n+b/n)*8
					var q [64]int
					if x >= (p.w+7)/8*8 || y >= (p.h+7)/8*8 {
						q[0] = last[c] // a block beyond the picture
					} else {
						q = plainQuantise(plainDCT(p, x, y), &steps)
					}
					out.block(&q, last[c], kind)
					last[c] = q[0]
				}
			}
		}
		out.fill()
		if v != rows-1 {
			out.b = append(out.b, 0xff, 0xd0+byte(v%8))
		}
	}
	return out.b
}

type plane struct {
	w, h int
	v    []int
}

// at repeats the right and bottom edges.
func (p plane) at(x, y int) int { return p.v[min(y, p.h-1)*p.w+min(x, p.w-1)] }

func plainPlanes(o Options, pix []uint16) []plane {
	planes := make([]plane, o.C)
	for c := range planes {
		planes[c] = plane{o.W, o.H, make([]int, o.W*o.H)}
	}
	for i := range o.W * o.H {
		v := make([]byte, o.C)
		raster.Eight(v, pix[i*o.C:(i+1)*o.C], o.C, i%o.W, i/o.W)
		if o.C == 1 {
			planes[0].v[i] = int(v[0])
			continue
		}
		r, g, b := int(v[0]), int(v[1]), int(v[2])
		planes[0].v[i] = (19595*r + 38470*g + 7471*b + 32768) / 65536
		planes[1].v[i] = (-11059*r - 21709*g + 32768*b + 128*65536 + 32767) / 65536
		planes[2].v[i] = (32768*r - 27439*g - 5329*b + 128*65536 + 32767) / 65536
	}
	return planes
}

// plainHalve repeats the right edge before halving, up to whole blocks, but the
// bottom edge only to an even number of rows: the rest repeats a halved row.
func plainHalve(p plane) plane {
	out := plane{w: (p.w + 15) / 16 * 8, h: (p.h + 1) / 2}
	for y := range out.h {
		for x := range out.w {
			s := p.at(2*x, 2*y) + p.at(2*x+1, 2*y) + p.at(2*x, 2*y+1) + p.at(2*x+1, 2*y+1)
			out.v = append(out.v, (s+1+x%2)/4)
		}
	}
	return out
}

// plainDCT is the two-pass integer transform on one block, level shifted, row
// by row: 8 times the coefficients.
func plainDCT(p plane, x, y int) (d [64]int) {
	for i := range d {
		d[i] = p.at(x+i%8, y+i/8) - 128
	}
	for i := range 8 {
		plainDCT8(d[8*i:], 1, func(v int) int { return v << 2 }, 11)
	}
	for i := range 8 {
		plainDCT8(d[i:], 8, func(v int) int { return (v + 2) >> 2 }, 15)
	}
	return d
}

func plainDCT8(d []int, step int, whole func(int) int, shift int) {
	var s, t [4]int
	for i := range 4 {
		a, b := d[i*step], d[(7-i)*step]
		s[i], t[3-i] = a+b, a-b // t[0] is the difference in the middle
	}
	down := func(v int) int { return (v + 1<<(shift-1)) >> shift }
	even, odd := s[0]+s[3], s[0]-s[3]
	even2, odd2 := s[1]+s[2], s[1]-s[2]
	d[0], d[4*step] = whole(even+even2), whole(even-even2)
	z := (odd2 + odd) * 4433
	d[2*step], d[6*step] = down(z+odd*6270), down(z-odd2*15137)
	z1, z2, z3, z4 := t[0]+t[3], t[1]+t[2], t[0]+t[2], t[1]+t[3]
	z5 := (z3 + z4) * 9633
	z1, z2, z3, z4 = -z1*7373, -z2*20995, -z3*16069+z5, -z4*3196+z5
	d[7*step] = down(t[0]*2446 + z1 + z3)
	d[5*step] = down(t[1]*16819 + z2 + z4)
	d[3*step] = down(t[2]*25172 + z2 + z3)
	d[1*step] = down(t[3]*12299 + z1 + z4)
}

func plainQuantise(d [64]int, steps *[64]byte) (q [64]int) {
	for i, v := range d {
		q[i] = plainDivide(v, int(steps[i]))
	}
	return q
}

func plainDivide(v, step int) int {
	if v < 0 {
		return -((-v + 4*step) / (8 * step))
	}
	return (v + 4*step) / (8 * step)
}

// plainBits writes bit by bit.
type plainBits struct {
	b    []byte
	part byte
	n    int
}

func (p *plainBits) bits(v uint32, n int) {
	for n--; n >= 0; n-- {
		p.part = p.part<<1 | byte(v>>n&1)
		if p.n++; p.n == 8 {
			p.b = append(p.b, p.part)
			if p.part == 0xff {
				p.b = append(p.b, 0)
			}
			p.part, p.n = 0, 0
		}
	}
}

func (p *plainBits) fill() {
	for p.n != 0 {
		p.bits(1, 1)
	}
}

// code finds a value's code by counting through the table (T.81 Annex C).
func (p *plainBits) code(h *huffman, value byte) {
	code, i := uint32(0), 0
	for n := range h.counts {
		for range h.counts[n] {
			if h.values[i] == value {
				p.bits(code, n+1)
				return
			}
			code++
			i++
		}
		code <<= 1
	}
	panic("no code")
}

func (p *plainBits) block(q *[64]int, last, kind int) {
	size := plainSize(q[0] - last)
	p.code(&huffmanDC[kind], byte(size))
	p.value(q[0]-last, size)
	run := 0
	for z := 1; z < 64; z++ {
		v := q[zigzag[z]]
		if v == 0 {
			run++
			continue
		}
		for ; run > 15; run -= 16 {
			p.code(&huffmanAC[kind], 0xf0)
		}
		size := plainSize(v)
		p.code(&huffmanAC[kind], byte(run<<4|size))
		p.value(v, size)
		run = 0
	}
	if run > 0 {
		p.code(&huffmanAC[kind], 0)
	}
}

func plainSize(v int) int { return bits.Len(uint(max(v, -v))) }

func (p *plainBits) value(v, size int) {
	if v < 0 {
		v += 1<<size - 1
	}
	p.bits(uint32(v), size)
}

// encode makes a whole file.
func encode(o Options, pix []uint16) ([]byte, error) {
	e, err := New(o)
	if err != nil {
		return nil, err
	}
	b := e.Header()
	w := e.Worker()
	for i := range e.Rows() {
		b = w.Encode(b, i, rowsOf(o, pix, i*e.RowHeight(), e.RowHeight()))
	}
	return append(b, e.Trailer()...), nil
}

func rowsOf(o Options, pix []uint16, y, n int) (rows [][]uint16) {
	stride := o.W * o.C
	for ; n > 0 && y < o.H; n, y = n-1, y+1 {
		rows = append(rows, pix[y*stride:(y+1)*stride])
	}
	return rows
}

// entropyOf cuts the entropy coded data out of a file: from the end of the
// scan header to EOI.
func entropyOf(file []byte) []byte {
	for i := 2; ; {
		n := int(file[i+2])<<8 | int(file[i+3])
		marker := file[i+1]
		i += 2 + n
		if marker == 0xda {
			return file[i : len(file)-2]
		}
	}
}

// sample kinds of test pictures, 8-bit values from a small generator
// (splitmix64) and coordinates alone.
var kinds = []string{"noise", "smooth", "edges", "extreme", "flat"}

func picture(kind string, w, h, c int) []byte {
	out := make([]byte, w*h*c)
	state := uint64(w*131 + h*17 + c)
	next := func() uint64 {
		state += 0x9e3779b97f4a7c15
		z := state
		z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
		z = (z ^ z>>27) * 0x94d049bb133111eb
		return z ^ z>>31
	}
	for y := range h {
		for x := range w {
			for k := range c {
				var v uint64
				switch kind {
				case "noise":
					v = next()
				case "smooth":
					v = uint64(x*3+y*2*(k+1))/2 + next()%3
				case "edges":
					v = uint64((x/5+y/7+k)%2)*200 + 20 + next()%8
				case "extreme":
					v = next() % 2 * 255
				case "flat":
					v = uint64(90 + 60*k)
				}
				out[(y*w+x)*c+k] = byte(v)
			}
		}
	}
	return out
}

// wide turns 8-bit samples to 16 bits.
func wide(b []byte) []uint16 {
	out := make([]uint16, len(b))
	for i, v := range b {
		out[i] = uint16(v) * 257
	}
	return out
}

func ratOf(s string) *big.Rat {
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		panic(s)
	}
	return r
}

type shape struct {
	w, h, c int
	half    bool
}

// shapes are sizes around the edges of blocks and units.
var shapes = []shape{
	{1, 1, 1, false}, {8, 8, 1, false}, {17, 9, 1, false}, {24, 20, 1, false}, {61, 33, 1, false},
	{1, 1, 3, false}, {8, 8, 3, false}, {9, 17, 3, false}, {16, 16, 3, false}, {33, 31, 3, false}, {70, 75, 3, false},
	{1, 1, 3, true}, {8, 8, 3, true}, {9, 9, 3, true}, {16, 16, 3, true}, {17, 17, 3, true}, {24, 18, 3, true},
	{25, 40, 3, true}, {31, 26, 3, true}, {70, 155, 3, true}, {40, 23, 3, true}, {7, 25, 3, true},
}
