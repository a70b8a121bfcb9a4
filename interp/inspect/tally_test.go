package inspect

import (
	"context"
	"fmt"
	"image"
	"math"
	"math/big"
	"slices"
	"strings"
	"testing"

	"platemark/interp/engine"
	"platemark/ops"
	"platemark/ops/colour"
	"platemark/ops/raster"
	"platemark/testdata/photos"
)

// tally is what was found of what was planted.
type tally struct {
	planted, found map[Kind]int
	missed         []fault
	wrong          map[Kind]int
	own            map[Kind]int // finds in the photograph as it is
	smooth, rough  []float64    // CIEDE2000 of spots after they are mended
	pixels         float64
}

func newTally() *tally {
	return &tally{planted: map[Kind]int{}, found: map[Kind]int{}, wrong: map[Kind]int{}, own: map[Kind]int{}}
}

// kindOf takes hot and dead together, and dust by whether its contrast is above 5 %.
func (f *fault) kindOf() Kind {
	switch {
	case f.Kind == Dead:
		return Hot
	case f.Kind == Dust && math.Abs(f.contrast) <= 0.05:
		return "faint"
	}
	return f.Kind
}

// hit says whether a find is the fault.
func (f *fault) hit(g *Find) bool {
	at := Point{float64(f.x) + 0.5, float64(f.y) + 0.5}
	switch f.Kind {
	case Hair:
		if g.Kind != Hair {
			return false
		}
		n := 0
		for i := range f.path {
			for _, d := range g.Spots {
				if apart(d.Point, f.path[i]) < d.Radius+1 {
					n++
					break
				}
			}
		}
		return 2*n > len(f.path)
	case Fringe:
		dx, dy := max(math.Abs(at.X-g.At.X)-g.W/2, 0), max(math.Abs(at.Y-g.At.Y)-g.H/2, 0)
		return g.Kind == Fringe && math.Hypot(dx, dy) < 12
	}
	return (g.Kind == Hot || g.Kind == Dead || g.Kind == Dust) && apart(at, g.At) < max(1.5, 0.7*f.r)
}

// touches says whether a find is a part of a planted hair, or of a fringe's edge: it
// counts neither as found nor as false.
func (f *fault) touches(g *Find) bool {
	return f.Kind == Fringe && apart(Point{float64(f.x), float64(f.y)}, g.At) < f.r+8 ||
		slices.ContainsFunc(f.path, func(p Point) bool { return apart(p, g.At) < 2 })
}

// try plants faults, looks, and counts.
func (p *shot) try(t testing.TB, seed uint64, hot, dust, hairs, fringes int, all *tally) {
	bad, list := p.plant(seed, hot, dust, hairs, fringes)
	before, after := p.look(t, engine.Options{}), bad.look(t, engine.Options{})
	all.pixels += float64(p.w * p.h)
	for _, f := range before.Finds {
		all.own[f.Kind]++
	}
	used := make([]bool, len(after.Finds))
	for i := range list {
		f := &list[i]
		all.planted[f.kindOf()]++
		hit := false
		for j := range after.Finds {
			if f.hit(&after.Finds[j]) {
				hit, used[j] = true, true
			}
		}
		if hit {
			all.found[f.kindOf()]++
		} else {
			all.missed = append(all.missed, *f)
		}
	}
	for j, g := range after.Finds {
		if used[j] || slices.ContainsFunc(list, func(f fault) bool { return f.touches(&g) }) || slices.ContainsFunc(before.Finds, func(o Find) bool {
			return o.Kind == g.Kind && math.Abs(o.At.X-g.At.X) < 4+(o.W+g.W)/2 && math.Abs(o.At.Y-g.At.Y) < 4+(o.H+g.H)/2
		}) {
			continue
		}
		all.wrong[g.Kind]++
	}
	p.mended(t, bad, after, used, all)
}

