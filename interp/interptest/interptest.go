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

// WriteMaster writes a w x h picture of c channels of Noise.
func WriteMaster(t testing.TB, path string, w, h, c int, space string) {
	t.Helper()
	WritePicture(t, path, w, h, c, space, Noise)
}

// WritePicture writes a w x h picture of c channels as a 16-bit TIFF, with the
// samples that at gives for x, y and channel; space "" leaves it without a profile.
func WritePicture(t testing.TB, path string, w, h, c int, space string, at func(x, y, c int) uint16) {
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
			row[i] = at(i/c, y, i%c)
		}
		b = l.AppendRow(b, row, y)
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

// EveryStep is a recipe with every statement that the engine builds.
const EveryStep = `recipe 1 draft

title   "A small test"
rights  "invented, free to use"
round   2
master  "m.tif"

mask reeds {
    stroke along (4%, 71%), (18%, 60%), (33%, 72%),
        (80%, 70%) width 16% soft 70%
    less ellipse at (50%, 66%) size 19% x 14% soft 50%
}

mask land {
    rectangle at (50%, 75%) size 100% x 40% soft 20%
    gradient from (50%, 100%) to (50%, 30%)
    within polygon (1%, 30%), (99%, 40%), (80%, 99%), (5%, 95%) soft 10%
    soften 1%
}

mask sky {
    mask land
    invert
}

mask fine {
    edges radius 1 px over 5%
    within range lightness 20 to 90 soft 5
    less range hue 300 deg to 20 deg soft 10 deg
}

prepare {
    spot pixels over 12% through sky
    spot at (22%, 11%) radius 0.9%
    spot at (68%, 20%) radius 1% soft 50% from (75%, 30%)
}

steps wall {
    enlarge with lanczos3 as crisp
    enlarge with mitchell as smooth
    blend smooth over crisp through reeds at 40%
}

print large {
    edition 10 plus 2 proofs
    size 3 in x 2 in at 100 ppi
    follow wall
    sharpen radius 1.8 px amount 190% quiet 0.5% halo 20% through land
    save jpeg "large.jpg" quality 100 chroma full
}

print card {
    size 15 cm wide at 40 ppi
    crop to 4:3 at (40%, 50%)
    enlarge with b-spline light linear
    sharpen radius 0.9 px amount 120%
    convert to sRGB
    save jpeg "card.jpg" quality 85 chroma half
}

print exact {
    size within 2 in x 2 in at 150 ppi
    denoise lightness 60% chroma 100% through fine
    enlarge with cubic
    fringe through fine radius 3 px
    convert to ROMM-RGB intent relative black-point on
    save tiff "exact.tif" bits 16
}

print plain {
    size 0.3 in high at 100 ppi
    enlarge with lanczos2
    convert to grey-2.2
    save tiff "plain.tif" bits 8
}
`

// SmallJob writes the small master and a recipe into a new folder.
func SmallJob(t testing.TB, recipe string) (folder, file string) {
	t.Helper()
	folder = t.TempDir()
	WriteMaster(t, filepath.Join(folder, "m.tif"), 96, 64, 3, "opRGB")
	file = filepath.Join(folder, "r.recipe")
	Write(t, file, recipe)
	return folder, file
}
