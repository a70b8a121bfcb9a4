package jpeg

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
}

// lane is what two lanes of a word need: floor(x*times >> shift) & mask + add
// with x = v + 2^15 + before + (1 for v >= 0).
type lane struct {
	before, times, mask, add uint64
	shift                    uint
}

// largest bounds |v|: 8192 for the mean of a block, less for all others.
const largest = 9000

func newQuantiser(steps *[64]byte) *quantiser {
	t := &quantiser{ones: true}
	for i, q := range steps {
		t.ones = t.ones && q == 1
		row, column := i/8, i%8
		t.lanes[4*column+row%4][row/4] = newLane(uint64(q))
	}
	return t
}

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

// apply divides the words that forward gives and says which coefficients of
// the first and of the second block aren't 0: bit z stands for place z in
// zigzag order.
func (t *quantiser) apply(w *[32]uint64) (first, second uint64) {
	var seen [2]uint64
	for half := range seen {
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
		seen[half] = some
	}
	for half, s := range seen {
		for lane := range 2 {
			first |= inZigzag[half][2*lane][byte(s)] | inZigzag[half][2*lane+1][byte(s>>8)]
			second |= inZigzag[half][2*lane][byte(s>>32)] | inZigzag[half][2*lane+1][byte(s>>40)]
			s >>= 16
		}
	}
	return first, second
}

func (l *lane) divide(x uint64) uint64 {
	return (x+l.before+x>>15&both)*l.times>>(l.shift&63)&l.mask + l.add
}

// inZigzag maps 8 bits as apply gathers them (by half of the words, and by
// byte in a block's two lanes) to places in zigzag order.
var inZigzag = func() (t [2][4][256]uint64) {
	for z, at := range zigzag {
		row, column := int(at)/8, int(at)%8
		word, lane := 4*column+row%4, row/4
		bit := word%16 + 16*lane
		for b := range 256 {
			if b>>(bit%8)&1 != 0 {
				t[word/16][bit/8][b] |= 1 << z
			}
		}
	}
	return t
}()

// deBruijn times a power of two has that power's number, in code, in its upper
// 6 bits. A processor's own instruction that finds the lowest bit is slower
// here: on some it waits for what its result register held before.
const deBruijn = 0x03f79d71b4ca8b09

// places gives, for 1<<z times deBruijn >> 58, where the coefficient at place z
// in zigzag order is: its word, plus 32 times its lane's shift, plus 65536 z.
var places = func() (t [64]uint32) {
	for z, at := range zigzag {
		row, column := uint32(at)/8, uint32(at)%8
		t[uint64(1)<<z*deBruijn>>58] = 4*column + row%4 | row/4*16<<5 | uint32(z)<<16
	}
	return t
}()
