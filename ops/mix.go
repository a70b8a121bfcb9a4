package ops

import (
	"fmt"
	"math/big"

	"platemark/ops/colour"
)

// mixV1 makes a grey picture of shares of red, green and blue light.
//
//	light = G + red (R - G) + blue (B - G)
//
// with R, G and B the linear light of the picture's own curves. The shares add
// up to 1 exactly, so that this is red R + green G + blue B and equal light
// stays the same light, to the bit. Light outside 0..1 is clipped. The result is
// encoded in grey-2.2: the built-in space of one channel whose code is light to
// the power 5/11.
var mixV1 = operation(Operation{
	Name:    "mix",
	Version: 1,
	Doc: `Grey of red R + green G + blue B in linear light, computed as G + red (R - G) +
blue (B - G) in float64, clipped to 0..1, one rounding, half up. The shares add up to
1. The result is in grey-2.2.`,
	Takes: 1,
	Nanos: 20,
	Params: Params{
		{Name: "red", Unit: "1", Min: "-2", Max: "3", Doc: "share of red light"},
		{Name: "green", Unit: "1", Min: "-2", Max: "3", Doc: "share of green light"},
		{Name: "blue", Unit: "1", Min: "-2", Max: "3", Doc: "share of blue light"},
	},
}, newMix)

type mixParams struct{ Red, Green, Blue *big.Rat }

func newMix(a mixParams, in []Pic, _ Env) (Step, error) {
	p := in[0]
	if p.C == 1 {
		return nil, fmt.Errorf("mix makes grey of red, green and blue, and this picture is grey already; leave it out")
	}
	if err := curvesOnly("mix", p); err != nil {
		return nil, err
	}
	sum := new(big.Rat).Add(a.Red, a.Green)
	sum.Add(sum, a.Blue)
	if sum.Cmp(big.NewRat(1, 1)) != 0 {
		return nil, fmt.Errorf("mix: the shares of red, green and blue add up to %s, expected 1, so that white stays white", sum.RatString())
	}
	grey, _ := colour.Space("grey-2.2")
	red, _ := a.Red.Float64()
	blue, _ := a.Blue.Float64()
	r, g, b, e := p.Profile.Tone(0), p.Profile.Tone(1), p.Profile.Tone(2), grey.Tone(0)
	return &pixelwise{Pic{W: p.W, H: p.H, C: 1, Profile: grey}, func(dst, src []uint16) {
		dr, dg, db := r.Decode64()[:65536], g.Decode64()[:65536], b.Decode64()[:65536]
		src = src[:3*len(dst)]
		for i := range dst {
			p := src[3*i : 3*i+3]
			g := dg[p[1]]
			dst[i] = e.Encode64(g + (float64(red*(dr[p[0]]-g)) + float64(blue*(db[p[2]]-g))))
		}
	}}, nil
}
