package engine

import (
	"math"
	"slices"

	"platemark/ops"
)

// A pass pulls rows of one node of a stage: the stage's own picture, or what is
// left over. Rows that the print doesn't show (cropped away, say) have digests
// too, and are computed for these alone.
//
// Each row of the root reads of every node the rows lo <= r < hi, by windows
// composed on all ways from the root. A node that one step alone reads, from the top
// on, needs a ring of that step's window; others one of hi - lo rows, so that no row
// is computed again but at the ends of bands.
type pass struct {
	root, from, till int
	// lo and hi are by node and by row of the root, less from; nil for nodes
	// that the root doesn't read.
	lo, hi [][]int32
	// sums are the rows of each node whose digests are taken here.
	sums [][]ranged
}

// ranged is the rows from <= y < till.
type ranged struct{ from, till int }

// passes makes those of a stage. What later stages make is left to them.
func (p *planner) passes(st *Stage, whole bool) {
	due := make([][]ranged, len(p.g.Nodes))
	for i, n := range p.g.Nodes {
		if whole && n.Digest && st.nodes[i] && (!p.kept[i] || i == st.Node) {
			due[i] = []ranged{{0, n.Pic.H}}
		}
	}
	st.rings, st.spans = make([]int, len(p.g.Nodes)), make([]int, len(p.g.Nodes))
	p.pass(st, st.Node, st.From, st.Till, due)
	for i := st.Node; i >= 0; i-- {
		for len(due[i]) > 0 {
			p.pass(st, i, due[i][0].from, due[i][0].till, due)
		}
	}
}

// pass adds a pass and takes what it covers from due.
func (p *planner) pass(st *Stage, root, from, till int, due [][]ranged) {
	n, rows := len(p.g.Nodes), till-from
	ps := &pass{root: root, from: from, till: till, lo: make([][]int32, n), hi: make([][]int32, n), sums: make([][]ranged, n)}
	at := make([]bool, n)
	p.reach(root, at)
	for i := range at {
		if at[i] {
			ps.lo[i], ps.hi[i] = make([]int32, rows), make([]int32, rows)
			for y := range rows {
				ps.lo[i][y] = math.MaxInt32
			}
		}
	}
	for y := range rows {
		ps.lo[root][y], ps.hi[root][y] = int32(from+y), int32(from+y+1)
	}
	computed := func(i int) bool { return at[i] && (!p.kept[i] || i == root) }
	for i := root; i >= 0; i-- {
		if !computed(i) {
			continue
		}
		for k, in := range p.g.Nodes[i].In {
			for y, r := range ps.lo[i] {
				lo, _ := p.g.Nodes[i].Step.Window(k, int(r))
				ps.lo[in][y] = min(ps.lo[in][y], int32(lo))
			}
		}
	}
	readers, window := make([]int, n), make([]int, n)
	for i := root; i >= 0; i-- {
		if !computed(i) {
			continue
		}
		lo, hi := ps.lo[i], ps.hi[i]
		if len(due[i]) > 0 {
			// Rows that nothing reads are computed between those that are read.
			for y := range rows - 1 {
				hi[y] = max(hi[y], lo[y+1])
			}
		}
		for k, in := range p.g.Nodes[i].In {
			s, e := p.g.Nodes[i].Step, p.edges[i][k]
			for y := range rows {
				ps.hi[in][y] = max(ps.hi[in][y], int32(farEnd(s, k, int(lo[y]), int(hi[y]), e.even)))
			}
			if readers[in]++; e.gaps {
				readers[in]++
			}
			window[in] = e.most
		}
		span := 0
		for y := range rows {
			span = max(span, int(hi[y]-lo[y]))
		}
		st.spans[i] = max(st.spans[i], span)
		if readers[i] == 1 {
			span = min(span, window[i])
		}
		st.rings[i] = max(st.rings[i], span)
		covered := ranged{int(lo[0]), int(hi[rows-1])}
		var left []ranged
		for _, d := range due[i] {
			in := ranged{max(d.from, covered.from), min(d.till, covered.till)}
			if in.from >= in.till {
				left = append(left, d)
				continue
			}
			ps.sums[i] = append(ps.sums[i], in)
			if d.from < in.from {
				left = append(left, ranged{d.from, in.from})
			}
			if in.till < d.till {
				left = append(left, ranged{in.till, d.till})
			}
		}
		due[i] = left
	}
	st.passes = append(st.passes, ps)
}

// farEnd is the far end of what the rows from <= y < till of a step read.
func farEnd(s ops.Step, in, from, till int, even bool) (far int) {
	if even {
		_, far = s.Window(in, till-1)
		return far
	}
	_, far = ops.RowsNeeded(s, in, from, till)
	return far
}

// owned are the rows of node i whose fingerprints are taken with the root's rows
// from <= y < till.
func (ps *pass) owned(i, from, till int) (lo, hi int) {
	lo, hi = int(ps.lo[i][from-ps.from]), int(ps.hi[i][till-1-ps.from])
	if till < ps.till {
		hi = int(ps.lo[i][till-ps.from])
	}
	return lo, hi
}

// due says whether the fingerprint of row y of node i is taken in this pass.
func (ps *pass) due(i, y int) bool {
	return slices.ContainsFunc(ps.sums[i], func(s ranged) bool { return s.from <= y && y < s.till })
}

// again is how many rows of the stage's picture, in the mean, are as much work
// as what is computed again at the end of a band.
func (p *planner) again(st *Stage) (most int) {
	ps := st.passes[0]
	rows := ps.till - ps.from
	for i, lo := range ps.lo {
		if lo == nil || p.kept[i] && i != ps.root {
			continue
		}
		hi := ps.hi[i]
		for k, in := range p.g.Nodes[i].In {
			s := p.g.Nodes[i].Step
			if _, ok := s.(ops.Shared); ok && p.kept[in] || wholeInput(s) {
				continue // what is shared, or only copied, isn't computed again
			}
			first, _ := s.Window(k, int(lo[0]))
			all := farEnd(s, k, int(lo[rows-1]), int(hi[rows-1]), p.edges[i][k].even) - first
			both, n := 0, min(64, rows)
			for j := 1; j < n; j++ {
				y := j * rows / n
				a, _ := s.Window(k, int(lo[y]))
				both += farEnd(s, k, int(lo[y-1]), int(hi[y-1]), p.edges[i][k].even) - a
			}
			most = max(most, both*rows/(n*max(all, 1)))
		}
	}
	return most
}
