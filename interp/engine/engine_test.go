package engine

import (
	"context"
	"fmt"
	"image"
	"maps"
	"os"
	"slices"
	"sync/atomic"
	"testing"

	"platemark/ops"
	"platemark/ops/colour"
	"platemark/ops/raster"
)

// counting is a step that counts the rows it computes.
type counting struct {
	ops.Step
	rows *atomic.Int64
}

func (c counting) Worker() ops.Worker { return countingWorker{c.Step.Worker(), c.rows} }

func (c counting) NeedsWhole() bool { return wholeInput(c.Step) }

type countingWorker struct {
	ops.Worker
	rows *atomic.Int64
}

func (c countingWorker) Row(dst []uint16, y int, in []ops.Rows) {
	c.rows.Add(1)
	c.Worker.Row(dst, y, in)
}

// builder adds nodes to a graph.
type builder struct {
	t   testing.TB
	g   *Graph
	ops []string // added
}

// spaces are what steps convert to.
func spaces() ops.Env {
	env := ops.Env{Profiles: map[string]*colour.Profile{}}
	for _, name := range colour.SpaceNames() {
		p, _ := colour.Space(name)
		env.Profiles[name] = p
	}
	return env
}

func (b *builder) add(op string, args ops.Args, in ...int) int {
	b.t.Helper()
	o, ok := ops.Lookup(op, 1)
	if !ok {
		b.t.Fatalf("no operation %s", op)
	}
	b.ops = append(b.ops, op)
	var pics []ops.Pic
	for _, k := range in {
		pics = append(pics, b.g.Nodes[k].Pic)
	}
	s, err := o.New(args, pics, spaces())
	if err != nil {
		b.t.Fatal(err)
	}
	b.g.Nodes = append(b.g.Nodes, Node{Pic: s.Pic(), Step: s, In: in, Digest: true})
	b.g.Out = len(b.g.Nodes) - 1
	return b.g.Out
}

func args(s ...string) (a ops.Args) {
	for i := 0; i < len(s); i += 2 {
		a = append(a, ops.Arg{Name: s[i], Value: s[i+1]})
	}
	return a
}

