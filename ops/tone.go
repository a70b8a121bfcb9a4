package ops

import (
	"fmt"
	"image"
	"math/big"
	"sync"

	"platemark/ops/colour"
)

// toneV1 changes tones and colours, all of a picture or through a mask.
//
// Each parameter acts once, in this order whatever order they are written in;
// one that is 0 (a curve that is straight) is left out altogether, and with none
// left every sample stays.
//
//  1. exposure: red, green and blue light are multiplied by one factor s(m)/m,
//     m the largest of the three and s toneExposure's curve, so that hue and
//     saturation stay, 1 stop doubles, and nothing leaves the space.
//  2. warmth: toneWarmth's matrix on X, Y and Z. Greys take the colour of the
//     other daylight and keep their lightness; white stays white, by 8.
//  3. contrast: toneContrast's curve on L*.
//  4. curve: a monotone cubic (newCubic) on L*, held to 0..100. Chroma and hue
//     stay as L* changes.
//  5. local: L* + limit(local (L* - blur)), blur toneBlur's (local-radius its
//     standard deviation) of L* after step 4, and limit toneLimit.
//  6. chroma: a* and b* times 1 + chroma.
//  7. muted: a* and b* times 1 + muted / (1 + (C*/30)^2).
//  8. colours outside the space are brought back by less chroma at the same
//     lightness and hue (toneSpace.light).
//
// L*, a* and b* are CIELAB (CIE 15:2004) with X, Y and Z as shares of the
// picture's own white, so that equal light in all channels is neutral exactly
// and, without warmth, stays equal. Through a mask m the result is
// in + m (tone(in) - in) on encoded values in float32. Light is float64; one
// rounding to codes, halves up, and one more through a mask.
var toneV1 = operation(Operation{
	Name:    "tone",
	Version: 1,
	Doc: `Changes tones and colours, in this order: exposure multiplies linear light by
2^stops with a hyperbolic shoulder above 1/2 that reaches white where white was;
warmth is a linear Bradford adaptation between daylights (CIE 15) around 5000 K,
greys keeping their lightness; contrast (slope 1 + contrast at L* 50) and curve are
monotone cubics in L* (Fritsch and Carlson 1980); local adds
local times L* less its Gaussian blur, held back towards 12 and towards black and
white; chroma scales C* by 1 + chroma and muted by 1 + muted / (1 + (C*/30)^2) with L*
and hue kept. CIELAB relative to the picture's white; colours outside the space
lose chroma at their lightness and hue. Inputs: picture, perhaps a mask m: in + m
(tone - in), encoded. A grey picture takes no warmth, chroma or muted.`,
	Takes:  1,
	Masked: true,
	Nanos:  100,
	Params: Params{
		{Name: "exposure", Unit: "stops", Min: "-5", Max: "5", Optional: true, Doc: "more or less light; 1 doubles it"},
		{Name: "warmth", Unit: "mired", Min: "-50", Max: "50", Optional: true, Doc: "shift of the light's colour; above 0 is warmer"},
		{Name: "contrast", Unit: "1", Min: "-1/2", Max: "1", Optional: true, Doc: "how much steeper L* gets at 50, as a share"},
		{Name: "curve", Unit: "lightness", Min: "0", Max: "100", Optional: true, Doc: "points: L* before and after, again and again, 2 to 32 points from dark to light"},
		{Name: "local", Unit: "1", Min: "-1", Max: "2", Optional: true, Doc: "local contrast: share of the difference from the surroundings that is added"},
		{Name: "local-radius", Unit: "px", Min: "0", Above: true, Max: "6000", Optional: true, Length: true, Doc: "standard deviation of the surroundings' blur; needed where local isn't 0"},
		{Name: "chroma", Unit: "1", Min: "-1", Max: "1", Optional: true, Doc: "share of chroma added; -1 leaves grey"},
		{Name: "muted", Unit: "1", Min: "-1", Max: "1", Optional: true, Doc: "share of chroma added, most for weak colours"},
		covers,
	},
	Reduce: func(_ Params, a Args, _ Reduction) (Args, bool, error) {
		for i := range a {
			if a[i].Name == "local-radius" && ratOf(a[i].Value).Cmp(big.NewRat(1, 1)) < 0 {
				a[i].Value = "1"
			}
		}
		return a, true, nil
	},
}, newTone)

