package ops

import (
	"fmt"
	"image"
	"math/big"

	"platemark/ops/exact"
)

// sharpenV1 is the unsharp mask on luminance.
var sharpenV1 = Operation{
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
	Params: []Param{
		{Name: "radius", Unit: "px", Min: "1/10", Max: "100", Doc: "standard deviation of the blur"},
		{Name: "amount", Unit: "1", Min: "0", Max: "10", Doc: "share of the difference that is added"},
		{Name: "quiet", Unit: "1", Min: "0", Max: "1", Default: "0", Doc: "differences up to this share of full scale are left alone"},
		{Name: "halo", Unit: "1", Min: "0", Max: "1", Default: "1/10", Doc: "the most that sharpening may lighten or darken a pixel, as a share of full scale"},
		{Name: "covers", Unit: "px", Doc: "left, top, right and bottom of what the picture shows, in px of the mask's frame; the whole frame if not given"},
	},
	New: newSharpen,
}

type sharpen struct {
	pic                 Pic
	taps                []float32 // from the outermost to the centre
	luma                [3]float32
	amount, quiet, halo float32
	mask                *sampler // nil without
}

func newSharpen(a Args, in []Pic, env Env) (Step, error) {
	if len(in) != 1 && len(in) != 2 {
		return nil, fmt.Errorf("sharpen takes 1 picture and perhaps a mask, got %d inputs", len(in))
	}
	s := &sharpen{pic: in[0]}
	p := s.pic
	if p.C != 1 && p.C != 3 || p.W < 1 || p.H < 1 {
		return nil, fmt.Errorf("sharpen takes grey or RGB, this picture has %d channels", p.C)
	}
	if p.C == 3 {
		if p.Profile == nil {
			return nil, fmt.Errorf("sharpen needs a colour picture's profile for its luminance weights, and this picture has none")
		}
		for i, v := range p.Profile.Luma() {
			s.luma[i] = float32(v)
		}
	}
	radius, err := a.Rat("radius")
	if err != nil {
		return nil, err
	}
	if radius.Cmp(big.NewRat(1, 10)) < 0 || radius.Cmp(big.NewRat(100, 1)) > 0 {
		return nil, fmt.Errorf("argument radius is %s px, expected 1/10 to 100", radius.RatString())
	}
	s.taps = gaussian(radius)
	amount, err := ratArg(a, "amount", "", 10)
	if err != nil {
		return nil, err
	}
	s.amount, _ = amount.Float32()
	for _, v := range []struct {
		name, fallback string
		to             *float32
	}{{"quiet", "0", &s.quiet}, {"halo", "1/10", &s.halo}} {
		r, err := ratArg(a, v.name, v.fallback, 1)
		if err != nil {
			return nil, err
		}
		*v.to, _ = r.Mul(r, big.NewRat(65535, 1)).Float32()
	}
	if len(in) == 2 {
		if s.mask, err = newSampler(a.Word("covers", ""), in[1], p); err != nil {
			return nil, err
		}
	}
	return s, nil
}

// gaussian returns the taps of a sampled Gaussian, outermost first and the
// centre last, whose mirrored whole sums to 1; each rounded once to float32.
func gaussian(sigma *big.Rat) []float32 {
	// floor(4 sigma + 1/2) and -k^2 / 2 sigma^2, in whole numbers
	r := new(big.Rat).Mul(sigma, big.NewRat(4, 1))
	r.Add(r, big.NewRat(1, 2))
	reach := max(1, int(new(big.Int).Div(r.Num(), r.Denom()).Int64()))
	scale := new(big.Rat).Mul(sigma, sigma)
	scale.Mul(scale, big.NewRat(-2, 1)).Inv(scale)
	g := make([]exact.DD, 0, reach+1)
	sum := exact.DD{}
	for k := reach; k >= 0; k-- {
		v := exact.Exp(exact.Rat(new(big.Rat).Mul(scale, big.NewRat(int64(k)*int64(k), 1))))
		g = append(g, v)
		sum = sum.Add(v)
		if k > 0 {
			sum = sum.Add(v)
		}
	}
	w := make([]float32, len(g))
	for i, v := range g {
		w[i] = v.Quo(sum).Float32()
	}
	return w
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
	k := &sharpenWorker{sharpen: s}
	k.wide = make([]float32, w+2*r)
	k.keys = make([]int, 2*r+1)
	for i := range 2*r + 1 {
		k.shifted = append(k.shifted, k.wide[i:i+w])
		k.slots = append(k.slots, make([]float32, w))
	}
	k.rows = make([][]float32, 2*r+1)
	if s.mask != nil {
		k.mask = s.mask.worker()
	}
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
	var m []float32
	kind := maskOne
	if k.mask != nil {
		m, kind = k.mask.row(y, in[1])
	}
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
