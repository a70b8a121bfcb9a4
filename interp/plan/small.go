package plan

import (
	"fmt"
	"slices"

	"platemark/interp/engine"
	"platemark/interp/master"
	"platemark/ops"
	"platemark/ops/raster"
)

// Looking at a print as a whole, on a screen, takes far fewer pixels than the
// print has, so its plan is run small, from a reduced master. Specks are mended
// at full size first, since a mean would smear them (small, where a mask
// reads the master beside them); every later step works on
// the reduced picture, its measures in pixels reduced alike. Sharpening finer
// than a third of a reduced pixel is left out, for nothing of it would be seen.

// Start is the picture that a plan run small starts from: that of the node with
// its key, at another size.
type Start struct {
	Key   raster.Sum
	Pic   ops.Pic
	Store *raster.Store // nil where no pixel of it is asked for
}

// Small says how a plan is run small.
type Small struct {
	Start
	W, H int // of the picture wanted, where it is enlarged, px
	// Args replace the arguments of nodes.
	Args map[int]ops.Args
}

// mended lists the nodes from the master on, or what was taken in its place, that mending alone makes, as long
// as nothing else uses them.
func (p *Print) mended() []int {
	at := slices.IndexFunc(p.Nodes, func(n Node) bool { return n.Input != nil && n.Input.Role != master.RoleMask })
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

// StartOf says where plans begin to run small so that node out of the first
// comes w px wide: the last picture that mending alone makes in all of them, by
// its node in the first, and the size that it is reduced to.
func StartOf(plans []*Print, out, w int) (node, startW, startH int, err error) {
	var common []raster.Sum
	for i, p := range plans {
		var keys []raster.Sum
		for _, n := range p.mended() {
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
		return 0, 0, 0, fmt.Errorf("internal: the plans of print %s share no picture", plans[0].Name)
	}
	p := plans[0]
	node = p.NodeOf(common[len(common)-1])
	pic := p.Nodes[node].Pic
	if before := p.Before(node, out); w < before {
		pic.W, pic.H = max(1, (pic.W*w+before/2)/before), max(1, (pic.H*w+before/2)/before)
	}
	return node, pic.W, pic.H, nil
}

// Small is the graph that makes node out small; input gives the store of an
// input beside the master, reduced to w x h px where it is a picture. What steps measure is measured of the small pictures.
func (p *Print) Small(out int, how Small, input func(n Node, w, h int) (*raster.Store, error)) (*engine.Graph, error) {
	cut := p.NodeOf(how.Key)
	if cut < 0 {
		return nil, fmt.Errorf("internal: print %s lacks the picture that it is run small from", p.Name)
	}
	need := make([]bool, len(p.Nodes))
	need[out] = true
	for i := out; i >= 0; i-- {
		if need[i] && i != cut {
			for _, k := range p.Nodes[i].In {
				need[k] = true
			}
		}
	}
	env := p.env()
	edges, w, h, err := p.edges(need, out, how.W, how.H)
	if err != nil {
		return nil, err
	}
	pics := make([]ops.Pic, len(p.Nodes))
	at := make([]int, len(p.Nodes))
	g := &engine.Graph{}
	for i, n := range p.Nodes {
		if !need[i] {
			continue
		}
		gn := engine.Node{}
		switch {
		case i == cut:
			gn.Pic, gn.Store = how.Pic, how.Store
		case n.Input != nil:
			gn.Pic = n.Pic
			if n.Input.Role == master.RolePicture {
				gn.Pic.W, gn.Pic.H = p.smallElsewhere(i, pics, p.Nodes[cut].Pic, how.Pic, w, h)
			}
			if gn.Store, err = input(n, gn.Pic.W, gn.Pic.H); err != nil {
				return nil, err
			}
		default:
			args, ok := how.Args[i]
			if !ok {
				args = n.Args
			}
			if edges[i] > 0 {
				args = args.With("width", fmt.Sprint(edges[i]))
			}
			from := p.Nodes[cut].Pic
			r := ops.Reduction{Frame: ops.RatioOf(from, how.Pic), W: w, H: h}
			if n.Pic.W == from.H && n.Pic.H == from.W { // it lies on its side there
				r.Frame.X, r.Frame.Y = r.Frame.Y, r.Frame.X
			}
			if k := len(n.In) - 1; k >= 0 {
				r.From, r.Pic = p.Nodes[n.In[0]].Pic, pics[n.In[0]]
				r.Mask, r.Mini = p.Nodes[n.In[k]].Pic, pics[n.In[k]]
			}
			args, seen, err := n.Operation().Reduced(args, r)
			if err != nil {
				return nil, err
			}
			if !seen {
				at[i], pics[i] = at[n.In[0]], pics[n.In[0]]
				continue
			}
			var in []ops.Pic
			for _, k := range n.In {
				in, gn.In = append(in, pics[k]), append(gn.In, at[k])
			}
			if gn.Step, err = n.Operation().New(args, in, env); err != nil {
				return nil, fmt.Errorf("line %d, reduced for the proof: %w", n.Line, err)
			}
			gn.Pic, gn.Lacks = gn.Step.Pic(), n.Operation().Lack(args, in, env)
		}
		at[i], pics[i] = len(g.Nodes), gn.Pic
		g.Nodes = append(g.Nodes, gn)
	}
	g.Out = at[out]
	return g, nil
}

// edges are the widths of borders and wraps in a picture of w px, by node, and
// the size of the picture inside them.
func (p *Print) edges(need []bool, out, w, h int) (edges map[int]int, inW, inH int, err error) {
	edges = map[int]int{}
	full := p.Nodes[out].Pic
	inW, inH = w, h
	for i, n := range p.Nodes {
		if !need[i] || n.Op != "border" && n.Op != "wrap" {
			continue
		}
		edge, err := n.Args.Int("width")
		if err != nil {
			return nil, 0, 0, err
		}
		edges[i] = max(1, (edge*w+full.W/2)/full.W)
		if n.Pic.W > p.Nodes[n.In[0]].Pic.W {
			inW, inH = max(1, inW-2*edges[i]), max(1, inH-2*edges[i])
		}
	}
	return edges, inW, inH, nil
}
