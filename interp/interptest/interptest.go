// Package interptest is for the tests of package interp and of the rooms above
// it: small masters and recipes.
package interptest

import (
	"math/big"
	"os"
	"path/filepath"
	"testing"

	"platemark/ops/codec/tiff"
	"platemark/ops/colour"
)

// Noise is a picture of smooth tones, edges and grain: a pure function of the
// position.
func Noise(x, y, c int) uint16 {
	h := uint32(x*374761393 + y*668265263 + c*2147483647)
	h = (h ^ h>>13) * 1274126177
	v := 300*x + 200*y*(c+1) + int(h>>20)
	if x > 40 && y < 30 {
		v += 20000
	}
	return uint16(v % 65536)
}

// WriteMaster writes a w x h picture of c channels as a 16-bit TIFF; space ""
// leaves it without a profile.
func WriteMaster(t testing.TB, path string, w, h, c int, space string) {
	t.Helper()
	o := tiff.Options{W: w, H: h, C: c, Bits: 16, PPI: big.NewRat(300, 1)}
	if space != "" {
		p, ok := colour.Space(space)
		if !ok {
			t.Fatalf("no space %s", space)
		}
		o.ICC = p.Bytes()
	}
	l, err := tiff.NewLayout(o)
	if err != nil {
		t.Fatal(err)
	}
	b := l.Header()
	row := make([]uint16, w*c)
	for y := range h {
		for i := range row {
			row[i] = Noise(i/c, y, i%c)
		}
		b = l.AppendRow(b, row)
	}
	Write(t, path, string(append(b, l.Trailer()...)))
}

// Write writes a file, in a new folder where there is none.
func Write(t testing.TB, path, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
}

// Read reads a file.
func Read(t testing.TB, path string) []byte {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// SmallJob writes the small master and a recipe into a new folder.
func SmallJob(t testing.TB, recipe string) (folder, file string) {
	t.Helper()
	folder = t.TempDir()
	WriteMaster(t, filepath.Join(folder, "m.tif"), 96, 64, 3, "opRGB")
	file = filepath.Join(folder, "r.recipe")
	Write(t, file, recipe)
	return folder, file
}
