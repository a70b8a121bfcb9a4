package jpeg

import (
	"encoding/binary"
	"math/bits"
)

// writer gathers entropy coded bits. Fewer than 32 wait in acc between calls.
type writer struct {
	buf  []byte // all of the room there is
	at   int    // bytes written
	acc  uint64
	n    uint   // bits waiting
	last [3]int // the DC coefficient before, by component
}

// blockRoom is more than the bytes of one block can be, stuffing included: 64
// codes of at most 26 bits.
const blockRoom = 512

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
	buf, at, acc, n := p.buf, p.at, p.acc, p.n
	which = which & 1 * 32

	dc := int(w[0]>>which&0xffff) - zero
	diff := dc - p.last[component]
	p.last[component] = dc
	sign := diff >> 63
	size := bits.Len(uint((diff ^ sign) - sign))
	e := t.dc[size&15]
	acc = acc<<(e&63) | uint64(e>>6) | uint64(diff+sign)&(1<<(uint(size)&63)-1)
	n += uint(e & 63)
	if n >= 32 {
		n -= 32
		at = put(buf, at, uint32(acc>>(n&63)))
	}

	some &^= 1
	next := 1 // the place after the last coefficient coded
	for some != 0 {
		z := bits.TrailingZeros64(some)
		some &= some - 1
		run := z - next
		next = z + 1
		for run > 15 {
			e := t.ac[0xf0]
			acc = acc<<(e&63) | uint64(e>>6)
			n += uint(e & 63)
			if n >= 32 {
				n -= 32
				at = put(buf, at, uint32(acc>>(n&63)))
			}
			run -= 16
		}
		place := places[z&63]
		v := int(w[place.word&31]>>((uint(place.shift)+which)&63)&0xffff) - zero
		sign := v >> 63
		size := bits.Len(uint((v ^ sign) - sign))
		e := t.ac[(run<<4|size)&255]
		acc = acc<<(e&63) | uint64(e>>6) | uint64(v+sign)&(1<<(uint(size)&63)-1)
		n += uint(e & 63)
		if n >= 32 {
			n -= 32
			at = put(buf, at, uint32(acc>>(n&63)))
		}
	}
	if next != 64 {
		e := t.ac[0]
		acc = acc<<(e&63) | uint64(e>>6)
		n += uint(e & 63)
		if n >= 32 {
			n -= 32
			at = put(buf, at, uint32(acc>>(n&63)))
		}
	}
	p.at, p.acc, p.n = at, acc, n
}

// empty codes a block beyond the picture: the DC coefficient of the block
// before, and nothing else.
func (p *writer) empty(t *codes) {
	for _, e := range [2]uint32{t.dc[0], t.ac[0]} {
		p.acc = p.acc<<(e&63) | uint64(e>>6)
		p.n += uint(e & 63)
	}
	if p.n >= 32 {
		p.n -= 32
		p.at = put(p.buf, p.at, uint32(p.acc>>(p.n&63)))
	}
}

// flush ends the interval: the last byte is filled with ones.
func (p *writer) flush() {
	p.acc, p.n = p.acc<<7|0x7f, p.n+7
	for ; p.n >= 8; p.n -= 8 {
		b := byte(p.acc >> (p.n - 8))
		p.buf[p.at] = b
		p.at++
		if b == 0xff {
			p.buf[p.at] = 0
			p.at++
		}
	}
	p.acc, p.n = 0, 0
}

// put writes 32 bits, with a 0 after each byte of ones, and gives the place
// after them.
func put(buf []byte, at int, x uint32) int {
	if (^x-0x01010101)&x&0x80808080 == 0 { // no byte is 0xff
		binary.BigEndian.PutUint32(buf[at:], x)
		return at + 4
	}
	return putStuffed(buf, at, x)
}

func putStuffed(buf []byte, at int, x uint32) int {
	for shift := 24; shift >= 0; shift -= 8 {
		b := byte(x >> shift)
		buf[at] = b
		at++
		if b == 0xff {
			buf[at] = 0
			at++
		}
	}
	return at
}
