package jpeg

import (
	"bytes"
	"encoding/binary"
	"math/bits"
)

// writer gathers the bits of one interval, without the zeros that go after
// bytes of ones: those come when it is copied out. Fewer than 8 bits wait
// between calls.
type writer struct {
	buf  []byte
	at   int         // whole bytes written
	acc  uint64      // the bits that wait, at its low end; what is above them means nothing
	n    uint        // how many
	last [3]int      // the DC coefficient before, by component
	list [128]uint32 // codes of one block: at most 64
}

// ownBits gives, for values from -2047 to 2047 (plus 2048), the bits that
// follow a value's code, times 64, plus how many they are (T.81 F.1.2.1).
var ownBits [4096]uint32

func makeOwnBits() {
	for v := 1; v < 2048; v++ {
		size := bits.Len(uint(v))
		ownBits[2048+v] = uint32(v<<6 | size)
		ownBits[2048-v] = uint32((1<<size-1-v)<<6 | size)
	}
}

// blockRoom is more than the bytes of one block can be: 64 codes of at most 26
// bits, and the 8 bytes that each store touches.
const blockRoom = 256

// room makes sure that n bytes can be written.
func (p *writer) room(n int) {
	if len(p.buf)-p.at >= n {
		return
	}
	grown := make([]byte, 2*len(p.buf)+n)
	copy(grown, p.buf[:p.at])
	p.buf = grown
}

// block codes one block (T.81 F.1.2): the first (0) or second (1) of the words
// that a quantiser gave, with the map of its coefficients that aren't 0.
func (p *writer) block(w *[32]uint64, which uint, some uint64, component int, t *codes) {
	which = which & 1 * 32
	dc := int(w[0]>>which&0xffff) - zero
	own := ownBits[(dc-p.last[component]+2048)&4095]
	p.last[component] = dc
	first := t.dc[own&15] + own
	if some &^= 1; !p.fastCodes(w, which, some, t, first) {
		p.codes(w, which, some, t, first)
	}
}

// codes is the rest of block: the codes of coefficients other than the first,
// which has the given entry. It goes in two loops, each of which fits a
// processor's registers: first the codes, as entries of codes with the values'
// own bits put in, then the bits.
func (p *writer) codes(w *[32]uint64, which uint, some uint64, t *codes, first uint32) {
	list := &p.list
	list[0] = first
	next, n := uint32(1), uint(1) // the place after the last coefficient coded; length of list
	for ; some != 0; some &= some - 1 {
		z := uint32(lowest[some&-some*deBruijn>>58])
		run := z - next
		next = z + 1
		for ; run > 15; run -= 16 {
			list[n&127] = t.ac[0xf0]
			n++
		}
		place := uint(places[z&63])
		v := w[place>>3] >> ((place&7*8 + which) & 63) & 0xffff
		own := ownBits[(v-zero+2048)&4095]
		list[n&127] = t.ac[(run<<4|own&15)&255] + own
		n++
	}
	if next != 64 {
		list[n&127] = t.ac[0]
		n++
	}
	list[n&127] = 0 // codes go out by twos
	p.pack(n)
}

// pack writes the first n codes of the list. Bits are stored at every second
// code, eight bytes at a time, and the place moves on by whole bytes only: no
// branch depends on the lengths of codes.
func (p *writer) pack(n uint) {
	buf, at, acc, wait := p.buf, p.at, p.acc, p.n
	for i := uint(0); i < n; i += 2 {
		x, y := p.list[i&127], p.list[(i+1)&127]
		acc = acc<<(x&63)<<(y&63) | uint64(x>>6)<<(y&63) | uint64(y>>6)
		wait += uint(x&63 + y&63)
		binary.BigEndian.PutUint64(buf[at:], acc<<((64-wait)&63))
		at += int(wait >> 3)
		wait &= 7
	}
	p.at, p.acc, p.n = at, acc, wait
}

// empty codes a block beyond the picture: the DC coefficient of the block
// before, and nothing else.
func (p *writer) empty(t *codes) {
	p.list[0], p.list[1] = t.dc[0], t.ac[0]
	p.pack(2)
}

// finish ends the interval, filling the last byte with ones, and appends it to
// dst with a zero after each byte of ones.
func (p *writer) finish(dst []byte) []byte {
	if p.n > 0 {
		p.buf[p.at] = byte((p.acc<<8 | 0xff) >> p.n)
		p.at++
	}
	src := p.buf[:p.at]
	p.at, p.acc, p.n, p.last = 0, 0, 0, [3]int{}
	for len(src) > 0 {
		i := bytes.IndexByte(src, 0xff)
		if i < 0 {
			return append(dst, src...)
		}
		dst = append(append(dst, src[:i+1]...), 0)
		src = src[i+1:]
	}
	return dst
}
