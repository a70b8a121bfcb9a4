package interp

import (
	"context"
	"fmt"
	"image"
	"maps"
	"runtime"
	"slices"

	"platemark/interp/engine"
	"platemark/interp/plan"
	"platemark/ops"
	"platemark/ops/raster"
)

// A Session makes the pictures of plans. It holds what was decoded of their
// inputs, and pictures that others are made from, each once, by what they mean;
// plans of several recipes may share it. It serves one goroutine at a time.
type Session struct {
	Workers  int
	BandRows int // of a run in bands; 0 leaves it to the engine
	// Progress, if set, is called from several goroutines.
	Progress func(stage string, done, due int64)
	// Keeping, if set, is where pictures for whole prints are kept and found.
	Keeping *Keeping

	inputs   map[plan.InputFile]*loaded
	kept     map[raster.Sum]*kept // by the node's key
	starts   map[startAt]plan.Start
	measured map[raster.Sum]string // the arguments that steps lacked, by the node's key
}

// kept is a picture that several are made from, with the results of every node
// on the way to it.
type kept struct {
	store   *raster.Store
	results map[raster.Sum]plan.Result // by node key
	taken   bool                       // an earlier run made it
}

type startAt struct {
	key  raster.Sum
	w, h int
}

// Picture is a picture or a part of one in memory.
type Picture struct {
	ops.Pic
	Samples []uint16    // row by row
	At      image.Point // where it begins in the whole
}

// NewSession begins a session on so many workers, 0 for one a processor.
func NewSession(workers int, progress func(stage string, done, due int64)) *Session {
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	return &Session{Workers: workers, Progress: progress,
		inputs: map[plan.InputFile]*loaded{}, kept: map[raster.Sum]*kept{}, starts: map[startAt]plan.Start{}, measured: map[raster.Sum]string{}}
}

// newSession begins one as a build asks for it.
func newSession(o BuildOptions) *Session {
	s := NewSession(o.Workers, o.Progress)
	s.BandRows, s.Keeping = o.BandRows, o.Keeping
	return s
}

// Close gives back all that the session holds. Inputs stay open.
func (s *Session) Close() {
	for _, l := range s.inputs {
		l.close()
	}
	for _, k := range s.kept {
		k.store.Close()
	}
	s.Keeping.close()
}

// graph is what makes node out, from inputs and from what is kept; of says which
// node of the plan each of its own is. Digests that results lack are asked for,
// none with results nil. Whoever gives results asks unchanged before they are used.
func (s *Session) graph(ctx context.Context, p *plan.Print, out int, results map[raster.Sum]plan.Result) (g *engine.Graph, of []int, err error) {
	keep := func(key raster.Sum) (*raster.Store, bool) {
		k := s.kept[key]
		if k == nil && results != nil {
			if k = s.Keeping.take(p, p.NodeOf(key)); k != nil {
				s.kept[key] = k
			}
		}
		if k == nil {
			return nil, false
		}
		if results != nil {
			maps.Copy(results, k.results)
		}
		return k.store, true
	}
	input := func(n plan.Node) (*raster.Store, error) {
		l, err := s.input(ctx, n, results == nil)
		if err != nil {
			return nil, err
		}
		if results != nil {
			r := plan.ResultOf(n, l.bands)
			r.Report = l.report
			results[n.Key] = r
		}
		return l.store, nil
	}
	if g, of, err = p.Graph(out, keep, input); err != nil {
		return nil, nil, err
	}
	keys := make([]raster.Sum, len(of))
	for i, n := range of {
		keys[i] = p.Nodes[n].Key
	}
	if err := s.measure(ctx, g, keys); err != nil || results == nil {
		return g, of, err
	}
	for i := range g.Nodes {
		_, have := results[keys[i]]
		g.Nodes[i].Digest = g.Nodes[i].Step != nil && !have
	}
	for _, n := range p.Worth() {
		if i := slices.Index(keys, p.Nodes[n].Key); i >= 0 && g.Nodes[i].Digest {
			g.Nodes[i].Seen = s.Keeping.begin(p, n)
		}
	}
	return g, of, nil
}

// measure completes the steps that lack what is measured, in order, each once by
// its key; a small plan's have none.
func (s *Session) measure(ctx context.Context, g *engine.Graph, keys []raster.Sum) (err error) {
	for i := range g.Nodes {
		n := &g.Nodes[i]
		if n.Lacks == nil {
			continue
		}
		v := ""
		if keys != nil {
			v = s.measured[keys[i]]
		}
		if v == "" {
			if v, err = engine.Measure(ctx, g, i, s.engineOptions("measuring")); err != nil {
				return err
			}
		}
		if keys != nil {
			s.measured[keys[i]] = v
		}
		if n.Step, err = n.Lacks.Bind(v); err != nil {
			return err
		}
		n.Lacks = nil
	}
	return nil
}

