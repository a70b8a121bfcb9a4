package engine

import (
	"cmp"
	"context"
	"fmt"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"platemark/ops"
	"platemark/ops/raster"
)

// Run computes the graph into a sink and returns the row fingerprints by node, nil
// where they weren't asked for.
func Run(ctx context.Context, g *Graph, s Sink, o Options) ([][]uint32, error) {
	if err := g.complete(); err != nil {
		return nil, err
	}
	o.RowBytes, o.Align = s.RowBytes(), s.Align()
	l := Lay(g, o)
	sums := make([][]uint32, len(g.Nodes))
	if o.Till == 0 {
		for i, n := range g.Nodes {
			if n.Digest {
				sums[i] = make([]uint32, n.Pic.H)
			}
		}
	}
	stores := make([]*raster.Store, len(g.Nodes))
	for i, n := range g.Nodes {
		stores[i] = n.Store
	}
	var kept []int
	defer func() {
		for _, i := range kept {
			stores[i].Close()
		}
	}()
	var done atomic.Int64
	tell := func(rows int) {
		n := done.Add(int64(rows))
		if o.Progress != nil {
			o.Progress(n, l.Rows)
		}
	}
	tell(0)
	last := l.last()
	for k := range l.Stages {
		st := &l.Stages[k]
		to := s
		if k < len(l.Stages)-1 {
			p := g.Nodes[st.Node].Pic
			room, err := o.NewStore(p.W, p.H, p.C)
			if err != nil {
				return nil, err
			}
			stores[st.Node] = room
			kept = append(kept, st.Node)
			to = Keep(room)
		}
		if k == 0 {
			most := slices.MaxFunc(l.Stages, func(a, b Stage) int { return cmp.Compare(a.Bytes, b.Bytes) }).Bytes
			// Large pages are taken whole, the ends of buffers that nothing comes to with
			// them: more for the rows of a wide print cost it 20 MB and gained nothing.
			raster.Roomy(min(most/4*3, 32<<20))
		}
		if err := newRunner(g, st, stores, sums).run(ctx, to, tell); err != nil {
			return nil, err
		}
		// What this stage held, and pictures that no later one reads, go before
		// the next takes as much again.
		still := kept[:0]
		for _, i := range kept {
			if last[i] > k {
				still = append(still, i)
			} else {
				stores[i].Close()
			}
		}
		if kept = still; k < len(l.Stages)-1 && st.Bytes > 16<<20 {
			runtime.GC()
		}
	}
	return sums, nil
}

// A runner computes one stage.
type runner struct {
	g      *Graph
	st     *Stage
	stores []*raster.Store
	steps  []ops.Step // for this run, nil for what is read only
	sums   [][]uint32
}

func newRunner(g *Graph, st *Stage, stores []*raster.Store, sums [][]uint32) *runner {
	r := &runner{g: g, st: st, stores: stores, sums: sums, steps: make([]ops.Step, len(g.Nodes))}
	for i, n := range st.rings {
		if n > 0 {
			r.steps[i] = g.Nodes[i].Step
			if s, ok := r.steps[i].(ops.Shared); ok {
				r.steps[i] = s.ForRun()
			}
		}
	}
	return r
}

// run makes the stage's bands in any order and emits them in theirs; bands of
// what is left over come last, with nothing to emit.
func (r *runner) run(ctx context.Context, s Sink, tell func(rows int)) error {
	st := r.st
	type band struct {
		ps     *pass
		y0, y1 int
	}
	var bands []band
	for _, ps := range st.passes {
		for y := ps.from; y < ps.till; y += st.Band {
			bands = append(bands, band{ps, y, min(y+st.Band, ps.till)})
		}
	}
	emitted := st.bands()
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	type done struct {
		band  int
		bytes []byte
	}
	var (
		next   atomic.Int64
		tokens = make(chan struct{}, st.under)
		ready  = make(chan done)
		free   = make(chan []byte, st.under) // buffers that were emitted
		wg     sync.WaitGroup
	)
	for range min(st.Workers, len(bands)) {
		wg.Go(func() {
			w := r.newWorker()
			sw := s.Worker(st.Band * s.RowBytes())
			for {
				select {
				case tokens <- struct{}{}:
				case <-ctx.Done():
					return
				}
				n := int(next.Add(1)) - 1
				if n >= emitted {
					<-tokens
				}
				if n >= len(bands) {
					return
				}
				b := bands[n]
				w.begin(b.ps, b.y0, b.y1)
				for y := b.y0; y < b.y1; y++ {
					if ctx.Err() != nil {
						return
					}
					row := w.row(b.ps.root, y)
					if w.err == nil && n < emitted {
						w.err = sw.Row(y, row)
					}
					w.rest(y)
					if w.err != nil {
						cancel(w.err)
						return
					}
					if n < emitted {
						tell(1)
					}
				}
				if n >= emitted {
					continue
				}
				var buf []byte
				select {
				case buf = <-free:
				default:
				}
				buf, err := sw.Finish(buf[:0])
				if err != nil {
					cancel(err)
					return
				}
				select {
				case ready <- done{n, buf}:
				case <-ctx.Done():
					return
				}
			}
		})
	}
	go func() { wg.Wait(); close(ready) }()

	waiting := map[int][]byte{}
	want := 0
	for d := range ready {
		waiting[d.band] = d.bytes
		for {
			b, ok := waiting[want]
			if !ok {
				break
			}
			delete(waiting, want)
			if ctx.Err() == nil {
				if err := s.Emit(b); err != nil {
					cancel(err)
				}
			}
			want++
			select {
			case free <- b:
			default:
			}
			<-tokens
		}
	}
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	if want != emitted {
		return fmt.Errorf("internal: %d of %d bands were finished", want, emitted)
	}
	return nil
}

