package interp

import (
	"fmt"
	"math"
	"math/big"
	"path/filepath"
	"testing"

	"platemark/interp/plan"
	"platemark/ops/codec/tiff"
)

// writePlain writes a grey TIFF of one value.
func writePlain(t testing.TB, path string, w, h int, value uint16) {
	t.Helper()
	l, err := tiff.NewLayout(tiff.Options{W: w, H: h, C: 1, Bits: 16, PPI: big.NewRat(300, 1)})
	if err != nil {
		t.Fatal(err)
	}
	row := make([]uint16, w)
	for i := range row {
		row[i] = value
	}
	b := l.Header()
	for range h {
		b = l.AppendRow(b, row, 0)
	}
	write(t, path, string(append(b, l.Trailer()...)))
}

// Shares of masks on a frame that is drawn smaller to see them. A share that is
// nearly nothing isn't nothing: a mask of a few pixels between those of the
// small frame is found. Areas by geometry.
func TestSharesOfMasks(t *testing.T) {
	folder := t.TempDir()
	writeMaster(t, filepath.Join(folder, "m.tif"), 3000, 60, 3, "opRGB")
	writePlain(t, filepath.Join(folder, "black.tif"), 3000, 60, 0)
	writePlain(t, filepath.Join(folder, "half.tif"), 1500, 30, 32768)
	writePlain(t, filepath.Join(folder, "white.tif"), 3000, 60, 65535)
	for _, x := range []struct {
		mask  string
		share float64
		warns int
	}{
		{`file "black.tif"`, 0, 1},
		{`file "white.tif"`, 1, 1},
		{`file "half.tif"`, 32768. / 65535, 0},
		{`rectangle at (1000 px, 30 px) size 600 px x 30 px`, 0.1, 0},
		{`rectangle at (1001 px, 31 px) size 4 px x 2 px`, 8. / 180000, 0},
		{"rectangle at (1001 px, 31 px) size 4 px x 2 px\n    invert", 1 - 8./180000, 0},
	} {
		file := filepath.Join(folder, "r.recipe")
		write(t, file, fmt.Sprintf("recipe 1 draft\nmaster \"m.tif\"\nmask a {\n    %s\n}\nprint p {\n    size 3000 px wide at 300 ppi\n    sharpen radius 1 px amount 50%% through a\n    save tiff \"p.tif\"\n}\n", x.mask))
		j := mustLoad(t, file, LoadOptions{Masks: true, Shares: true})
		warns := 0
		for _, d := range j.Diags {
			if d.Code == plan.CodeMaskCovers {
				warns++
			}
		}
		m := j.Masks[j.Plans[0]]
		if len(m) != 1 || math.Abs(m[0].Frame-x.share) > 1e-3*x.share || m[0].Frame != m[0].Print || warns != x.warns {
			t.Errorf("%s: %+v, %d warnings; want %g and %d", x.mask, m[0].Frame, warns, x.share, x.warns)
		}
	}
}