// kinds are a step of every kind, on a picture (node 0) and perhaps a mask.
var kinds = map[string]func(b *builder, in int) int{
	"mix":     func(b *builder, in int) int { return b.add("mix", args("red", "1/2", "green", "1/2", "blue", "0"), in) },
	"convert": func(b *builder, in int) int { return b.add("convert", args("profile", "sRGB"), in) },
	"tint": func(b *builder, in int) int {
		grey := b.add("convert", args("profile", "grey-2.2"), b.add("mix", args("red", "1/2", "green", "1/2", "blue", "0"), in))
		return b.add("tint", args("hue", "60", "chroma", "9", "profile", "sRGB"), grey)
	},
	"quarter turn": func(b *builder, in int) int { return b.add("turn", args("orientation", "8"), in) },
	"mirrored":     func(b *builder, in int) int { return b.add("turn", args("orientation", "2"), in) },
	"crop":         func(b *builder, in int) int { return b.crop(in, 7, 60, 50, 90) },
	"border":       func(b *builder, in int) int { return b.border(in, 40) },
	"sheet": func(b *builder, in int) int {
		p := b.g.Nodes[in].Pic
		part := b.crop(in, p.W/4, p.H/3, p.W/3, p.H/4)
		return b.add("sheet", args("width", fmt.Sprint(2*p.W), "height", fmt.Sprint(p.H+60), "part-1", fmt.Sprintf("picture %d 40", p.W/2), "part-2", "picture 3 5", "part-3", "text 9 30 16 Salt"), in, part)
	},
	"mirror wrap": func(b *builder, in int) int { return b.wrap(in, "mirror", 30) },
	"stretched":   func(b *builder, in int) int { return b.wrap(in, "stretch", 31) },
	"of picture":  func(b *builder, in int) int { return b.wrap(in, "picture", 9) },
	"enlarge":     func(b *builder, in int) int { return b.enlarge(in, "lanczos3", 5, 3) },
	"reduce":      func(b *builder, in int) int { return b.enlarge(in, "mitchell", 2, 7) },
	"nearest":     func(b *builder, in int) int { return b.enlarge(in, "nearest", 1, 4) },
	"tone":        func(b *builder, in int) int { return b.add("tone", args("exposure", "1/2"), in) },
	"deconvolve": func(b *builder, in int) int {
		return b.add("deconvolve", args("blur", "disc", "radius", "2", "amount", "1"), in)
	},
	"sharpen": func(b *builder, in int) int { return b.add("sharpen", args("radius", "5/2", "amount", "1"), in) },
	"local": func(b *builder, in int) int {
		return b.add("tone", args("local", "1/2", "local-radius", "5"), in)
	},
	"grain": func(b *builder, in int) int {
		return b.add("grain", args("amount", "1/10", "size", "5", "seed", "3"), in)
	},
	"wide local": func(b *builder, in int) int {
		return b.add("tone", args("local", "1/2", "local-radius", "47", "contrast", "1/4"), in)
	},
	"spot pixels": func(b *builder, in int) int { return b.add("spot-pixels", args("over", "1/20"), in) },
	"spots": func(b *builder, in int) int {
		return b.add("spots", args("spot-1", "at 20 25 radius 6 soft 1/2", "spot-2", "at 36 60 radius 7 soft 0 from 12 140", "spot-3", "at 30 120 radius 5 soft 1 from 45 90"), in)
	},
	"denoise": func(b *builder, in int) int {
		return b.add("denoise", args("lightness", "1", "chroma", "3/2", "noise", "900 800 700 600 500 400 300 200 100 300 500 700 900 1100 1300 1500"), in)
	},
	"fringe": func(b *builder, in int) int { return b.add("fringe", args("radius", "7"), in) },
	"masked by the picture": func(b *builder, in int) int {
		p := b.g.Nodes[in].Pic
		r := b.add("range", args("of", "lightness", "from", "20", "to", "60", "soft", "20"), in)
		e := b.add("edges", args("radius", "2", "over", "1/20"), in)
		m := b.add("mask", args("width", fmt.Sprint(p.W), "height", fmt.Sprint(p.H), "shape-1", "add mask", "shape-2", "less mask"), r, e)
		return b.add("fringe", args("radius", "5/2", "hue-from", "300", "hue-to", "200"), in, m)
	},
	"masked sharpen": func(b *builder, in int) int {
		return b.add("sharpen", args("radius", "1", "amount", "2"), in, b.mask(in))
	},
	"masked tone": func(b *builder, in int) int {
		return b.add("tone", args("chroma", "1/2", "covers", "3 5 40 61"), in, b.mask(in))
	},
	"blend": func(b *builder, in int) int {
		p, q := b.enlarge(in, "cubic", 3, 2), b.enlarge(in, "lanczos3", 3, 2)
		return b.add("blend", args("at", "1/2"), p, b.add("sharpen", args("radius", "2", "amount", "1"), q), b.mask(in))
	},
}

func (b *builder) crop(in, x, y, w, h int) int {
	p := b.g.Nodes[in].Pic
	x, y = min(x, p.W-1), min(y, p.H-1)
	return b.add("crop", args("x", fmt.Sprint(x), "y", fmt.Sprint(y), "w", fmt.Sprint(min(w, p.W-x)), "h", fmt.Sprint(min(h, p.H-y))), in)
}

func (b *builder) border(in, width int) int {
	v := "9000 60000 12345"
	if b.g.Nodes[in].Pic.C == 1 {
		v = "9000"
	}
	return b.add("border", args("width", fmt.Sprint(width), "colour", v), in)
}

func (b *builder) wrap(in int, way string, width int) int {
	return b.add("wrap", args("width", fmt.Sprint(width), "way", way), in)
}

