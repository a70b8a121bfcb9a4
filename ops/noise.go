package ops

import (
	"fmt"
	"math"
	"math/big"
	"slices"
	"strings"
)

// NoiseLevels measures the noise of a grey or RGB picture by brightness: 16 whole
// numbers in codes of 16 bits, at least 1, the standard deviations of light in
// the darkest eighth of the range to the lightest, then those of colour.
//
// The picture is read in squares of 16 pixels, side by side in up to 64 rows of
// them that lie evenly from top to bottom. Light is (R + 2G + B) / 4, and colour
// R and B less light. Of both the mixed differences of neighbours are taken,
// v(x,y) - v(x-1,y) - v(x,y-1) + v(x-1,y-1), whose mean square is four times that
// of noise and nothing for slopes and for what runs along rows or columns; of
// colour it is the mean of the two. Noise that neighbours share, as that of a
// coarse scan, counts for less.
//
// A square counts if none of its samples lies at an end of the range, and its
// mean light lies three deviations from both: else some of its noise was cut off.
// An eighth has noise if 16 squares count in it: of those in order of their
// deviation the first after a fiftieth of them, since what scatters more has
// texture, times 8/7, by which the flattest of even ground fall short. The others
// have that of the nearest eighth that has noise, the darker of two; without any,
// all squares are taken together. No noise is less than what rounding makes of
// none, a code over the root of 12, where the code is the median of the squares'
// least steps between neighbours in a row.
//
// That the flattest blocks tell the noise: D.-H. Shin et al., Block-based noise
// estimation using adaptive Gaussian filtering, 2005. Rounding: W. R. Bennett,
// Spectra of quantized signals, 1948. The other numbers are our own, found on
// photographs with noise added.
var NoiseLevels = Measure{Param: "noise",
	Figures: func(in Pic) Step { return &noiseFigures{in} },
	Value:   noiseValue,
}

const (
	noiseSide    = 16
	noiseRows    = 64
	noiseLeast   = 16 // squares
	noiseClasses = 8
	noiseSteps   = 256 // of brightness
)

// measuredNoise is the parameter of every operation that goes by the noise.
var measuredNoise = Param{Name: "noise", Unit: "codes", Min: "1", Max: "65535", Optional: true, Doc: "as measured: standard deviations of light, of the darkest eighth of the range to the lightest, then of colour"}

// noiseGiven says whether an operation's noise is what NoiseLevels measures, or none.
func noiseGiven(operation string, noise []*big.Rat) error {
	if n := len(noise); n != 0 && n != 2*noiseClasses {
		return fmt.Errorf("%s: noise has %d numbers, expected %d", operation, n, 2*noiseClasses)
	}
	return nil
}

// noiseAt is the noise in the middle of step k of brightness, by that of classes.
func noiseAt(levels []*big.Rat, k int) float64 {
	const wide = noiseSteps / noiseClasses
	at := float64(max(0, min(wide*(noiseClasses-1), float64(k)+0.5-wide/2)) * (1. / wide))
	i := min(int(at), noiseClasses-2)
	lo, _ := levels[i].Float64()
	hi, _ := levels[i+1].Float64()
	return lo + float64((at-float64(i))*(hi-lo))
}

// noiseFigures makes four figures of each square: its mean light (0 where it
// doesn't count), the deviations of light and of colour, and its least step (0
// where rows are even). A picture smaller than a square has one that doesn't count.
type noiseFigures struct{ pic Pic }

func (s *noiseFigures) Pic() Pic {
	return Pic{W: max(1, s.pic.W/noiseSide), H: min(max(1, s.pic.H/noiseSide), noiseRows), C: 4}
}

func (s *noiseFigures) Window(_, y int) (lo, hi int) {
	if n := s.Pic().H; n > 1 {
		lo = y * (s.pic.H - noiseSide) / (n - 1)
	}
	return lo, min(lo+noiseSide, s.pic.H)
}

func (s *noiseFigures) Worker() Worker {
	return &noiseWorker{s, make([]noiseSquare, s.pic.W/noiseSide)}
}

type noiseWorker struct {
	*noiseFigures
	squares []noiseSquare
}

// noiseSquare is what is known of a square: sums of light, and of the squares of
// differences, in quarters of codes.
type noiseSquare struct {
	sum, light, colour int64
	clipped            bool
	step               uint16
}

