//go:build !amd64 || plain

package colour

func (t *Tone) fastEncodeRow([]uint16, int, []float64) int { return 0 }

func fastDecodeRow(_, _, _ []float64, _ *[3][]float64, _ []uint16) int { return 0 }

func fastMixRow(_, _, _ []float64, _ *[3][3]float64) int { return 0 }
