package plan

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"math/big"
	"slices"

	"platemark/interp/audit"
	"platemark/interp/engine"
	"platemark/interp/master"
	"platemark/lang"
	"platemark/ops"
	"platemark/ops/colour"
	"platemark/ops/exact"
	"platemark/ops/raster"
)

// Print is one print, typed and sized before anything runs. It is a graph of
// nodes in two stages: stage 0 makes the prepared picture at the master's own
// size, stage 1 makes the print from it.
type Print struct {
	Name   string
	Line   int  // of the print block
	Sheet  bool // it is a sheet of proofs
	Nodes  []Node
	Ready  int // the node that prepare leaves
	Out    int // the node that is saved
	Inputs []*master.Input
	File   FileSpec
	Mark   raster.Sum
	Face   Face
	// Shared are the nodes, in order, whose pictures are kept for another print that
	// is made from them too: what prepare leaves, and the last that both have and
	// that may lie in memory.
	Shared []int
	// Notes are what the plan wants to say: warnings and notes.
	Notes []lang.Diagnostic

	FrameW, FrameH int // of the upright master

	Picture Extent     // without border and wrap
	Covers  Rect       // what the print shows of the frame
	Uses    []MaskUse  // the steps that work through masks
	Pieces  []lang.Use // of the language, each once; which are frozen is in testdata/frozen
	Others  [][]byte   // the texts of the further recipes of a sheet
}

// Node is one picture of a plan: an input (Input set) or the result of a step.
type Node struct {
	Input *master.Input
	Op    string
	Ver   int
	Args  ops.Args
	In    []int
	Line  int // the recipe line, 0 for what no line says (the file's own orientation)
	// Recipe is whose line it is, from 2 of the further recipes of a sheet, 0 of the
	// first.
	Recipe int
	Stage  int // 0 prepare, 1 print
	Step   ops.Step
	Pic    ops.Pic
	// Key names the node's meaning: its operation, arguments and everything
	// above it, by digest. Equal keys are equal pictures.
	Key  raster.Sum
	Text string // the recipe's words for it, for plans and reports
	// Spots are the places in the recipe of a run of spots, as its arguments are
	// ordered.
	Spots []lang.Span
}

// Face is what is seen of the print from in front, in inches: the picture with
// its border, without what a wrap takes round the sides.
type Face struct {
	W, H *big.Rat
	PPI  *big.Rat
	// Effective is the resolution of the master's own pixels at this size.
	Effective *big.Rat
}

// Extent is the size of a part of a print: in pixels, and with the print's
// pixels an inch in inches.
type Extent struct {
	W, H int
	PPI  *big.Rat
}

// String words an extent: "1 x 0.67 in, 300 x 200 px".
func (e Extent) String() string {
	in := func(px int) string { return exact.Decimals(quo(rat(px), e.PPI), 2) }
	return fmt.Sprintf("%s x %s in, %d x %d px", in(e.W), in(e.H), e.W, e.H)
}

// MarshalJSON gives whole pixels, and inches as exact fractions.
func (e Extent) MarshalJSON() ([]byte, error) {
	in := func(px int) string { return quo(rat(px), e.PPI).RatString() }
	return json.Marshal(struct {
		W   int    `json:"width"`
		H   int    `json:"height"`
		WIn string `json:"width-in"`
		HIn string `json:"height-in"`
	}{e.W, e.H, in(e.W), in(e.H)})
}

// Sizes are those of a print's picture, of its face, and of the whole file with
// border and wrap.
type Sizes struct {
	Picture Extent `json:"picture"`
	Face    Extent `json:"face"`
	Whole   Extent `json:"whole"`
}

// Sizes of the planned print.
func (p *Print) Sizes() Sizes {
	f, px := p.Face, func(in *big.Rat) int { return exact.Nearest(mul(in, p.Face.PPI)) }
	w, h := p.Pixels()
	return Sizes{p.Picture, Extent{px(f.W), px(f.H), f.PPI}, Extent{w, h, f.PPI}}
}

// encoderVersion is the version of both print file encoders.
const encoderVersion = 1

func argMap(a ops.Args) map[string]string {
	m := make(map[string]string, len(a))
	for _, x := range a {
		m[x.Name] = x.Value
	}
	return m
}

