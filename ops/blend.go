package ops

import (
	"fmt"
	"image"
	"math/big"

	"platemark/ops/colour"
)

// blendV1 mixes one picture into another through a mask.
var blendV1 = Operation{
	Name:    "blend",
	Version: 1,
	Doc: `over + p (top - over) on the encoded values, p = at times mask, in float32,
rounded once, half up. Inputs: top, over, and a mask if there is one. Where p is
0 the result is over, where it is 1 it is top, to the bit.`,
	Params: []Param{
		{Name: "at", Unit: "1", Min: "0", Max: "1", Doc: "the share of top where the mask is full"},
		{Name: "covers", Unit: "px", Doc: "left, top, right and bottom of what the picture shows, in px of the mask's frame; the whole frame if not given"},
	},
	New: newBlend,
}

type blend struct {
	pic  Pic
	at   float32
	mask *sampler // nil without
}

func newBlend(a Args, in []Pic, env Env) (Step, error) {
	if len(in) != 2 && len(in) != 3 {
		return nil, fmt.Errorf("blend takes 2 pictures and perhaps a mask, got %d inputs", len(in))
	}
	top, over := in[0], in[1]
	if top.W != over.W || top.H != over.H || top.C != over.C || !sameProfile(top.Profile, over.Profile) {
		return nil, fmt.Errorf("blend takes two pictures of one size and profile, got %d x %d px with %d channels and %d x %d px with %d; bring both to the same size and space first",
			top.W, top.H, top.C, over.W, over.H, over.C)
	}
	if over.C != 1 && over.C != 3 || over.W < 1 || over.H < 1 {
		return nil, fmt.Errorf("blend takes grey or RGB, these pictures have %d channels", over.C)
	}
	at, err := ratArg(a, "at", "", 1)
	if err != nil {
		return nil, err
	}
	s := &blend{pic: over}
	s.at, _ = at.Float32()
	if len(in) == 3 {
		if s.mask, err = newSampler(a.Word("covers", ""), in[2], over); err != nil {
			return nil, err
		}
	}
	return s, nil
}

// ratArg reads a number from 0 to most.
func ratArg(a Args, name, fallback string, most int64) (*big.Rat, error) {
	if _, ok := a.Get(name); !ok && fallback != "" {
		a = Args{{name, fallback}}
	}
	r, err := a.Rat(name)
	if err != nil {
		return nil, err
	}
	if r.Sign() < 0 || r.Cmp(big.NewRat(most, 1)) > 0 {
		return nil, fmt.Errorf("argument %s is %s, expected 0 to %d", name, r.RatString(), most)
	}
	return r, nil
}

// sameProfile tells whether two pictures have the same encoding.
func sameProfile(a, b *colour.Profile) bool {
	return a == b || a != nil && b != nil && a.Digest() == b.Digest()
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
	w := &blendWorker{blend: s}
	for i := range w.at {
		w.at[i] = s.at
	}
	if s.mask != nil {
		w.mask = s.mask.worker()
	}
	return w
}

// pixelBlock is how many pixels go through a chain of inner loops at a time,
// so that what passes between them stays in the nearest cache.
const pixelBlock = 1024

type blendWorker struct {
	*blend
	mask   *samplerWorker
	at     [pixelBlock]float32 // the share at, again and again
	share  [pixelBlock]float32
	triple [3 * pixelBlock]float32
}

func (k *blendWorker) Row(dst []uint16, y int, in []Rows) {
	top, over := in[0].Row(y), in[1].Row(y)
	dst = dst[:k.pic.Stride()]
	var m []float32
	kind := maskOne
	if k.mask != nil {
		m, kind = k.mask.row(y, in[2])
	}
	if kind == maskZero || k.blend.at == 0 {
		copy(dst, over)
		return
	}
	if kind == maskOne && k.blend.at == 1 {
		copy(dst, top)
		return
	}
	c := k.pic.C
	for x := 0; x < k.pic.W; x += pixelBlock {
		n := min(pixelBlock, k.pic.W-x)
		from, to := x*c, (x+n)*c
		p := k.at[:n]
		if kind == maskMixed {
			if allZero(m[x : x+n]) {
				copy(dst[from:to], over[from:to])
				continue
			}
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

func allZero(m []float32) bool {
	for _, v := range m {
		if v != 0 {
			return false
		}
	}
	return true
}
