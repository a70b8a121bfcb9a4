package ops

import (
	"fmt"
	"image"
)

// blendV1 mixes one picture into another through a mask.
var blendV1 = operation(Operation{
	Name:    "blend",
	Version: 1,
	Doc: `over + p (top - over) on the encoded values, p = at times mask, in float32,
rounded once, half up. Inputs: top, over, and a mask if there is one. Where p is
0 the result is over, where it is 1 it is top, to the bit.`,
	Takes:  2,
	Masked: true,
	Nanos:  3,
	Params: Params{
		{Name: "at", Unit: "1", Min: "0", Max: "1", Doc: "the share of top where the mask is full"},
		covers,
	},
}, newBlend)

type blendParams struct {
	At     float32
	Covers string
}

type blend struct {
	pic  Pic
	at   float32
	mask *sampler // nil without
}

func newBlend(a blendParams, in []Pic, _ Env) (Step, error) {
	top, over := in[0], in[1]
	if top.W != over.W || top.H != over.H || top.C != over.C || !sameProfile(top.Profile, over.Profile) {
		return nil, fmt.Errorf("blend takes two pictures of one size and profile, got %d x %d px with %d channels and %d x %d px with %d; bring both to the same size and space first",
			top.W, top.H, top.C, over.W, over.H, over.C)
	}
	if err := greyOrRGB("blend", over); err != nil {
		return nil, err
	}
	m, err := maskFor(a.Covers, in[2:], over)
	return &blend{pic: over, at: a.At, mask: m}, err
}

func (s *blend) Pic() Pic { return s.pic }

func (s *blend) Window(in, y int) (lo, hi int) {
	if in == 2 {
		return s.mask.window(y)
	}
	return y, y + 1
}

func (s *blend) Memory() (worker, shared int64) { return s.mask.memory(), 0 }

func (s *blend) Needs(in int, r image.Rectangle) image.Rectangle {
	if in == 2 {
		return s.mask.needs(r)
	}
	return r
}

func (s *blend) Part(r image.Rectangle) (Step, int) {
	return &blend{pic: s.pic.wide(r.Dx()), at: s.at, mask: s.mask.part(r)}, r.Min.X
}

func (s *blend) Worker() Worker {
	w := &blendWorker{blend: s, mask: s.mask.worker()}
	for i := range w.at {
		w.at[i] = s.at
	}
	return w
}

type blendWorker struct {
	*blend
	mask   *samplerWorker
	at     [pixelBlock]float32 // the share at, again and again
	share  [pixelBlock]float32
	triple [3 * pixelBlock]float32
}

func (k *blendWorker) Row(dst []uint16, y int, in []Rows) {
	over := in[1].Row(y)
	dst = dst[:k.pic.Stride()]
	m, kind := k.mask.row(y, in[2:])
	if kind == maskZero || k.blend.at == 0 {
		copy(dst, over)
		return
	}
	top := in[0].Row(y)
	c := k.pic.C
	for x := 0; x < k.pic.W; x += pixelBlock {
		n := min(pixelBlock, k.pic.W-x)
		from, to := x*c, (x+n)*c
		p, part := k.at[:n], kind
		if kind == maskMixed {
			part = maskKind(m[x:x+n], 1)
		}
		switch {
		case part == maskZero:
			copy(dst[from:to], over[from:to])
			continue
		case part == maskOne && k.blend.at == 1:
			copy(dst[from:to], top[from:to])
			continue
		case part == maskMixed:
			p = k.share[:n]
			mulRow(p, k.at[:n], m[x:x+n])
		}
		if c == 3 {
			tripleRow(k.triple[:3*n], p)
			p = k.triple[:3*n]
		}
		mixRow(dst[from:to], over[from:to], top[from:to], p)
	}
}
