//go:build !amd64 || plain

package ops

// Without assembly nothing of a row is done fast.

func fastFloatRow(dst []float32, src []uint16) int                           { return 0 }
func fastRoundRow(dst []uint16, src []float32) int                           { return 0 }
func fastSumRows(dst []float32, rows [][]float32, from int, w []float32) int { return 0 }
func fastSymRows(dst []float32, rows [][]float32, from int, w []float32) int { return 0 }
func fastAcross3(dst, src []float32, x *axis) bool                           { return false }
func fastLumaRow(dst []float32, src []uint16, w *[3]float32) int             { return 0 }
func fastTripleRow(dst, src []float32) int                                   { return 0 }
func fastMixRow(dst, over, top []uint16, p []float32) int                    { return 0 }
func fastHoldRow(w []float32) int                                            { return 0 }
func fastMulRow(dst, a, b []float32) int                                     { return 0 }
func fastAddMulRow(dst, a, b []float32) int                                  { return 0 }
func fastShareRow(dst, part, of []float32) int                               { return 0 }
func fastLowRow(dst, a, b []float32) int                                     { return 0 }
func fastHighRow(dst, a, b []float32) int                                    { return 0 }
func fastMostRow(dst []float32, src []uint16) int                            { return 0 }
func fastAloneRow(row, left, right []uint16, over int32) int                 { return 0 }
func fastDampRow(e, y []float32, around *[5][]float32, noise4 float32) int   { return 0 }
func fastKneeRow(e, y, most []float32, amount, half float32) int             { return 0 }
func fastScaleRow(dst, src []uint16, s []float32) int                        { return 0 }
