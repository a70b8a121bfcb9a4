//go:build amd64 && !plain

package ops

import "golang.org/x/sys/cpu"

// haveAVX2 chooses the assembly; the results are the same bits either way.
var haveAVX2 = cpu.X86.HasAVX2

// The assembly of the functions below, for rows that aren't empty.

//go:noescape
func floatRowAVX2(dst []float32, src []uint16)

//go:noescape
func roundRowAVX2(dst []uint16, src []float32)

//go:noescape
func sumRowsAVX2(dst []float32, rows [][]float32, from int, w []float32)

//go:noescape
func symRowsAVX2(dst []float32, rows [][]float32, from int, w []float32)

//go:noescape
func across3AVX2(dst, src []float32, start, off, count []int32, w []float32)

//go:noescape
func lumaRowAVX2(dst []float32, src []uint16, w *[3]float32)

//go:noescape
func tripleRowAVX2(dst, src []float32)

//go:noescape
func mostRowAVX2(dst []float32, src []uint16)

//go:noescape
func aloneRowAVX2(row, left, right []uint16, over uint16) (at int)

//go:noescape
func scaleRowAVX2(dst, src []uint16, s []float32)

//go:noescape
func mixRowAVX2(dst, over, top []uint16, p []float32)

//go:noescape
func dampRowAVX2(e, y []float32, around *[5][]float32, noise4 float32)

//go:noescape
func kneeRowAVX2(e, y, most []float32, amount, half float32)

//go:noescape
func holdRowAVX2(w []float32, from float32)

//go:noescape
func mulRowAVX2(dst, a, b []float32)

//go:noescape
func addMulRowAVX2(dst, a, b []float32)

//go:noescape
func shareRowAVX2(dst, a, b []float32)

//go:noescape
func lowRowAVX2(dst, a, b []float32)

//go:noescape
func highRowAVX2(dst, a, b []float32)

// bulk is how many of n places go through assembly, a multiple of the step.
func bulk(n, step int) int {
	if !haveAVX2 {
		return 0
	}
	return n &^ (step - 1)
}

// Each of the following does the first places of a row and returns how many.
// The slicing in a call is the bounds check that assembly lacks.

func fastFloatRow(dst []float32, src []uint16) int {
	n := bulk(len(src), 8)
	if n > 0 {
		floatRowAVX2(dst[:n], src[:n])
	}
	return n
}

func fastRoundRow(dst []uint16, src []float32) int {
	n := bulk(len(src), 16)
	if n > 0 {
		roundRowAVX2(dst[:n], src[:n])
	}
	return n
}

func fastSumRows(dst []float32, rows [][]float32, from int, w []float32) int {
	n := bulkSum(len(dst), rows[:len(w)], from)
	if n > 0 {
		sumRowsAVX2(dst, rows[:len(w)], from, w)
	}
	return n
}

func fastSymRows(dst []float32, rows [][]float32, from int, w []float32) int {
	rows = rows[:2*len(w)-1]
	n := bulkSum(len(dst), rows, from)
	if n > 0 {
		symRowsAVX2(dst, rows, from, w)
	}
	return n
}

// bulkSum is how many of n places of a sum of rows go through assembly: all, or
// none of less than 32.
func bulkSum(n int, rows [][]float32, from int) int {
	if !haveAVX2 || n < 32 {
		return 0
	}
	for _, r := range rows {
		_ = r[from : from+n]
	}
	return n
}

func fastAcross3(dst, src []float32, x *axis) bool {
	n := len(x.start)
	if !haveAVX2 || n == 0 {
		return false
	}
	// The axis was built for rows of this length; its places lie inside.
	across3AVX2(dst[:3*n+pad], src[:3*x.end(n-1)+pad], x.start, x.off[:n], x.count[:n], x.w)
	return true
}

func fastLumaRow(dst []float32, src []uint16, w *[3]float32) int {
	n := bulk(len(dst), 8)
	if n > 0 {
		lumaRowAVX2(dst[:n], src[:3*n], w)
	}
	return n
}

func fastTripleRow(dst, src []float32) int {
	n := bulk(len(src), 8)
	if n > 0 {
		tripleRowAVX2(dst[:3*n], src[:n])
	}
	return n
}

func fastMostRow(dst []float32, src []uint16) int {
	n := bulk(len(dst), 8)
	if n > 0 {
		mostRowAVX2(dst[:n], src[:3*n])
	}
	return n
}

func fastScaleRow(dst, src []uint16, s []float32) int {
	n := bulk(len(src), 16)
	if n > 0 {
		scaleRowAVX2(dst[:n], src[:n], s[:n])
	}
	return n
}

func fastMixRow(dst, over, top []uint16, p []float32) int {
	n := bulk(len(dst), 16)
	if n > 0 {
		mixRowAVX2(dst[:n], over[:n], top[:n], p[:n])
	}
	return n
}

// fastAloneRow stops at the sixteen that hold the first, if any.
func fastAloneRow(row, left, right []uint16, over int32) int {
	n := bulk(len(row), 16)
	if n > 0 {
		n = aloneRowAVX2(row[:n], left[:n], right[:n], uint16(over))
	}
	return n
}

func fastDampRow(e, y []float32, around *[5][]float32, noise4 float32) int {
	n := bulk(len(e), 8)
	if n > 0 {
		for _, r := range around {
			_ = r[:n]
		}
		dampRowAVX2(e[:n], y[:n], around, noise4)
	}
	return n
}

func fastKneeRow(e, y, most []float32, amount, half float32) int {
	n := bulk(len(e), 8)
	if n > 0 {
		kneeRowAVX2(e[:n], y[:n], most[:n], amount, half)
	}
	return n
}

func fastHoldRow(w []float32) int {
	n := bulk(len(w), 8)
	if n > 0 {
		holdRowAVX2(w[:n], nearlyAll)
	}
	return n
}

// fastPlaces does it by f, which makes a row of two.
func fastPlaces(f func(dst, a, b []float32), dst, a, b []float32) int {
	n := bulk(len(dst), 8)
	if n > 0 {
		f(dst[:n], a[:n], b[:n])
	}
	return n
}

func fastMulRow(dst, a, b []float32) int    { return fastPlaces(mulRowAVX2, dst, a, b) }
func fastAddMulRow(dst, a, b []float32) int { return fastPlaces(addMulRowAVX2, dst, a, b) }
func fastShareRow(dst, a, b []float32) int  { return fastPlaces(shareRowAVX2, dst, a, b) }
func fastLowRow(dst, a, b []float32) int    { return fastPlaces(lowRowAVX2, dst, a, b) }
func fastHighRow(dst, a, b []float32) int   { return fastPlaces(highRowAVX2, dst, a, b) }
