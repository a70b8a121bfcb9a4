package desk

import (
	"context"
	"image"
	"math/rand"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"platemark/interp/interptest"
	"platemark/interp/plan"
	"platemark/recipes"
)

// large serves a recipe with a print of 216 megapixels.
func large(b *testing.B) *Server {
	dir := b.TempDir()
	interptest.WriteMaster(b, filepath.Join(dir, "marsh.tif"), 6144, 4096, 3, "opRGB")
	text, _, _ := strings.Cut(string(recipes.Marsh), "\ninputs {")
	path := filepath.Join(dir, "marsh.recipe")
	interptest.Write(b, path, text)
	s, err := New([]string{path}, filepath.Join(dir, "kept"), 0)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(s.Close)
	return s
}

// BenchmarkScreen shows screens of 1440 x 900 at 100 % at random places of a
// print of 216 megapixels, in tiles as the page asks for them, beside the bare
// regions and sections of 2000 x 2000; and the same after one more spot, from its
// click on. One run is 50 places: go test ./cmd/platemark/desk -run - -bench Screen -benchtime 1x
func BenchmarkScreen(b *testing.B) {
	s := large(b)
	ctx := context.Background()
	began := time.Now()
	st, err := s.state(ctx, 0, "large", 0, 0, 0)
	if err != nil || st.Picture == nil {
		b.Fatal(st, err)
	}
	first := func() {
		if _, err := s.tile(ctx, st.Picture.Key, level{1, 950}, image.Rect(0, 0, 512, 512)); err != nil {
			b.Fatal(err)
		}
	}
	first()
	b.Logf("first picture with the master to decode: %v", time.Since(began))
	r := rand.New(rand.NewSource(1))
	screen := func(x, y int) time.Duration {
		t := time.Now()
		var wg sync.WaitGroup
		three := make(chan bool, 3) // at once, as the page asks
		for ty := y / tileMost; ty*tileMost < y+900; ty++ {
			for tx := x / tileMost; tx*tileMost < x+1440; tx++ {
				part := image.Rect(tx*tileMost, ty*tileMost, (tx+1)*tileMost, (ty+1)*tileMost).Intersect(image.Rect(0, 0, st.Picture.W, st.Picture.H))
				three <- true
				wg.Go(func() {
					if _, err := s.tile(ctx, st.Picture.Key, level{by: 1}, part); err != nil {
						b.Error(err)
					}
					<-three
				})
			}
		}
		wg.Wait()
		return time.Since(t)
	}
	say := func(what string, list []time.Duration) {
		slices.Sort(list)
		b.Logf("%s: median %v, worst %v of %d", what, list[len(list)/2], list[len(list)-1], len(list))
	}
	for range b.N {
		var tiles, bare, sections, spots []time.Duration
		for i := range 50 {
			x, y := r.Intn(st.Picture.W-1440), r.Intn(st.Picture.H-900)
			tiles = append(tiles, screen(x, y))
			region := func(w, h int) time.Duration {
				t, at := time.Now(), image.Pt(min(x, st.Picture.W-w), min(y, st.Picture.H-h))
				if err := s.use(ctx, st.Picture.Key, func(p *plan.Print) error {
					_, err := s.session.Region(ctx, p, p.Out, image.Rect(0, 0, w, h).Add(at))
					return err
				}); err != nil {
					b.Fatal(err)
				}
				return time.Since(t)
			}
			bare, sections = append(bare, region(1440, 900)), append(sections, region(2000, 2000))
			if i%5 > 0 {
				continue
			}
			t := time.Now()
			q := &drawing{Version: st.Version, Print: "large", Shape: stroke{Kind: "spot", Radius: 0.001, Points: [][2]float64{{float64(x+700) / float64(st.Picture.W), float64(y+450) / float64(st.Picture.H)}}}}
			if _, err := s.draw(s.recipes[0], q); err != nil {
				b.Fatal(err)
			}
			if st, err = s.state(ctx, 0, "large", 0, 0, 0); err != nil || st.Picture == nil {
				b.Fatal(st.Problems, err)
			}
			screen(x, y)
			spots = append(spots, time.Since(t))
		}
		say("a screen in tiles", tiles)
		say("the bare region", bare)
		say("a section of 2000 x 2000", sections)
		say("a spot, its screen from the click on", spots)
	}
}
