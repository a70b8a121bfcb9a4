package ops

import (
	"fmt"
	"image"
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
var mixV1 = Operation{
	Name:    "mix",
	Version: 1,
	Doc: `Grey of red R + green G + blue B in linear light, computed as G + red (R - G) +
blue (B - G) in float64, clipped to 0..1, one rounding, half up. The shares add up to
1. The result is in grey-2.2.`,
	Params: mixParams,
	New:    newMix,
}

var mixParams = []Param{
	{Name: "red", Unit: "1", Min: "-2", Max: "3", Doc: "share of red light"},
	{Name: "green", Unit: "1", Min: "-2", Max: "3", Doc: "share of green light"},
	{Name: "blue", Unit: "1", Min: "-2", Max: "3", Doc: "share of blue light"},
}

type mix struct {
	pic       Pic
	in        *colour.Profile
	red, blue float64
}

func newMix(a Args, in []Pic, env Env) (Step, error) {
	if len(in) != 1 {
		return nil, fmt.Errorf("mix takes 1 picture, got %d", len(in))
	}
	p := in[0]
	if p.C == 1 {
		return nil, fmt.Errorf("mix makes grey of red, green and blue, and this picture is grey already; leave it out")
	}
	if err := curvesOnly("mix", p); err != nil {
		return nil, err
	}
	sum := new(big.Rat)
	var v [3]*big.Rat
	for i, q := range mixParams {
		if _, ok := a.Get(q.Name); !ok {
			return nil, fmt.Errorf("mix: argument %s is missing", q.Name)
		}
		var err error
		if v[i], err = rangeArg(a, q); err != nil {
			return nil, fmt.Errorf("mix: %w", err)
		}
		sum.Add(sum, v[i])
	}
	if sum.Cmp(big.NewRat(1, 1)) != 0 {
		return nil, fmt.Errorf("mix: the shares of red, green and blue add up to %s, expected 1, so that white stays white", sum.RatString())
	}
	grey, _ := colour.Space("grey-2.2")
	s := &mix{pic: Pic{W: p.W, H: p.H, C: 1, Profile: grey}, in: p.Profile}
	s.red, _ = v[0].Float64()
	s.blue, _ = v[2].Float64()
	return s, nil
}

func (s *mix) Pic() Pic { return s.pic }

func (s *mix) Window(_, y int) (lo, hi int) { return y, y + 1 }

func (s *mix) Needs(_ int, r image.Rectangle) image.Rectangle { return r }

func (s *mix) Part(r image.Rectangle) (Step, int) {
	p := *s
	p.pic.W = r.Dx()
	return &p, r.Min.X
}

// Worker is the step itself: a row needs no memory of others.
func (s *mix) Worker() Worker { return s }

func (s *mix) Row(dst []uint16, y int, in []Rows) {
	src := in[0].Row(y)[:3*s.pic.W]
	dst = dst[:s.pic.W]
	dr, dg, db := s.in.Tone(0).Decode64()[:65536], s.in.Tone(1).Decode64()[:65536], s.in.Tone(2).Decode64()[:65536]
	e := s.pic.Profile.Tone(0)
	for i := range dst {
		p := src[3*i : 3*i+3]
		g := dg[p[1]]
		dst[i] = e.Encode64(g + (float64(s.red*(dr[p[0]]-g)) + float64(s.blue*(db[p[2]]-g))))
	}
}