// record adds what a run came to to the results.
func (s *Session) record(p *plan.Print, of []int, sums [][]uint32, results map[raster.Sum]plan.Result) {
	for i, rows := range sums {
		if rows != nil {
			n := p.Nodes[of[i]]
			r := plan.ResultOf(n, raster.Bands(rows))
			r.Measured = s.measured[n.Key]
			results[n.Key] = r
		}
	}
}

// engineOptions are those of a run that is told of under a name, "" for none.
func (s *Session) engineOptions(stage string) engine.Options {
	o := engine.Options{Workers: s.Workers, BandRows: s.BandRows, MemoryLimit: plan.MemoryLimit, NewStore: newStore}
	if tell := s.Progress; tell != nil && stage != "" {
		o.Progress = func(done, due int64) { tell(stage, done, due) }
	}
	return o
}

// Prepare keeps the picture of a node, such as what prepare leaves, where it isn't
// the master's own, so that later steps are computed from it: what prepare leaves
// always, others as long as all that is kept takes no more memory than one picture may.
func (s *Session) Prepare(ctx context.Context, p *plan.Print, node int) error {
	n := p.Nodes[node]
	if n.Input != nil || s.kept[n.Key] != nil {
		return nil
	}
	held := n.Pic.Bytes()
	for _, k := range s.kept {
		if k.store.InMemory() {
			held += k.store.Bytes()
		}
	}
	if node != p.Ready && held > plan.MemoryLimit {
		return nil
	}
	k := &kept{results: map[raster.Sum]plan.Result{}}
	g, of, err := s.graph(ctx, p, node, k.results)
	if err != nil || s.kept[n.Key] != nil {
		return err
	}
	if k.store, err = newStore(n.Pic.W, n.Pic.H, n.Pic.C); err != nil {
		return err
	}
	sums, err := engine.Run(ctx, g, engine.Keep(k.store), s.engineOptions("preparing"))
	if err != nil {
		k.store.Close()
		return err
	}
	s.record(p, of, sums, k.results)
	s.kept[n.Key] = k
	return nil
}

// Release gives back what none of the plans to come needs: pictures kept or
// reduced, and decoded inputs but for those that another picture will be prepared
// from, up to one large master in memory.
func (s *Session) Release(later []*plan.Print) {
	none := func(key raster.Sum) bool {
		return !slices.ContainsFunc(later, func(l *plan.Print) bool { return l.NodeOf(key) >= 0 })
	}
	maps.DeleteFunc(s.starts, func(at startAt, _ plan.Start) bool { return none(at.key) })
	for key, k := range s.kept {
		if none(key) {
			k.store.Close()
			delete(s.kept, key)
		}
	}
	s.dropInputs(later)
}

// Region computes the part r of a node's picture, exactly as the whole has it.
// It costs about its own pixels and what they are computed from.
func (s *Session) Region(ctx context.Context, p *plan.Print, node int, r image.Rectangle) (Picture, error) {
	pic := p.Nodes[node].Pic
	if r.Empty() || !r.In(image.Rect(0, 0, pic.W, pic.H)) {
		return Picture{}, fmt.Errorf("internal: the part %v doesn't lie in the picture of %d x %d px", r, pic.W, pic.H)
	}
	g, _, err := s.graph(ctx, p, node, nil)
	if err != nil {
		return Picture{}, err
	}
	px, err := engine.Region(ctx, g, g.Out, r, s.Workers)
	pic.W, pic.H = r.Dx(), r.Dy()
	return Picture{pic, px, r.Min}, err
}

// Mean is the mean of the samples in a part of a node's picture, 0 to 1.
func (s *Session) Mean(ctx context.Context, p *plan.Print, node int, part image.Rectangle) (mean float64, err error) {
	g, _, err := s.graph(ctx, p, node, nil)
	if err != nil {
		return 0, err
	}
	c := p.Nodes[node].Pic.C
	sum := make([]float64, part.Dy()) // by row
	add := engine.Rows(func(y int, samples []uint16) error {
		t := 0
		for _, s := range samples[part.Min.X*c : part.Max.X*c] {
			t += int(s)
		}
		sum[y-part.Min.Y] = float64(t)
		return nil
	})
	o := s.engineOptions("")
	o.From, o.Till = part.Min.Y, part.Max.Y
	if _, err := engine.Run(ctx, g, add, o); err != nil {
		return 0, err
	}
	for _, r := range sum {
		mean += r
	}
	return mean / (65535 * float64(part.Dx()) * float64(part.Dy()) * float64(c)), nil
}

