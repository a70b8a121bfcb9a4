package interp

import (
	"context"
	"fmt"
	"image"
	"slices"

	"platemark/interp/engine"
	"platemark/interp/master"
	"platemark/interp/plan"
	"platemark/ops"
	"platemark/ops/colour"
	"platemark/ops/raster"
)

// A proof looks at a print as a whole, on a screen: far fewer pixels than the
// print has. So it is made from a reduced master. Specks are mended at full
// size first, since a mean would smear them; every later step works on the
// reduced picture, its measures in pixels reduced alike. Sharpening finer than
// a third of a reduced pixel is left out, for nothing of it would be seen.

// source is the picture that a reduced plan starts from.
type source struct {
	key   raster.Sum
	store *raster.Store
	pic   ops.Pic
}

// mended lists the nodes from the master on that mending alone makes, as long
// as nothing else uses them.
func mended(p *plan.Print) []int {
	at := slices.IndexFunc(p.Nodes, func(n plan.Node) bool { return n.Input != nil && n.Input.Role == master.RoleMaster })
	if at < 0 {
		return nil
	}
	list := []int{at}
	for at != p.Out {
		next, users := 0, 0
		for i, n := range p.Nodes {
			if slices.Contains(n.In, at) {
				next, users = i, users+1
			}
		}
		if users != 1 || !p.Nodes[next].Operation().Mends || p.Nodes[next].In[0] != at {
			break
		}
		at = next
		list = append(list, at)
	}
	return list
}

// meeting is the last mended node that all plans have: the same picture.
func meeting(plans []*plan.Print) (key raster.Sum, ok bool) {
	var common []raster.Sum
	for i, p := range plans {
		var keys []raster.Sum
		for _, n := range mended(p) {
			keys = append(keys, p.Nodes[n].Key)
		}
		if i == 0 {
			common = keys
		}
		n := 0
		for n < min(len(common), len(keys)) && common[n] == keys[n] {
			n++
		}
		common = common[:n]
	}
	if len(common) == 0 {
		return key, false
	}
	return common[len(common)-1], true
}

// reduce computes node cut at full size and keeps it at w x h by area means of
// its own numbers.
func (b *builder) reduce(ctx context.Context, p *plan.Print, cut, w, h int) (*source, error) {
	g, _, err := b.graph(ctx, p, cut, nil)
	if err != nil {
		return nil, err
	}
	return b.shrink(ctx, g, p.Nodes[cut].Key, w, h)
}

// shrink keeps a graph's picture, which has that key in its plan, at w x h.
func (b *builder) shrink(ctx context.Context, g *engine.Graph, key raster.Sum, w, h int) (*source, error) {
	pic := g.Nodes[g.Out].Pic
	s := &source{key: key, pic: pic, store: raster.NewMemory(w, h, pic.C)}
	s.pic.W, s.pic.H = w, h
	o := b.engineOptions("reducing")
	if w == pic.W && h == pic.H {
		_, err := engine.Run(ctx, g, engine.Keep(s.store), o)
		return s, err
	}
	px, err := engine.Reduce(ctx, g, w, h, o)
	if err != nil {
		return nil, err
	}
	return s, s.fill(px)
}

// fill sets the source's samples.
func (s *source) fill(px []uint16) error {
	var scratch []byte
	y := 0
	for row := range slices.Chunk(px, s.pic.Stride()) {
		if err := s.store.WriteRow(y, row, &scratch); err != nil {
			return err
		}
		y++
	}
	return nil
}

// region computes a rectangle of a node's picture, exactly as the whole has it.
func (b *builder) region(ctx context.Context, p *plan.Print, out int, r image.Rectangle) ([]uint16, error) {
	g, _, err := b.graph(ctx, p, out, nil)
	if err != nil {
		return nil, err
	}
	return engine.Region(ctx, g, g.Out, r, b.o.Workers)
}

// whole computes all of a small graph's picture.
func (b *builder) whole(ctx context.Context, g *engine.Graph) ([]uint16, error) {
	p := g.Nodes[g.Out].Pic
	return engine.Region(ctx, g, g.Out, image.Rect(0, 0, p.W, p.H), b.o.Workers)
}

// smallPlan is how a plan's nodes become those of a reduced graph.
type smallPlan struct {
	p    *plan.Print
	src  *source
	w, h int // what enlarging to the print's size enlarges to
	// args replaces the arguments of nodes.
	args map[int]ops.Args
	env  ops.Env

	pics map[int]ops.Pic
}

// small builds the reduced graph of node out, from the source's node on.
func (b *builder) small(ctx context.Context, s smallPlan, out int) (*engine.Graph, error) {
	cut := s.p.NodeOf(s.src.key)
	if cut < 0 {
		return nil, fmt.Errorf("internal: print %s lacks the picture that its proof starts from", s.p.Name)
	}
	need := make([]bool, len(s.p.Nodes))
	need[out] = true
	for i := out; i >= 0; i-- {
		if need[i] && i != cut {
			for _, k := range s.p.Nodes[i].In {
				need[k] = true
			}
		}
	}
	s.env = ops.Env{Profiles: map[string]*colour.Profile{}}
	for _, n := range s.p.Nodes {
		if n.Pic.Profile != nil {
			s.env.Profiles[n.Pic.Profile.Digest().String()] = n.Pic.Profile
		}
	}
	s.pics = map[int]ops.Pic{}
	g := &engine.Graph{}
	at := make([]int, len(s.p.Nodes))
	for i, n := range s.p.Nodes {
		if !need[i] {
			continue
		}
		gn := engine.Node{}
		switch {
		case i == cut:
			gn.Pic, gn.Store = s.src.pic, s.src.store
		case n.Input != nil:
			l, err := b.input(ctx, n)
			if err != nil {
				return nil, err
			}
			gn.Pic, gn.Store = n.Pic, l.store
		default:
			args, seen, err := s.scaled(i, cut)
			if err != nil {
				return nil, err
			}
			if !seen {
				at[i], s.pics[i] = at[n.In[0]], s.pics[n.In[0]]
				continue
			}
			var in []ops.Pic
			for _, k := range n.In {
				in, gn.In = append(in, s.pics[k]), append(gn.In, at[k])
			}
			if gn.Step, err = n.Operation().New(args, in, s.env); err != nil {
				return nil, fmt.Errorf("line %d, reduced for the proof: %w", n.Line, err)
			}
			gn.Pic = gn.Step.Pic()
		}
		at[i], s.pics[i] = len(g.Nodes), gn.Pic
		g.Nodes = append(g.Nodes, gn)
	}
	g.Out = at[out]
	return g, nil
}

// scaled are a node's arguments in pixels of the reduced pictures; seen is
// false where nothing would be seen of the step.
func (s *smallPlan) scaled(i, cut int) (args ops.Args, seen bool, err error) {
	n := s.p.Nodes[i]
	args, ok := s.args[i]
	if !ok {
		args = n.Args
	}
	r := ops.Reduction{Frame: ops.RatioOf(s.p.Nodes[cut].Pic, s.src.pic), W: s.w, H: s.h}
	if k := len(n.In) - 1; k >= 0 {
		r.From, r.Pic = s.p.Nodes[n.In[0]].Pic, s.pics[n.In[0]]
		r.Mask, r.Mini = s.p.Nodes[n.In[k]].Pic, s.pics[n.In[k]]
	}
	return n.Operation().Reduced(args, r)
}
