package lang

import (
	"fmt"
	"strings"
	"testing"
)

// long is a recipe of 500 lines and more, with 400 spots.
func long() []byte {
	var b strings.Builder
	b.WriteString("recipe 1 draft\nmaster \"salt-road.tif\"\n\n")
	for i := 0; i < 10; i++ {
		fmt.Fprintf(&b, "mask m%d {\n    stroke along (4%%, 71%%), (18%%, 69.5%%), (33%%, 72%%), (52%%, 70%%) width 6%% soft 70%%\n    less ellipse at (58%%, 66%%) size 9%% x 4%% soft 50%%\n}\n", i)
	}
	b.WriteString("prepare {\n")
	for i := 0; i < 400; i++ {
		fmt.Fprintf(&b, "    spot at (%d.5%%, %d%%) radius 0.06%%   # speck %d\n", 1+i%98, 5+20*(i/98), i)
	}
	b.WriteString("}\n")
	for i := 0; i < 10; i++ {
		fmt.Fprintf(&b, "print p%d {\n    size 60 in x 40 in at 300 ppi\n    enlarge with mitchell\n    sharpen radius 1.8 px amount 190%% through m%d\n    save jpeg \"p%d.jpg\" quality 100 chroma full\n}\n", i, i, i)
	}
	return []byte(b.String())
}

// Reading and checking 500 lines: well under 30 ms after the start, on a
// machine that does nothing else.
func BenchmarkParse500Lines(b *testing.B) {
	src := long()
	for i := 0; i < b.N; i++ {
		Parse("long.recipe", src)
	}
}

// What is timed is a right recipe of 500 lines and more.
func TestTimedRecipeIsRight(t *testing.T) {
	src := long()
	if n := strings.Count(string(src), "\n"); n < 500 {
		t.Fatalf("%d lines", n)
	}
	if _, ds := Parse("long.recipe", src); len(ds) > 0 {
		t.Fatalf("%v", ds[0])
	}
}