// keyOf names a step's meaning.
func keyOf(op string, ver int, args ops.Args, in []raster.Sum) raster.Sum {
	names := make([]string, len(in))
	for i, s := range in {
		names[i] = s.String()
	}
	return sha256.Sum256(audit.Canonical(map[string]any{"operation": op, "version": ver, "args": argMap(args), "inputs": names}))
}

// inputKey names an input picture's meaning: what it is for, its bytes, and
// the profile it is read with, zeros for none.
func inputKey(role master.Role, sum raster.Sum, profile *colour.Profile, white bool) raster.Sum {
	m := map[string]any{"role": string(role), "sha256": sum.String(), "profile": raster.Sum{}.String()}
	if profile != nil {
		m["profile"] = profile.Digest().String()
	}
	if white {
		m["on"] = "white"
	}
	return sha256.Sum256(audit.Canonical(m))
}

// markOf is the SHA-256 of a print's meaning.
func markOf(version int, out raster.Sum, f FileSpec) raster.Sum {
	return sha256.Sum256(audit.Canonical(map[string]any{
		"language": version,
		"picture":  out.String(),
		"encoder":  encoderVersion,
		"file":     argMap(f.Args()),
	}))
}

// MarkShared finds what plans have in common. Of a sheet that is only what prepare
// leaves, since it may show little of a print.
func MarkShared(plans []*Print) {
	ready, users, counted := map[raster.Sum]int{}, map[raster.Sum]int{}, map[raster.Sum]*Print{}
	for _, p := range plans {
		ready[p.Nodes[p.Ready].Key]++
		for _, n := range p.Nodes {
			if counted[n.Key] != p && !p.Sheet {
				users[n.Key]++
				counted[n.Key] = p
			}
		}
	}
	for _, p := range plans {
		last := -1
		for i, n := range p.Nodes {
			if i != p.Ready && !p.Sheet && n.Input == nil && n.Stage == 1 && n.Pic.Profile != nil && n.Pic.Bytes() <= MemoryLimit && users[n.Key] > 1 {
				last = i
			}
		}
		p.Shared = nil
		n := p.Nodes[p.Ready]
		if n.Input == nil && ready[n.Key] > 1 && (last < 0 || ready[n.Key] > users[p.Nodes[last].Key] || slices.Contains(p.above(p.Out, last), p.Ready)) {
			p.Shared = append(p.Shared, p.Ready)
		}
		if last >= 0 {
			p.Shared = append(p.Shared, last)
		}
	}
}

// Graph is what makes node out; of says which node of the plan each of its own
// is. keep gives the store of a picture that is there, input that of an input;
// equal pictures are one node.
func (p *Print) Graph(out int, keep func(key raster.Sum) (st *raster.Store, have bool), input func(Node) (*raster.Store, error)) (g *engine.Graph, of []int, err error) {
	g = &engine.Graph{}
	at := map[raster.Sum]int{}
	var add func(i int) (int, error)
	add = func(i int) (int, error) {
		n := p.Nodes[i]
		if k, ok := at[n.Key]; ok {
			return k, nil
		}
		gn := engine.Node{Pic: n.Pic}
		st, have := keep(n.Key)
		switch gn.Store = st; {
		case have:
		case n.Input != nil:
			if gn.Store, err = input(n); err != nil {
				return 0, err
			}
		default:
			gn.Step, gn.Lacks = n.Step, p.Lack(i)
			for _, k := range n.In {
				in, err := add(k)
				if err != nil {
					return 0, err
				}
				gn.In = append(gn.In, in)
			}
		}
		at[n.Key] = len(g.Nodes)
		g.Nodes, of = append(g.Nodes, gn), append(of, i)
		return at[n.Key], nil
	}
	g.Out, err = add(out)
	return g, of, err
}

