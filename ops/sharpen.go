package ops

import (
	"fmt"
	"image"
	"math/big"
)

// sharpenV1 is the unsharp mask on luminance.
var sharpenV1 = operation(Operation{
	Name:    "sharpen",
	Version: 1,
	Doc: `Y' is the profile's luminance weights on the encoded values (grey: the
value). d = Y' - blur(Y'), where blur is a sampled Gaussian of standard deviation
radius: taps exp(-k^2 / 2 radius^2) for |k| <= floor(4 radius + 1/2), at least 1,
divided by their sum, the edge pixel repeated outside, rows and columns alike.
d is brought towards 0 by quiet, multiplied by amount and held to -halo..halo
(shares of full scale), multiplied by the mask if there is one, and added alike to
R, G and B; one rounding, half up. The formula is the textbook's (W. K. Pratt,
Digital Image Processing, unsharp masking). Inputs: picture, perhaps a mask.`,
	Takes:  1,
	Masked: true,
	Nanos:  16,
	Params: Params{
		covers,
		{Name: "radius", Unit: "px", Min: "1/10", Max: "100", Length: true, Doc: "standard deviation of the blur"},
		{Name: "amount", Unit: "1", Min: "0", Max: "10", Doc: "share of the difference that is added"},
		{Name: "quiet", Unit: "1", Min: "0", Max: "1", Default: "0", Doc: "differences up to this share of full scale are left alone"},
		{Name: "halo", Unit: "1", Min: "0", Max: "1", Default: "1/10", Doc: "the most that sharpening may lighten or darken a pixel, as a share of full scale"},
	},
	// Sharpening finer than a third of a reduced pixel would not be seen.
	Reduce: func(_ Params, a Args, r Reduction) (Args, bool, error) {
		radius, _ := a.Get("radius")
		return a, !r.smaller() || ratOf(radius).Cmp(big.NewRat(1, 3)) >= 0, nil
	},
}, newSharpen)

type sharpenParams struct {
	Radius      *big.Rat
	Amount      float32
	Quiet, Halo *big.Rat
	Covers      string
}

type sharpen struct {
	pic                 Pic
	taps                []float32 // from the outermost to the centre
	luma                [3]float32
	amount, quiet, halo float32
	mask                *sampler // nil without
}

func newSharpen(a sharpenParams, in []Pic, _ Env) (Step, error) {
	p := in[0]
	if err := greyOrRGB("sharpen", p); err != nil {
		return nil, err
	}
	s := &sharpen{pic: p, taps: gaussian(a.Radius), amount: a.Amount}
	if p.C == 3 {
		if p.Profile == nil {
			return nil, fmt.Errorf("sharpen needs a colour picture's profile for its luminance weights, and this picture has none")
		}
		for i, v := range p.Profile.Luma() {
			s.luma[i] = float32(v)
		}
	}
	full := big.NewRat(65535, 1)
	s.quiet, _ = times(a.Quiet, full).Float32()
	s.halo, _ = times(a.Halo, full).Float32()
	var err error
	s.mask, err = maskFor(a.Covers, in[1:], p)
	return s, err
}

func (s *sharpen) reach() int { return len(s.taps) - 1 }

func (s *sharpen) Pic() Pic { return s.pic }

func (s *sharpen) Window(in, y int) (lo, hi int) {
	if in == 1 {
		return s.mask.window(y)
	}
	return max(0, y-s.reach()), min(s.pic.H, y+s.reach()+1)
}

func (s *sharpen) Memory() (worker, shared int64) {
	return 4*int64(2*s.reach()+2)*int64(s.pic.W) + s.mask.memory(), 0
}

// around is r and as far around it as the blur reaches.
func (s *sharpen) around(r image.Rectangle) image.Rectangle {
	return r.Inset(-s.reach()).Intersect(image.Rect(0, 0, s.pic.W, s.pic.H))
}

