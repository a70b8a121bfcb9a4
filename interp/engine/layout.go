package engine

import (
	"runtime"
	"slices"

	"platemark/ops"
	"platemark/ops/raster"
)

// Options say how to cut the work; they never change a result.
type Options struct {
	Workers  int // 0: as many as there are processors
	BandRows int // 0: by what the steps read
	// From, Till bound the rows computed; Till 0 means all. With a part of the
	// rows no digests are taken.
	From, Till int
	// RowBytes and Align are those of the sink.
	RowBytes, Align int
	// MemoryLimit is the largest picture that is kept in memory, in bytes.
	MemoryLimit int64
	// NewStore makes room for a picture that is kept; a layout can do without.
	NewStore func(w, h, c int) (*raster.Store, error)
	// Progress is told of rows done of rows due, from several goroutines.
	Progress func(done, due int64)
}

const (
	// bandsMost is the memory that bands may take before they are written, in
	// bytes, as long as every worker has one.
	bandsMost = 64 << 20
	// ringsMost and ringsEach are what the workers' rows may take: together,
	// and more for each worker.
	ringsMost = 224 << 20
	ringsEach = 8 << 20
	// farRows is how many rows at most two neighbouring rows may both read, in
	// the mean, through a ring. Beyond, the picture read is kept whole: what is
	// computed again at the ends of bands would cost more.
	farRows = 256
	// bandRows is the height of a band whose steps read little around a row.
	bandRows = 240
)

// A Layout says how a graph is computed.
type Layout struct {
	Stages []Stage // in order; the last makes the graph's picture
	Memory int64   // bytes at most, with the sources that lie in memory
	Rows   int64   // due in all stages

	g *Graph
	o Options
}

// A Stage computes one node from sources and from nodes that earlier stages
// kept.
type Stage struct {
	Node       int
	From, Till int   // rows
	InFile     bool  // of a kept picture: it lies in a temporary file
	Workers    int   // at work
	Band       int   // rows
	Bytes      int64 // of memory: what workers hold, and bands under way

	under  int // bands under way at a time
	nodes  []bool
	rings  []int // rows by node, 0 for what isn't computed here
	spans  []int // rows by node that one row of the stage's picture is made from
	passes []*pass
}

// edge is what a step reads of one input.
type edge struct {
	both int  // rows that two neighbouring rows read, in the mean
	most int  // rows from the near end to the farthest that was read
	even bool // the far end never falls
	gaps bool // rows are left out
}

func edgeOf(s ops.Step, in int) edge {
	e := edge{even: true}
	far, most := 0, 0
	for y := range s.Pic().H {
		lo, hi := s.Window(in, y)
		e.both += max(0, far-lo)
		e.even = e.even && hi >= far
		e.gaps = e.gaps || y > 0 && lo > far
		most = max(most, hi)
		e.most = max(e.most, most-lo)
		far = hi
	}
	e.both /= s.Pic().H
	return e
}

func wholeInput(s ops.Step) bool {
	w, ok := s.(ops.Whole)
	return ok && w.NeedsWhole()
}

// planner works out a layout.
type planner struct {
	g     *Graph
	o     Options
	edges [][]edge
	kept  []bool // sources, and what is kept
}

// Lay works out how to compute a graph, which may lack what is measured: its
// memory is that of measuring too.
func Lay(g *Graph, o Options) *Layout {
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	o.Align = max(o.Align, 1)
	p := &planner{g: g, o: o, edges: make([][]edge, len(g.Nodes)), kept: make([]bool, len(g.Nodes))}
	for i, n := range g.Nodes {
		p.kept[i] = n.Step == nil
	}
	for i, n := range g.Nodes {
		for k, in := range n.In {
			e := edgeOf(n.Step, k)
			p.edges[i] = append(p.edges[i], e)
			if e.both > farRows || wholeInput(n.Step) {
				p.kept[in] = true
			}
		}
	}
	for {
		l := p.layout()
		if i := p.another(l); i >= 0 {
			p.kept[i] = true
			continue
		}
		for i, n := range g.Nodes {
			if n.Lacks != nil {
				m := Lay(g.measuring(i), Options{Workers: p.o.Workers, BandRows: measuredRows, MemoryLimit: p.o.MemoryLimit})
				l.Memory = max(l.Memory, m.Memory)
			}
		}
		return l
	}
}

