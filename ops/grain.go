package ops

import (
	"fmt"
	"image"
	"math/big"

	"platemark/ops/raster"
)

// grainV1 lays film-like grain over a picture. White noise of the place alone is
// blurred, so that the grain's power falls with the frequency f, in cycles a px, as
//
//	exp(-(2 pi f sigma)^2), sigma = 3/10 size
//
// and what lies size apart is hardly alike: two places half of that apart are half
// as much alike as one place with itself.
var grainV1 = operation(Operation{
	Name:    "grain",
	Version: 1,
	Doc: `Every channel of a pixel is multiplied by 1 + e (1 - M/65535), M the largest of its
channels and e = 4 amount n held to -1..1: the deviation is amount of full scale in middle
greys and falls to nothing at black, at white and at full colours; hue and saturation stay.
n is Gaussian noise of deviation 1 and the spectrum exp(-(2 pi f sigma)^2), sigma = 3/10
size: white noise, a function of seed and place, blurred as sharpen blurs. Places count
from the picture's upper left corner. Random numbers: G. Steele, D. Lea and C. Flood,
"Fast splittable pseudorandom number generators", OOPSLA 2014. The weights are our own.
Input: the picture.`,
	Takes: 1,
	Nanos: 14,
	Params: Params{
		{Name: "amount", Unit: "1", Min: "0", Max: "1/4", Doc: "deviation of middle greys, a share of full scale"},
		{Name: "size", Unit: "px", Min: "0", Above: true, Max: "400", Length: true, Doc: "how far apart the grain is half as much alike, to both sides together"},
		{Name: "seed", Unit: "count", Min: "0", Max: "4294967295", Doc: "another number gives another grain"},
	},
	// Grain finer than a reduced pixel is next to nothing in its mean.
	Reduce: func(_ Params, a Args, r Reduction) (Args, bool, error) {
		size, _ := a.Get("size")
		return a, !r.smaller() || ratOf(size).Cmp(big.NewRat(1, 1)) >= 0, nil
	},
}, newGrain)

type grainParams struct{ Amount, Size, Seed *big.Rat }

type grain struct {
	pic  Pic
	left int       // of the whole picture, the first column
	taps []float32 // from the outermost to the centre
	gain float32   // from a blurred number to e
	seed uint64
}

// The deviation of a white number, which is the sum of four even ones of 16 bits,
// div 4, and its mean.
const (
	grainDeviation = 9459.3
	grainMean      = 32767
)

func newGrain(a grainParams, in []Pic, _ Env) (Step, error) {
	if err := greyOrRGB("grain", in[0]); err != nil {
		return nil, err
	}
	if !a.Seed.IsInt() {
		return nil, fmt.Errorf("grain: seed is %s, expected a whole number", decimal(a.Seed))
	}
	s := &grain{pic: in[0], taps: gaussian(times(a.Size, big.NewRat(3, 10))), seed: raster.Scattered(a.Seed.Num().Uint64())}
	// Blurring across and down leaves the sum of the squares of the taps of it.
	n := len(s.taps) - 1
	squares := 0.0
	for _, w := range s.taps[:n] {
		squares += float64(2 * float64(float64(w)*float64(w)))
	}
	squares += float64(float64(s.taps[n]) * float64(s.taps[n]))
	s.gain = float32(4 * flt(a.Amount) / float64(squares*grainDeviation))
	return s, nil
}

// white is the white number at a place, which may lie outside the picture.
func (s *grain) white(x, y int) uint16 {
	z := raster.Scattered(s.seed + uint64(uint32(y))<<32 + uint64(uint32(x)))
	return uint16((z&0xffff + z>>16&0xffff + z>>32&0xffff + z>>48) / 4)
}

func (s *grain) reach() int { return len(s.taps) - 1 }

func (s *grain) Pic() Pic { return s.pic }

func (s *grain) Window(_, y int) (lo, hi int) { return y, y + 1 }

func (s *grain) Memory() (worker, shared int64) {
	return 4 * int64(2*s.reach()+5) * int64(s.pic.W+2*s.reach()), 0
}

func (s *grain) Needs(in int, r image.Rectangle) image.Rectangle { return sameColumns(s, in, r) }

func (s *grain) Part(r image.Rectangle) (Step, int) {
	p := *s
	p.pic.W, p.left = r.Dx(), s.left+r.Min.X
	return &p, r.Min.X
}

func (s *grain) Worker() Worker {
	n := s.reach()
	around := Pic{W: s.pic.W + 2*n, H: s.pic.H + 2*n, C: 1}
	return &grainWorker{grain: s, row: make([]uint16, around.W), blur: newBlur(s.taps, 0, around, func(dst []float32, src []uint16) {
		for i, v := range src {
			dst[i] = float32(v) - grainMean
		}
	})}
}

type grainWorker struct {
	*grain
	row    []uint16
	blur   *window // of white noise, reach px more than the picture on all sides
	most   [pixelBlock]float32
	triple [3 * pixelBlock]float32
}

// whiteRows gives the rows of white noise around the picture.
type whiteRows struct{ *grainWorker }

func (k whiteRows) Row(y int) []uint16 {
	n := k.reach()
	for x := range k.row {
		k.row[x] = k.white(k.left-n+x, y-n)
	}
	return k.row
}

func (k *grainWorker) Row(dst []uint16, y int, in []Rows) {
	n, c := k.reach(), k.pic.C
	noise := k.blur.row(y+n, whiteRows{k})[n:]
	src := in[0].Row(y)
	for x := 0; x < k.pic.W; x += pixelBlock {
		most := k.most[:min(pixelBlock, k.pic.W-x)]
		from, to := x*c, (x+len(most))*c
		if c == 3 {
			mostRow(most, src[from:to])
		} else {
			floatRow(most, src[from:to])
		}
		for i, v := range noise[x:][:len(most)] {
			e := max(-1, min(1, float32(v*k.gain)))
			most[i] = float32(e * (1 - most[i]/65535))
		}
		by := most
		if c == 3 {
			by = k.triple[:3*len(most)]
			tripleRow(by, most)
		}
		scaleRow(dst[from:to], src[from:to], by)
	}
}
