package jpeg

// Colour conversion with the IJG library's constants (ITU-T T.871 clause 7 times
// 2^16, rounded):
//
//	Y  = ( 19595 R + 38470 G +  7471 B + 32768) div 65536
//	Cb = (-11059 R - 21709 G + 32768 B + 128*65536 + 32767) div 65536
//	Cr = ( 32768 R - 27439 G -  5329 B + 128*65536 + 32767) div 65536
//
// The factors of Y add up to 65536 and those of Cb and Cr to 0, which lets them
// work on R-G and B-G.

const (
	roundY = 32768
	roundC = 128*65536 + 32767
)

func convert(r, g, b byte) (luma, cb, cr uint64) {
	d, e := int64(r)-int64(g), int64(b)-int64(g)
	luma = uint64(int64(g)<<16+d*19595+e*7471+roundY) >> 16
	cb = uint64(e<<15-d*11059+roundC) >> 16
	cr = uint64(d<<15-e*5329+roundC) >> 16
	return luma, cb, cr
}

// row444 converts 16 pixels: luma of pixel i and i+8 to one pair, and the
// chroma of each pixel, Cb and Cr, to a pair.
func row444(src *[48]byte, luma, a, b *[8]uint64) {
	for i := range 8 {
		y0, cb0, cr0 := convert(src[3*i], src[3*i+1], src[3*i+2])
		y1, cb1, cr1 := convert(src[3*i+24], src[3*i+25], src[3*i+26])
		luma[i] = y0 | y1<<32
		a[i] = cb0 | cr0<<32
		b[i] = cb1 | cr1<<32
	}
}

// row420 converts 16 pixels for half chroma: luma as row444 does, and chroma
// of each pixel.
func row420(src *[48]byte, luma *[8]uint64, chroma *[16]uint64) {
	row444(src, luma, (*[8]uint64)(chroma[:8]), (*[8]uint64)(chroma[8:]))
}

// rowGrey converts 16 grey pixels: pixel i and i+8 to one pair.
func rowGrey(src *[16]byte, luma *[8]uint64) {
	for i := range 8 {
		luma[i] = uint64(src[i]) | uint64(src[i+8])<<32
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
