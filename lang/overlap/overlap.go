// Package overlap finds discs that overlap among many.
package overlap

import (
	"cmp"
	"math"
	"slices"
)

// Disc is a spot as the search for overlaps sees it: a place and a radius,
// rounded. Discs of different kinds never meet.
type Disc struct {
	Kind    string
	X, Y, R float64
}

// Pair is a disc, by its number, and the first one before it that it overlaps.
type Pair struct{ Disc, First int }

// most is how many are found: more are never told.
const most = 200

// Find finds discs that overlap, in the order of their numbers. The discs say
// which may; meets decides. It looks at neighbours only: each disc is held
// against those at least as large, which lie in a grid as wide as they are. It
// stops after 200.
func Find(discs []Disc, meets func(i, j int) bool) []Pair {
	type cell struct {
		kind  string
		level int // discs with radii from 2^level to 2^(level+1)
		x, y  float64
	}
	largest := make([]int, len(discs))
	for i := range largest {
		largest[i] = i
	}
	slices.SortStableFunc(largest, func(a, b int) int { return cmp.Compare(discs[b].R, discs[a].R) })
	grid := map[cell][]int{}
	levels := map[string][]int{}
	first := map[int]int{}
	found := 0
	for _, i := range largest {
		d := discs[i]
		for _, l := range levels[d.Kind] {
			side := math.Ldexp(1, l+2) // what reaches further can't meet a disc so small
			cx, cy := math.Floor(d.X/side), math.Floor(d.Y/side)
			for n := range 9 {
				for _, k := range grid[cell{d.Kind, l, cx + float64(n%3-1), cy + float64(n/3-1)}] {
					// A cheap test first, wide enough to let no overlap through.
					o := discs[k]
					if reach := (d.R + o.R) * 1.01; math.Abs(d.X-o.X) > reach || math.Abs(d.Y-o.Y) > reach || !meets(i, k) {
						continue
					}
					later, earlier := max(i, k), min(i, k)
					if f, ok := first[later]; !ok || earlier < f {
						first[later] = earlier
					}
					if found++; found > most {
						return sorted(first)
					}
				}
			}
		}
		l := math.Ilogb(d.R * 1.02)
		if !slices.Contains(levels[d.Kind], l) {
			levels[d.Kind] = append(levels[d.Kind], l)
		}
		side := math.Ldexp(1, l+2)
		c := cell{d.Kind, l, math.Floor(d.X / side), math.Floor(d.Y / side)}
		grid[c] = append(grid[c], i)
	}
	return sorted(first)
}

func sorted(first map[int]int) []Pair {
	var out []Pair
	for d, f := range first {
		out = append(out, Pair{d, f})
	}
	slices.SortFunc(out, func(a, b Pair) int { return cmp.Compare(a.Disc, b.Disc) })
	return out
}
