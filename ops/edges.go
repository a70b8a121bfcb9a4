package ops

import (
	"image"
	"math"
	"math/big"

	"platemark/ops/exact"
)

// edgesV1 is the plane of a picture's edges, 65535 on strong ones. It is read as a
// mask.
var edgesV1 = operation(Operation{
	Name:    "edges",
	Version: 1,
	Doc: `A plane of one channel: 65535 f(s/over - 1), rounded half up, f(t) = 3t^2 - 2t^3 of t
held to 0..1. s is the height of the step at a pixel, 1 for 100 L* (of luminance, CIE
15): with B the lightness blurred as sharpen blurs, by a standard deviation of radius (at
least 1/4 px), sqrt(gx^2 + gy^2) / (w0 + w1), gx the difference of B between the pixels
to the right and to the left, gy that of those below and above, w0 and w1 the blur's
weights of the middle and beside it: a straight step gives its height. The slope of a
blurred picture after J. Canny (IEEE Trans. PAMI 8(6), 1986), at one scale's measure (T.
Lindeberg, 1998). Input: the picture.`,
	Takes: 1,
	Nanos: 8,
	Params: Params{
		{Name: "radius", Unit: "px", Min: "0", Above: true, Max: "600", Length: true, Doc: "standard deviation of the blur"},
		{Name: "over", Unit: "1", Min: "1/100", Max: "1", Doc: "steps of this share of 100 L* begin to count; twice as high ones count whole"},
	},
}, newEdges)

type edgesParams struct{ Radius, Over *big.Rat }

type edges struct {
	reaching // its picture is the input
	taps     []float32
	light    *lightness
	scale    float32 // from a difference of B to s/over
}

func newEdges(a edgesParams, in []Pic, _ Env) (Step, error) {
	l, err := newLightness("edges", in[0])
	if err != nil {
		return nil, err
	}
	if least := big.NewRat(1, 4); a.Radius.Cmp(least) < 0 {
		a.Radius = least
	}
	taps := gaussian(a.Radius)
	n := len(taps)
	s := &edges{reaching: reaching{pic: in[0], far: n}, taps: taps, light: l}
	s.scale = float32(1 / (float64(100*flt(a.Over)) * (float64(s.taps[n-1]) + float64(s.taps[n-2]))))
	return s, nil
}

func (s *edges) Pic() Pic { return Pic{W: s.pic.W, H: s.pic.H, C: 1} }

func (s *edges) Memory() (worker, shared int64) {
	return 4 * int64(2*s.far+4) * int64(s.pic.W), 0
}

// Part works on the columns around; those at the ends that aren't the picture's come
// out wrong, and lie outside r.
func (s *edges) Part(r image.Rectangle) (Step, int) {
	p := *s
	var left int
	p.reaching, left = s.part(r)
	return &p, left
}

func (s *edges) Worker() Worker { return &edgesWorker{s, newBlur(s.taps, 1, s.pic, s.light.row)} }

type edgesWorker struct {
	*edges
	blur *window
}

func (k *edgesWorker) Row(dst []uint16, y int, in []Rows) {
	up, down := k.blur.row(y-1, in[0]), k.blur.row(y+1, in[0])
	row := k.blur.row(y, in[0])
	least := 0.999 / float32(k.scale*k.scale)
	for x := range dst[:k.pic.W] {
		gx, gy := row[x+2]-row[x], down[x+1]-up[x+1]
		d := float32(gx*gx) + float32(gy*gy)
		if d < least {
			dst[x] = 0
			continue
		}
		t := float64(math.Sqrt(float64(d))*float64(k.scale)) - 1
		dst[x] = exact.RoundU16(float64(65535 * fade(t)))
	}
}
