package interp

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const forLab = `recipe 1 draft
master "m.tif"
lab harbour {
    takes        jpeg
    space        sRGB
    resolution   96 ppi
    bits         8
    largest file 500 MB
}
print p for harbour {
    size 1.5 in x 1 in at 96 ppi
    enlarge with mitchell
    convert to harbour
    save jpeg "p.jpg"
}
`

// A lab's lines are checked in the plan, each with its mend; what it doesn't
// say isn't.
func TestLabLimitsAreChecked(t *testing.T) {
	_, file := smallJob(t, forLab)
	if got := problemsOf(t, file, LoadOptions{}); strings.Contains(got, "harbour") {
		t.Errorf("%q", got)
	}
	for _, c := range []struct{ old, new, want, mend string }{
		{"    takes        jpeg\n", "    takes        tiff\n", "lab harbour doesn't take jpeg", "write save tiff"},
		{"    convert to harbour\n", "", "takes sRGB, and this picture is in opRGB", "`convert to harbour` before save"},
		{"    convert to harbour\n", "    convert to ROMM-RGB\n", "takes sRGB, and this picture is in ROMM", "`convert to harbour` before save"},
		{"resolution   96 ppi", "resolution   300 ppi", "takes 300 ppi, and this print has 96 ppi", "at 300 ppi"},
		{"bits         8", "bits         16", "takes 16 bits, and this file has 8", "save tiff"},
		{"largest file 500 MB", "largest file 1 KB", "takes files up to 1.0 KB; this one may come to", "lower quality"},
		{"    space        sRGB\n", "", "lab harbour doesn't say its colour space", "such as space opRGB"},
	} {
		text := strings.Replace(forLab, c.old, c.new, 1)
		if text == forLab {
			t.Fatalf("%q isn't in the recipe", c.old)
		}
		write(t, file, text)
		if got := problemsOf(t, file, LoadOptions{}); !strings.Contains(got, c.want) || !strings.Contains(got, c.mend) {
			t.Errorf("%q: %q", c.new, got)
		}
	}
	// A TIFF's length is known in the plan: 144 x 96 x 3 bytes and the head.
	text := strings.NewReplacer("takes        jpeg", "takes        jpeg, tiff", "500 MB", "40 KB", `save jpeg "p.jpg"`, `save tiff "p.tif" bits 8`).Replace(forLab)
	write(t, file, text)
	if got := problemsOf(t, file, LoadOptions{}); !strings.Contains(got, "takes files up to 40.0 KB, and this one has 42.") {
		t.Errorf("%q", got)
	}
	// Figures that would look the same are given to the byte.
	write(t, file, strings.Replace(text, "40 KB", "42.2 KB", 1))
	if got := problemsOf(t, file, LoadOptions{}); !strings.Contains(got, "takes files up to 42200 bytes, and this one has 422") {
		t.Errorf("%q", got)
	}
	write(t, file, strings.Replace(text, "40 KB", "50 KB", 1))
	if got := problemsOf(t, file, LoadOptions{}); strings.Contains(got, "harbour") {
		t.Errorf("%q", got)
	}
}

// A JPEG over its lab's limit never gets its name, and the error names a
// quality that fits.
func TestFileOverTheLabsLimit(t *testing.T) {
	folder, file := smallJob(t, strings.NewReplacer("500 MB", "20 KB", "96 ppi", "200 ppi").Replace(forLab))
	j := mustLoad(t, file, LoadOptions{})
	_, err := Build(context.Background(), j, BuildOptions{})
	var large *TooLarge
	if !errors.As(err, &large) || large.Quality < 1 || large.Quality > 99 {
		t.Fatalf("%v", err)
	}
	if _, err := os.Lstat(filepath.Join(folder, "p.jpg")); err == nil {
		t.Error("the file got its name")
	}
	text := strings.NewReplacer("500 MB", "20 KB", "96 ppi", "200 ppi", `"p.jpg"`, `"p.jpg" quality `+itoa(large.Quality)).Replace(forLab)
	write(t, file, text)
	if b := mustBuild(t, file, LoadOptions{}, BuildOptions{}); b[0].Size > 20000 {
		t.Errorf("quality %d gives %d bytes", large.Quality, b[0].Size)
	}
}

// Where the samples for that quality can't be computed, nobody is told that no
// quality fits.
func TestOverTheLimitWithoutAnAnswer(t *testing.T) {
	_, file := smallJob(t, forLab)
	j := mustLoad(t, file, LoadOptions{})
	ctx, stop := context.WithCancel(context.Background())
	stop()
	b := newBuilder(j, BuildOptions{})
	defer b.close()
	large := &TooLarge{Limit: 1000}
	b.fitting(ctx, j.Plans[0], large)
	if s := large.Error(); strings.Contains(s, "no quality fits") || !strings.Contains(s, "couldn't be found out") {
		t.Error(s)
	}
}

// The lab's and paper's names and lines aren't in the mark: the same file is
// the same print.
func TestLabIsNotInTheMark(t *testing.T) {
	a := markOfText(t, forLab)
	if b := markOfText(t, strings.NewReplacer("harbour", "another", "500 MB", "400 MB").Replace(forLab)); a != b {
		t.Error("another lab gives another mark")
	}
	if b := markOfText(t, strings.NewReplacer(" for harbour", "", "convert to harbour", "convert to sRGB").Replace(forLab)); a != b {
		t.Error("the space written out gives another mark")
	}
}

func itoa(n int) string {
	s := ""
	for ; n > 0; n /= 10 {
		s = string(rune('0'+n%10)) + s
	}
	return s
}
