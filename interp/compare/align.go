package compare

import (
	"cmp"
	"slices"

	"platemark/interp"
)

// A pairing joins place a of one list with place b of another; -1 stands for
// nothing on that side.
type pairing struct{ a, b int }

// apart is the usual cost of leaving one place of a list without a partner:
// two of them cost more than the worst pair that is allowed.
const apart = 70

func gapApart(int, int) int { return apart }

// never is the cost of pairs that are not allowed.
const never = 1 << 20

// alignLists pairs two lists in order at the least cost; cost(i, j) is 0 for
// equals, up to 100 for pairs that share only their kind, never for none; gap(i,
// -1) and gap(-1, j) are the costs of no partner.
func alignLists(n, m int, cost, gap func(i, j int) int) (out []pairing) {
	for i, j := range interp.Align(n, m, cost, gap) {
		out = append(out, pairing{i, j})
	}
	return out
}

// closest pairs two sets by rising distance; far returns a distance of never
// or more where two don't belong together.
func closest(n, m int, distance func(i, j int) float64) (pairs []pairing) {
	type edge struct {
		d    float64
		i, j int
	}
	var all []edge
	for i := range n {
		for j := range m {
			if d := distance(i, j); d < never {
				all = append(all, edge{d, i, j})
			}
		}
	}
	slices.SortStableFunc(all, func(x, y edge) int { return cmp.Compare(x.d, y.d) })
	ua, ub := make([]bool, n), make([]bool, m)
	for _, e := range all {
		if !ua[e.i] && !ub[e.j] {
			ua[e.i], ub[e.j] = true, true
			pairs = append(pairs, pairing{e.i, e.j})
		}
	}
	slices.SortFunc(pairs, func(x, y pairing) int { return x.a - y.a })
	for j := range m {
		if !ub[j] {
			pairs = append(pairs, pairing{-1, j})
		}
	}
	for i := range n {
		if !ua[i] {
			pairs = append(pairs, pairing{i, -1})
		}
	}
	return pairs
}
