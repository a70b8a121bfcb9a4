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

// convert gives luma, and Cb and Cr as a pair.
func convert(r, g, b byte) (luma, chroma uint64) {
	d, e := int64(r)-int64(g), int64(b)-int64(g)
	luma = uint64(int64(g)<<16+d*19595+e*7471+roundY) >> 16
	chroma = uint64(d*(32768<<32-11059)+e*(-5329<<32+32768)+roundC*both) >> 16 & (0xff * both)
	return luma, chroma
}

// colours converts 8 rows of 16 pixels, stride bytes from one to the next: luma
// of pixel i and i+8 to one pair, and the chroma of each pixel, Cb and Cr, to a
// pair, in a for the first 8 pixels of a row and in b for the others.
func colours(src []byte, stride int, luma, a, b *[64]uint64) {
	if !fastColours(src, stride, luma, a, b) {
		plainColours(src, stride, luma, a, b)
	}
}

func plainColours(src []byte, stride int, luma, a, b *[64]uint64) {
	for l := 0; l < 64; l += 8 {
		row := (*[48]byte)(src[l/8*stride:])
		luma, a, b := (*[8]uint64)(luma[l:]), (*[8]uint64)(a[l:]), (*[8]uint64)(b[l:])
		for i := range 8 {
			y0, c0 := convert(row[3*i], row[3*i+1], row[3*i+2])
			y1, c1 := convert(row[3*i+24], row[3*i+25], row[3*i+26])
			luma[i], a[i], b[i] = y0|y1<<32, c0, c1
		}
	}
}

// greys takes 8 rows of 16 grey pixels: pixel i and i+8 to one pair.
func greys(src []byte, stride int, luma *[64]uint64) {
	for l := 0; l < 64; l += 8 {
		row, luma := (*[16]byte)(src[l/8*stride:]), (*[8]uint64)(luma[l:])
		for i := range 8 {
			luma[i] = uint64(row[i]) | uint64(row[i+8])<<32
		}
	}
}

// halve averages chroma of two rows by 2 x 2 pixels: the sum of four, plus 1
// in even columns and 2 in odd ones, div 4, as the IJG library does.
func halve(up, low *[8]uint64, out *[4]uint64) {
	for i := range 4 {
		s := up[2*i] + up[2*i+1] + low[2*i] + low[2*i+1]
		out[i] = (s + (1+uint64(i)&1)*both) >> 2 & (0xff * both)
	}
}