// layout lays the stages out for what is kept now.
func (p *planner) layout() *Layout {
	g, out := p.g, p.g.Out
	l := &Layout{g: g, o: p.o}
	whole := p.o.Till == 0
	type rows struct{ lo, hi int }
	want := make([]rows, len(g.Nodes))
	want[out] = rows{p.o.From, p.o.Till}
	if whole {
		want[out] = rows{0, g.Nodes[out].Pic.H}
	}
	for i := out; i >= 0; i-- {
		if i != out && (!p.kept[i] || g.Nodes[i].Step == nil) || want[i].lo == want[i].hi {
			continue
		}
		n := g.Nodes[i]
		if whole && n.Digest {
			want[i] = rows{0, n.Pic.H}
		}
		st := Stage{Node: i, From: want[i].lo, Till: want[i].hi, nodes: make([]bool, len(g.Nodes))}
		p.reach(i, st.nodes)
		p.passes(&st, whole)
		for _, ps := range st.passes {
			for k, lo := range ps.lo {
				if lo == nil || !p.kept[k] || k == i {
					continue
				}
				r := rows{int(lo[0]), int(slices.Max(ps.hi[k]))}
				if w := want[k]; w.lo != w.hi {
					r = rows{min(w.lo, r.lo), max(w.hi, r.hi)}
				}
				want[k] = r
			}
		}
		o := p.o
		if i != out {
			o.RowBytes, o.Align, o.BandRows = 0, 1, 0
			st.InFile = n.Pic.Bytes() > o.MemoryLimit
		}
		st.rings[i] = max(st.rings[i], o.Align) // so many rows the sink may hold
		p.cut(&st, o)
		l.Stages = append(l.Stages, st)
		l.Rows += int64(st.Till - st.From)
	}
	slices.Reverse(l.Stages)
	l.Memory = p.memory(l)
	return l
}

// reach marks a node and all that is computed, or read, for it in its stage.
func (p *planner) reach(i int, in []bool) {
	in[i] = true
	for _, k := range p.g.Nodes[i].In {
		if in[k] {
			continue
		}
		if in[k] = true; !p.kept[k] {
			p.reach(k, in)
		}
	}
}

// last is the last stage that reads each node, -1 for none.
func (l *Layout) last() []int {
	out := make([]int, len(l.g.Nodes))
	for i := range out {
		out[i] = -1
	}
	for s, st := range l.Stages {
		for i, in := range st.nodes {
			if in && i != st.Node {
				out[i] = s
			}
		}
	}
	return out
}

// memory is the most that stages, with what is kept meanwhile, take.
func (p *planner) memory(l *Layout) (most int64) {
	var sources int64
	for _, n := range l.g.Nodes {
		if n.Step == nil && n.Pic.Bytes() <= p.o.MemoryLimit {
			sources += n.Pic.Bytes()
		}
	}
	last := l.last()
	for s, st := range l.Stages {
		sum := sources + st.Bytes
		for t, k := range l.Stages[:len(l.Stages)-1] {
			if t <= s && last[k.Node] >= s && !k.InFile {
				sum += l.g.Nodes[k.Node].Pic.Bytes()
			}
		}
		most = max(most, sum)
	}
	return most
}

