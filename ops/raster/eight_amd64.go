//go:build amd64 && !plain

package raster

import "golang.org/x/sys/cpu"

// haveAVX2 chooses the assembly; the results are the same bytes either way.
var haveAVX2 = cpu.X86.HasAVX2

// steps are splitmix64's states of numbers 0 to 3.
var steps = func() (t [4]uint64) {
	for i := range uint64(4) {
		t[i] = (i + 1) * step
	}
	return t
}()

// thrice says for each of 48 samples which bytes, of those of its 8 pixels,
// are its pixel's noise.
var thrice = func() (t [48]uint16) {
	for i := range t {
		t[i] = uint16(i/3%8*0x202 + 0x100)
	}
	return t
}()

//go:noescape
func eight1AVX2(dst *byte, src *uint16, n int, first uint64)

//go:noescape
func eight3AVX2(dst *byte, src *uint16, n int, first uint64)

// fastEight does the first pixels of a row whose first four have number four,
// and returns how many: a multiple of 16.
func fastEight(dst []byte, row []uint16, channels int, four uint64) int {
	n := len(row) / channels &^ 15
	if !haveAVX2 || n == 0 {
		return 0
	}
	dst = dst[:n*channels] // the bounds check that assembly lacks
	switch channels {
	case 1:
		eight1AVX2(&dst[0], &row[0], n, four)
	case 3:
		eight3AVX2(&dst[0], &row[0], n, four)
	default:
		return 0
	}
	return n
}
