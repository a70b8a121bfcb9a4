package overlap

import (
	"math"
	"math/rand"
	"slices"
	"testing"
)

// The grid finds what holding every disc against every other finds.
func TestFindAgreesWithAllPairs(t *testing.T) {
	for seed := range int64(300) {
		r := rand.New(rand.NewSource(seed))
		discs := make([]Disc, 60)
		for i := range discs {
			discs[i] = Disc{[]string{"%", "px"}[r.Intn(2)], 100 * r.Float64(), 100*r.Float64() - 50, math.Pow(10, 2*r.Float64()-1.5)}
		}
		meets := func(i, j int) bool {
			a, b := discs[i], discs[j]
			return math.Hypot(a.X-b.X, a.Y-b.Y) < a.R+b.R
		}
		var want []Pair
		for i := range discs {
			for j := range i {
				if discs[i].Kind == discs[j].Kind && meets(i, j) {
					want = append(want, Pair{i, j})
					break
				}
			}
		}
		if got := Find(discs, meets); !slices.Equal(got, want) {
			t.Fatalf("seed %d: %v, expected %v", seed, got, want)
		}
	}
}
