package proof

import (
	"cmp"
	"context"
	"math"
	"slices"
	"strings"
	"testing"

	"platemark/ops/colour"
)

// What happens to a colour, by hand: lightness, chroma and hue, the greatest told.
func TestChangesOf(t *testing.T) {
	for _, c := range []struct {
		meant, shown colour.Lab
		want         string
	}{
		{colour.Lab{L: 3}, colour.Lab{L: 12}, "darks come out lighter: L* 3 becomes 12"},
		{colour.Lab{L: 95, B: 3}, colour.Lab{L: 90, B: 3}, "lights come out darker: L* 95 becomes 90"},
		{colour.Lab{L: 50, A: 70, B: 40}, colour.Lab{L: 52, A: 50, B: 29}, "reds come out paler: C* 81 becomes 58"},
		{colour.Lab{L: 30, A: 20, B: -60}, colour.Lab{L: 30, A: 32, B: -54}, "blues change their hue, by 12°"},
		{colour.Lab{L: 60}, colour.Lab{L: 60, B: 6}, "greys take on a tint: C* 0 becomes 6"},
		{colour.Lab{L: 50, A: 60, B: -5}, colour.Lab{L: 50, A: 40, B: -3}, "reds come out paler: C* 60 becomes 40"},
	} {
		list := changesOf(c.meant, c.shown)
		most := slices.MaxFunc(list[:], func(a, b change) int { return cmp.Compare(a.share, b.share) })
		if sum := list[0].share + list[1].share + list[2].share; math.Abs(sum-1) > 1e-12 {
			t.Errorf("%v to %v: the shares come to %g", c.meant, c.shown, sum)
		}
		var s tally
		s.add(c.meant, c.shown, 1)
		if got := s.words(most.what, most.of); got != c.want {
			t.Errorf("%v to %v: %s, expected %s", c.meant, c.shown, got, c.want)
		}
	}
}

// The places of a proof are different findings, though a lifted black changes
// most of them all.
func TestPlacesDiffer(t *testing.T) {
	j := fitJob(t, strings.Replace(fitRecipe, "100 ppi", "400 ppi", 1), func(p string) { still(t, p, 3) })
	p, err := Make(context.Background(), j, "p", Options{Papers: []string{"rag"}})
	if err != nil {
		t.Fatal(err)
	}
	kinds := map[string]bool{}
	for i, a := range p.Papers[0].Places {
		t.Logf("%d, %d: %s, %.2f", a.X, a.Y, a.What, a.Mean)
		what, _, _ := strings.Cut(a.What, ":")
		if what, _, _ = strings.Cut(what, ","); kinds[what] {
			t.Errorf("%s: twice", what)
		}
		kinds[what] = true
		for _, b := range p.Papers[0].Places[:i] {
			if max(a.X-b.X, b.X-a.X) < 60 && max(a.Y-b.Y, b.Y-a.Y) < 60 && a.X > 0 && a.Y > 0 {
				t.Errorf("%d, %d and %d, %d are one place", a.X, a.Y, b.X, b.Y)
			}
		}
	}
	if !kinds["darks come out lighter"] || len(kinds) < 3 {
		t.Errorf("%v", kinds)
	}
}
