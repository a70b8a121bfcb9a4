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
	Nanos:  8,
	Params: Params{
		covers,
		{Name: "radius", Unit: "px", Min: "0", Above: true, Max: "400", Length: true, Doc: "standard deviation of the blur"},
		{Name: "amount", Unit: "1", Min: "0", Max: "10", Doc: "share of the difference that is added"},
		{Name: "quiet", Unit: "1", Min: "0", Max: "1", Optional: true, Doc: "differences up to this share of full scale are left alone; without it, what lies below the noise is damped away from edges"},
		{Name: "halo", Unit: "1", Min: "0", Max: "1", Default: "1/10", Doc: "what sharpening may lighten or darken a pixel by comes near to this share of full scale"},
	},
	Reduce: unlessFine,
}, newSharpen)

// unlessFine leaves a step out of a reduced plan whose radius is finer than a third of
// a reduced pixel: it would not be seen.
func unlessFine(_ Params, a Args, r Reduction) (Args, bool, error) {
	radius, _ := a.Get("radius")
	return a, !r.smaller() || ratOf(radius).Cmp(big.NewRat(1, 3)) >= 0, nil
}

// sharpenNoise is n.
const sharpenNoise = 65535.0 / 128

type sharpenParams struct {
	Radius      *big.Rat
	Amount      float32
	Quiet, Halo *big.Rat
	Covers      string
}

type sharpen struct {
	lightStep
	taps         []float32 // from the outermost to the centre
	near         int       // how far gx and gy reach
	damped       bool      // no quiet was given
	quiet        float32   // or the fourth power of n
	amount, half float32   // half of halo
}

func newSharpen(a sharpenParams, in []Pic, _ Env) (Step, error) {
	l, err := newLightStep("sharpen", a.Covers, in)
	s := &sharpen{lightStep: l, taps: gaussian(a.Radius), amount: a.Amount}
	s.near = max(1, halfUp(a.Radius))
	s.far = s.reach() + s.near
	if s.damped = a.Quiet == nil; s.damped {
		s.quiet = sharpenNoise * sharpenNoise * sharpenNoise * sharpenNoise
	} else {
		s.quiet, _ = times(a.Quiet, big.NewRat(65535, 1)).Float32()
	}
	s.half, _ = times(a.Halo, big.NewRat(65535, 2)).Float32()
	return s, err
}

// reach is how far the blur reads.
func (s *sharpen) reach() int { return len(s.taps) - 1 }

func (s *sharpen) Memory() (worker, shared int64) {
	return 4*int64(2*s.far+3)*int64(s.pic.W) + s.mask.memory(), 0
}

func (s *sharpen) Part(r image.Rectangle) (Step, int) {
	p := *s
	var left int
	p.reaching, left = s.part(r)
	return &p, left
}

func (s *sharpen) Worker() Worker {
	return &sharpenWorker{s, s.worker(), newBlur(s.taps, s.near, s.pic, s.level)}
}

type sharpenWorker struct {
	*sharpen
	lightWorker
	blur *window // B
}

func (k *sharpenWorker) Row(dst []uint16, y int, in []Rows) {
	var blur, up, down []float32
	p := k.near
	k.scale(dst, y, in, func() {
		up, down = k.blur.row(y-p, in[0]), k.blur.row(y+p, in[0])
		blur = k.blur.row(y, in[0])
	}, func(e, luma, most []float32, x int) {
		if k.damped {
			dampRow(e, luma, [5][]float32{blur[x+p:], blur[x:], blur[x+2*p:], up[x+p:], down[x+p:]}, k.quiet)
		} else {
			quietRow(e, luma, blur[x+p:], k.quiet)
		}
		kneeRow(e, luma, most, k.amount, k.half)
	})
}
