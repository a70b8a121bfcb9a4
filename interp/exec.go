package interp

import (
	"context"
	"fmt"
	"runtime"
	"sync"
	"sync/atomic"

	"platemark/ops"
	"platemark/ops/raster"
)

// A graph is what one run of the executor computes: nodes in an order in which
// every input comes before its users.
type graph struct {
	nodes []gnode
	out   int // the node whose rows the sink gets
}

// gnode is a source (store set) or a step.
type gnode struct {
	pic   ops.Pic
	store *raster.Store
	step  ops.Step
	in    []int
	// digest asks for row digests of this node.
	digest bool
	// ring is the number of rows a worker keeps, set by size.
	ring int
}

// A sink takes the finished rows of one band; one sinkWorker serves one
// worker. Bands are handed to emit in order, from one goroutine.
type sink interface {
	worker() sinkWorker
	// emit gets what the sinkWorker made of a band, in band order.
	emit(band []byte) error
	// align is the number of rows that a band's height must be a multiple of.
	align() int
}

type sinkWorker interface {
	// row takes row y; the slice is valid only during the call.
	row(y int, samples []uint16) error
	// finish returns the band's bytes, appended to dst.
	finish(dst []byte) ([]byte, error)
}

// runOptions say how to cut the work; they never change a result.
type runOptions struct {
	workers  int
	bandRows int
	// from, till bound the rows computed; till 0 means all. With a part of
	// the rows no digests are taken.
	from, till int
	progress   func(rows int)
}

// defaultBandRows balances the rows computed again at band edges against the
// memory that finished bands take while they wait for their turn.
const defaultBandRows = 240

// bandsMost is the memory that bands may take before they are written, in
// bytes, as long as every worker has one.
const bandsMost = 256 << 20

// cut says how many rows a band gets, where bandRows doesn't say it, and how
// many bands may be under way: computed, or finished and waiting for their
// turn. rowBytes is about what a finished row takes.
func cut(rows, workers, bandRows, rowBytes int) (band, under int) {
	band = bandRows
	if band <= 0 {
		band = defaultBandRows
		for band > 64 && int64(workers+1)*int64(band)*int64(rowBytes) > bandsMost {
			band /= 2
		}
	}
	// Small pictures are cut finer, so that every worker has something to do.
	for band > 32 && rows < 2*workers*band {
		band /= 2
	}
	room := bandsMost / max(int64(band)*int64(rowBytes), 1)
	return band, int(max(int64(workers)+1, min(2*int64(workers)+1, room)))
}

