package interp

import (
	"slices"

	"platemark/ops/colour"
)

// ViewPicture is a picture in sRGB, 8 bits, interleaved.
type ViewPicture struct {
	Print        string
	FullW, FullH int // of the print's picture
	W, H         int
	RGB          []uint8
	Lab          []colour.Lab // its colours, white at L* 100; nil where nobody asks
}

// ScreenCodes are colours in a screen's codes, 8 bits.
func ScreenCodes(screen *colour.FromLab, lab []colour.Lab) []uint8 {
	rgb, out := make([]uint16, 3*len(lab)), make([]uint8, 3*len(lab))
	screen.Row(rgb, lab)
	for i, s := range rgb {
		out[i] = uint8((uint32(s) + 128) / 257)
	}
	return out
}

// Figures sum up differences.
type Figures struct {
	Mean, P95, Largest float64
	Above1, Above3     float64 // shares of the pixels, 0 to 1
}

// LabDistances is CIEDE2000 by pixel.
func LabDistances(a, b []colour.Lab) []float32 {
	d := make([]float32, len(a))
	for i := range a {
		d[i] = float32(colour.DeltaE2000(a[i], b[i]))
	}
	return d
}

// FiguresOf sums up differences by pixel.
func FiguresOf(d []float32) (f Figures) {
	if len(d) == 0 {
		return f
	}
	s := slices.Clone(d)
	slices.Sort(s)
	var sum float64
	for _, v := range s {
		sum += float64(v)
		if v > 1 {
			f.Above1++
		}
		if v > 3 {
			f.Above3++
		}
	}
	n := float64(len(s))
	f.Mean, f.Above1, f.Above3 = sum/n, f.Above1/n, f.Above3/n
	// The smallest value that at least 95 % don't exceed.
	f.P95, f.Largest = float64(s[(len(s)*95+99)/100-1]), float64(s[len(s)-1])
	return f
}
