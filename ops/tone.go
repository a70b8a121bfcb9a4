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
// left every sample stays. Light comes first:
//
//  1. exposure: light is multiplied by one factor s(N)/N, N the amount of light
//     (exposeBy) and s toneExposure's curve, so that the light's colour stays and 1
//     stop doubles; where that takes a channel to m above full, times
//     (1 + (1 - 1/m)/8)/m.
//  2. curve: a monotone cubic (newCubic) on L*, held to 0..100.
//  3. contrast: toneContrast's curve on L*.
//  4. local: L* + limit(local (L* - around)), around toneAround's surroundings of
//     L* after step 3, and limit toneLimit.
//
// Where 2 to 4 take L* from L to M, the chroma is multiplied by (M + 1)/(L + 1).
// Then colour:
//
//  5. warmth: light + w (toneWarmth's light - light), w 1 up to L* 85 and falling
//     to 0 at 100 (toneWarm). Greys take the colour of the other daylight and keep
//     their lightness.
//  6. chroma: the chroma times 1 + chroma.
//  7. muted: the chroma times 1 + muted / (1 + (C/0.08)^2), C OKLab's.
//
// L* is CIELAB's (CIE 15:2004) of the luminance, chroma and hue are those of
// hueSpace: hues stay. What a step drives to the edge of the space loses chroma
// at its lightness and hue (hueSpace.within, held against where the pixel lay at
// first), and so comes to white as it comes to the lightness of white. Equal light in all channels is
// neutral exactly and, without warmth, stays equal. Through a mask m the result is
// in + m (tone(in) - in) on encoded values in float32. Light is float64; one
// rounding to codes, halves up, and one more through a mask.
var toneV1 = operation(Operation{
	Name:    "tone",
	Version: 1,
	Doc: `Changes tones and colours, in this order: exposure multiplies linear light by
2^stops with a hyperbolic shoulder above 1/2, on an amount of light between luminance
and the largest channel, that reaches white where white was; curve and contrast (slope 1 + contrast at L* 50) are monotone cubics in
L* (Fritsch and Carlson 1980); local adds local times L* less its surroundings, a
guided filter (He, Sun and Tang 2010), held back towards 12 and towards black and
white; chroma follows L*; warmth is a linear Bradford adaptation between daylights
(CIE 15) around 5000 K, greys keeping their lightness, fading from L* 85 to white;
chroma scales the chroma by 1 + chroma and muted by 1 + muted / (1 + (C/0.08)^2).
Chroma and hue are OKLab's (Ottosson 2020), lightness is L* of luminance; colours
that come near the edge of the space lose chroma. Inputs: picture, perhaps a mask
m: in + m (tone - in), encoded. A grey picture takes no warmth, chroma or muted.`,
	Takes:  1,
	Masked: true,
	Nanos:  25,
	Params: Params{
		{Name: "exposure", Unit: "stops", Min: "-5", Max: "5", Optional: true, Doc: "more or less light; 1 doubles it"},
		{Name: "warmth", Unit: "mired", Min: "-50", Max: "50", Optional: true, Doc: "shift of the light's colour; above 0 is warmer"},
		{Name: "contrast", Unit: "1", Min: "-1/2", Max: "1", Optional: true, Doc: "how much steeper L* gets at 50, as a share"},
		{Name: "curve", Unit: "lightness", Min: "0", Max: "100", Optional: true, Doc: "points: L* before and after, again and again, 2 to 32 points from dark to light"},
		{Name: "local", Unit: "1", Min: "-1", Max: "2", Optional: true, Doc: "local contrast: share of the difference from the surroundings that is added"},
		{Name: "local-radius", Unit: "px", Min: "0", Above: true, Max: "6000", Optional: true, Length: true, Doc: "how far the surroundings reach, as a standard deviation; needed where local isn't 0"},
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

// toneMuted is OKLab's chroma at which muted has half its effect: about C* 30.
const (
	toneMuted  = 0.08
	mutedScale = 1 / (toneMuted * toneMuted)
)

// tone is the bound operation.
type tone struct {
	pic      Pic
	plain    bool // nothing changes
	exposure *toneExposure
	warmth   *[3][3]float64
	curves   []*cubic // of lightness, in order
	local    float64
	around   *toneAround // nil without local contrast
	skip     int         // columns of the input before the result's
	chroma   float64     // what the chroma is multiplied by
	muted    float64
	light    bool // anything acts on lightness but exposure
	space    *hueSpace
	mask     *sampler // nil without

	grey func() *toneGrey
}

func newTone(a toneParams, in []Pic, _ Env) (Step, error) {
	makeRoots()
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
		if s.space, ok = newHueSpace(p.Profile); !ok {
			return nil, fmt.Errorf("tone: the profile %q has no red, green and blue of its own", p.Profile.Description())
		}
	}
	if err := s.read(a); err != nil {
		return nil, fmt.Errorf("tone: %w", err)
	}
	s.light = s.curves != nil || s.local != 0
	s.plain = !s.light && s.exposure == nil && s.warmth == nil && s.chroma == 1 && s.muted == 0
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
		if s.pic.C == 3 { // of a grey picture it is refused
			s.warmth = s.space.of(toneWarmth(a.Warmth))
		}
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
	if set(a.Contrast) {
		f, _ := a.Contrast.Float64()
		s.curves = append(s.curves, toneContrast(f))
	}
	if set(a.Local) {
		if a.LocalRadius == nil {
			return fmt.Errorf("local needs local radius, the radius of what counts as the surroundings")
		}
		s.local, _ = a.Local.Float64()
		s.around = newToneAround(s.pic.W, s.pic.H, a.LocalRadius)
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
	if s.around == nil {
		return y, y + 1
	}
	return s.around.window(y)
}

func (s *tone) Memory() (worker, shared int64) {
	worker = s.mask.memory()
	if s.around != nil {
		w, all := s.around.memory()
		worker, shared = worker+w, all
	}
	return worker, shared
}

// ForRun is the step with surroundings of its own, which all workers share.
func (s *tone) ForRun() Step {
	if s.around == nil || s.around.f < sharedAround {
		return s
	}
	p, a := *s, *s.around
	a.once, a.rows = make([]sync.Once, a.bh), make([][]int32, a.bh)
	p.around = &a
	return &p
}

func (s *tone) Needs(in int, r image.Rectangle) image.Rectangle {
	switch {
	case in == 1:
		return s.mask.needs(r)
	case s.around == nil:
		return r
	}
	n := sameColumns(s, in, r)
	n.Min.X, n.Max.X = s.around.columns(r.Min.X, r.Max.X)
	return n
}

func (s *tone) Part(r image.Rectangle) (Step, int) {
	p := *s
	p.pic.W, p.mask = r.Dx(), s.mask.part(r)
	if s.around != nil {
		lo, _ := s.around.columns(r.Min.X, r.Max.X)
		p.around, p.skip = s.around.part(r.Min.X, r.Max.X), r.Min.X-lo
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

// toneFoot is what is added to L* before chroma follows it, so that the chroma of
// near blacks doesn't run away where they are lifted.
const toneFoot = 1

// exposeBy is what light of luminance y is multiplied by. The amount of light that
// the shoulder bends is, with top the largest channel and d = (top - y)/top,
//
//	N = top (1 - d^3)
//
// A grey and a dull colour have their luminance, a light and full one, such as
// yellow, nearly its largest channel: so where one runs into the other, the full one
// isn't overtaken. A colour that would pass the space's bound m times over comes back
// to it, but for an eighth of the share 1 - 1/m that it lay over: so the lighter of
// two still is lighter, and led towards white (hueSpace.within), but a full colour
// keeps nearly all of its chroma. Our own choice.
func (s *tone) exposeBy(r, g, b, y float64) float64 {
	top := max(r, g, b)
	if !(top > 0) {
		return s.exposure.gain
	}
	d := (top - y) / top
	k := s.exposure.factor(float64(top * (1 - float64(float64(d*d)*d))))
	if m := float64(top * k); m > 1 {
		k = float64(k*(1+float64((1-1/m)*0.125))) / m
	}
	return k
}

// localContrast gives lightness l, after curves, whose surroundings are a l + b.
func (s *tone) localContrast(l, a, b float64) float64 {
	return toneLimit(l, float64(s.local*((l-float64(a*l))-b)))
}

// point takes the light of one pixel to its light after all steps; its surroundings
// are aroundA L* + aroundB, used where local isn't 0.
func (s *tone) point(r, g, b, aroundA, aroundB float64) (float64, float64, float64) {
	h := s.space
	r0, g0, b0 := r, g, b
	y := h.luminance(r, g, b)
	y0 := y
	if s.exposure != nil {
		k := s.exposeBy(r, g, b, y)
		r, g, b, y = float64(r*k), float64(g*k), float64(b*k), float64(y*k)
	}
	k := s.chroma
	if s.light || k != 1 || s.muted != 0 || s.warmth != nil {
		f := labF(y)
		root := rootOf(y, f)
		y1, root1, k1 := y, root, 1.0
		if s.light {
			l := float64(116*f) - 16
			l1 := s.lightness(l)
			if s.local != 0 {
				l1 = s.localContrast(l1, aroundA, aroundB)
			}
			k1 = (l1 + toneFoot) / (l + toneFoot)
			f = (l1 + 16) / 116
			y1 = colour.LabInv(f)
			root1 = rootOf(y1, f)
		}
		if s.warmth != nil {
			if s.light {
				line := h.line(r, g, b, y, root)
				r, g, b = h.at(&line, y1, root1, k1)
			}
			r, g, b = toneWarm(s.warmth, float64(116*f)-16, r, g, b)
			y = max(0, min(1, h.luminance(r, g, b)))
			root = cubeRoot(y)
			y1, root1, k1 = y, root, 1
		}
		if k = float64(k * k1); s.muted != 0 || k != 1 || y1 != y {
			line := h.line(r, g, b, y, root)
			if s.muted != 0 {
				c := float64(float64(float64(k*k)*okChroma2(line.u, line.v)) * mutedScale)
				k = float64(k * (1 + s.muted/(1+c)))
			}
			r, g, b = h.at(&line, y1, root1, k)
			y = y1
		}
	}
	if wellInside(r, g, b, y) {
		return r, g, b
	}
	return h.within(r, g, b, y, gamutEdge(r0, g0, b0, y0))
}

// level is L* of one pixel's light before local contrast.
func (s *tone) level(r, g, b float64) float64 {
	y := s.space.luminance(r, g, b)
	if s.exposure != nil {
		y = float64(y * s.exposeBy(r, g, b, y))
	}
	return s.lightness(labOfLight(y))
}
