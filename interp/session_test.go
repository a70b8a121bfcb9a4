package interp

import (
	"context"
	"fmt"
	"image"
	"math/big"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"platemark/interp/audit"
	"platemark/interp/engine"
	"platemark/interp/plan"
	"platemark/ops/codec/tiff"
	"platemark/ops/colour"
	"platemark/recipes"
	"platemark/recipes/marsh"
)

// A part of any step's picture has the samples that a run of the whole in bands
// has there, with the picture that prepare makes kept or not.
func TestRegionIsThatPartOfEveryStep(t *testing.T) {
	ctx := context.Background()
	_, file := smallJob(t, everyStep)
	j := mustLoad(t, file, LoadOptions{})
	rng := rand.New(rand.NewPCG(1, 2))
	steps := 0
	for _, p := range j.Plans {
		for _, prepared := range []bool{false, true} {
			s := NewSession(3, nil)
			defer s.Close()
			if prepared {
				if err := s.Prepare(ctx, p, p.Ready); err != nil {
					t.Fatal(err)
				}
			}
			for _, node := range p.Steps() {
				n := p.Nodes[node]
				g, _, err := s.graph(ctx, p, node, nil)
				if err != nil {
					t.Fatal(err)
				}
				whole, err := newStore(n.Pic.W, n.Pic.H, n.Pic.C)
				if err != nil {
					t.Fatal(err)
				}
				if _, err := engine.Run(ctx, g, engine.Keep(whole), s.engineOptions("")); err != nil {
					t.Fatal(err)
				}
				steps++
				for range 4 {
					w, h := 1+rng.IntN(n.Pic.W), 1+rng.IntN(n.Pic.H)
					r := image.Rect(0, 0, w, h).Add(image.Pt(rng.IntN(n.Pic.W-w+1), rng.IntN(n.Pic.H-h+1)))
					m, err := s.Region(ctx, p, node, r)
					if err != nil {
						t.Fatal(err)
					}
					for y := range h {
						if want := whole.Direct(r.Min.Y + y)[r.Min.X*m.C : r.Max.X*m.C]; !slices.Equal(m.Samples[y*m.Stride():(y+1)*m.Stride()], want) {
							t.Fatalf("print %s, line %d (%s), part %v: row %d differs from the whole", p.Name, n.Line, n.Op, r, y)
						}
					}
				}
			}
		}
	}
	if steps < 40 {
		t.Errorf("%d steps only", steps)
	}
	if _, err := NewSession(1, nil).Region(ctx, j.Plans[0], 0, image.Rect(-1, 0, 2, 2)); err == nil {
		t.Error("a part outside the picture is computed")
	}
}

// What a screen of 1440 x 900 px of each step of the demonstration's large
// print costs, at 20 places, with the picture of prepare kept: the median of the
// processor's time.
func BenchmarkRegion(b *testing.B) {
	ctx := context.Background()
	folder := b.TempDir()
	const w, h = 6144, 4096
	space, _ := colour.Space("opRGB")
	l, err := tiff.NewLayout(tiff.Options{W: w, H: h, C: 3, Bits: 16, PPI: big.NewRat(300, 1), ICC: space.Bytes()})
	if err != nil {
		b.Fatal(err)
	}
	text := l.Header()
	if err := marsh.Draw(ctx, w, h, func(_ int, rows []uint16) error {
		for row := range slices.Chunk(rows, 3*w) {
			text = l.AppendRow(text, row, 0)
		}
		return nil
	}, func(int, int) {}); err != nil {
		b.Fatal(err)
	}
	write(b, filepath.Join(folder, "marsh.tif"), string(append(text, l.Trailer()...)))
	file := filepath.Join(folder, "marsh.recipe")
	write(b, file, string(recipes.Marsh))
	j := mustLoad(b, file, LoadOptions{Prints: []string{"large"}})
	p := j.Plans[0]
	s := NewSession(0, nil)
	defer s.Close()
	if err := s.Prepare(ctx, p, p.Ready); err != nil {
		b.Fatal(err)
	}
	// What prepare was made from, so that decoding it isn't counted.
	if _, err := s.Region(ctx, p, 0, image.Rect(0, 0, 1, 1)); err != nil {
		b.Fatal(err)
	}
	for _, node := range p.Steps() {
		n := p.Nodes[node]
		b.Run(fmt.Sprintf("stage%d-line%d-%s", n.Stage, n.Line, n.Op), func(b *testing.B) {
			for range b.N {
				b.ReportMetric(medianCost(b, s, p, node).Seconds(), "median-cpu-s")
			}
		})
	}
}

func medianCost(b *testing.B, s *Session, p *plan.Print, node int) time.Duration {
	rng := rand.New(rand.NewPCG(3, 4))
	var costs []time.Duration
	for range 20 {
		pic := p.Nodes[node].Pic
		r := image.Rect(0, 0, 1440, 900).Add(image.Pt(rng.IntN(pic.W-1440+1), rng.IntN(pic.H-900+1)))
		before, _ := audit.Usage()
		if _, err := s.Region(context.Background(), p, node, r); err != nil {
			b.Fatal(err)
		}
		after, _ := audit.Usage()
		costs = append(costs, after-before)
	}
	slices.Sort(costs)
	return costs[len(costs)/2]
}