func (b *builder) enlarge(in int, kernel string, num, den int) int {
	p := b.g.Nodes[in].Pic
	return b.add("enlarge", args("kernel", kernel, "light", "encoded", "width", fmt.Sprint(max(1, p.W*num/den)), "height", fmt.Sprint(max(1, p.H*num/den))), in)
}

// mask is drawn on a frame that is smaller than the picture.
func (b *builder) mask(int) int {
	return b.add("mask", args("width", "50", "height", "66", "shape-1", "add ellipse at 20 30 size 30 44 soft 1/2", "shape-2", "soften 3/2"))
}

// behind are what may stand behind a step.
var behind = map[string]func(b *builder, in int) int{
	"nothing": func(b *builder, in int) int { return in },
	"border":  func(b *builder, in int) int { return b.border(in, 25) },
	"wrap":    func(b *builder, in int) int { return b.wrap(in, "mirror", 8) },
	"crop": func(b *builder, in int) int {
		p := b.g.Nodes[in].Pic
		return b.crop(in, p.W/4, p.H/3, p.W/2, p.H/3)
	},
	"turn":   func(b *builder, in int) int { return b.add("turn", args("orientation", "6"), in) },
	"over":   func(b *builder, in int) int { return b.add("turn", args("orientation", "3"), in) },
	"reduce": func(b *builder, in int) int { return b.enlarge(in, "cubic", 1, 3) },
	"crop and border": func(b *builder, in int) int {
		p := b.g.Nodes[in].Pic
		return b.border(b.crop(in, 0, p.H/2, p.W, p.H/3), 9)
	},
}

// Every operation stands among the kinds.
func TestEveryOperationIsAKind(t *testing.T) {
	for _, o := range ops.Table() {
		if !slices.ContainsFunc(slices.Collect(maps.Values(kinds)), func(step func(b *builder, in int) int) bool {
			b := &builder{t: t, g: &Graph{Nodes: []Node{picture(t, 44, 150, 3)}}}
			step(b, 0)
			return slices.Contains(b.ops, o.Name)
		}) {
			t.Errorf("no kind is made by %s", o.Name)
		}
	}
}

// everyGraph calls f with each kind of step, with each thing behind it: all in
// all, or each once.
func everyGraph(t *testing.T, all bool, f func(t *testing.T, g *Graph)) {
	for kind, step := range kinds {
		for what, after := range behind {
			if !all && kind != "sharpen" && what != "turn" {
				continue
			}
			t.Run(kind+" behind "+what, func(t *testing.T) {
				b := &builder{t: t, g: &Graph{Nodes: []Node{picture(t, 44, 150, 3)}}}
				after(b, step(b, b.add("spot-pixels", args("over", "1/2"), 0)))
				f(t, b.g)
			})
		}
	}
}

// plain computes all nodes of a graph whole, one after another.
func plain(g *Graph) [][]uint16 {
	out := make([][]uint16, len(g.Nodes))
	for i, n := range g.Nodes {
		w, h := n.Pic.Stride(), n.Pic.H
		if n.Step == nil {
			for y := range h {
				out[i] = append(out[i], n.Store.Direct(y)...)
			}
			continue
		}
		var in []ops.Rows
		for _, k := range n.In {
			in = append(in, wholeRows{out[k], g.Nodes[k].Pic.Stride()})
		}
		worker := n.Step.Worker()
		out[i] = make([]uint16, w*h)
		for y := range h {
			worker.Row(out[i][y*w:(y+1)*w], y, in)
		}
	}
	return out
}

type wholeRows struct {
	px []uint16
	w  int
}

func (r wholeRows) Row(y int) []uint16 { return r.px[y*r.w : (y+1)*r.w] }

// inFolder makes stores in files of a folder.
func inFolder(t testing.TB) func(w, h, c int) (*raster.Store, error) {
	folder := t.TempDir()
	return func(w, h, c int) (*raster.Store, error) {
		f, err := os.CreateTemp(folder, "")
		if err != nil {
			return nil, err
		}
		return raster.NewFile(f, w, h, c), nil
	}
}

func inMemory(w, h, c int) (*raster.Store, error) { return raster.NewMemory(w, h, c), nil }

