package desk

import (
	"os"
	"slices"
	"strings"
	"testing"

	"platemark/interp/interptest"
)

// walkOf is the walk over print p at 100 %, once a part has been seen if it isn't nil.
func walkOf(t *testing.T, s *Server, seen *[4]float64) (w walking) {
	t.Helper()
	if c := call(t, s, "POST", "/walk?file=0", step{Version: stateOf(t, s, 0).Version, Print: "p", Zoom: 100, Seen: seen}, &w); c != 200 {
		t.Fatalf("walk: %d", c)
	}
	return w
}

// What was seen is remembered from run to run. A spot makes unseen again what lies
// near it and near spots that it may change; any other change makes all unseen, and
// its undoing brings that back.
func TestWalk(t *testing.T) {
	s, path, keep := opened(t, written)
	left, right := [4]float64{0, 0, 0.5, 1}, [4]float64{0.45, 0, 1, 1}
	walkOf(t, s, &left)
	if w := walkOf(t, s, &right); !slices.Equal(w.Parts, []walked{{At: left}, {At: right}}) || w.Words != "" {
		t.Errorf("%+v", w)
	}
	s = again(t, path, keep) // another day
	if w := walkOf(t, s, nil); len(w.Parts) != 2 {
		t.Errorf("another day: %+v", w)
	}
	// At (80%, 80%) of 600 x 400 px, far from the other spot: radius 3 px, three
	// times that seen again, and 0.6 px.
	type_(t, s, "    tone through", "    spot at (80%, 80%) radius 0.5%\n    tone through")
	w := walkOf(t, s, nil)
	if len(w.Parts) != 3 || !w.Parts[2].Again || w.Words == "" {
		t.Fatalf("a spot: %+v", w)
	}
	for i, v := range []float64{480 - 9.6, 320 - 9.6, 480 + 9.6, 320 + 9.6} {
		if got := w.Parts[2].At[i] * []float64{600, 400}[i%2]; got < v-0.01 || got > v+0.01 {
			t.Errorf("side %d lies at %v px, not %v", i, got, v)
		}
	}
	walkOf(t, s, &right)
	// Beside the first spot, which may be filled from elsewhere now.
	type_(t, s, "    tone through", "    spot at (32%, 32%) radius 0.2%\n    tone through")
	if w := walkOf(t, s, nil); len(w.Parts) != 6 || !w.Parts[4].Again || !w.Parts[5].Again {
		t.Errorf("two spots near each other: %+v", w)
	}
	type_(t, s, "amount 100%", "amount 90%")
	if w := walkOf(t, s, nil); len(w.Parts) != 0 || !strings.Contains(w.Words, "all of it") {
		t.Errorf("sharper: %+v", w)
	}
	call(t, s, "POST", "/undo?file=0", nil, nil)
	if w := walkOf(t, s, nil); len(w.Parts) != 6 || w.Words != "" {
		t.Errorf("undone: %+v", w)
	}
	// A comment makes no other picture.
	type_(t, s, "# a title", "# another")
	if w := walkOf(t, s, nil); len(w.Parts) != 6 || w.Words != "" {
		t.Errorf("a comment: %+v", w)
	}
	for _, bad := range [][4]float64{{0.5, 0, 0.4, 1}, {0, 0, 3, 1}, {-2, 0, 1, 1}} {
		if c := call(t, s, "POST", "/walk?file=0", step{Version: stateOf(t, s, 0).Version, Print: "p", Zoom: 100, Seen: &bad}, nil); c != 400 {
			t.Errorf("%v: %d", bad, c)
		}
	}
	interptest.Write(t, s.recipes[0].walkFile(), "{")
	if c := call(t, s, "POST", "/walk?file=0", step{Version: stateOf(t, s, 0).Version, Print: "p", Zoom: 100}, nil); c != 422 || onDisk(t, s.recipes[0].walkFile()) != "{" {
		t.Errorf("what can't be read: %d", c)
	}
	os.Remove(s.recipes[0].walkFile())
}
