package ops

import (
	"image"
	"math/big"
)

// denoiseV1 takes noise away by thresholds on five octaves of differences.
//
// A pixel's light is L = (R + 2G + B)/4, its colour P = R - L and Q = B - L, as
// NoiseLevels measures them: sums of codes by powers of two, which nothing is lost in,
// and which part what the eye sees as grain from what it sees as blotches. Level 0 is
// those planes (of grey: the value), c. Of each level
//
//	n = c smoothed by 1/4, 1/2, 1/4 at -s, 0, s across and then down, d = c - n
//
// s 1 for level 0, else 2; what lies outside repeats the edge. Level 1 is n of level 0,
// each one after that every second column and row of n, from the first. E is the mean of
// d^2 in the window up to 3 away, again with the edge repeated; for P and Q it is the
// mean of theirs. With N the noise, of light or of colour, at the light of n (class k of
// NoiseLevels at 8192 k + 4096, linear between, in steps of 256), g what d has of noise
// of 1 and a the strength,
//
//	t = 3/2 (a N g)^2, and d (t/max(E, t))^2 is noise
//
// The noise of all levels is added up, from the coarsest, each brought to the next by
// means of neighbours, and taken from the pixel, times the mask.
var denoiseV1 = operation(Operation{
	Name:    "denoise",
	Version: 1,
	Doc: `Takes away noise as it was measured, and keeps edges. Light, (R + 2G + B)/4, and
colour, R and B less light, are parted into differences of five octaves (M. J. Shensa,
"The discrete wavelet transform: wedding the a trous and Mallat algorithms", 1992, by
1/4, 1/2, 1/4). A difference is noise as far as the mean square around it is what noise
would give: the square of the share t/max(mean square, t), t = 3/2 of the square of
strength times measured noise, is taken away (an empirical Wiener filter of wavelets: M.
K. Mihcak, I. Kozintsev and K. Ramchandran, "Spatially adaptive statistical modeling of
wavelet image coefficients", 1999; the square, by which what stands out keeps more of
itself, is our own). Inputs: picture, perhaps a mask.`,
	Takes:  1,
	Masked: true,
	Nanos:  20,
	Params: Params{
		covers,
		{Name: "lightness", Unit: "1", Min: "0", Max: "2", Doc: "share of the measured noise of light"},
		{Name: "chroma", Unit: "1", Min: "0", Max: "2", Doc: "the same of colour; nothing where the picture is grey"},
		measuredNoise,
	},
	Measure: &NoiseLevels,
}, newDenoise)

const (
	denoiseLevels = 5
	denoiseNear   = 3  // the window of E
	denoiseReach  = 72 // rows and columns to either side that a pixel comes from, at most
	denoiseGrid   = 1 << (denoiseLevels - 2)
	denoiseLeast  = 1. / (1 << 60) // t: nothing, and no division by 0
)

// denoiseGain is g: the root of the sum of the squares of what a level's differences
// take of pixels.
var denoiseGain = [denoiseLevels]float64{0.80039, 0.27288, 0.11978, 0.05777, 0.02862}

type denoiseParams struct {
	Lightness, Chroma float64
	Noise             []*big.Rat
	Covers            string
}

type denoise struct {
	reaching
	// t of light and of colour, by level and brightness
	limits [denoiseLevels][2][noiseSteps]float32
}

func newDenoise(a denoiseParams, in []Pic, _ Env) (Step, error) {
	p := in[0]
	if err := greyOrRGB("denoise", p); err != nil {
		return nil, err
	}
	if err := noiseGiven("denoise", a.Noise); err != nil {
		return nil, err
	}
	s := &denoise{reaching: reaching{pic: p, far: denoiseReach, grid: denoiseGrid}} // a column that all levels have
	for of, share := range []float64{a.Lightness, a.Chroma} {
		if a.Noise == nil {
			break
		}
		for level, gain := range denoiseGain {
			for k := range noiseSteps {
				d := float64(share*gain) * noiseAt(a.Noise[of*noiseClasses:][:noiseClasses], k)
				s.limits[level][of][k] = max(float32(float64(1.5*d)*d), denoiseLeast)
			}
		}
	}
	var err error
	s.mask, err = maskFor(a.Covers, in[1:], p)
	return s, err
}

func (s *denoise) Memory() (worker, shared int64) {
	// About 200 rows of all planes, most of them differences kept for later.
	return int64(s.pic.W)*int64(4*s.pic.C+1)*200 + s.mask.memory(), 0
}

// Part works on the columns around, as sharpen's does.
func (s *denoise) Part(r image.Rectangle) (Step, int) {
	p := *s
	var left int
	p.reaching, left = s.part(r)
	return &p, left
}

func (s *denoise) Worker() Worker {
	k := &denoiseWorker{denoise: s, mask: s.mask.worker(), masked: make([]float32, s.pic.Stride()), out: make([]float32, s.pic.Stride())}
	w, h := s.pic.W, s.pic.H
	ahead := 68 // rows that level 1 asks of level 0 beyond the one that is made
	for i := range k.levels {
		k.levels[i] = newDenoiseLevel(k, i, w, h, ahead)
		if i == 0 {
			ahead -= 2
		} else {
			w, h, ahead = (w+1)/2, (h+1)/2, ahead/2-3
		}
	}
	return k
}

type denoiseWorker struct {
	*denoise
	mask   *samplerWorker
	masked []float32 // the noise of a row, less than all of it
	out    []float32 // a row without its noise
	in     Rows
	levels [denoiseLevels]*denoiseLevel
}

func (k *denoiseWorker) Row(dst []uint16, y int, in []Rows) {
	dst = dst[:k.pic.Stride()]
	m, kind := k.mask.row(y, in[1:])
	if kind == maskZero {
		copy(dst, in[0].Row(y))
		return
	}
	k.in = in[0]
	less := k.levels[0].noiseRow(y)
	w := k.pic.W
	if kind == maskMixed {
		for p := range k.pic.C {
			mulRow(k.masked[p*w:][:w], less[p*w:][:w], m[:w])
		}
		less = k.masked
	}
	out := k.out
	floatRow(out, in[0].Row(y)[:len(dst)])
	if k.pic.C == 1 {
		for x, v := range less[:len(out)] {
			out[x] -= v
		}
	} else {
		p, q := less[w:][:w], less[2*w:][:w]
		for x, l := range less[:w] {
			o, p, q := out[3*x:3*x+3:3*x+3], p[x], q[x]
			o[0] -= l + p
			o[1] -= l - float32((p+q)*0.5)
			o[2] -= l + q
		}
	}
	roundRow(dst, out)
}
