package jpeg

import "math/bits"

// A quantised coefficient is kept with a bias, so that lanes stay positive.
const zero = 1 << 12

// quantiser divides coefficients by their steps, rounding halves away from
// zero, exactly: for a step q and v = 8 times the coefficient,
// sign(v) * ((|v| + 4q) div 8q) = floor((v + 4q - n) / 8q), where n is 1 for
// negative v, else 0. The division is a product with a rounded up reciprocal,
// which is exact for the numbers that occur (a test tries them all).
type quantiser struct {
	ones  bool // all steps are 1
	lanes [32][2]lane
	by    [3][32]uint64 // for assembly, 16 bits for each lane: see newQuantiser
}

// lane is what two lanes of a word need: floor(x*times >> shift) & mask + add
// with x = v + 2^15 + before + (1 for v >= 0).
type lane struct {
	before, times, mask, add uint64
	shift                    uint
}

// largest bounds |v|: 8192 for the mean of a block, less for all others.
const largest = 9000

// newQuantiser prepares both ways. Assembly takes x = |v| + 4q by products
// alone, of which the upper 16 bits count: (x times >> 16) scale >> 16, with d = 8q,
// 2^(n-1) < d <= 2^n, times = 2^(15+n) / d rounded up and scale = 2^(17-n). It is
// exact as x (times d - 2^(15+n)) < x d <= 2^(15+n) for x below 2^15.
func newQuantiser(steps *[64]byte) *quantiser {
	t := &quantiser{ones: true}
	for i, q := range steps {
		t.ones = t.ones && q == 1
		word, lane := wordOf(i)
		t.lanes[word][lane] = newLane(uint64(q))
		d := 8 * uint64(q)
		n := bits.Len64(d - 1)
		for k, v := range [3]uint64{d / 2, (1<<(15+n) + d - 1) / d, 1 << (17 - n)} {
			t.by[k][word] |= v * both << (16 * lane)
		}
	}
	return t
}

// wordOf says where forward puts a block's coefficient i, counted row by row: in
// which word, and there in its lower (0) or upper (1) lane.
func wordOf(i int) (word, lane int) { return i % 32, i / 32 }

func newLane(q uint64) lane {
	d := 8 * q
	k := (largest + d - 1) / d // k steps make any v positive
	most := largest + 4*q + k*d
	var l lane
	for 1<<l.shift <= most*d {
		l.shift++
	}
	l.before = (4*q - 1 + k*d - bias) * both // wraps around below 0, as it may
	l.times = 1<<l.shift/d + 1
	l.mask = (1<<(32-l.shift) - 1) * both
	l.add = (zero - k) * both
	return l
}

// code transforms two blocks as forward does, and destroys them, then divides:
// the words are quantised. It says which coefficients of the first and of the
// second block aren't 0: bit z stands for place z in zigzag order.
func (t *quantiser) code(d *[64]uint64, w *[32]uint64) (first, second uint64) {
	var rows [2]uint64
	if !t.fastCode(d, w, &rows) {
		forward(d, w)
		rows = t.apply(w)
	}
	return zigzagged(rows[0]), zigzagged(rows[1])
}

// apply divides the words that forward gives and says which coefficients of
// the first and of the second block aren't 0: a byte for each row in the order
// of rowOrder, its lowest bit for column 0.
func (t *quantiser) apply(w *[32]uint64) (rows [2]uint64) {
	for half := range 2 {
		// Bit i of a 16-bit lane of some stands for word 16*half + i.
		some := uint64(0)
		h := (*[16]uint64)(w[16*half : 16*half+16])
		if t.ones {
			for i, x := range h {
				x = (x + 3*four + x>>15&four) >> 3 & ((2*zero - 1) * four)
				h[i] = x
				some = some>>1 | ((x^zero*four)+0x7fff*four)&(0x8000*four)
			}
		} else {
			lanes := (*[16][2]lane)(t.lanes[16*half : 16*half+16])
			for i, x := range h {
				x = lanes[i][0].divide(x&mask2) | lanes[i][1].divide(x>>16&mask2)<<16
				h[i] = x
				some = some>>1 | ((x^zero*four)+0x7fff*four)&(0x8000*four)
			}
		}
		rows[0] |= some & 0xffffffff << (32 * half)
		rows[1] |= some >> 32 << (32 * half)
	}
	return rows
}

func (l *lane) divide(x uint64) uint64 {
	return (x+l.before+x>>15&both)*l.times>>(l.shift&63)&l.mask + l.add
}

var rowOrder = [8]int{0, 1, 4, 5, 2, 3, 6, 7}

// zigzagged brings bits from the order that apply gives to zigzag order.
func zigzagged(rows uint64) uint64 {
	return inZigzag[0][byte(rows)] | inZigzag[1][byte(rows>>8)] | inZigzag[2][byte(rows>>16)] | inZigzag[3][byte(rows>>24)] |
		inZigzag[4][byte(rows>>32)] | inZigzag[5][byte(rows>>40)] | inZigzag[6][byte(rows>>48)] | inZigzag[7][byte(rows>>56)]
}

// inZigzag maps the byte of each row, in apply's order, to places in zigzag order.
var inZigzag [8][256]uint64

func makeInZigzag() {
	for k, row := range rowOrder {
		for z, at := range zigzag {
			for b := range inZigzag[k] {
				if int(at)/8 == row && b>>(at%8)&1 != 0 {
					inZigzag[k][b] |= 1 << z
				}
			}
		}
	}
}

// deBruijn times a power of two has that power's number, in code, in its upper
// 6 bits; lowest decodes it. A processor's own instruction that finds the lowest
// bit is slower in plain Go: on some it waits for what its result register held
// before.
const deBruijn = 0x03f79d71b4ca8b09

var lowest = func() (t [64]byte) {
	for z := range t {
		t[uint64(1)<<z*deBruijn>>58] = byte(z)
	}
	return t
}()

// places says where the coefficient at a place in zigzag order lies: 8 times its
// word, plus the bytes below it there.
var places = func() (t [64]byte) {
	for z, at := range zigzag {
		word, lane := wordOf(int(at))
		t[z] = byte(8*word + 2*lane)
	}
	return t
}()
