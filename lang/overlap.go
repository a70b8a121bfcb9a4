package lang

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

// Overlap is a disc, by its number, and the first one before it that it
// overlaps.
type Overlap struct{ Disc, First int }

// Overlaps finds discs that overlap, in the order of their numbers. The discs
// say which may; meets decides. It looks at neighbours only: each disc is held
// against those at least as large, which lie in a grid as wide as they are. It
// stops when more are found than are ever told.
func Overlaps(discs []Disc, meets func(i, j int) bool) []Overlap {
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
					if found++; found > mostInFile {
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

func sorted(first map[int]int) []Overlap {
	var out []Overlap
	for d, f := range first {
		out = append(out, Overlap{d, f})
	}
	slices.SortFunc(out, func(a, b Overlap) int { return cmp.Compare(a.Disc, b.Disc) })
	return out
}