func (s *sharpen) Needs(in int, r image.Rectangle) image.Rectangle {
	if in == 1 {
		n := s.around(r)
		n.Min.Y, n.Max.Y = r.Min.Y, r.Max.Y
		return s.mask.needs(n)
	}
	return s.around(r)
}

// Part works on the columns around, where those at the ends repeat what isn't
// the picture's edge: they are wrong as far as the blur reaches, and outside r.
func (s *sharpen) Part(r image.Rectangle) (Step, int) {
	n := s.around(r)
	p := *s
	p.pic.W, p.mask = n.Dx(), s.mask.part(n)
	return &p, n.Min.X
}

func (s *sharpen) Worker() Worker {
	r, w := s.reach(), s.pic.W
	k := &sharpenWorker{sharpen: s, mask: s.mask.worker()}
	k.wide = make([]float32, w+2*r)
	k.keys = make([]int, 2*r+1)
	for i := range 2*r + 1 {
		k.shifted = append(k.shifted, k.wide[i:i+w])
		k.slots = append(k.slots, make([]float32, w))
	}
	k.rows = make([][]float32, 2*r+1)
	return k
}

// sharpenWorker keeps the rows last blurred across, by row number.
type sharpenWorker struct {
	*sharpen
	mask    *samplerWorker
	wide    []float32   // one row of Y', its ends repeated reach times
	shifted [][]float32 // wide from 0, from 1, ...: what the taps of a row read
	keys    []int       // row number + 1 of each slot
	slots   [][]float32
	rows    [][]float32 // the slots that the current row needs, in order
	blur    [pixelBlock]float32
	edge    [pixelBlock]float32
	triple  [3 * pixelBlock]float32
}

func (k *sharpenWorker) Row(dst []uint16, y int, in []Rows) {
	src := in[0].Row(y)[:k.pic.Stride()]
	dst = dst[:len(src)]
	m, kind := k.mask.row(y, in[1:])
	if kind == maskZero {
		copy(dst, src)
		return
	}
	r := k.reach()
	for t := range k.rows {
		k.rows[t] = k.across(max(0, min(k.pic.H-1, y-r+t)), in[0])
	}
	src = in[0].Row(y)[:len(dst)] // more rows than may be held were asked for since
	c := k.pic.C
	for x := 0; x < k.pic.W; x += pixelBlock {
		n := min(pixelBlock, k.pic.W-x)
		blur, edge := k.blur[:n], k.edge[:n]
		from, to := x*c, (x+n)*c
		k.level(edge, src[from:to])
		symRows(blur, k.rows, x, k.taps)
		edgeRow(edge, blur, k.quiet, k.amount, k.halo)
		if kind == maskMixed {
			mulRow(edge, edge, m[x:x+n])
		}
		if c == 3 {
			tripleRow(k.triple[:3*n], edge)
			edge = k.triple[:3*n]
		}
		addRow(dst[from:to], src[from:to], edge)
	}
}

// level sets y to Y' of the pixels.
func (k *sharpenWorker) level(y []float32, src []uint16) {
	if k.pic.C == 3 {
		lumaRow(y, src, &k.luma)
	} else {
		floatRow(y, src)
	}
}

// across returns row r of Y' blurred along x.
func (k *sharpenWorker) across(r int, in Rows) []float32 {
	slot := r % len(k.slots)
	if k.keys[slot] == r+1 {
		return k.slots[slot]
	}
	k.keys[slot] = r + 1
	n, w := k.reach(), k.pic.W
	k.level(k.wide[n:n+w], in.Row(r)[:k.pic.Stride()])
	first, last := k.wide[n], k.wide[n+w-1]
	for i := range n {
		k.wide[i], k.wide[n+w+i] = first, last
	}
	out := k.slots[slot]
	for x := 0; x < w; x += pixelBlock {
		part := out[x:min(x+pixelBlock, w)]
		symRows(part, k.shifted, x, k.taps)
	}
	return out
}