// However the work is cut, and wherever pictures lie, samples and digests are
// those of the steps applied to whole pictures one after another.
func TestSameOnAnySchedule(t *testing.T) {
	files := inFolder(t)
	everyGraph(t, true, func(t *testing.T, g *Graph) {
		want := plain(g)
		out := g.Nodes[g.Out].Pic
		for _, o := range []Options{
			{Workers: 1, NewStore: inMemory, MemoryLimit: 1 << 40},
			{Workers: 3, BandRows: 16, NewStore: files},
			{Workers: 2, BandRows: 1000, NewStore: files},
		} {
			got := make([]uint16, len(want[g.Out]))
			sums, err := Run(context.Background(), g, Rows(func(y int, row []uint16) error {
				copy(got[y*out.Stride():], row)
				return nil
			}), o)
			if err != nil {
				t.Fatal(err)
			}
			if !slices.Equal(got, want[g.Out]) {
				t.Fatalf("other samples with %d workers and %d rows", o.Workers, o.BandRows)
			}
			var scratch []byte
			for i, n := range g.Nodes {
				if n.Step == nil {
					continue
				}
				for y, s := range sums[i] {
					if w := n.Pic.Stride(); s != raster.RowSum(want[i][y*w:(y+1)*w], &scratch) {
						t.Fatalf("node %d, row %d: another digest with %d workers and %d rows", i, y, o.Workers, o.BandRows)
					}
				}
			}
		}
	})
}

// Each step computes each of its rows once, and at the ends of bands no more
// again than its users' windows reach.
func TestRowsComputedOnce(t *testing.T) {
	everyGraph(t, true, func(t *testing.T, g *Graph) {
		counts := make([]atomic.Int64, len(g.Nodes))
		for i := range g.Nodes {
			if n := &g.Nodes[i]; n.Step != nil {
				n.Step = counting{n.Step, &counts[i]}
			}
		}
		o := Options{Workers: 2, BandRows: 48, NewStore: inMemory, MemoryLimit: 1 << 40}
		if _, err := Run(context.Background(), g, Rows(func(int, []uint16) error { return nil }), o); err != nil {
			t.Fatal(err)
		}
		l := Lay(g, o)
		for i, n := range g.Nodes {
			if n.Step == nil {
				continue
			}
			most := 0
			for _, st := range l.Stages {
				if st.rings[i] == 0 {
					continue
				}
				bands := 0
				for _, ps := range st.passes {
					bands += (ps.till - ps.from + st.Band - 1) / st.Band
				}
				most = n.Pic.H + bands*st.spans[i]
			}
			if got := int(counts[i].Load()); got < n.Pic.H || got > most {
				t.Errorf("node %d: %d rows computed of %d, expected %d at most", i, got, n.Pic.H, most)
			}
		}
	})
}

// A region has exactly the samples that the whole has there.
func TestRegionIsThatPartOfTheWhole(t *testing.T) {
	everyGraph(t, false, func(t *testing.T, g *Graph) {
		want := plain(g)
		for i, n := range g.Nodes {
			w, h, c := n.Pic.W, n.Pic.H, n.Pic.C
			for _, r := range []image.Rectangle{image.Rect(0, 0, w, h), image.Rect(0, 0, 1, 1), image.Rect(w-1, h-1, w, h),
				image.Rect(w/3, h/4, w/3+max(1, w/4), h/4+max(1, h/3)), image.Rect(w/2, 0, w, h/2+1)} {
				got, err := Region(context.Background(), g, i, r, 2)
				if err != nil {
					t.Fatal(err)
				}
				for y := r.Min.Y; y < r.Max.Y; y++ {
					a := want[i][(y*w+r.Min.X)*c : (y*w+r.Max.X)*c]
					if b := got[(y-r.Min.Y)*r.Dx()*c:][:r.Dx()*c]; !slices.Equal(a, b) {
						t.Fatalf("node %d, region %v: row %d differs", i, r, y)
					}
				}
			}
		}
	})
}
