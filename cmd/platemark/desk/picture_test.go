package desk

import (
	"bytes"
	"context"
	"image"
	"slices"
	"sync"
	"testing"
	"time"
)

// Tiles that wait beside each other are computed as one, at any size, with the bytes
// that each has alone; one that doesn't lie in the picture fails alone.
func TestTilesTogetherAreTilesAlone(t *testing.T) {
	ctx := context.Background()
	s, _, _ := opened(t, written)
	key := stateOf(t, s, 0).Picture.Key
	for _, l := range []level{{by: 1}, {by: 4}, {1, 400}} {
		var at []image.Rectangle
		for i := range 6 {
			at = append(at, image.Rect(0, 0, 60, 50).Add(image.Pt(60*(i%3), 50*(i/3))))
		}
		at = append(at, image.Rect(180, 0, 1<<20, 50))
		got := make([][]byte, len(at))
		var wg sync.WaitGroup
		s.turn <- struct{}{}
		for i, r := range at {
			wg.Go(func() { got[i], _ = s.tile(ctx, key, l, r) })
		}
		for waiting := 0; waiting < len(at); time.Sleep(time.Millisecond) {
			s.plansMu.Lock()
			waiting = len(s.waiting)
			s.plansMu.Unlock()
		}
		whole := image.Rect(0, 0, 180, 100)
		first := s.waiting[slices.IndexFunc(s.waiting, func(o *wanted) bool { return o.r.In(whole) })]
		if list, all := s.beside(first, whole); len(list) < 2 || !all.In(whole) {
			t.Errorf("%v: %d tiles fill %v", l, len(list), all)
		}
		<-s.turn
		wg.Wait()
		for i, r := range at {
			want, err := s.tile(ctx, key, l, r)
			if (err != nil) != (i == len(at)-1) || !bytes.Equal(got[i], want) {
				t.Errorf("%v: the tile at %v is another one alone (%v)", l, r, err)
			}
		}
		if len(s.waiting) != 0 {
			t.Errorf("%d tiles wait still", len(s.waiting))
		}
	}
}