// mended takes the spots of what was planted and found, and compares what comes out
// with the picture as it was, inside the discs.
func (p *shot) mended(t testing.TB, bad *shot, r *Report, used []bool, all *tally) {
	var discs []Disc
	args := ops.Args{}
	rat := func(v float64) *big.Rat { return new(big.Rat).SetFloat64(v) }
	for j, f := range r.Finds {
		if !used[j] {
			continue
		}
		soft := "3/10"
		if f.Kind == Hair {
			soft = "0"
		}
		for _, d := range f.Spots {
			if slices.ContainsFunc(discs, func(o Disc) bool { return apart(o.Point, d.Point) < o.Radius+d.Radius }) {
				continue
			}
			discs = append(discs, d)
			s, _ := new(big.Rat).SetString(soft)
			args = append(args, ops.Arg{Name: fmt.Sprintf("spot-%d", len(discs)), Value: ops.SpotShape{At: ops.MaskPoint{X: rat(d.X), Y: rat(d.Y)}, Radius: rat(d.Radius), Soft: s}.String()})
		}
	}
	if len(discs) == 0 {
		return
	}
	step, err := ops.SpotsV1.New(args, []ops.Pic{p.pic()}, ops.Env{})
	if err != nil {
		t.Fatal(err)
	}
	g := &engine.Graph{Nodes: []engine.Node{{Pic: p.pic(), Store: raster.Of(bad.pix, p.w, p.h, 3)}, {Pic: p.pic(), Step: step, In: []int{0}}}, Out: 1}
	st := raster.NewMemory(p.w, p.h, 3)
	if _, err := engine.Run(context.Background(), g, engine.Keep(st), engine.Options{}); err != nil {
		t.Fatal(err)
	}
	lab, err := colour.NewToLab(p.pic().Profile, colour.Relative)
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range discs {
		sum, n := 0.0, 0.0
		in := image.Rect(int(d.X-d.Radius), int(d.Y-d.Radius), int(d.X+d.Radius)+1, int(d.Y+d.Radius)+1).Intersect(image.Rect(0, 0, p.w, p.h))
		for y := in.Min.Y; y < in.Max.Y; y++ {
			for x := in.Min.X; x < in.Max.X; x++ {
				if math.Hypot(float64(x)+0.5-d.X, float64(y)+0.5-d.Y) >= d.Radius {
					continue
				}
				var c [2]colour.Lab
				lab.Row(c[:1], p.pix[3*(y*p.w+x):])
				lab.Row(c[1:], st.Direct(y)[3*x:])
				sum, n = sum+colour.DeltaE2000(c[0], c[1]), n+1
			}
		}
		if n == 0 {
			continue
		}
		r := min(int(1.5*d.Radius)+3, int(d.X), int(d.Y), p.w-1-int(d.X), p.h-1-int(d.Y))
		if p.spread(int(d.X), int(d.Y), r) < 3 {
			all.smooth = append(all.smooth, sum/n)
		} else {
			all.rough = append(all.rough, sum/n)
		}
	}
}

func (a *tally) add(b *tally) {
	for _, m := range []struct{ to, from map[Kind]int }{{a.planted, b.planted}, {a.found, b.found}, {a.wrong, b.wrong}, {a.own, b.own}} {
		for k, n := range m.from {
			m.to[k] += n
		}
	}
	a.missed = append(a.missed, b.missed...)
	a.smooth, a.rough, a.pixels = append(a.smooth, b.smooth...), append(a.rough, b.rough...), a.pixels+b.pixels
}

func mean(v []float64) float64 {
	s := 0.0
	for _, x := range v {
		s += x
	}
	return s / float64(max(1, len(v)))
}

func (a *tally) String() string {
	var b strings.Builder
	for _, k := range []Kind{Hot, Dust, "faint", Hair, Fringe} {
		wrong, own := a.wrong[k], a.own[k]
		if k == Hot {
			wrong, own = wrong+a.wrong[Dead], own+a.own[Dead]
		}
		fmt.Fprintf(&b, "  %s %5.1f %% of %d", k, 100*float64(a.found[k])/float64(max(1, a.planted[k])), a.planted[k])
		if k != "faint" {
			fmt.Fprintf(&b, ", false %.1f, own %.1f", 1e7*float64(wrong)/a.pixels, 1e7*float64(own)/a.pixels)
		}
	}
	fmt.Fprintf(&b, "  mended %.2f (%d smooth), %.2f (%d texture)", mean(a.smooth), len(a.smooth), mean(a.rough), len(a.rough))
	return b.String()
}

// tuned are the two photographs, with seeds 1 to 10, on which the finders' numbers
// were chosen.
var tuned = []string{"beach", "leaves"}

// The whole table: what is found of 300 hot or dead pixels, 80 blots, 20 hairs and
// 20 fringed edges planted on each photograph; false finds and the photograph's own
// by 10 MP; and the mean CIEDE2000 of all that was found, mended by `spot`, to the
// photograph as it was, inside the spots.
func BenchmarkFinds(b *testing.B) {
	for range b.N {
		others := newTally()
		for _, q := range photos.List {
			pix, w, h := photos.Open(b, q.Name, 1)
			p := newShot(pix, w, h)
			one := newTally()
			p.try(b, 11, 300, 80, 20, 20, one)
			fmt.Printf("%-10s %5.1f MP %v\n", q.Name, one.pixels/1e6, one)
			if !slices.Contains(tuned, q.Name) {
				others.add(one)
			}
		}
		fmt.Printf("all but the two tuned  %v\n", others)
	}
}
