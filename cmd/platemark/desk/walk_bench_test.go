package desk

import (
	"context"
	"fmt"
	"image"
	"os"
	"regexp"
	"runtime/debug"
	"strconv"
	"sync"
	"testing"
	"time"
)

// BenchmarkWalk walks over a print of 216 megapixels for an hour, made short: 600
// screens of 1440 x 900 at 100 %, row by row, with what inspect finds, a spot
// every 20 screens and the fitted picture after each. It says what the process held
// at most and in the end, and fails above 500 MB. One run is
// go test ./cmd/platemark/desk -run - -bench Walk -benchtime 1x
func BenchmarkWalk(b *testing.B) {
	defer debug.SetGCPercent(debug.SetGCPercent(25)) // as the command does
	s := large(b)
	debug.FreeOSMemory()
	os.WriteFile("/proc/self/clear_refs", []byte("5"), 0) // what writing the master held doesn't count (proc(5))
	ctx := context.Background()
	for range b.N {
		st, err := s.state(ctx, 0, "large", 0, 0, 0)
		if err != nil || st.Picture == nil {
			b.Fatal(st, err)
		}
		tiles(b, s, st.Picture.Key, level{1, 950}, image.Rect(0, 0, 950, 633), st.Picture) // the page looks first
		for f := (&found{Says: "-"}); f.Says != ""; time.Sleep(100 * time.Millisecond) {
			if f, err = s.found(ctx, s.recipes[0], chosen{Print: "large"}); err != nil {
				b.Fatal(err)
			}
		}
		held(b, "with what was found")
		began := time.Now()
		for i := range 600 {
			x, y := i%16*1100%(st.Picture.W-1440), i/16*320%(st.Picture.H-900)
			tiles(b, s, st.Picture.Key, level{by: 1}, image.Rect(x, y, x+1440, y+900), st.Picture)
			seen := [4]float64{float64(x) / float64(st.Picture.W), float64(y) / float64(st.Picture.H), float64(x+1440) / float64(st.Picture.W), float64(y+900) / float64(st.Picture.H)}
			if _, err := s.walk(s.recipes[0], &step{Version: st.Version, Print: "large", Zoom: 100, Seen: &seen}); err != nil {
				b.Fatal(err)
			}
			if i%20 > 0 {
				continue
			}
			q := &drawing{Version: st.Version, Print: "large", Shape: stroke{Kind: "spot", Radius: 0.001, Points: [][2]float64{{(seen[0] + seen[2]) / 2, (seen[1] + seen[3]) / 2}}}}
			if _, err := s.draw(s.recipes[0], q); err != nil {
				b.Fatal(err)
			}
			if st, err = s.state(ctx, 0, "large", 0, 0, 0); err != nil || st.Picture == nil {
				b.Fatal(st.Problems, err)
			}
			tiles(b, s, st.Picture.Key, level{1, 950}, image.Rect(0, 0, 950, 633), st.Picture)
		}
		b.Logf("600 screens and 30 spots in %v", time.Since(began).Round(time.Second))
		if most := held(b, "after the walk"); most > 500 {
			b.Errorf("%d MB were held", most)
		}
	}
}

// tiles asks for those of a part of a picture as the page does, three at a time.
func tiles(b *testing.B, s *Server, key string, l level, part image.Rectangle, p *looked) {
	w, h := p.W, p.H
	if l.w > 0 {
		w, h = l.w, l.w*p.H/p.W
	}
	var wg sync.WaitGroup
	three := make(chan bool, 3)
	for y := part.Min.Y / tileMost * tileMost; y < min(part.Max.Y, h); y += tileMost {
		for x := part.Min.X / tileMost * tileMost; x < min(part.Max.X, w); x += tileMost {
			three <- true
			wg.Go(func() {
				if _, err := s.tile(context.Background(), key, l, image.Rect(x, y, min(x+tileMost, w), min(y+tileMost, h))); err != nil {
					b.Error(err)
				}
				<-three
			})
		}
	}
	wg.Wait()
}

// held says what the process holds, MB, and returns what it held at most.
func held(b *testing.B, when string) (most int) {
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		b.Skip("this system doesn't say what a process holds: ", err)
	}
	var list []int
	for _, name := range []string{"VmRSS", "VmHWM"} {
		m := regexp.MustCompile(name + `:\s+(\d+) kB`).FindSubmatch(status)
		n, _ := strconv.Atoi(string(m[1]))
		list = append(list, n/1000)
	}
	b.Log(fmt.Sprintf("%s: %d MB held, %d at most", when, list[0], list[1]))
	return list[1]
}
