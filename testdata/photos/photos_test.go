//go:build outside

package photos

import "testing"

func TestEveryPhotographOpens(t *testing.T) {
	apart := 0
	for _, p := range List {
		pix, w, h := Open(t, p.Name, 8)
		if len(pix) != 3*w*h || w < 100 || h < 100 {
			t.Errorf("%s: %d samples for %d x %d", p.Name, len(pix), w, h)
		}
		if p.Apart {
			apart++
		}
	}
	if apart < 2 || len(List) < 5 {
		t.Errorf("%d photographs, %d apart", len(List), apart)
	}
}
