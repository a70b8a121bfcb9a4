//go:build outside

package pdf

import (
	"image"
	_ "image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

func tool(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %v: %v\n%s", name, args, err, out)
	}
	return string(out)
}

// Other programs read the file: qpdf finds nothing wrong, poppler reads the text
// and its fonts, and draws pieces at their true size.
func TestOthersReadIt(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "sheet.pdf")
	if err := os.WriteFile(file, written(t, sheet(t)), 0o666); err != nil {
		t.Fatal(err)
	}
	if out := tool(t, "qpdf", "--check", file); !strings.Contains(out, "No syntax or stream encoding errors found") {
		t.Error(out)
	}
	if out := tool(t, "pdftotext", file, "-"); !strings.Contains(out, "Étude n° 12, größer fi (100 mm)") || !strings.Contains(out, "é is é") {
		t.Errorf("%q", out)
	}
	fonts := tool(t, "pdffonts", file)
	if strings.Count(fonts, "CID TrueType") != 2 || strings.Count(fonts, "yes yes yes") != 2 {
		t.Error(fonts)
	}
	if info := tool(t, "pdfinfo", file); !strings.Contains(info, "Étude (I)") || !strings.Contains(info, "1368 x 936 pts") {
		t.Error(info)
	}
	for _, box := range [][]string{nil, {"-cropbox"}} {
		tool(t, "pdftoppm", append(box, "-png", "-r", "300", "-f", "1", "-l", "1", file, filepath.Join(dir, "at"))...)
		r, err := os.Open(filepath.Join(dir, "at-1.png"))
		if err != nil {
			t.Fatal(err)
		}
		m, _, err := image.Decode(r)
		r.Close()
		if err != nil {
			t.Fatal(err)
		}
		if m.Bounds().Dx() != 5700 || m.Bounds().Dy() != 3900 {
			t.Errorf("the page is %v", m.Bounds())
		}
		// Inked pixels of a row through the square and one through the ruler.
		for _, c := range []struct{ y, from, long int }{{600, 300, 600}, {1258, 300, 1181}} {
			first, n := -1, 0
			for x := range 5700 {
				if _, g, _, _ := m.At(x, c.y).RGBA(); g < 0x8000 {
					if n++; first < 0 {
						first = x
					}
				}
			}
			if first < c.from-1 || first > c.from+1 || n < c.long-1 || n > c.long+1 {
				t.Errorf("row %d: ink from %d, %d px long; expected from %d, %d", c.y, first, n, c.from, c.long)
			}
		}
	}
}
