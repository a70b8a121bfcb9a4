package plan

import "testing"

func TestShapesAreNamedByTheNearestUsualOne(t *testing.T) {
	for _, c := range []struct {
		w, h int
		want string
	}{{9001, 6000, "nearly 3:2"}, {6000, 9001, "nearly 2:3"}, {6000, 4000, "3:2"}, {9900, 7000, "99:70"}, {4961, 3508, "1.4142:1"}} {
		if got := nearRatio(c.w, c.h); got != c.want {
			t.Errorf("%d x %d: %s, want %s", c.w, c.h, got, c.want)
		}
	}
}
