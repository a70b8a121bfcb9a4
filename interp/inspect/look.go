package inspect

import (
	"cmp"
	"context"
	"fmt"
	"image"
	"slices"
	"strconv"
	"strings"

	"platemark/interp/engine"
	"platemark/ops"
	"platemark/ops/colour"
)

// Look looks over the picture that the graph makes, grey or in red, green and
// blue, which has a profile. Nothing the graph's steps are to measure may be
// lacking. The options say how the work is cut; a reading of the noise comes
// first, then one pass over the picture, of which Progress is told. Finds are
// ranked for a picture of 300 pixels an inch, seen from its diagonal.
//
// Errors are those of the graph's run, and a profile that has no colours.
func Look(ctx context.Context, g *engine.Graph, o engine.Options) (*Report, error) {
	p := g.Nodes[g.Out].Pic
	if p.Profile == nil || p.C != 1 && p.C != 3 {
		return nil, fmt.Errorf("only a picture with a profile, grey or in red, green and blue, can be looked over")
	}
	lab, err := colour.NewToLab(p.Profile, colour.Relative)
	if err != nil {
		return nil, err
	}
	r := &Report{W: p.W, H: p.H}
	whole := *g
	whole.Nodes = slices.Clone(g.Nodes)
	for i := range whole.Nodes {
		whole.Nodes[i].Digest = false
	}
	if r.Noise, err = noiseOf(ctx, &whole, o); err != nil {
		return nil, err
	}
	s, err := newScan(p, lab, r.Noise)
	if err != nil {
		return nil, err
	}
	whole.Out = len(whole.Nodes)
	whole.Nodes = append(whole.Nodes, engine.Node{Pic: s.Pic(), Step: s, In: []int{g.Out}})
	o.BandRows = 1
	if _, err := engine.Run(ctx, &whole, engine.Rows(func(int, []uint16) error { return nil }), o); err != nil {
		return nil, err
	}
	s.report(r)
	r.Rank(Viewing{W: float64(p.W) / 300 * 25.4, H: float64(p.H) / 300 * 25.4})
	return r, nil
}

// noiseOf measures the noise of the graph's picture.
func noiseOf(ctx context.Context, g *engine.Graph, o engine.Options) (n Noise, err error) {
	m := *g
	m.Nodes = append(slices.Clip(slices.Clone(g.Nodes)), engine.Node{In: []int{g.Out}, Lacks: &ops.Lack{Measure: &ops.NoiseLevels}})
	o.Progress = nil
	text, err := engine.Measure(ctx, &m, len(g.Nodes), o)
	if err != nil {
		return n, err
	}
	for i, f := range strings.Fields(text) {
		v, err := strconv.Atoi(f)
		if err != nil {
			return n, err
		}
		level := float64(v) / 65535
		if i < len(n.Light) {
			n.Light[i] = level
		} else {
			n.Colour[i-len(n.Light)] = level
		}
	}
	return n, nil
}

// kept are finds of one kind in one part of the picture, of which only so many
// are held.
type kept struct {
	finds []Find
	more  int
}

// add takes in a find. Beyond twice as many as are kept the less visible go.
func (k *kept) add(f Find, most int) {
	if k.finds = append(k.finds, f); len(k.finds) > 2*most {
		k.trim(most)
	}
}

func (k *kept) trim(most int) {
	slices.SortFunc(k.finds, byWeight)
	if n := len(k.finds) - most; n > 0 {
		k.finds, k.more = k.finds[:most], k.more+n
	}
}

// tileMost is how many finds of a kind are named in a tile, and kindMost in the
// whole picture. Those of the greatest contrast times extent are kept.
const (
	tileMost = 64
	kindMost = 4000
)

// report gathers what the tiles found.
func (s *scan) report(r *Report) {
	left := map[Kind][]int{} // by tile
	leave := func(k Kind, tile, n int) {
		if left[k] == nil {
			left[k] = make([]int, len(s.tiles))
		}
		left[k][tile] += n
	}
	by := map[Kind][]Find{}
	take := func(f Find) { by[f.Kind] = append(by[f.Kind], f) }
	near := newPlaces(64)
	for _, f := range s.bounded(s.hairs(), leave) {
		take(f)
		for _, d := range f.Spots {
			near.add(d.Point, d.Radius)
		}
	}
	for _, f := range s.bounded(s.linesOf(rimLine, Fringe, func(t *found) *[]mark { return &t.rims }), leave) {
		take(f)
	}
	var specks []Find
	for t := range s.tiles {
		tile := &s.tiles[t]
		tile.single.trim(tileMost)
		leave(Hot, t, tile.single.more)
		leave(Dust, t, tile.blots.more)
		for _, f := range tile.single.finds {
			take(f)
			near.add(f.At, 1.5)
		}
		specks = append(specks, tile.blots.finds...)
	}
	for _, f := range near.once(specks) {
		take(f)
	}
	for _, k := range []Kind{Hot, Dead, Dust, Hair, Fringe} {
		slices.SortFunc(by[k], byWeight)
		for i, f := range by[k] {
			if i < kindMost {
				r.Finds = append(r.Finds, f)
			} else {
				leave(k, s.tileAt(f.At), 1)
			}
		}
		for t, n := range left[k] {
			if n > 0 {
				r.More = append(r.More, More{k, s.core(t), n})
			}
		}
	}
	s.measures(r)
}

// bounded are of a list of one kind those that are named in their tiles.
func (s *scan) bounded(list []Find, leave func(k Kind, tile, n int)) (out []Find) {
	by := make([]kept, len(s.tiles))
	for _, f := range list {
		by[s.tileAt(f.At)].add(f, tileMost)
	}
	for t := range by {
		by[t].trim(tileMost)
		out = append(out, by[t].finds...)
		if n := by[t].more; n > 0 {
			leave(list[0].Kind, t, n)
		}
	}
	return out
}

// byWeight puts what weighs more first, then what lies higher, then what lies
// further left.
func byWeight(a, b Find) int { return cmp.Or(cmp.Compare(b.weight(), a.weight()), byPlace(a, b)) }

func byPlace(a, b Find) int {
	return cmp.Or(cmp.Compare(a.At.Y, b.At.Y), cmp.Compare(a.At.X, b.At.X), cmp.Compare(a.Width, b.Width))
}

// places are discs in the picture, by the square of a grid in which they lie.
type places struct {
	side float64
	by   map[image.Point][]Disc
	most float64
}

func newPlaces(side float64) *places { return &places{side: side, by: map[image.Point][]Disc{}} }

func (p *places) square(at Point) image.Point {
	return image.Pt(int(at.X/p.side), int(at.Y/p.side))
}

func (p *places) add(at Point, r float64) {
	q := p.square(at)
	p.by[q] = append(p.by[q], Disc{at, r})
	p.most = max(p.most, r)
}

// within says whether a place lies in one of the discs, or nearer than r to one's rim.
func (p *places) within(at Point, r float64) bool {
	reach := p.most + r
	lo, hi := p.square(Point{at.X - reach, at.Y - reach}), p.square(Point{at.X + reach, at.Y + reach})
	for y := lo.Y; y <= hi.Y; y++ {
		for x := lo.X; x <= hi.X; x++ {
			for _, d := range p.by[image.Pt(x, y)] {
				if apart(at, d.Point) < d.Radius+r {
					return true
				}
			}
		}
	}
	return false
}
