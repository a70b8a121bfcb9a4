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
var toneV1 = Operation{
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
	Params: toneParams,
	New:    newTone,
}

var toneParams = []Param{
	{Name: "exposure", Unit: "stops", Min: "-5", Max: "5", Default: "0", Doc: "more or less light; 1 doubles it"},
	{Name: "warmth", Unit: "mired", Min: "-50", Max: "50", Default: "0", Doc: "shift of the light's colour; above 0 is warmer"},
	{Name: "contrast", Unit: "1", Min: "-1/2", Max: "1", Default: "0", Doc: "how much steeper L* gets at 50, as a share"},
	{Name: "curve", Unit: "lightness", Min: "0", Max: "100", Default: "0 0 100 100", Doc: "points: L* before and after, again and again, 2 to 32 points from dark to light"},
	{Name: "local", Unit: "1", Min: "-1", Max: "2", Default: "0", Doc: "local contrast: share of the difference from the surroundings that is added"},
	{Name: "local-radius", Unit: "px", Min: "1/2", Max: "400", Doc: "standard deviation of the surroundings' blur; needed where local isn't 0"},
	{Name: "chroma", Unit: "1", Min: "-1", Max: "1", Default: "0", Doc: "share of chroma added; -1 leaves grey"},
	{Name: "muted", Unit: "1", Min: "-1", Max: "1", Default: "0", Doc: "share of chroma added, most for weak colours"},
	{Name: "covers", Unit: "px", Doc: "left, top, right and bottom of what the picture shows, in px of the mask's frame; the whole frame if not given"},
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

func newTone(a Args, in []Pic, env Env) (Step, error) {
	if len(in) != 1 && len(in) != 2 {
		return nil, fmt.Errorf("tone takes 1 picture and perhaps a mask, got %d inputs", len(in))
	}
	s := &tone{pic: in[0], chroma: 1}
	s.grey = sync.OnceValue(s.greyTables)
	p := s.pic
	if err := curvesOnly("tone", p); err != nil {
		return nil, err
	}
	if p.C == 1 {
		for _, name := range []string{"warmth", "chroma", "muted"} {
			if _, ok := a.Get(name); ok {
				return nil, fmt.Errorf("tone: this picture is grey, and %s changes colours; leave it out, or tint the picture first", name)
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
	if len(in) == 2 {
		var err error
		if s.mask, err = newSampler(a.Word("covers", ""), in[1], p); err != nil {
			return nil, fmt.Errorf("tone: %w", err)
		}
	}
	return s, nil
}

// curvesOnly refuses pictures that aren't grey or RGB by colorants and curves.
func curvesOnly(what string, p Pic) error {
	switch {
	case p.C != 1 && p.C != 3 || p.W < 1 || p.H < 1:
		return fmt.Errorf("%s takes grey or RGB, this picture is %d x %d px with %d channels", what, p.W, p.H, p.C)
	case p.Profile == nil:
		return fmt.Errorf("%s needs the picture's profile to know its light, and this picture has none", what)
	case p.C != p.Profile.Channels():
		return fmt.Errorf("%s was given a picture of %d channels whose profile has %d", what, p.C, p.Profile.Channels())
	}
	return curveSpace(what, p.Profile)
}

func curveSpace(what string, p *colour.Profile) error {
	if p.HasTables() {
		return fmt.Errorf("%s works in a space of curves, and the profile %q has tables; convert to a space such as opRGB first", what, p.Description())
	}
	return nil
}

// rangeArg reads a number in its parameter's range; 0 where it is missing.
func rangeArg(a Args, p Param) (*big.Rat, error) {
	if _, ok := a.Get(p.Name); !ok {
		return new(big.Rat), nil
	}
	r, err := a.Rat(p.Name)
	if err != nil {
		return nil, fmt.Errorf("argument %s: %w", p.Name, err)
	}
	lo, _ := new(big.Rat).SetString(p.Min)
	hi, _ := new(big.Rat).SetString(p.Max)
	if r.Cmp(lo) < 0 || r.Cmp(hi) > 0 {
		return nil, fmt.Errorf("argument %s is %s, expected %s to %s", p.Name, r.RatString(), p.Min, p.Max)
	}
	return r, nil
}

// read binds the arguments.
func (s *tone) read(a Args) error {
	v := map[string]*big.Rat{}
	for _, p := range toneParams {
		if p.Max == "" || p.Unit == "lightness" {
			continue
		}
		r, err := rangeArg(a, p)
		if err != nil {
			return err
		}
		v[p.Name] = r
	}
	if r := v["exposure"]; r.Sign() != 0 {
		e := newToneExposure(r)
		s.exposure = &e
	}
	if r := v["warmth"]; r.Sign() != 0 {
		s.warmth = toneWarmth(r)
	}
	if r := v["contrast"]; r.Sign() != 0 {
		f, _ := r.Float64()
		s.curves = append(s.curves, toneContrast(f))
	}
	if _, ok := a.Get("curve"); ok {
		c, err := parseToneCurve(a)
		if err != nil {
			return err
		}
		if !c.straight() {
			s.curves = append(s.curves, c)
		}
	}
	if r := v["local"]; r.Sign() != 0 {
		radius := v["local-radius"]
		if radius.Sign() == 0 {
			return fmt.Errorf("local needs local-radius, the radius of what counts as the surroundings")
		}
		s.local, _ = r.Float64()
		s.blur = newToneBlur(s.pic.W, s.pic.H, radius)
	}
	s.chroma, _ = new(big.Rat).Add(v["chroma"], big.NewRat(1, 1)).Float64()
	s.muted, _ = v["muted"].Float64()
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
