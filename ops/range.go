package ops

import (
	"fmt"
	"math"
	"math/big"

	"platemark/ops/exact"
)

// rangeV1 is the plane of what lies in a range of lightness, chroma or hue, 65535
// for all in it. It is read as a mask.
var rangeV1 = operation(Operation{
	Name:    "range",
	Version: 1,
	Doc: `A plane of one channel: 65535 f(t), rounded half up, f(t) = 3t^2 - 2t^3 of t held to
0..1. Of lightness (L* of luminance, CIE 15) and chroma (OKLab's, B. Ottosson 2020, 1
for a quarter), t = 1 - d/soft where the value lies d outside from..to; without soft 1
inside and 0 outside. Of hue (OKLab's, in degrees from from upwards to to, through 360
where to is less), t = 1 - sin d / sin soft, d the angle to the nearer end, for d below
90, else 0; times f(C / 0.02), C OKLab's chroma: greys have no hue. Input: the picture.`,
	Takes: 1,
	Nanos: 25,
	Params: Params{
		{Name: "of", Unit: "word", Words: []string{"lightness", "chroma", "hue"}, Doc: "what the range is of"},
		{Name: "from", Unit: "L*, C, deg", Min: "0", Max: "360", Doc: "where it begins: L* to 100, a share of chroma to 2, or degrees"},
		{Name: "to", Unit: "L*, C, deg", Min: "0", Max: "360", Doc: "where it ends, likewise"},
		{Name: "soft", Unit: "L*, C, deg", Min: "0", Max: "100", Default: "0", Doc: "how far outside it fades, likewise; of hue up to 90 degrees"},
	},
}, newRange)

type rangeParams struct {
	Of             string
	From, To, Soft *big.Rat
}

// rangeChroma is OKLab's chroma of 1, rangeGrey that from which on a hue counts whole.
const (
	rangeChroma = 0.25
	rangeGrey   = 0.02
)

func newRange(a rangeParams, in []Pic, _ Env) (Step, error) {
	p := in[0]
	l, err := newLightness("range", p)
	if err != nil {
		return nil, err
	}
	if p.C == 1 && a.Of != "lightness" {
		return nil, fmt.Errorf("range: this picture is grey and has no %s; take a range of lightness", a.Of)
	}
	most := map[string][2]*big.Rat{"lightness": {big.NewRat(100, 1), big.NewRat(100, 1)}, "chroma": {big.NewRat(2, 1), big.NewRat(2, 1)}, "hue": {big.NewRat(360, 1), big.NewRat(90, 1)}}[a.Of]
	if a.From.Cmp(most[0]) > 0 || a.To.Cmp(most[0]) > 0 || a.Soft.Cmp(most[1]) > 0 {
		return nil, fmt.Errorf("range: of %s from and to are at most %s, soft at most %s", a.Of, decimal(most[0]), decimal(most[1]))
	}
	if a.Of != "hue" && a.From.Cmp(a.To) > 0 {
		return nil, fmt.Errorf("range: to is %s, less than from", decimal(a.To))
	}
	row := (&valueRange{flt(a.From), flt(a.To), flt(a.Soft)}).row
	var value func(dst []float32, src []uint16)
	switch a.Of {
	case "lightness":
		value = l.row
	case "chroma":
		value = l.chroma
	case "hue":
		h := newHueArc(a.From, a.To, a.Soft)
		return planeOf(p, func(dst, src []uint16) {
			for i := range dst {
				dst[i] = exact.RoundU16(float64(65535 * l.hueShare(src[3*i:], &h)))
			}
		}), nil
	}
	return planeOf(p, func(dst, src []uint16) {
		var v [pixelBlock]float32
		for x := 0; x < len(dst); x += pixelBlock {
			n := min(pixelBlock, len(dst)-x)
			value(v[:n], src[x*p.C:(x+n)*p.C])
			row(dst[x:x+n], v[:n])
		}
	}), nil
}

// valueRange is a range on a line.
type valueRange struct{ from, to, soft float64 }