type toneParams struct {
	Exposure, Warmth, Contrast *big.Rat
	Curve                      []*big.Rat
	Local, LocalRadius         *big.Rat
	Chroma, Muted              *big.Rat
	Covers                     string
}

// toneMuted is the chroma at which muted has half its effect.
const toneMuted = 30

// tone is the bound operation.
type tone struct {
	pic      Pic
	plain    bool // nothing changes
	exposure *toneExposure
	warmth   *[3][3]float64
	curves   []*cubic // of lightness, in order
	local    float64
	blur     *toneBlur // nil without local contrast
	skip     int       // columns of the input before the result's
	chroma   float64   // what a* and b* are multiplied by
	muted    float64
	inLab    bool // anything but exposure acts
	space    *toneSpace
	mask     *sampler // nil without

	grey func() *toneGrey
}

func newTone(a toneParams, in []Pic, _ Env) (Step, error) {
	s := &tone{pic: in[0], chroma: 1}
	s.grey = sync.OnceValue(s.greyTables)
	p := s.pic
	if err := curvesOnly("tone", p); err != nil {
		return nil, err
	}
	if p.C == 1 {
		for i, v := range []*big.Rat{a.Warmth, a.Chroma, a.Muted} {
			if v != nil {
				return nil, fmt.Errorf("tone: this picture is grey, and %s changes colours; leave it out, or tint the picture first", []string{"warmth", "chroma", "muted"}[i])
			}
		}
	} else {
		var ok bool
		if s.space, ok = newToneSpace(p.Profile); !ok {
			return nil, fmt.Errorf("tone: the profile %q has no red, green and blue of its own", p.Profile.Description())
		}
	}
	if err := s.read(a); err != nil {
		return nil, fmt.Errorf("tone: %w", err)
	}
	s.inLab = s.warmth != nil || s.curves != nil || s.local != 0 || s.chroma != 1 || s.muted != 0
	s.plain = !s.inLab && s.exposure == nil
	var err error
	if s.mask, err = maskFor(a.Covers, in[1:], p); err != nil {
		return nil, fmt.Errorf("tone: %w", err)
	}
	return s, nil
}

// read binds the arguments.
func (s *tone) read(a toneParams) error {
	set := func(r *big.Rat) bool { return r != nil && r.Sign() != 0 }
	if set(a.Exposure) {
		e := newToneExposure(a.Exposure)
		s.exposure = &e
	}
	if set(a.Warmth) {
		s.warmth = toneWarmth(a.Warmth)
	}
	if set(a.Contrast) {
		f, _ := a.Contrast.Float64()
		s.curves = append(s.curves, toneContrast(f))
	}
	if a.Curve != nil {
		c, err := newToneCurve(a.Curve)
		if err != nil {
			return err
		}
		if !c.straight() {
			s.curves = append(s.curves, c)
		}
	}
	if set(a.Local) {
		if a.LocalRadius == nil {
			return fmt.Errorf("local needs local radius, the radius of what counts as the surroundings")
		}
		s.local, _ = a.Local.Float64()
		s.blur = newToneBlur(s.pic.W, s.pic.H, a.LocalRadius)
	}
	if set(a.Chroma) {
		s.chroma, _ = new(big.Rat).Add(a.Chroma, big.NewRat(1, 1)).Float64()
	}
	if set(a.Muted) {
		s.muted, _ = a.Muted.Float64()
	}
	return nil
}

func (s *tone) Pic() Pic { return s.pic }

func (s *tone) Window(in, y int) (lo, hi int) {
	if in == 1 {
		return s.mask.window(y)
	}
	if s.blur == nil {
		return y, y + 1
	}
	return s.blur.window(y)
}