func (w *noiseWorker) Row(dst []uint16, y int, in []Rows) {
	clear(w.squares)
	clear(dst)
	lo, hi := w.Window(0, y)
	if hi-lo < noiseSide {
		return
	}
	n := noiseSide * w.pic.C
	var above []uint16
	for r := lo; r < hi; r++ {
		row := in[0].Row(r)
		for i := range w.squares {
			q := &w.squares[i]
			q.add(row[i*n:][:n], w.pic.C)
			if above != nil {
				q.differ(row[i*n:][:n], above[i*n:][:n], w.pic.C)
			}
		}
		above = row
	}
	for i := range w.squares {
		w.squares[i].figures(dst[4*i:])
	}
}

func (q *noiseSquare) add(row []uint16, channels int) {
	for i, v := range row {
		q.clipped = q.clipped || v == 0 || v == 65535
		q.sum += int64(v)
		if channels == 1 {
			q.sum += 3 * int64(v)
		} else if i%3 == 1 {
			q.sum += int64(v)
		}
		if i >= channels {
			before := row[i-channels]
			if d := max(v, before) - min(v, before); d > 0 && (q.step == 0 || d < q.step) {
				q.step = d
			}
		}
	}
}

// differ takes in the mixed differences of two rows.
func (q *noiseSquare) differ(row, above []uint16, channels int) {
	d := func(i int) int64 {
		return int64(row[i]) - int64(row[i-channels]) - int64(above[i]) + int64(above[i-channels])
	}
	for i := channels; i < len(row); i += channels {
		r := 4 * d(i)
		light := r
		if channels == 3 {
			b := 4 * d(i+2)
			light = r/4 + 2*d(i+1) + b/4
			q.colour += (r-light)*(r-light) + (b-light)*(b-light)
		}
		q.light += light * light
	}
}

func (q *noiseSquare) figures(dst []uint16) {
	// The deviation's square in codes, of sums in quarters.
	const of = 16 * 4 * (noiseSide - 1) * (noiseSide - 1)
	light, colour := root(q.light/of), root(q.colour/(2*of))
	mean := q.sum / (4 * noiseSide * noiseSide)
	if q.clipped || mean < 3*light || mean > 65535-3*light {
		return
	}
	dst[0], dst[1], dst[2], dst[3] = uint16(max(mean, 1)), uint16(light), uint16(min(colour, 65535)), q.step
}

// root is the square root, rounded half up: a processor's is exact to its last bit.
func root(v int64) int64 { return int64(math.Sqrt(float64(v)) + 0.5) }

func noiseValue(figures []uint16) string {
	var light, colour [noiseClasses][]uint16
	var anyLight, anyColour, steps []uint16
	for f := range slices.Chunk(figures, 4) {
		if f[0] == 0 {
			continue
		}
		k := int(f[0]) * noiseClasses >> 16
		light[k], colour[k] = append(light[k], f[1]), append(colour[k], f[2])
		anyLight, anyColour = append(anyLight, f[1]), append(anyColour, f[2])
		if f[3] > 0 {
			steps = append(steps, f[3])
		}
	}
	least := int64(1)
	if n := len(steps); n > 0 {
		slices.Sort(steps)
		code := int64(steps[n/2])
		least = max(1, root(code*code/12))
	}
	levels := slices.Concat(noiseByClass(light, anyLight, least), noiseByClass(colour, anyColour, least))
	return strings.Trim(fmt.Sprint(levels), "[]")
}

// noiseByClass is the noise of each class of squares, by their deviations.
func noiseByClass(by [noiseClasses][]uint16, all []uint16, least int64) []int64 {
	flattest := func(of []uint16) int64 {
		if len(of) == 0 {
			return least
		}
		slices.Sort(of)
		return max(least, (16*int64(of[len(of)/50])+7)/14)
	}
	levels := make([]int64, noiseClasses)
	for k := range levels {
		levels[k] = flattest(all)
		for far := range noiseClasses {
			if near := squaresAt(by, k, far); near != nil {
				levels[k] = flattest(near)
				break
			}
		}
	}
	return levels
}

// squaresAt are the squares of the class that is so far from k, nil where too few count.
func squaresAt(by [noiseClasses][]uint16, k, far int) []uint16 {
	for _, i := range []int{k - far, k + far} {
		if i >= 0 && i < noiseClasses && len(by[i]) >= noiseLeast {
			return by[i]
		}
	}
	return nil
}
