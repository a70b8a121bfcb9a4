package interp

import (
	"bytes"
	"context"
	"maps"
	"path/filepath"
	"slices"
	"testing"

	"platemark/interp/plan"
	"platemark/ops/raster"
)

// Prints that differ by late lines are made from the last picture that they have in
// common, which is computed once where it may lie in memory; files and records are
// those of each print built alone.
func TestPrintsShareTheLastCommonPicture(t *testing.T) {
	const text = `recipe 1 draft
master "m.tif"
prepare {
    tone {
        exposure +0.5 stops
    }
}
print mild {
    size 3 in x 2 in at 96 ppi
    enlarge with mitchell
    sharpen radius 1 px amount 50%
    save tiff "mild.tif"
}
print sharp {
    size 3 in x 2 in at 96 ppi
    enlarge with mitchell
    sharpen radius 1 px amount 150%
    convert to sRGB
    save tiff "sharp.tif"
}
print other {
    size 1.5 in x 1 in at 96 ppi
    enlarge with mitchell
    save tiff "other.tif"
}
`
	folder, file := smallJob(t, text)
	names := []string{"mild", "sharp", "other"}
	shared := func(j *Job) (words [][]string) {
		for _, p := range j.Plans {
			list := []string{}
			for _, i := range p.Shared {
				list = append(list, p.Nodes[i].Op)
			}
			words = append(words, list)
		}
		return words
	}
	same := func(got [][]string, want ...[]string) {
		t.Helper()
		if !slices.EqualFunc(got, want, slices.Equal[[]string]) {
			t.Errorf("shared %v, want %v", got, want)
		}
	}
	same(shared(mustLoad(t, file, LoadOptions{NoOutputs: true})), []string{"tone", "enlarge"}, []string{"tone", "enlarge"}, []string{"tone"})
	same(shared(mustLoad(t, file, LoadOptions{NoOutputs: true, Prints: names[:2]})), []string{"enlarge"}, []string{"enlarge"})

	together := mustBuild(t, file, LoadOptions{}, BuildOptions{})
	for i, name := range names {
		alone := mustBuild(t, file, LoadOptions{Prints: []string{name}}, BuildOptions{Out: filepath.Join(folder, "alone")})
		if !bytes.Equal(read(t, together[i].File), read(t, alone[0].File)) || determinedPart(t, together[i].Log) != determinedPart(t, alone[0].Log) {
			t.Errorf("%s comes out otherwise alone", name)
		}
	}

	// Once the first is built, the second needs neither the master nor what is above.
	j := mustLoad(t, file, LoadOptions{Prints: names[:2], Out: t.TempDir()})
	s := NewSession(2, nil)
	defer s.Close()
	p := j.Plans[0]
	for _, most := range []int64{p.Nodes[p.Shared[0]].Pic.Bytes() - 1, plan.MemoryLimit} {
		was := plan.MemoryLimit
		plan.MemoryLimit = most
		err := s.Prepare(context.Background(), p, p.Shared[0])
		plan.MemoryLimit = was
		if err != nil || (len(s.kept) == 1) != (most == was) {
			t.Fatalf("%v, %d pictures kept in %d bytes", err, len(s.kept), most)
		}
	}
	s.dropInputs(j.Plans[1:])
	g, _, err := s.graph(context.Background(), j.Plans[1], j.Plans[1].Out, map[raster.Sum]plan.Result{})
	if err != nil || len(g.Nodes) != 3 || slices.ContainsFunc(slices.Collect(maps.Values(s.inputs)), func(l *loaded) bool { return l.store != nil }) {
		t.Errorf("%v: %d nodes", err, len(g.Nodes))
	}
}