func (s *tone) Memory() (worker, shared int64) {
	worker = s.mask.memory()
	if s.blur != nil {
		w, all := s.blur.memory()
		worker, shared = worker+w, all
	}
	return worker, shared
}

// ForRun is the step with a blur of its own, which all workers share.
func (s *tone) ForRun() Step {
	if s.blur == nil || s.blur.f < sharedBlur {
		return s
	}
	p, b := *s, *s.blur
	b.once, b.rows = make([]sync.Once, b.bh), make([][]float32, b.bh)
	p.blur = &b
	return &p
}

func (s *tone) Needs(in int, r image.Rectangle) image.Rectangle {
	switch {
	case in == 1:
		return s.mask.needs(r)
	case s.blur == nil:
		return r
	}
	n := sameColumns(s, in, r)
	n.Min.X, n.Max.X = s.blur.columns(r.Min.X, r.Max.X)
	return n
}

func (s *tone) Part(r image.Rectangle) (Step, int) {
	p := *s
	p.pic.W, p.mask = r.Dx(), s.mask.part(r)
	if s.blur != nil {
		lo, _ := s.blur.columns(r.Min.X, r.Max.X)
		p.blur, p.skip = s.blur.part(r.Min.X, r.Max.X), r.Min.X-lo
	}
	return &p, r.Min.X
}

// lightness puts L* through the curves.
func (s *tone) lightness(l float64) float64 {
	for _, c := range s.curves {
		l = max(0, min(100, c.at(l)))
	}
	return l
}

// toneHalo is the most, in L*, that local contrast comes near to adding.
const toneHalo = 12

// toneLimit is L* after x is added to l, held back smoothly: the change is
// x / (1 + |x|/12 + |x|/room), room what there is from l to white (x > 0) or to
// black. It stays below 12 and inside 0..100, and the result rises with l
// where x is local (l - blur) and local from -1 up.
func toneLimit(l, x float64) float64 {
	switch {
	case x > 0 && l < 100:
		return l + x/((1+x/toneHalo)+x/(100-l))
	case x < 0 && l > 0:
		return l + x/((1-x/toneHalo)-x/l)
	}
	return l
}

// point takes the light of one pixel to its light after all steps; blur is the
// surroundings' L*, used where local isn't 0.
func (s *tone) point(r, g, b, blur float64) (float64, float64, float64) {
	r, g, b = s.expose(r, g, b)
	if !s.inLab {
		return r, g, b
	}
	x, y, z := s.space.shares(r, g, b)
	if s.warmth != nil {
		x, y, z = warm(s.warmth, x, y, z)
	}
	fx, fy, fz := labF(x), labF(y), labF(z)
	dx, dz := fx-fy, fy-fz
	fy = max(colour.LabBase, min(1, fy))
	if s.curves != nil || s.local != 0 {
		l := s.lightness(float64(116*fy) - 16)
		if s.local != 0 {
			l = toneLimit(l, float64(s.local*(l-blur)))
		}
		fy = (l + 16) / 116
	}
	if s.chroma != 1 {
		dx, dz = float64(dx*s.chroma), float64(dz*s.chroma)
	}
	if s.muted != 0 {
		p, q := float64(dx*(500.0/toneMuted)), float64(dz*(200.0/toneMuted))
		k := 1 + s.muted/(1+(float64(p*p)+float64(q*q)))
		dx, dz = float64(dx*k), float64(dz*k)
	}
	return s.space.light(fy, dx, dz)
}

func (s *tone) expose(r, g, b float64) (float64, float64, float64) {
	if s.exposure == nil {
		return r, g, b
	}
	k := s.exposure.factor(max(r, g, b))
	return float64(r * k), float64(g * k), float64(b * k)
}

// level is L* of one pixel's light before local contrast.
func (s *tone) level(r, g, b float64) float64 {
	r, g, b = s.expose(r, g, b)
	x, y, z := s.space.shares(r, g, b)
	if s.warmth != nil {
		_, y, _ = warm(s.warmth, x, y, z)
	}
	fy := max(colour.LabBase, min(1, labF(y)))
	return s.lightness(float64(116*fy) - 16)
}
