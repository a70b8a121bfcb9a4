package engine

import (
	"testing"
	"time"

	"platemark/ops"
	"platemark/ops/raster"
)

// steady makes one row of a graph after another, as a worker does, with their
// fingerprints. The first round fills what is kept between rows.
func steady(g *Graph) (row func()) {
	l := Lay(g, Options{Workers: 1})
	st := &l.Stages[len(l.Stages)-1]
	stores, sums := make([]*raster.Store, len(g.Nodes)), make([][]uint32, len(g.Nodes))
	for i, n := range g.Nodes {
		if sums[i] = make([]uint32, n.Pic.H); n.Step == nil {
			stores[i] = n.Store
		}
	}
	for _, s := range l.Stages[:len(l.Stages)-1] {
		p := g.Nodes[s.Node].Pic
		stores[s.Node] = raster.NewMemory(p.W, p.H, p.C)
	}
	w, ps := newRunner(g, st, stores, sums).newWorker(), st.passes[0]
	y := ps.from
	row = func() {
		if y == ps.from {
			w.begin(ps, ps.from, ps.till)
		}
		w.row(ps.root, y)
		w.rest(y)
		if y++; y == ps.till {
			y = ps.from
		}
	}
	for range ps.till - ps.from {
		row()
	}
	return row
}

// Once a worker has its memory, all rows of a picture take no more.
func TestRowsAllocateNothing(t *testing.T) {
	everyGraph(t, false, func(t *testing.T, g *Graph) {
		row := steady(g)
		if n := testing.AllocsPerRun(1, func() {
			for range g.Nodes[g.Out].Pic.H {
				row()
			}
		}); n != 0 {
			t.Errorf("%v allocations", n)
		}
	})
}

// clock tells what each step of a graph takes, by node; 0, a source, stands for what
// is outside of steps.
type clock struct {
	spent []time.Duration
	node  int // at work
	since time.Time
}

func (c *clock) turnTo(node int) (was int) {
	now := time.Now()
	c.spent[c.node] += now.Sub(c.since)
	was, c.node, c.since = c.node, node, now
	return was
}

type timed struct {
	ops.Step
	clock *clock
	node  int
}

func (t timed) Worker() ops.Worker { return timedWorker{t.Step.Worker(), t} }

type timedWorker struct {
	ops.Worker
	of timed
}

func (w timedWorker) Row(dst []uint16, y int, in []ops.Rows) {
	was := w.of.clock.turnTo(w.of.node)
	w.Worker.Row(dst, y, in)
	w.of.clock.turnTo(was)
}

// BenchmarkRow makes rows of 18000 px of a print, and tells what each step takes, and
// the fingerprints of all, in ns a pixel.
//
//	go test ./interp/engine -run - -bench Row -benchmem
func BenchmarkRow(b *testing.B) {
	m := &builder{t: b, g: &Graph{Nodes: []Node{picture(b, 6000, 400, 3)}}}
	crisp, smooth := m.enlarge(0, "lanczos3", 3, 1), m.enlarge(0, "mitchell", 3, 1)
	out := m.add("sharpen", args("radius", "9/5", "amount", "19/10"), m.add("blend", args("at", "2/5"), smooth, crisp, m.mask(0)))
	c := &clock{spent: make([]time.Duration, len(m.g.Nodes)), since: time.Now()}
	for i, n := range m.g.Nodes[1:] {
		m.g.Nodes[1+i].Step = timed{n.Step, c, 1 + i}
	}
	row := steady(m.g)
	clear(c.spent)
	b.ReportAllocs()
	for b.Loop() {
		row()
	}
	c.turnTo(0)
	for i, what := range []string{"fingerprints", "lanczos3", "mitchell", "mask", "blend", "sharpen"} {
		b.ReportMetric(float64(c.spent[i].Nanoseconds())/float64(b.N)/float64(m.g.Nodes[out].Pic.W), what+"-ns/px")
	}
}