// worker computes rows for one goroutine: each node keeps its latest rows in a
// ring. A row's content is a function of its number alone, so a row that fell
// out of a ring is simply computed again.
type worker struct {
	r       *runner
	ps      *pass // that the band at work is of
	nodes   []workerNode
	err     error
	scratch []byte
}

type workerNode struct {
	w    *worker
	i    int
	work ops.Worker
	in   []ops.Rows
	buf  []uint16
	tags []int // tags[slot] is the row there, or -1
	// next is the first row of the band whose fingerprint isn't taken yet, till the
	// end of these.
	next, till int
}

func (r *runner) newWorker() *worker {
	w := &worker{r: r, nodes: make([]workerNode, len(r.g.Nodes))}
	for i, step := range r.steps {
		wn := &w.nodes[i]
		wn.w, wn.i = w, i
		if step == nil {
			continue
		}
		wn.buf = make([]uint16, r.st.rings[i]*r.g.Nodes[i].Pic.Stride())
		wn.tags = make([]int, r.st.rings[i])
		for k := range wn.tags {
			wn.tags[k] = -1
		}
		wn.work = step.Worker()
		for _, k := range r.g.Nodes[i].In {
			if r.steps[k] != nil {
				wn.in = append(wn.in, &w.nodes[k])
			} else {
				wn.in = append(wn.in, &storeReader{st: r.stores[k], err: &w.err})
			}
		}
	}
	return w
}

// Row implements ops.Rows.
func (n *workerNode) Row(y int) []uint16 { return n.w.row(n.i, y) }

func (w *worker) row(i, y int) []uint16 {
	wn := &w.nodes[i]
	if wn.work == nil { // the graph's picture is a source
		if st := w.r.stores[i]; st.InMemory() {
			return st.Direct(y)
		}
		return (&storeReader{st: w.r.stores[i], err: &w.err}).Row(y)
	}
	w.upto(i, min(y, wn.till)) // in order, so that what they are made from is at hand
	slot := y % len(wn.tags)
	stride := w.r.g.Nodes[i].Pic.Stride()
	dst := wn.buf[slot*stride : (slot+1)*stride : (slot+1)*stride]
	if wn.tags[slot] != y {
		wn.tags[slot] = -1
		wn.work.Row(dst, y, wn.in)
		wn.tags[slot] = y
	}
	if y == wn.next && y < wn.till {
		w.sum(i, dst)
	}
	return dst
}

// begin begins a band of a pass.
func (w *worker) begin(ps *pass, from, till int) {
	w.ps = ps
	for i := range w.nodes {
		if n := &w.nodes[i]; len(ps.sums[i]) > 0 {
			n.next, n.till = ps.owned(i, from, till)
		} else {
			n.till = n.next
		}
	}
}

// sum takes the fingerprint of the next row of a node.
func (w *worker) sum(i int, row []uint16) {
	n := &w.nodes[i]
	y := n.next
	if n.next++; !w.ps.due(i, y) {
		return
	}
	w.r.sums[i][y] = raster.RowSum(row, &w.scratch)
	if seen := w.r.g.Nodes[i].Seen; seen != nil {
		seen(y, row)
	}
}

// rest takes the fingerprints of what row y of the pass leaves behind.
func (w *worker) rest(y int) {
	for i, sums := range w.ps.sums {
		if len(sums) > 0 {
			_, end := w.ps.owned(i, y, y+1)
			w.upto(i, end)
		}
	}
}

// upto takes the fingerprints of a node's rows before y that nothing read.
func (w *worker) upto(i, y int) {
	for n := &w.nodes[i]; n.next < y; {
		if w.ps.due(i, n.next) {
			w.row(i, n.next)
		} else {
			n.next++
		}
	}
}

// storeReader gives the rows of a store to one step. Those of a temporary file
// it keeps as long as a step may hold them.
type storeReader struct {
	st      *raster.Store
	err     *error
	rows    [ops.HeldRows + 1]heldRow
	used    int
	part    []uint16
	scratch []byte
}

type heldRow struct {
	y, used int // used is when, 0 for never
	px      []uint16
}

func (s *storeReader) Row(y int) []uint16 {
	if s.st.InMemory() {
		return s.st.Direct(y)
	}
	s.used++
	old := &s.rows[0]
	for i := range s.rows {
		h := &s.rows[i]
		if h.used > 0 && h.y == y {
			h.used = s.used
			return h.px
		}
		if h.used < old.used {
			old = h
		}
	}
	if old.px == nil {
		old.px = make([]uint16, s.st.W*s.st.C)
	}
	old.y, old.used = y, s.used
	s.fail(s.st.ReadRow(old.px, y, &s.scratch))
	return old.px
}

// Part implements ops.Parts.
func (s *storeReader) Part(y, from, till int) []uint16 {
	if s.st.InMemory() {
		return s.st.Direct(y)[from:till]
	}
	if cap(s.part) < till-from {
		s.part = make([]uint16, till-from)
	}
	px := s.part[:till-from]
	s.fail(s.st.ReadPart(px, y, from, &s.scratch))
	return px
}

func (s *storeReader) fail(err error) {
	if err != nil && *s.err == nil {
		*s.err = err
	}
}
