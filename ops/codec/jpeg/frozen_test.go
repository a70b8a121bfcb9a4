package jpeg

import (
	"fmt"
	"os"
	"strings"
	"testing"
)

// vector is a line of the frozen list, which interp/lint holds the encoder to.
type vector struct {
	kind  string
	eight bool // bits a sample: 8, else 16
	o     Options
}

func vectors(t *testing.T) (out []vector) {
	t.Helper()
	text, err := os.ReadFile("../../../testdata/frozen/encoder-jpeg-1.txt")
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(text)) {
		line = strings.TrimSpace(line)
		if line == "" || line[0] == '#' {
			continue
		}
		var v vector
		var depth, chroma, header string
		if _, err := fmt.Sscan(line, &v.kind, &depth, &v.o.W, &v.o.H, &v.o.C, &v.o.Quality, &chroma, &header); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		v.eight, v.o.HalfChroma = depth == "8", chroma == "half"
		if header == "texts" {
			v.o.PPI, v.o.Title, v.o.Rights = ratOf("601/2"), "Reeds, 4 < 5", "© the photographer"
			for i := range 70000 {
				v.o.ICC = append(v.o.ICC, byte(i%251))
			}
		}
		out = append(out, v)
	}
	return out
}
