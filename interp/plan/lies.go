package plan

import "platemark/interp/master"

// Lies is where a picture of a plan lies on the frame.
type Lies struct {
	Covers         Rect // what it shows, in frame pixels, without border and wrap
	FrameW, FrameH int
	Edge           int // border and wrap on each side, in the picture's pixels
}

// Lies says where a node's picture lies: on the way down to the master, crops
// and edges count.
func (p *Print) Lies(node int) Lies {
	n := p.Nodes[node]
	whole := Lies{Whole(p.FrameW, p.FrameH), p.FrameW, p.FrameH, 0}
	switch {
	case n.Input != nil && n.Input.Role == master.RolePicture:
		whole.Covers = p.Covers
		return whole
	case len(n.In) == 0 || n.Op == "turn" || n.Op == "mask" || n.Op == "sheet":
		return whole
	}
	l, in := p.Lies(n.In[0]), p.Nodes[n.In[0]].Pic
	switch n.Op {
	case "crop":
		at := func(name string) int { v, _ := n.Args.Int(name); return v }
		c := l.Covers
		l.Covers.X0, l.Covers.X1 = part(c.X0, c.W(), at("x"), in.W), part(c.X0, c.W(), at("x")+n.Pic.W, in.W)
		l.Covers.Y0, l.Covers.Y1 = part(c.Y0, c.H(), at("y"), in.H), part(c.Y0, c.H(), at("y")+n.Pic.H, in.H)
	case "border", "wrap":
		l.Edge += (n.Pic.W - in.W) / 2
	}
	return l
}
