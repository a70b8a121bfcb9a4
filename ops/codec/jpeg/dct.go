package jpeg

// The forward transform is the accurate integer method of the IJG library
// (after Loeffler, Ligtenberg and Moschytz, ICASSP 1989): 13-bit constants, 2
// extra bits between the passes. It runs on two blocks at once.
//
// A pair of numbers travels in one uint64 as hi<<32 + lo, with lo signed: sums,
// differences and products with a constant are then right for both as long as
// each stays within 32 bits. Where lanes must be told apart, for a shift, a
// bias makes both of them positive first. A bias that is the same for a whole
// column falls out of all differences of the next pass; the level shift of 128
// falls out of the first in the same way. Both are taken off the one sum in
// which they stay.

const (
	both   = 1<<32 + 1      // one in each lane of a pair
	four   = both * 0x10001 // one in each 16-bit lane of two pairs
	bias   = 1 << 15        // on what a pass gives
	pass1  = 13 - 2         // bits that the first pass rounds off a product
	pass2  = 13 + 2         // and the second
	round1 = (bias<<pass1 + 1<<(pass1-1)) * both
	round2 = (bias<<pass2 + 1<<(pass2-1)) * both
	roundS = (bias<<2 + 1<<1) * both // for sums in the second pass
	mask1  = (1<<(32-pass1) - 1) * both
	mask2  = 0xffff * both
)

// Constants of the method, times 2^13.
const (
	c0298 = 2446
	c0390 = 3196
	c0541 = 4433
	c0765 = 6270
	c0899 = 7373
	c1175 = 9633
	c1501 = 12299
	c1847 = 15137
	c1961 = 16069
	c2053 = 16819
	c2562 = 20995
	c3072 = 25172
)

// offset is, for each column, what the first pass's bias or the level shift
// adds to the sum over the column.
var offset = [8]uint64{
	64 * 128 * 4 * both, 8 * bias * both, 8 * bias * both, 8 * bias * both,
	0, 8 * bias * both, 8 * bias * both, 8 * bias * both,
}

// forward transforms two blocks of samples from 0 to 255, row by row, and
// destroys them. Word 8j+c of out has four 16-bit lanes: coefficient (row j,
// column c) of the first block, (j+4, c) of the first, and the same of the
// second. Each is 8 times the coefficient, plus 2^15.
func forward(d *[64]uint64, out *[32]uint64) {
	for i := 0; i < 64; i += 8 {
		r := (*[8]uint64)(d[i : i+8])
		t0, t7 := r[0]+r[7], r[0]-r[7]
		t1, t6 := r[1]+r[6], r[1]-r[6]
		t2, t5 := r[2]+r[5], r[2]-r[5]
		t3, t4 := r[3]+r[4], r[3]-r[4]

		s0, s3 := t0+t3, t0-t3
		s1, s2 := t1+t2, t1-t2
		r[0] = (s0 + s1) << 2
		r[4] = (s0 - s1) << 2
		z := (s2+s3)*c0541 + round1
		r[2] = (z + s3*c0765) >> pass1 & mask1
		r[6] = (z - s2*c1847) >> pass1 & mask1

		z3, z4 := t4+t6, t5+t7
		z5 := (z3+z4)*c1175 + round1
		z3 = z5 - z3*c1961
		z4 = z5 - z4*c0390
		z1 := (t4 + t7) * c0899
		z2 := (t5 + t6) * c2562
		r[7] = (t4*c0298 - z1 + z3) >> pass1 & mask1
		r[5] = (t5*c2053 - z2 + z4) >> pass1 & mask1
		r[3] = (t6*c3072 - z2 + z3) >> pass1 & mask1
		r[1] = (t7*c1501 - z1 + z4) >> pass1 & mask1
	}
	for c := range 8 {
		r := (*[57]uint64)(d[c : c+57])
		t0, t7 := r[0]+r[56], r[0]-r[56]
		t1, t6 := r[8]+r[48], r[8]-r[48]
		t2, t5 := r[16]+r[40], r[16]-r[40]
		t3, t4 := r[24]+r[32], r[24]-r[32]
		o := (*[25]uint64)(out[c : c+25])

		s0, s3 := t0+t3, t0-t3
		s1, s2 := t1+t2, t1-t2
		o[0] = (s0+s1+roundS-offset[c])>>2&mask2 | (s0-s1+roundS)>>2&mask2<<16
		z := (s2+s3)*c0541 + round2
		o[16] = (z+s3*c0765)>>pass2&mask2 | (z-s2*c1847)>>pass2&mask2<<16

		z3, z4 := t4+t6, t5+t7
		z5 := (z3+z4)*c1175 + round2
		z3 = z5 - z3*c1961
		z4 = z5 - z4*c0390
		z1 := (t4 + t7) * c0899
		z2 := (t5 + t6) * c2562
		o[8] = (t7*c1501-z1+z4)>>pass2&mask2 | (t5*c2053-z2+z4)>>pass2&mask2<<16
		o[24] = (t6*c3072-z2+z3)>>pass2&mask2 | (t4*c0298-z1+z3)>>pass2&mask2<<16
	}
}
