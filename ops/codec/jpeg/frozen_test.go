package jpeg

import (
	"crypto/sha256"
	"fmt"
	"os"
	"strings"
	"testing"
)

// vector is one line of the frozen list.
type vector struct {
	line, want, kind string
	eight            bool // bits a sample: 8, else 16
	o                Options
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
		v := vector{line: line}
		var depth, chroma, header string
		if _, err := fmt.Sscan(line, &v.kind, &depth, &v.o.W, &v.o.H, &v.o.C, &v.o.Quality, &chroma, &header, &v.want); err != nil {
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

// The frozen vectors: what version 1 writes, for good. A line that differs is
// a change of meaning; lines are added, never edited.
func TestFrozen(t *testing.T) {
	list := vectors(t)
	if len(list) < 16 {
		t.Errorf("only %d vectors", len(list))
	}
	for _, v := range list {
		pix := wide(picture(v.kind, v.o.W, v.o.H, v.o.C))
		if !v.eight {
			for i := range pix {
				pix[i] = uint16(i*40503) ^ pix[i]>>3
			}
		}
		if got := fmt.Sprintf("%x", sha256.Sum256(mustEncode(t, v.o, pix))); got != v.want {
			t.Errorf("%s\nnow gives %s", v.line, got)
		}
	}
}
