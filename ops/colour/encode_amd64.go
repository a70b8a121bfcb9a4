//go:build amd64 && !plain

package colour

import "golang.org/x/sys/cpu"

var haveAVX2 = cpu.X86.HasAVX2

//go:noescape
func encodeRowAVX2(dst *uint16, step int, x *float64, n int, cells *toneCell, bound *float64, first uint64)

//go:noescape
func decodeRowAVX2(red, green, blue *float64, tables *[3]*float64, src *uint16, n int)

//go:noescape
func mixRowAVX2(red, green, blue *float64, m *[3][3]float64, n int)

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

// fastDecodeRow does the first pixels of a row and returns how many; tables are of
// 65536.
func fastDecodeRow(r, g, b []float64, tables *[3][]float64, src []uint16) int {
	n := len(r) &^ 3
	if n == 0 || !haveAVX2 {
		return 0
	}
	g, b, src = g[:n], b[:n], src[:3*n]
	decodeRowAVX2(&r[0], &g[0], &b[0], &[3]*float64{&tables[0][:65536][0], &tables[1][:65536][0], &tables[2][:65536][0]}, &src[0], n)
	return n
}

// fastMixRow does the first pixels of a row and returns how many.
func fastMixRow(r, g, b []float64, m *[3][3]float64) int {
	n := len(r) &^ 3
	if n == 0 || !haveAVX2 {
		return 0
	}
	g, b = g[:n], b[:n]
	mixRowAVX2(&r[0], &g[0], &b[0], m, n)
	return n
}