// another is a node that should be kept besides, -1 for none: one that two
// stages would compute, or one whose ring keeps workers out.
func (p *planner) another(l *Layout) int {
	seen := make([]bool, len(p.g.Nodes))
	twice := -1
	for _, st := range l.Stages {
		for i, in := range st.nodes {
			if !in || p.kept[i] || i == p.g.Out {
				continue
			}
			if seen[i] {
				twice = max(twice, i)
			}
			seen[i] = true
		}
	}
	if twice >= 0 {
		return twice
	}
	for _, st := range l.Stages {
		each, _ := p.holds(&st)
		if st.Workers >= min(p.o.Workers, st.bands()) && int64(st.Workers)*each <= p.room() {
			continue
		}
		most, at := each/4, -1
		for i := range st.rings {
			if b := p.spares(&st, i); b > most {
				most, at = b, i
			}
		}
		if at >= 0 {
			return at
		}
	}
	return -1
}

// spares is what each worker needn't hold of rows where node i is kept: as many
// as its users read of it more than is read of themselves.
func (p *planner) spares(st *Stage, i int) int64 {
	if i == st.Node || st.rings[i] <= 8 {
		return 0
	}
	read := 1
	for u, n := range p.g.Nodes {
		if slices.Contains(n.In, i) {
			read = max(read, st.spans[u])
		}
	}
	return 2 * int64(max(0, st.spans[i]-read)) * int64(p.g.Nodes[i].Pic.Stride())
}

// holds is what a worker takes, and what all of them take together.
func (p *planner) holds(st *Stage) (each, shared int64) {
	for i, n := range p.g.Nodes {
		if !st.nodes[i] || p.kept[i] && i != st.Node {
			continue
		}
		each += 2 * int64(st.rings[i]) * int64(n.Pic.Stride())
		for _, k := range n.In {
			if p.kept[k] && p.inFile(k) {
				each += 2 * (ops.HeldRows + 2) * int64(p.g.Nodes[k].Pic.Stride())
			}
		}
		if s, ok := n.Step.(ops.Sized); ok {
			w, all := s.Memory()
			each, shared = each+w, shared+all
		}
	}
	for _, ps := range st.passes {
		shared += 8 * int64(len(ps.lo)) * int64(ps.till-ps.from)
	}
	return each, shared
}

// room is what all workers may hold.
func (p *planner) room() int64 { return ringsMost + int64(p.o.Workers)*ringsEach }

func (p *planner) inFile(i int) bool {
	if st := p.g.Nodes[i].Store; st != nil {
		return !st.InMemory()
	}
	return p.g.Nodes[i].Pic.Bytes() > p.o.MemoryLimit
}

// bands is how many bands the stage's own picture is made in.
func (st *Stage) bands() int { return (st.Till - st.From + st.Band - 1) / st.Band }

// cut settles bands and workers. A band is four times as high as what is
// computed again at its end, as far as memory allows; small pictures are cut
// finer, so that every worker has something to do.
func (p *planner) cut(st *Stage, o Options) {
	each, shared := p.holds(st)
	st.Workers = int(max(1, min(int64(o.Workers), (p.room()-shared)/max(each, 1))))
	rows, again := st.Till-st.From, p.again(st)
	st.Band = o.BandRows
	if st.Band <= 0 {
		st.Band = max(bandRows, 4*again)
		for st.Band > 64 && int64(2*st.Workers+1)*int64(st.Band)*int64(o.RowBytes) > bandsMost {
			st.Band /= 2
		}
	}
	for st.Band > max(32, again) && rows < 2*st.Workers*st.Band {
		st.Band /= 2
	}
	st.Band = (st.Band + o.Align - 1) / o.Align * o.Align
	room := bandsMost/max(int64(st.Band)*int64(o.RowBytes), 1) - int64(st.Workers) // which each begin another
	st.under = int(max(int64(st.Workers)+1, min(2*int64(st.Workers)+1, room)))
	at := int64(min(st.Workers, max(st.bands(), 1)))
	held := int64(min(st.under+st.Workers, 2*st.bands())) * int64(st.Band) * int64(o.RowBytes)
	st.Bytes = at*each + shared + held
}
