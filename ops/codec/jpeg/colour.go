package jpeg

// Colour conversion from 16 bits to 8 in one rounding, with the IJG library's
// constants (ITU-T T.871 clause 7 times 2^16, rounded):
//
//	Y  = ( 19595 R + 38470 G +  7471 B + 257 * 32768) div (257 * 65536)
//	Cb = (-11059 R - 21709 G + 32768 B + 257 * (128*65536 + 32767)) div (257 * 65536)
//	Cr = ( 32768 R - 27439 G -  5329 B + 257 * (128*65536 + 32767)) div (257 * 65536)
//	grey = (v + 128) div 257
//
// so that R, G, B = 257 times 8-bit values give what the library gives, ties
// included. The factors of Y add up to 65536 and those of Cb and Cr to 0, which
// lets them work on R-G and B-G. Division by 257 is by
// n div 257 = (n - n>>8) >> 8, right for n below 257*256.

const (
	roundY = 257 * 32768
	roundC = 257 * (128*65536 + 32767)
)

// convert gives what the formulas give before the division by 257: the sums
// div 65536, each below 257*256.
func convert(r, g, b uint16) (luma, cb, cr uint64) {
	d, e := int64(r)-int64(g), int64(b)-int64(g)
	luma = uint64(int64(g)<<16+d*19595+e*7471+roundY) >> 16
	cb = uint64(e<<15-d*11059+roundC) >> 16
	cr = uint64(d<<15-e*5329+roundC) >> 16
	return luma, cb, cr
}

// by257 divides both lanes by 257.
func by257(n uint64) uint64 { return (n - n>>8&(0xffffff*both)) >> 8 & (0xff * both) }

// row444 converts 16 pixels: luma of pixel i and i+8 to one pair, and the
// chroma of each pixel, Cb and Cr, to a pair.
func row444(src *[48]uint16, luma, a, b *[8]uint64) {
	for i := range 8 {
		y0, cb0, cr0 := convert(src[3*i], src[3*i+1], src[3*i+2])
		y1, cb1, cr1 := convert(src[3*i+24], src[3*i+25], src[3*i+26])
		luma[i] = by257(y0 | y1<<32)
		a[i] = by257(cb0 | cr0<<32)
		b[i] = by257(cb1 | cr1<<32)
	}
}

// row420 converts 16 pixels for half chroma: luma as row444 does, and chroma
// of each pixel.
func row420(src *[48]uint16, luma *[8]uint64, chroma *[16]uint64) {
	row444(src, luma, (*[8]uint64)(chroma[:8]), (*[8]uint64)(chroma[8:]))
}

// rowGrey converts 16 grey pixels: pixel i and i+8 to one pair.
func rowGrey(src *[16]uint16, luma *[8]uint64) {
	for i := range 8 {
		luma[i] = by257(uint64(src[i]) + 128 | (uint64(src[i+8])+128)<<32)
	}
}

// halve averages chroma of two rows by 2 x 2 pixels: the sum of four, plus 1
// in even columns and 2 in odd ones, div 4, as the IJG library does.
func halve(up, low *[16]uint64, out *[8]uint64) {
	for i := range 8 {
		s := up[2*i] + up[2*i+1] + low[2*i] + low[2*i+1]
		out[i] = (s + (1+uint64(i)&1)*both) >> 2 & (0xff * both)
	}
}
