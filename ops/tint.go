package ops

import (
	"fmt"
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
// is brought back by less chroma (hueSpace.within). The result of each of the
// 65536 codes is computed once.
var tintV1 = operation(Operation{
	Name:    "tint",
	Version: 1,
	Doc: `A grey picture becomes RGB in the profile's space: L* stays, the CIELAB chroma is
4 u (1 - u) chroma with u = L*/100, at the given hue angle, so that white and black
stay neutral; colours outside the space lose chroma. float64, one rounding, half up.`,
	Takes: 1,
	Nanos: 1,
	Params: Params{
		{Name: "hue", Unit: "deg", Min: "0", Max: "360", Doc: "CIELAB hue angle: 0 red, 90 yellow, 180 green, 270 blue"},
		{Name: "chroma", Unit: "C*", Min: "0", Max: "40", Doc: "CIELAB chroma at L* 50"},
		{Name: "profile", Unit: "sha256", Doc: "the RGB space of the result, of colorants and curves"},
	},
}, newTint)

type tintParams struct {
	Hue, Chroma *big.Rat
	Profile     string
}

func newTint(a tintParams, in []Pic, env Env) (Step, error) {
	p := in[0]
	if p.C == 3 {
		return nil, fmt.Errorf("tint takes a grey picture, and this one is RGB; make it grey with mix first")
	}
	if err := curvesOnly("tint", p); err != nil {
		return nil, err
	}
	dst, err := env.profile("tint", a.Profile)
	if err != nil {
		return nil, err
	}
	if err := curveSpace("tint", dst); err != nil {
		return nil, err
	}
	space, ok := newHueSpace(dst)
	if !ok {
		return nil, fmt.Errorf("tint: the profile %q isn't RGB; tint needs a space such as sRGB or opRGB", dst.Description())
	}
	table := sync.OnceValue(func() [][3]uint16 { return tintTable(p.Profile.Tone(0), space, a.Hue, a.Chroma) })
	return &pixelwise{Pic{W: p.W, H: p.H, C: 3, Profile: dst}, func(dst, src []uint16) {
		code := table()[:65536]
		for i, v := range src[:len(dst)/3] {
			c := &code[v]
			q := dst[3*i : 3*i+3]
			q[0], q[1], q[2] = c[0], c[1], c[2]
		}
	}}, nil
}

// tintTable is what becomes of every code of the grey.
func tintTable(grey *colour.Tone, space *hueSpace, hue, chroma *big.Rat) [][3]uint16 {
	// cos h = sin(h + 90 degrees)
	turn := exact.Rat(new(big.Rat).Quo(hue, big.NewRat(180, 1)))
	c := exact.Rat(chroma)
	ca := exact.Sinpi(turn.Add(exact.Frac(1, 2))).Mul(c).Float64() // at L* 50
	cb := exact.Sinpi(turn).Mul(c).Float64()
	light := grey.Decode64()
	code := make([][3]uint16, len(light))
	t := &space.tones
	for i, v := range light {
		fy := labF(v)
		u := float64((float64(116*fy) - 16) * 0.01)
		w := float64(float64(4*u) * (1 - u))
		r, g, b := v, v, v
		if a, bb := float64(w*ca), float64(w*cb); a != 0 || bb != 0 { // else neutral, exactly
			r, g, b = space.light(colour.LabInv(fy+a/500), v, colour.LabInv(fy-bb/200))
			r, g, b = space.within(r, g, b, v, 1)
		}
		code[i] = [3]uint16{t[0].Encode64(r), t[1].Encode64(g), t[2].Encode64(b)}
	}
	return code
}