// Reduced runs a plan small: node comes out w x h px. It serves looking; see
// Start for what it is made from.
func (s *Session) Reduced(ctx context.Context, p *plan.Print, node, w, h int) (Picture, error) {
	start, err := s.Start(ctx, []*plan.Print{p}, node, w)
	if err != nil {
		return Picture{}, err
	}
	return s.Fitted(ctx, p, node, plan.Small{Start: start, W: w, H: h})
}

// Start is the last picture that mending alone makes in all plans, reduced by
// area means of its own numbers to the size from which node out of the first
// comes w px wide. It belongs to the session.
func (s *Session) Start(ctx context.Context, plans []*plan.Print, out, w int) (plan.Start, error) {
	p := plans[0]
	node, w, h, err := plan.StartOf(plans, out, w)
	if err != nil {
		return plan.Start{}, err
	}
	at := startAt{p.Nodes[node].Key, w, h}
	if st, ok := s.starts[at]; ok {
		return st, nil
	}
	g, _, err := s.graph(ctx, p, node, nil)
	if err != nil {
		return plan.Start{}, err
	}
	st, err := s.reduce(ctx, g, at)
	if err == nil {
		s.starts[at] = st
	}
	return st, err
}

// Smaller is a start reduced further.
func (s *Session) Smaller(ctx context.Context, st plan.Start, w, h int) (plan.Start, error) {
	return s.reduce(ctx, &engine.Graph{Nodes: []engine.Node{{Pic: st.Pic, Store: st.Store}}}, startAt{st.Key, w, h})
}

func (s *Session) reduce(ctx context.Context, g *engine.Graph, at startAt) (plan.Start, error) {
	pic := g.Nodes[g.Out].Pic
	o := s.engineOptions("reducing")
	st := plan.Start{Key: at.key, Pic: ops.Pic{W: at.w, H: at.h, C: pic.C, Profile: pic.Profile}}
	if at.w == pic.W && at.h == pic.H {
		st.Store = raster.NewMemory(pic.W, pic.H, pic.C)
		_, err := engine.Run(ctx, g, engine.Keep(st.Store), o)
		return st, err
	}
	px, err := engine.Reduce(ctx, g, at.w, at.h, o)
	st.Store = raster.Of(px, at.w, at.h, pic.C)
	return st, err
}

// Small runs a plan small. Where the print crops, the picture may come out a
// pixel larger or smaller than asked for; see Fitted.
func (s *Session) Small(ctx context.Context, p *plan.Print, node int, how plan.Small) (Picture, error) {
	g, err := p.Small(node, how, func(n plan.Node, w, h int) (*raster.Store, error) {
		at := startAt{n.Key, w, h}
		if st, ok := s.starts[at]; ok {
			return st.Store, nil
		}
		l, err := s.input(ctx, n, true)
		if err != nil {
			return nil, err
		}
		if n.Pic.W == w && n.Pic.H == h {
			return l.store, nil
		}
		st, err := s.reduce(ctx, &engine.Graph{Nodes: []engine.Node{{Pic: n.Pic, Store: l.store}}}, at)
		if err == nil {
			s.starts[at] = st
		}
		return st.Store, err
	})
	if err != nil {
		return Picture{}, err
	}
	if err := s.measure(ctx, g, nil); err != nil {
		return Picture{}, err
	}
	pic := g.Nodes[g.Out].Pic
	px, err := engine.Region(ctx, g, g.Out, image.Rect(0, 0, pic.W, pic.H), s.Workers)
	return Picture{Pic: pic, Samples: px}, err
}

// Fitted is Small brought to the very size asked for.
func (s *Session) Fitted(ctx context.Context, p *plan.Print, node int, how plan.Small) (Picture, error) {
	m, err := s.Small(ctx, p, node, how)
	if err != nil || m.W == how.W && m.H == how.H {
		return m, err
	}
	g := &engine.Graph{Nodes: []engine.Node{{Pic: m.Pic, Store: raster.Of(m.Samples, m.W, m.H, m.C)}}}
	m.W, m.H = how.W, how.H
	m.Samples, err = engine.Reduce(ctx, g, m.W, m.H, s.engineOptions(""))
	return m, err
}
