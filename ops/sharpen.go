package ops

import (
	"image"
	"math/big"
)

// sharpenV1 is the unsharp mask on luminance, by a ratio.
var sharpenV1 = operation(Operation{
	Name:    "sharpen",
	Version: 1,
	Doc: `Y is the profile's luminance weights on the encoded values (grey: the value)
and B its blur: a sampled Gaussian of standard deviation radius, taps
exp(-k^2 / 2 radius^2) for |k| <= floor(4 radius + 1/2), at least 1, divided by their
sum, the edge pixel repeated outside, across and then down. d = Y - B. Given quiet, d
is brought towards 0 by it. Without, d is multiplied by s^2 / (s^2 + n^4), where
s = d^2 + (gx^2 + gy^2)/2, gx and gy are the differences of B between the pixels p to
both sides, and p above and below, p = max(1, floor(radius + 1/2)), and n is 1/128 of
full scale: so noise of even ground stays as it is, and edges are sharpened whole.
x = amount d, held by a knee at h, half of the least of halo and the room to black
(Y) or, where x > 0, to where the largest channel M reaches full scale,
Y (65535 - M) / max(M, 1); h is at least 1/1024. Above h, |x| becomes
h + u h / (u + h), u = |x| - h. Divided by max(Y, 1), and times the mask if there is
one, it is the share of itself that every channel is given, or loses: light is scaled
by a ratio, hue and saturation stay, and nothing leaves the space. One rounding, half
up. Unsharp masking after W. K. Pratt, Digital Image Processing; the damping is a
Wiener filter's weight (N. Wiener, 1949) of the squares. Inputs: picture, perhaps a
mask.`,
	Takes:  1,
	Masked: true,
	Nanos:  24,
	Params: Params{
		covers,
		{Name: "radius", Unit: "px", Min: "0", Above: true, Max: "400", Length: true, Doc: "standard deviation of the blur"},
		{Name: "amount", Unit: "1", Min: "0", Max: "10", Doc: "share of the difference that is added"},
		{Name: "quiet", Unit: "1", Min: "0", Max: "1", Optional: true, Doc: "differences up to this share of full scale are left alone; without it, what lies below the noise is damped away from edges"},
		{Name: "halo", Unit: "1", Min: "0", Max: "1", Default: "1/10", Doc: "what sharpening may lighten or darken a pixel by comes near to this share of full scale"},
	},
	// Sharpening finer than a third of a reduced pixel would not be seen.
	Reduce: func(_ Params, a Args, r Reduction) (Args, bool, error) {
		radius, _ := a.Get("radius")
		return a, !r.smaller() || ratOf(radius).Cmp(big.NewRat(1, 3)) >= 0, nil
	},
}, newSharpen)

// sharpenNoise is n.
const sharpenNoise = 65535.0 / 128

type sharpenParams struct {
	Radius      *big.Rat
	Amount      float32
	Quiet, Halo *big.Rat
	Covers      string
}

type sharpen struct {
	pic          Pic
	taps         []float32 // from the outermost to the centre
	luma         [3]float32
	near         int      // how far gx and gy reach
	damped       bool     // no quiet was given
	quiet        float32  // or the fourth power of n
	amount, half float32  // half of halo
	mask         *sampler // nil without
}

func newSharpen(a sharpenParams, in []Pic, _ Env) (Step, error) {
	p := in[0]
	err := greyOrRGB("sharpen", p)
	if err != nil {
		return nil, err
	}
	s := &sharpen{pic: p, taps: gaussian(a.Radius), amount: a.Amount}
	if p.C == 3 {
		if s.luma, err = lumaOf("sharpen", p); err != nil {
			return nil, err
		}
	}
	s.near = max(1, halfUp(a.Radius))
	if s.damped = a.Quiet == nil; s.damped {
		s.quiet = sharpenNoise * sharpenNoise * sharpenNoise * sharpenNoise
	} else {
		s.quiet, _ = times(a.Quiet, big.NewRat(65535, 1)).Float32()
	}
	s.half, _ = times(a.Halo, big.NewRat(65535, 2)).Float32()
	s.mask, err = maskFor(a.Covers, in[1:], p)
	return s, err
}

// reach is how far the blur reads, far how far the result does.
func (s *sharpen) reach() int { return len(s.taps) - 1 }
func (s *sharpen) far() int   { return s.reach() + s.near }

func (s *sharpen) Pic() Pic { return s.pic }

func (s *sharpen) Window(in, y int) (lo, hi int) {
	if in == 1 {
		return s.mask.window(y)
	}
	return max(0, y-s.far()), min(s.pic.H, y+s.far()+1)
}

func (s *sharpen) Memory() (worker, shared int64) {
	return 4*int64(2*s.far()+3)*int64(s.pic.W) + s.mask.memory(), 0
}

// around is r and as far around it as is read.
func (s *sharpen) around(r image.Rectangle) image.Rectangle {
	return r.Inset(-s.far()).Intersect(image.Rect(0, 0, s.pic.W, s.pic.H))
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
// the picture's edge: they are wrong as far as is read, and outside r.
func (s *sharpen) Part(r image.Rectangle) (Step, int) {
	n := s.around(r)
	p := *s
	p.pic.W, p.mask = n.Dx(), s.mask.part(n)
	return &p, n.Min.X
}

func (s *sharpen) Worker() Worker {
	k := &sharpenWorker{sharpen: s, mask: s.mask.worker()}
	k.blur = newBlur(s.taps, s.near, s.pic, k.level)
	return k
}

type sharpenWorker struct {
	*sharpen
	mask   *samplerWorker
	blur   *blur // B
	light  [pixelBlock]float32
	most   [pixelBlock]float32
	edge   [pixelBlock]float32
	triple [3 * pixelBlock]float32
}

func (k *sharpenWorker) Row(dst []uint16, y int, in []Rows) {
	src := in[0].Row(y)[:k.pic.Stride()]
	dst = dst[:len(src)]
	m, kind := k.mask.row(y, in[1:])
	if kind == maskZero {
		copy(dst, src)
		return
	}
	p := k.near
	up, down := k.blur.row(y-p, in[0]), k.blur.row(y+p, in[0])
	blur := k.blur.row(y, in[0])
	src = in[0].Row(y)[:len(dst)] // more rows than may be held were asked for since
	c := k.pic.C
	for x := 0; x < k.pic.W; x += pixelBlock {
		n := min(pixelBlock, k.pic.W-x)
		luma, most, edge := k.light[:n], k.light[:n], k.edge[:n]
		from, to := x*c, (x+n)*c
		k.level(luma, src[from:to])
		if k.damped {
			dampRow(edge, luma, [5][]float32{blur[x+p:], blur[x:], blur[x+2*p:], up[x+p:], down[x+p:]}, k.quiet)
		} else {
			quietRow(edge, luma, blur[x+p:], k.quiet)
		}
		if c == 3 {
			most = k.most[:n]
			mostRow(most, src[from:to])
		}
		kneeRow(edge, luma, most, k.amount, k.half)
		if kind == maskMixed {
			mulRow(edge, edge, m[x:x+n])
		}
		if c == 3 {
			tripleRow(k.triple[:3*n], edge)
			edge = k.triple[:3*n]
		}
		scaleRow(dst[from:to], src[from:to], edge)
	}
}

// level sets y to Y of the pixels.
func (k *sharpenWorker) level(y []float32, src []uint16) {
	if k.pic.C == 3 {
		lumaRow(y, src, &k.luma)
	} else {
		floatRow(y, src)
	}
}
