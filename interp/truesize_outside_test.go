//go:build outside

package interp

import (
	"context"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"platemark/ops/colour"
)

// poppler (pdfinfo, pdftoppm) sees a sheet's PDF at its true size, and draws
// nothing of it more than a pixel away from where the sheet has it.
func TestOutsideSeesASheetAtItsTrueSize(t *testing.T) {
	folder, file := smallJob(t, sheetRecipe)
	p, _ := colour.Space("sRGB")
	for _, name := range []string{"same.icc", "other.icc"} {
		write(t, filepath.Join(folder, name), string(p.Bytes()))
	}
	j := mustLoad(t, file, LoadOptions{Prints: []string{"trial"}})
	b, err := Build(context.Background(), j, BuildOptions{})
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(folder, "trial.pdf")
	if err := TrueSize(context.Background(), b[0].File, j.Plans[0], path, false); err != nil {
		t.Fatal(err)
	}
	info, err := exec.Command("pdfinfo", path).CombinedOutput()
	if err != nil || !strings.Contains(string(info), "648 x 504 pts") { // 9 x 7 in
		t.Fatalf("%v: %s", err, info)
	}
	drawn := filepath.Join(folder, "drawn")
	if out, err := exec.Command("pdftoppm", "-r", "150", "-singlefile", path, drawn).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	ppm := read(t, drawn+".ppm")
	w, h, _, px := samples(t, b[0].File)
	head := "P6\n1350 1050\n255\n"
	if w != 1350 || h != 1050 || !strings.HasPrefix(string(ppm), head) {
		t.Fatalf("%d x %d px, drawn as %.16q", w, h, ppm)
	}
	ppm = ppm[len(head):]
	moved := 0
	for y := 1; y < h-1; y++ {
		for x := 1; x < w-1; x++ {
			lo, hi := 255, 0
			for dy := -1; dy <= 1; dy++ {
				for dx := -1; dx <= 1; dx++ {
					v := int(px[((y+dy)*w+x+dx)*3+1]) / 257
					lo, hi = min(lo, v), max(hi, v)
				}
			}
			if v := int(ppm[(y*w+x)*3+1]); v < lo-8 || v > hi+8 {
				moved++
			}
		}
	}
	if moved > 0 {
		t.Errorf("%d pixels are more than a pixel away", moved)
	}
}