// run computes the graph and returns the row digests by node (nil where not
// asked for).
func run(ctx context.Context, g *graph, s sink, o runOptions) ([][]raster.Sum, error) {
	out := g.nodes[g.out].pic
	whole := o.till == 0
	if whole {
		o.from, o.till = 0, out.H
	}
	if o.workers <= 0 {
		o.workers = runtime.GOMAXPROCS(0)
	}
	g.size(out.H)
	o.workers = g.workers(o.workers)
	rowBytes := 0
	if r, ok := s.(interface{ rowBytes() int }); ok {
		rowBytes = r.rowBytes()
	}
	var under int
	o.bandRows, under = cut(o.till-o.from, o.workers, o.bandRows, rowBytes)
	a := s.align()
	o.bandRows = (o.bandRows + a - 1) / a * a

	sums := make([][]raster.Sum, len(g.nodes))
	if whole {
		for i, n := range g.nodes {
			if n.digest {
				sums[i] = make([]raster.Sum, n.pic.H)
			}
		}
	}

	bands := (o.till - o.from + o.bandRows - 1) / o.bandRows
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	type done struct {
		band  int
		bytes []byte
	}
	var (
		next   atomic.Int64
		tokens = make(chan struct{}, under)
		ready  = make(chan done)
		free   = make(chan []byte, cap(tokens)) // buffers that were emitted
		wg     sync.WaitGroup
	)
	for range o.workers {
		wg.Go(func() {
			w := newWorker(g, sums, out.H)
			sw := s.worker()
			if r, ok := sw.(interface{ room(n int) }); ok {
				r.room(o.bandRows * rowBytes)
			}
			for {
				select {
				case tokens <- struct{}{}:
				case <-ctx.Done():
					return
				}
				b := int(next.Add(1)) - 1
				if b >= bands {
					<-tokens
					return
				}
				y0 := o.from + b*o.bandRows
				y1 := min(y0+o.bandRows, o.till)
				for y := y0; y < y1; y++ {
					if ctx.Err() != nil {
						return
					}
					row := w.row(g.out, y)
					if w.err == nil {
						w.err = sw.row(y, row)
					}
					if whole {
						w.hash(y)
					}
					if w.err != nil {
						cancel(w.err)
						return
					}
					if o.progress != nil {
						o.progress(1)
					}
				}
				var buf []byte
				select {
				case buf = <-free:
				default:
				}
				buf, err := sw.finish(buf[:0])
				if err != nil {
					cancel(err)
					return
				}
				select {
				case ready <- done{b, buf}:
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
				if err := s.emit(b); err != nil {
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
		return nil, context.Cause(ctx)
	}
	if want != bands {
		return nil, fmt.Errorf("internal: %d of %d bands were finished", want, bands)
	}
	return sums, nil
}

// size sets each node's ring so that every row that computing one row of any
// node can ask for, on all ways together, has its own place.
func (g *graph) size(outH int) {
	type span struct{ lo, hi int }
	n := len(g.nodes)
	need := make([]span, n)
	for i := range g.nodes {
		g.nodes[i].ring = 1
	}
	for root := range g.nodes {
		h := g.nodes[root].pic.H
		for y := range h {
			for i := range need[:root+1] {
				need[i] = span{}
			}
			need[root] = span{y, y + 1}
			for i := root; i >= 0; i-- {
				s := need[i]
				nd := &g.nodes[i]
				if s.lo == s.hi {
					continue
				}
				nd.ring = max(nd.ring, s.hi-s.lo)
				for k, in := range nd.in {
					if nd.step == nil || wholeInput(nd.step) {
						continue
					}
					for _, r := range [2]int{s.lo, s.hi - 1} {
						lo, hi := nd.step.Window(k, r)
						t := &need[in]
						if t.lo == t.hi {
							*t = span{lo, hi}
						} else {
							t.lo, t.hi = min(t.lo, lo), max(t.hi, hi)
						}
					}
					// The far end may lie at a row between (spots).
					for r := s.lo + 1; r < s.hi-1; r++ {
						_, hi := nd.step.Window(k, r)
						need[in].hi = max(need[in].hi, hi)
					}
				}
			}
		}
	}
	for i := range g.nodes {
		// A few rows more than needed: digests are taken a little behind.
		g.nodes[i].ring = min(g.nodes[i].ring+2, max(g.nodes[i].pic.H, 1))
	}
}

// ringsMost is the memory that the rings of all workers may take together, in
// bytes. Only a picture of hundreds of megapixels that is made small comes near
// it: each row of the print then needs a hundred rows of the master.
const ringsMost = 192 << 20

// workers is how many of up to n workers find room, one at least.
func (g *graph) workers(n int) int {
	each := int64(1)
	for _, nd := range g.nodes {
		if nd.store == nil || !nd.store.InMemory() {
			each += 2 * int64(nd.ring) * int64(nd.pic.Stride())
		}
	}
	return int(max(1, min(int64(n), ringsMost/each)))
}

func wholeInput(s ops.Step) bool {
	w, ok := s.(ops.Whole)
	return ok && w.NeedsWhole()
}

// worker computes rows for one goroutine: each node keeps its latest rows in a
// ring. A row's content is a function of its number alone, so a row that fell
// out of a ring is simply computed again.
type worker struct {
	g       *graph
	nodes   []workerNode
	sums    [][]raster.Sum
	outH    int
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
}

func newWorker(g *graph, sums [][]raster.Sum, outH int) *worker {
	w := &worker{g: g, nodes: make([]workerNode, len(g.nodes)), sums: sums, outH: outH}
	for i := range g.nodes {
		nd, wn := &g.nodes[i], &w.nodes[i]
		wn.w, wn.i = w, i
		if nd.store != nil && nd.store.InMemory() {
			continue
		}
		wn.buf = make([]uint16, nd.ring*nd.pic.Stride())
		wn.tags = make([]int, nd.ring)
		for k := range wn.tags {
			wn.tags[k] = -1
		}
		if nd.step != nil {
			wn.work = nd.step.Worker()
			for _, k := range nd.in {
				wn.in = append(wn.in, &w.nodes[k])
			}
		}
	}
	return w
}

// Row implements ops.Rows.
func (n *workerNode) Row(y int) []uint16 { return n.w.row(n.i, y) }

func (w *worker) row(i, y int) []uint16 {
	nd, wn := &w.g.nodes[i], &w.nodes[i]
	if wn.buf == nil {
		return nd.store.Direct(y)
	}
	slot := y % len(wn.tags)
	stride := nd.pic.Stride()
	dst := wn.buf[slot*stride : (slot+1)*stride : (slot+1)*stride]
	if wn.tags[slot] == y {
		return dst
	}
	if nd.store != nil {
		if err := nd.store.ReadRow(dst, y, &w.scratch); err != nil && w.err == nil {
			w.err = err
		}
	} else {
		wn.tags[slot] = -1
		wn.work.Row(dst, y, wn.in)
	}
	wn.tags[slot] = y
	return dst
}

// hash takes the digests of the rows that belong to output row y: the same
// share of every node's height, so that each row is taken once in all.
func (w *worker) hash(y int) {
	for i, sums := range w.sums {
		if sums == nil {
			continue
		}
		h := w.g.nodes[i].pic.H
		lo := int(int64(y) * int64(h) / int64(w.outH))
		hi := int(int64(y+1) * int64(h) / int64(w.outH))
		for r := lo; r < hi; r++ {
			sums[r] = raster.RowSum(w.row(i, r), &w.scratch)
		}
	}
}
