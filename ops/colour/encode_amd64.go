//go:build amd64 && !plain

package colour

import "golang.org/x/sys/cpu"

var haveAVX2 = cpu.X86.HasAVX2

//go:noescape
func encodeRowAVX2(dst *uint16, step int, x *float64, n int, cells *toneCell, bound *float64, first uint64)

// fastEncodeRow does the first places of a row and returns how many. The slicing
// before the call is the bounds check that assembly lacks.
func (t *Tone) fastEncodeRow(dst []uint16, step int, x []float64) int {
	n := len(x) &^ 7
	if n == 0 || !haveAVX2 || !t.near {
		return 0
	}
	dst = dst[:(n-1)*step+1]
	encodeRowAVX2(&dst[0], step, &x[0], n, &t.cells[0], &t.bound[0], t.first)
	return n
}
