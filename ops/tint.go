package ops

import (
	"fmt"
	"image"
	"math/big"
	"sync"

	"platemark/ops/colour"
	"platemark/ops/exact"
)

// tintV1 gives a grey picture one hue.
//
// L* of the grey's light stays. With u = L*/100 the chroma is
//
//	C* = 4 u (1 - u) chroma
//
// the full chroma at L* 50 and, by a parabola, none at paper white and at black,
// which stay neutral. a* = C* cos hue, b* = C* sin hue (CIELAB, CIE 15:2004), X,
// Y and Z as shares of the destination's white. A colour outside the destination
// is brought back by less chroma (toneSpace.light). The result of each of the
// 65536 codes is computed once.
var tintV1 = Operation{
	Name:    "tint",
	Version: 1,
	Doc: `A grey picture becomes RGB in the profile's space: L* stays, the CIELAB chroma is
4 u (1 - u) chroma with u = L*/100, at the given hue angle, so that white and black
stay neutral; colours outside the space lose chroma. float64, one rounding, half up.`,
	Params: tintParams,
	New:    newTint,
}

var tintParams = []Param{
	{Name: "hue", Unit: "deg", Min: "0", Max: "360", Doc: "CIELAB hue angle: 0 red, 90 yellow, 180 green, 270 blue"},
	{Name: "chroma", Unit: "C*", Min: "0", Max: "40", Doc: "CIELAB chroma at L* 50"},
	{Name: "profile", Unit: "sha256", Doc: "the RGB space of the result, of colorants and curves"},
}

type tint struct {
	pic   Pic
	grey  *colour.Profile
	space *toneSpace
	a, b  float64            // of chroma, at L* 50
	code  func() [][3]uint16 // by the grey's code
}

func newTint(a Args, in []Pic, env Env) (Step, error) {
	if len(in) != 1 {
		return nil, fmt.Errorf("tint takes 1 picture, got %d", len(in))
	}
	p := in[0]
	if p.C == 3 {
		return nil, fmt.Errorf("tint takes a grey picture, and this one is RGB; make it grey with mix first")
	}
	if err := curvesOnly("tint", p); err != nil {
		return nil, err
	}
	var v [2]*big.Rat
	for i, q := range tintParams[:2] {
		if _, ok := a.Get(q.Name); !ok {
			return nil, fmt.Errorf("tint: argument %s is missing", q.Name)
		}
		var err error
		if v[i], err = rangeArg(a, q); err != nil {
			return nil, fmt.Errorf("tint: %w", err)
		}
	}
	sum, ok := a.Get("profile")
	if !ok {
		return nil, fmt.Errorf("tint: argument profile is missing")
	}
	dst := env.Profiles[sum]
	if dst == nil {
		return nil, fmt.Errorf("tint: no profile with the digest %q is at hand", sum)
	}
	if err := curveSpace("tint", dst); err != nil {
		return nil, err
	}
	s := &tint{pic: Pic{W: p.W, H: p.H, C: 3, Profile: dst}, grey: p.Profile}
	if s.space, ok = newToneSpace(dst); !ok {
		return nil, fmt.Errorf("tint: the profile %q isn't RGB; tint needs a space such as sRGB or opRGB", dst.Description())
	}
	// cos h = sin(h + 90 degrees)
	turn := exact.Rat(new(big.Rat).Quo(v[0], big.NewRat(180, 1)))
	c := exact.Rat(v[1])
	s.a = exact.Sinpi(turn.Add(exact.Frac(1, 2))).Mul(c).Float64()
	s.b = exact.Sinpi(turn).Mul(c).Float64()
	s.code = sync.OnceValue(s.tabulate)
	return s, nil
}

func (s *tint) Pic() Pic { return s.pic }

func (s *tint) Window(_, y int) (lo, hi int) { return y, y + 1 }

func (s *tint) Needs(_ int, r image.Rectangle) image.Rectangle { return r }

func (s *tint) Part(r image.Rectangle) (Step, int) {
	p := *s
	p.pic.W = r.Dx()
	return &p, r.Min.X
}

// Worker is the step itself: a row needs no memory of others.
func (s *tint) Worker() Worker { return s }

func (s *tint) tabulate() [][3]uint16 {
	light := s.grey.Tone(0).Decode64()
	code := make([][3]uint16, len(light))
	t := &s.space.tones
	for i, v := range light {
		fy := labF(v)
		u := float64((float64(116*fy) - 16) * 0.01)
		w := float64(float64(4*u) * (1 - u))
		r, g, b := s.space.light(fy, float64(w*s.a)/500, float64(w*s.b)/200)
		code[i] = [3]uint16{t[0].Encode64(r), t[1].Encode64(g), t[2].Encode64(b)}
	}
	return code
}

func (s *tint) Row(dst []uint16, y int, in []Rows) {
	src := in[0].Row(y)[:s.pic.W]
	dst = dst[:3*len(src)]
	code := s.code()[:65536]
	for i, v := range src {
		c := &code[v]
		q := dst[3*i : 3*i+3]
		q[0], q[1], q[2] = c[0], c[1], c[2]
	}
}
