package engine

import (
	"context"
	"image"
	"sync"

	"platemark/ops"
	"platemark/ops/raster"
)

// Region computes the part r of a node's picture, exactly as the whole has it:
// its samples, row by row. It costs the pixels of r and what they are computed
// from, and keeps all of these in memory.
func Region(ctx context.Context, g *Graph, node int, r image.Rectangle, workers int) ([]uint16, error) {
	if err := g.complete(); err != nil {
		return nil, err
	}
	need := make([]image.Rectangle, len(g.Nodes))
	users := make([]int, len(g.Nodes))
	need[node] = r
	for i := node; i >= 0; i-- {
		n := g.Nodes[i]
		if need[i].Empty() || n.Step == nil {
			continue
		}
		p, ok := n.Step.(ops.Partial)
		if !ok {
			need[i].Min.X, need[i].Max.X = 0, n.Pic.W
		}
		for k, in := range n.In {
			var from image.Rectangle
			if ok {
				from = p.Needs(k, need[i])
			} else {
				lo, hi := ops.RowsNeeded(n.Step, k, need[i].Min.Y, need[i].Max.Y)
				from = image.Rect(0, lo, g.Nodes[in].Pic.W, hi)
			}
			need[in] = need[in].Union(from)
			users[in]++
		}
	}
	parts := make([]*part, len(g.Nodes))
	for i := 0; i <= node; i++ {
		if need[i].Empty() {
			continue
		}
		n := g.Nodes[i]
		parts[i] = &part{at: need[i], c: n.Pic.C}
		if n.Step == nil && n.Store.InMemory() {
			parts[i].st = n.Store
			continue
		}
		parts[i].px = make([]uint16, need[i].Dx()*need[i].Dy()*n.Pic.C)
		if n.Step == nil {
			if err := parts[i].read(n.Store); err != nil {
				return nil, err
			}
			continue
		}
		if err := g.compute(ctx, i, parts, workers); err != nil {
			return nil, err
		}
		for _, k := range n.In {
			if users[k]--; users[k] == 0 {
				parts[k] = nil
			}
		}
	}
	out := parts[node]
	if out.st == nil && out.at == r {
		return out.px, nil
	}
	px := make([]uint16, 0, r.Dx()*r.Dy()*out.c)
	v := view{out, r}
	for y := r.Min.Y; y < r.Max.Y; y++ {
		px = append(px, v.Row(y)...)
	}
	return px, nil
}

// part is what is there of a picture: px, or a store that has all of it.
type part struct {
	at image.Rectangle
	c  int
	px []uint16
	st *raster.Store
}

func (p *part) row(y int) []uint16 {
	n := p.at.Dx() * p.c
	return p.px[(y-p.at.Min.Y)*n:][:n:n]
}

func (p *part) read(st *raster.Store) error {
	var scratch []byte
	for y := p.at.Min.Y; y < p.at.Max.Y; y++ {
		if err := st.ReadPart(p.row(y), y, p.at.Min.X*p.c, &scratch); err != nil {
			return err
		}
	}
	return nil
}

// view gives the columns of at of a part.
type view struct {
	p  *part
	at image.Rectangle
}

func (v view) Row(y int) []uint16 {
	if v.p == nil || v.at.Empty() {
		return nil
	}
	n := v.at.Dx() * v.p.c
	if v.p.st != nil {
		return v.p.st.Direct(y)[v.at.Min.X*v.p.c:][:n:n]
	}
	return v.p.row(y)[(v.at.Min.X-v.p.at.Min.X)*v.p.c:][:n:n]
}

// compute fills a step's part, on several workers where it is large.
func (g *Graph) compute(ctx context.Context, i int, parts []*part, workers int) error {
	n, to := g.Nodes[i], parts[i]
	step, left := n.Step, 0
	narrow, ok := n.Step.(ops.Partial)
	if ok {
		step, left = narrow.Part(to.at)
	}
	if s, ok := step.(ops.Shared); ok {
		step = s.ForRun()
	}
	var in []ops.Rows
	for k, from := range n.In {
		v := view{parts[from], image.Rect(0, 0, g.Nodes[from].Pic.W, g.Nodes[from].Pic.H)}
		if ok {
			v.at = narrow.Needs(k, to.at)
		}
		in = append(in, v)
	}
	rows := to.at.Dy()
	chunks := max(1, min(workers, rows/128))
	var wg sync.WaitGroup
	for k := range chunks {
		wg.Go(func() {
			w := step.Worker()
			var wide []uint16
			if p := step.Pic(); left != to.at.Min.X || p.W != to.at.Dx() {
				wide = make([]uint16, p.Stride())
			}
			for y := to.at.Min.Y + rows*k/chunks; y < to.at.Min.Y+rows*(k+1)/chunks && ctx.Err() == nil; y++ {
				if wide == nil {
					w.Row(to.row(y), y, in)
					continue
				}
				w.Row(wide, y, in)
				copy(to.row(y), wide[(to.at.Min.X-left)*to.c:])
			}
		})
	}
	wg.Wait()
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	return nil
}
