package interp

import (
	"context"
	"fmt"
	"image"
	"math/big"
	"slices"

	"platemark/interp/engine"
	"platemark/interp/master"
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

// mending are the operations that work at full size before the picture is
// reduced.
var mending = []string{"turn", "spots", "spot-pixels", "crop"}

// mended lists the nodes from the master on that mending alone makes, as long
// as nothing else uses them.
func mended(p *Plan) []int {
	at := slices.IndexFunc(p.Nodes, func(n Node) bool { return n.Input != nil && n.Input.Role == master.RoleMaster })
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
		if users != 1 || !slices.Contains(mending, p.Nodes[next].Op) || p.Nodes[next].In[0] != at {
			break
		}
		at = next
		list = append(list, at)
	}
	return list
}

// meeting is the last mended node that all plans have: the same picture.
func meeting(plans []*Plan) (key raster.Sum, ok bool) {
	var common []raster.Sum
	for i, p := range plans {
		var keys []raster.Sum
		for _, n := range mended(p) {
			keys = append(keys, p.Nodes[n].key)
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

// nodeOf finds a node by its key.
func (p *Plan) nodeOf(key raster.Sum) int {
	return slices.IndexFunc(p.Nodes, func(n Node) bool { return n.key == key })
}

// before is the width of the picture, on the way from cut to out, that enlarging
// starts from; out's own without an enlargement.
func (p *Plan) before(cut, out int) int {
	for i := range p.Nodes {
		if n := p.Nodes[i]; i > cut && i <= out && n.Op == "enlarge" {
			return p.Nodes[n.In[0]].Pic.W
		}
	}
	return p.Nodes[out].Pic.W
}

// reduce computes node cut at full size and keeps it at w x h by area means of
// its own numbers.
func (b *builder) reduce(ctx context.Context, p *Plan, cut, w, h int) (*source, error) {
	g, _, err := b.graph(ctx, p, cut, nil)
	if err != nil {
		return nil, err
	}
	return b.shrink(ctx, g, p.Nodes[cut].key, w, h)
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
func (b *builder) region(ctx context.Context, p *Plan, out int, r image.Rectangle) ([]uint16, error) {
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
	p    *Plan
	src  *source
	w, h int // what enlarging to the print's size enlarges to
	// args replaces the arguments of nodes.
	args map[int]ops.Args
	env  ops.Env

	pics map[int]ops.Pic
}

// small builds the reduced graph of node out, from the source's node on.
func (b *builder) small(ctx context.Context, s smallPlan, out int) (*engine.Graph, error) {
	cut := s.p.nodeOf(s.src.key)
	if cut < 0 {
		return nil, fmt.Errorf("internal: print %s lacks the picture that its proof starts from", s.p.Print)
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
			args, keep, err := s.scaled(i, cut)
			if err != nil {
				return nil, err
			}
			if !keep {
				at[i], s.pics[i] = at[n.In[0]], s.pics[n.In[0]]
				continue
			}
			var in []ops.Pic
			for _, k := range n.In {
				in, gn.In = append(in, s.pics[k]), append(gn.In, at[k])
			}
			o, ok := ops.Lookup(n.Op, n.Ver)
			if !ok {
				return nil, fmt.Errorf("internal: no operation %s %d", n.Op, n.Ver)
			}
			if gn.Step, err = o.New(args, in, s.env); err != nil {
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

// scaled are a node's arguments in pixels of the reduced pictures; keep is
// false where nothing would be seen of the step.
func (s *smallPlan) scaled(i, cut int) (args ops.Args, keep bool, err error) {
	n := s.p.Nodes[i]
	args = slices.Clone(n.Args)
	if a, ok := s.args[i]; ok {
		args = slices.Clone(a)
	}
	ratio := func(a, b int) *big.Rat { return big.NewRat(int64(a), int64(b)) }
	// The frame keeps whole pixels, so it has its own two ratios.
	full := s.p.Nodes[cut].Pic
	frame := func(side int, axis *big.Rat) int { return max(1, roundHalfUp(mul(rat(int64(side)), axis))) }
	fx, fy := ratio(s.src.pic.W, full.W), ratio(s.src.pic.H, full.H)
	set := func(name, value string) {
		for k := range args {
			if args[k].Name == name {
				args[k].Value = value
			}
		}
	}
	if c, ok := args.Get("covers"); ok && c != "" {
		m := s.p.Nodes[n.In[len(n.In)-1]].Pic
		r, err := args.Rats("covers", 4)
		if err != nil {
			return nil, false, err
		}
		mx, my := ratio(frame(m.W, fx), m.W), ratio(frame(m.H, fy), m.H)
		set("covers", rect{mul(r[0], mx), mul(r[1], my), mul(r[2], mx), mul(r[3], my)}.String())
	}
	if n.Op == "mask" {
		w, err := args.Int("width")
		if err != nil {
			return nil, false, err
		}
		h, err := args.Int("height")
		if err != nil {
			return nil, false, err
		}
		nw, nh := frame(w, fx), frame(h, fy)
		set("width", fmt.Sprint(nw))
		set("height", fmt.Sprint(nh))
		for k, text := range args.All("shape") {
			sh, err := ops.ParseShape(text)
			if err != nil {
				return nil, false, err
			}
			scaleShape(&sh, ratio(nw, w), ratio(nh, h))
			set(fmt.Sprintf("shape-%d", k+1), sh.String())
		}
		return args, true, nil
	}
	if len(n.In) == 0 {
		return args, true, nil
	}
	old, now := s.p.Nodes[n.In[0]].Pic, s.pics[n.In[0]]
	sx, sy := ratio(now.W, old.W), ratio(now.H, old.H)
	less := now.W < old.W
	length := func(name string) *big.Rat {
		r, err := args.Rat(name)
		if err != nil {
			return new(big.Rat)
		}
		return mul(r, sx)
	}
	switch n.Op {
	case "spot-pixels":
		return args, !less, nil
	case "spots":
		var kept ops.Args
		for _, text := range args.All("spot") {
			sp, err := ops.ParseSpot(text)
			if err != nil {
				return nil, false, err
			}
			sp.At.X, sp.At.Y, sp.Radius = mul(sp.At.X, sx), mul(sp.At.Y, sy), mul(sp.Radius, sx)
			if sp.From != nil {
				sp.From = &ops.MaskPoint{X: mul(sp.From.X, sx), Y: mul(sp.From.Y, sy)}
			}
			if sp.Radius.Cmp(big.NewRat(1, 2)) >= 0 {
				kept = append(kept, ops.Arg{Name: fmt.Sprintf("spot-%d", len(kept)+1), Value: sp.String()})
			}
		}
		return kept, len(kept) > 0, nil
	case "crop":
		side := func(from, size string, axis *big.Rat, most int) error {
			a, err := args.Int(from)
			if err != nil {
				return err
			}
			l, err := args.Int(size)
			if err != nil {
				return err
			}
			lo := min(roundHalfUp(mul(rat(int64(a)), axis)), most-1)
			hi := min(roundHalfUp(mul(rat(int64(a+l)), axis)), most)
			set(from, fmt.Sprint(lo))
			set(size, fmt.Sprint(max(1, hi-lo)))
			return nil
		}
		if err := side("x", "w", sx, now.W); err != nil {
			return nil, false, err
		}
		return args, true, side("y", "h", sy, now.H)
	case "enlarge":
		if now.W == s.w && now.H == s.h {
			return nil, false, nil
		}
		set("width", fmt.Sprint(s.w))
		set("height", fmt.Sprint(s.h))
	case "sharpen":
		r := length("radius")
		if less && r.Cmp(big.NewRat(1, 3)) < 0 {
			return nil, false, nil
		}
		set("radius", r.RatString())
	case "tone":
		if _, ok := args.Get("local-radius"); ok {
			r := length("local-radius")
			if r.Cmp(rat(1)) < 0 {
				r = rat(1)
			}
			set("local-radius", r.RatString())
		}
	}
	return args, true, nil
}

// scaleShape takes a line of a mask to another frame.
func scaleShape(sh *ops.MaskShape, x, y *big.Rat) {
	for i, p := range sh.Points {
		sh.Points[i] = ops.MaskPoint{X: mul(p.X, x), Y: mul(p.Y, y)}
	}
	if sh.W != nil {
		sh.W = mul(sh.W, x)
	}
	if sh.H != nil {
		sh.H = mul(sh.H, y)
	}
}