// Worth are the nodes whose pictures are worth keeping for a build to come, the
// last first: what the print's first sharpening, behind the last enlargement, starts
// from, and what prepare leaves. A sheet has only the latter.
func (p *Print) Worth() (list []int) {
	last := -1
	for i, n := range p.Nodes {
		if n.Stage == 1 && n.Op == "enlarge" {
			last = i
		}
	}
	for i, n := range p.Nodes {
		if i > last && n.Stage == 1 && !p.Sheet && (n.Op == "sharpen" || n.Op == "deconvolve") {
			list = append(list, n.In[0])
			break
		}
	}
	if !slices.Contains(list, p.Ready) && p.Nodes[p.Ready].Input == nil {
		list = append(list, p.Ready)
	}
	return list
}

// Above are a node and all that it is made from.
func (p *Print) Above(node int) []int { return p.above(node, -1) }

// above are a node and all that it is made from otherwise than through node but.
func (p *Print) above(node, but int) (list []int) {
	in := make([]bool, len(p.Nodes))
	in[node] = true
	for i := node; i >= 0; i-- {
		if !in[i] || i == but {
			continue
		}
		list = append(list, i)
		for _, k := range p.Nodes[i].In {
			in[k] = true
		}
	}
	return list
}

// Lack is what node i is without until it is measured, nil where that is nothing.
func (p *Print) Lack(i int) *ops.Lack {
	n := p.Nodes[i]
	o := n.Operation()
	if o.Measure == nil {
		return nil
	}
	in := make([]ops.Pic, len(n.In))
	for j, k := range n.In {
		in[j] = p.Nodes[k].Pic
	}
	return o.Lack(n.Args, in, p.env())
}

// env lends the profiles of the plan's pictures.
func (p *Print) env() ops.Env {
	env := ops.Env{Profiles: map[string]*colour.Profile{}}
	for _, n := range p.Nodes {
		if n.Pic.Profile != nil {
			env.Profiles[n.Pic.Profile.Digest().String()] = n.Pic.Profile
		}
	}
	return env
}

// Steps are the steps of the plan in plan order, by node number. A mask that
// both stages draw is one step.
func (p *Print) Steps() []int {
	var out []int
	seen := map[raster.Sum]bool{}
	for i, n := range p.Nodes {
		if n.Input == nil && !seen[n.Key] {
			seen[n.Key] = true
			out = append(out, i)
		}
	}
	return out
}

// MarkShort is the first 12 characters of the mark: how a print is named in
// file names, captions and reports.
func (p *Print) MarkShort() string { return p.Mark.String()[:12] }

// Pixels is the print file's picture size.
func (p *Print) Pixels() (w, h int) { pic := p.Nodes[p.Out].Pic; return pic.W, pic.H }

// Inner is the print's picture without border and wrap: its node, and how wide
// they are on each side, px. A wrap of the picture's own edge adds nothing.
func (p *Print) Inner() (node, edge int) {
	node = p.Out
	for n := p.Nodes[node]; n.Op == "border" || n.Op == "wrap"; n = p.Nodes[node] {
		node = n.In[0]
		edge += (n.Pic.W - p.Nodes[node].Pic.W) / 2
	}
	return node, edge
}

// Operations lists the operations of the plan with their versions, sorted:
// "blend 1, enlarge 1".
func (p *Print) Operations() string {
	var list []string
	for _, n := range p.Nodes {
		if n.Input == nil {
			list = append(list, fmt.Sprintf("%s %d", n.Op, n.Ver))
		}
	}
	return audit.JoinOperations(list)
}

// NodeOf finds a node by its key.
func (p *Print) NodeOf(key raster.Sum) int {
	return slices.IndexFunc(p.Nodes, func(n Node) bool { return n.Key == key })
}

// Operation is what makes the node; one that does nothing for an input.
func (n *Node) Operation() *ops.Operation {
	o, _ := ops.Lookup(n.Op, n.Ver)
	return &o
}

// Before is the width of the picture, on the way from cut to out, that enlarging
// starts from; out's own without an enlargement.
func (p *Print) Before(cut, out int) int {
	for i := range p.Nodes {
		if n := p.Nodes[i]; i > cut && i <= out && n.Op == "enlarge" {
			return p.Nodes[n.In[0]].Pic.W
		}
	}
	return p.Nodes[out].Pic.W
}

// MaskUse is a step that works through a mask.
type MaskUse struct {
	At         lang.Text // the mask's name in the step
	Step, Mask raster.Sum
	Covers     Rect // of the picture that the step works on
}