func (r *valueRange) row(dst []uint16, v []float32) {
	for i, x := range v {
		d := max(r.from-float64(x), float64(x)-r.to)
		switch {
		case d <= 0:
			dst[i] = 65535
		case d >= r.soft:
			dst[i] = 0
		default:
			dst[i] = exact.RoundU16(float64(65535 * fade(1-d/r.soft)))
		}
	}
}

// chroma sets dst to the chroma of a row, 1 for rangeChroma of OKLab's.
func (l *lightness) chroma(dst []float32, src []uint16) {
	for i := range dst {
		a, b := l.plane(src[3*i:])
		dst[i] = float32(math.Sqrt(float64(a*a)+float64(b*b)) * (1 / rangeChroma))
	}
}

// plane is OKLab's a and b of a pixel.
func (l *lightness) plane(p []uint16) (a, b float64) {
	p = p[:3]
	_, u, v := l.space.split(l.tones[0][p[0]], l.tones[1][p[1]], l.tones[2][p[2]])
	return okPlane(u, v)
}

// hueArc is the hues from one upwards to another.
type hueArc struct {
	from, to [2]float64 // cosine and sine of both ends
	wide     bool       // more than half of the circle
	all      bool
	soft     float64 // 1 over the sine of where it has faded; 0 where it doesn't
}

func newHueArc(from, to, soft *big.Rat) hueArc {
	end := func(r *big.Rat) [2]float64 {
		half := exact.Rat(r).Quo(exact.Whole(180))
		return [2]float64{exact.Sinpi(half.Add(exact.Frac(1, 2))).Float64(), exact.Sinpi(half).Float64()}
	}
	turn := new(big.Rat).Sub(to, from)
	if turn.Sign() < 0 {
		turn.Add(turn, big.NewRat(360, 1))
	}
	h := hueArc{from: end(from), to: end(to), wide: turn.Cmp(big.NewRat(180, 1)) > 0, all: turn.Cmp(big.NewRat(360, 1)) == 0}
	if soft != nil && soft.Sign() > 0 {
		h.soft = 1 / end(soft)[1]
	}
	return h
}

// at is how much of the colour a, b of chroma c lies in the arc, 0..1.
func (h *hueArc) at(a, b, c float64) float64 {
	if h.all {
		return 1
	}
	// How far it lies beyond each end, as a sine times c.
	before := float64(b*h.from[0]) - float64(a*h.from[1])
	after := float64(a*h.to[1]) - float64(b*h.to[0])
	nearFrom, nearTo := float64(a*h.from[0])+float64(b*h.from[1]) > 0, float64(a*h.to[0])+float64(b*h.to[1]) > 0
	switch in := before >= 0; {
	case h.wide && (in || after >= 0), in && after >= 0 && (nearFrom || nearTo):
		return 1
	case h.soft == 0:
		return 0
	}
	most := 0.0
	if before <= 0 && nearFrom {
		most = 1 + float64(before/c*h.soft)
	}
	if after <= 0 && nearTo {
		most = max(most, 1+float64(after/c*h.soft))
	}
	return fade(most)
}

// hueShare is how much of a pixel lies in the arc, 0..1; greys have no hue.
func (l *lightness) hueShare(p []uint16, h *hueArc) float64 {
	a, b := l.plane(p)
	c := math.Sqrt(float64(a*a) + float64(b*b))
	if c == 0 {
		return 0
	}
	return fade(float64(c*(1/rangeGrey))) * h.at(a, b, c)
}

// HuePlane gives OKLab's a and b of the codes of a pixel, as `range` and `fringe`
// know its hue; false for a picture that has none for them, grey or by tables.
func HuePlane(p Pic) (func(codes []uint16) (a, b float64), bool) {
	l, err := newLightness("hue", p)
	if err != nil || l.space == nil {
		return nil, false
	}
	return l.plane, true
}

// planeOf is the step whose samples come from a pixel of p each.
func planeOf(p Pic, row func(dst, src []uint16)) Step {
	return &pixelwise{Pic{W: p.W, H: p.H, C: 1}, row}
}
