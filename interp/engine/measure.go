package engine

import (
	"context"
	"errors"
	"slices"

	"platemark/ops/raster"
)

// Measure works out the argument that node i lacks, from the whole of its first
// input. Nodes before it lack nothing.
func Measure(ctx context.Context, g *Graph, i int, o Options) (string, error) {
	m := g.measuring(i)
	pic := m.Nodes[i].Pic
	st := raster.NewMemory(pic.W, pic.H, pic.C)
	o.BandRows = measuredRows
	if _, err := Run(ctx, m, Keep(st), o); err != nil {
		return "", err
	}
	var figures []uint16
	for y := range pic.H {
		figures = append(figures, st.Direct(y)...)
	}
	return g.Nodes[i].Lacks.Value(figures), nil
}

// measuredRows is the height of a band of figures, each of which comes from many
// rows.
const measuredRows = 1

// measuring is the graph of the figures that give what node i lacks.
func (g *Graph) measuring(i int) *Graph {
	in := g.Nodes[i].In[0]
	m := &Graph{Nodes: slices.Clone(g.Nodes[:i]), Out: i}
	for k := range m.Nodes {
		m.Nodes[k].Digest = false
	}
	s := g.Nodes[i].Lacks.Figures(g.Nodes[in].Pic)
	m.Nodes = append(m.Nodes, Node{Pic: s.Pic(), Step: s, In: []int{in}})
	return m
}

// complete refuses a graph that lacks something.
func (g *Graph) complete() error {
	if slices.ContainsFunc(g.Nodes, func(n Node) bool { return n.Lacks != nil }) {
		return errors.New("internal: a step is run without what is measured for it")
	}
	return nil
}
