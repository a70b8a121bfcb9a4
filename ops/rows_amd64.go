//go:build amd64 && !plain

package ops

import (
	"math"

	"golang.org/x/sys/cpu"
)

// haveAVX2 chooses the assembly; the results are the same bits either way.
var haveAVX2 = cpu.X86.HasAVX2

//go:noescape
func floatRowAVX2(dst *float32, src *uint16, n int)

//go:noescape
func roundRowAVX2(dst *uint16, src *float32, n int)

//go:noescape
func sumRowsAVX2(dst *float32, rows *[]float32, from int, w *float32, taps int, n int)

//go:noescape
func symRowsAVX2(dst *float32, rows *[]float32, from int, w *float32, reach int, n int)

//go:noescape
func across3AVX2(dst, src *float32, start, off, count *int32, w *float32, n int)

//go:noescape
func lumaRowAVX2(dst *float32, src *uint16, w *float32, n int)

//go:noescape
func tripleRowAVX2(dst, src *float32, n int)

//go:noescape
func mostRowAVX2(dst *float32, src *uint16, n int)

//go:noescape
func scaleRowAVX2(dst, src *uint16, s *float32, n int)

//go:noescape
func mixRowAVX2(dst, over, top *uint16, p *float32, n int)

//go:noescape
func dampRowAVX2(e, y, blur, left, right, up, down *float32, noise4 float32, n int)

//go:noescape
func kneeRowAVX2(e, y, most, limits *float32, n int)

//go:noescape
func mulRowAVX2(dst, a, b *float32, n int)

//go:noescape
func addMulRowAVX2(dst, a, b *float32, n int)

//go:noescape
func shareRowAVX2(dst, part, of *float32, n int)

//go:noescape
func lowRowAVX2(dst, a, b *float32, n int)

//go:noescape
func highRowAVX2(dst, a, b *float32, n int)

// bulk is how many of n places go through assembly, a multiple of the step.
func bulk(n, step int) int {
	if !haveAVX2 {
		return 0
	}
	return n &^ (step - 1)
}

// Each of the following does the first places of a row and returns how many.
// The slicing before a call is the bounds check that assembly lacks.

func fastFloatRow(dst []float32, src []uint16) int {
	n := bulk(len(src), 8)
	if n > 0 {
		dst = dst[:n]
		floatRowAVX2(&dst[0], &src[0], n)
	}
	return n
}

func fastRoundRow(dst []uint16, src []float32) int {
	n := bulk(len(src), 16)
	if n > 0 {
		dst = dst[:n]
		roundRowAVX2(&dst[0], &src[0], n)
	}
	return n
}

func fastSumRows(dst []float32, rows [][]float32, from int, w []float32) int {
	n := bulk(len(dst), 8)
	if n > 0 {
		rows = rows[:len(w)]
		for _, r := range rows {
			_ = r[from : from+n]
		}
		sumRowsAVX2(&dst[0], &rows[0], from, &w[0], len(w), n)
	}
	return n
}

func fastSymRows(dst []float32, rows [][]float32, from int, w []float32) int {
	n := bulk(len(dst), 8)
	if n > 0 {
		rows = rows[:2*len(w)-1]
		for _, r := range rows {
			_ = r[from : from+n]
		}
		symRowsAVX2(&dst[0], &rows[0], from, &w[0], len(w)-1, n)
	}
	return n
}

func fastAcross3(dst, src []float32, x *axis) bool {
	n := len(x.start)
	if !haveAVX2 || n == 0 {
		return false
	}
	// The axis was built for rows of this length; its places lie inside.
	_ = dst[:3*n+pad]
	_ = src[:3*x.end(n-1)+pad]
	across3AVX2(&dst[0], &src[0], &x.start[0], &x.off[0], &x.count[0], &x.w[0], n)
	return true
}

func fastLumaRow(dst []float32, src []uint16, w *[3]float32) int {
	n := bulk(len(dst), 8)
	if n > 0 {
		src = src[:3*n]
		lumaRowAVX2(&dst[0], &src[0], &w[0], n)
	}
	return n
}

func fastTripleRow(dst, src []float32) int {
	n := bulk(len(src), 8)
	if n > 0 {
		dst = dst[:3*n]
		tripleRowAVX2(&dst[0], &src[0], n)
	}
	return n
}

func fastLowRow(dst, a, b []float32) int {
	n := bulk(len(dst), 8)
	if n > 0 {
		a, b = a[:n], b[:n]
		lowRowAVX2(&dst[0], &a[0], &b[0], n)
	}
	return n
}

func fastHighRow(dst, a, b []float32) int {
	n := bulk(len(dst), 8)
	if n > 0 {
		a, b = a[:n], b[:n]
		highRowAVX2(&dst[0], &a[0], &b[0], n)
	}
	return n
}

func fastMostRow(dst []float32, src []uint16) int {
	n := bulk(len(dst), 8)
	if n > 0 {
		src = src[:3*n]
		mostRowAVX2(&dst[0], &src[0], n)
	}
	return n
}

func fastScaleRow(dst, src []uint16, s []float32) int {
	n := bulk(len(src), 16)
	if n > 0 {
		dst, s = dst[:n], s[:n]
		scaleRowAVX2(&dst[0], &src[0], &s[0], n)
	}
	return n
}

func fastMixRow(dst, over, top []uint16, p []float32) int {
	n := bulk(len(dst), 16)
	if n > 0 {
		over, top, p = over[:n], top[:n], p[:n]
		mixRowAVX2(&dst[0], &over[0], &top[0], &p[0], n)
	}
	return n
}

func fastDampRow(e, y []float32, around *[5][]float32, noise4 float32) int {
	n := bulk(len(e), 8)
	if n > 0 {
		y = y[:n]
		blur, left, right, up, down := around[0][:n], around[1][:n], around[2][:n], around[3][:n], around[4][:n]
		dampRowAVX2(&e[0], &y[0], &blur[0], &left[0], &right[0], &up[0], &down[0], noise4, n)
	}
	return n
}

func fastKneeRow(e, y, most []float32, amount, half float32) int {
	n := bulk(len(e), 8)
	if n > 0 {
		y, most = y[:n], most[:n]
		limits := [5]float32{amount, half, 1.0 / 1024, 1, float32(math.Copysign(0, -1))}
		kneeRowAVX2(&e[0], &y[0], &most[0], &limits[0], n)
	}
	return n
}

func fastMulRow(dst, a, b []float32) int {
	n := bulk(len(dst), 8)
	if n > 0 {
		a, b = a[:n], b[:n]
		mulRowAVX2(&dst[0], &a[0], &b[0], n)
	}
	return n
}

func fastAddMulRow(dst, a, b []float32) int {
	n := bulk(len(dst), 8)
	if n > 0 {
		a, b = a[:n], b[:n]
		addMulRowAVX2(&dst[0], &a[0], &b[0], n)
	}
	return n
}

func fastShareRow(dst, part, of []float32) int {
	n := bulk(len(dst), 8)
	if n > 0 {
		part, of = part[:n], of[:n]
		shareRowAVX2(&dst[0], &part[0], &of[0], n)
	}
	return n
}
