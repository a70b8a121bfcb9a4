package interp

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"platemark/interp/plan"
	"platemark/ops"
	"platemark/ops/colour"
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
		{"largest file 500 MB", "largest file 1 KB", "takes files up to 1.0 KB; this one may come to", "print it smaller"},
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
	// Of a list every format is taken.
	for _, list := range []string{"jpeg, tiff", "tiff, jpeg"} {
		write(t, file, strings.Replace(forLab, "takes        jpeg", "takes        "+list, 1))
		if got := problemsOf(t, file, LoadOptions{}); strings.Contains(got, "harbour") {
			t.Errorf("takes %s: %q", list, got)
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
	b := NewSession(0, nil)
	defer b.Close()
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

// The size that a JPEG likely comes to: photographs of 60 x 40 in at 300 ppi and
// quality 95, enlarged three times, came to 20.0 to 37.4 MB when they were built.
// A quality that the hint proposes is lower than the one that stands there and
// fits; a guess doesn't stay beside the size once the file is there.
func TestLikelySizeOfAJPEG(t *testing.T) {
	p, _ := colour.Space("sRGB")
	f := plan.FileSpec{Format: "jpeg", Quality: 95, Enlarged: 3, Profile: p}
	pic := ops.Pic{W: 18000, H: 12000, C: 3}
	likely := func(f plan.FileSpec) int64 { n, _ := f.Room(pic); return n }
	if n := likely(f); n < 20_000_000 || n > 37_400_000 {
		t.Errorf("%d bytes", n)
	}
	for limit := likely(f); limit > 1000; limit = limit * 4 / 5 {
		g := f
		if g.Quality = f.QualityWithin(pic, limit-1); g.Quality >= f.Quality || g.Quality > 0 && likely(g) >= limit {
			t.Errorf("quality %d for files up to %d", g.Quality, limit)
		}
	}
	folder := t.TempDir()
	writePlain(t, filepath.Join(folder, "m.tif"), 400, 300, 77*257) // a code of 8 bits: no dither
	file := filepath.Join(folder, "r.recipe")
	write(t, file, "recipe 1 draft\nmaster \"m.tif\" space grey-2.2\nlab harbour {\n    largest file 20 KB\n}\nprint p for harbour {\n    size 400 px wide at 300 ppi\n    save jpeg \"p.jpg\"\n}\n")
	for _, state := range []OrderState{OrderBuilt, OrderThere} {
		o, err := LoadOrder(context.Background(), []string{file}, LoadOptions{Resume: true})
		if err != nil {
			t.Fatal(err)
		}
		guess := func() bool { return strings.Contains(strings.Join(o.Rows[0].Warnings, ""), "may come to") }
		if state == OrderBuilt && !guess() {
			t.Error("planned without the warning")
		}
		if err := o.Build(context.Background(), BuildOptions{}, nil); err != nil || o.Rows[0].State != state || guess() {
			t.Errorf("%v, %s, %q", err, o.Rows[0].State, o.Rows[0].Warnings)
		}
		o.Close()
	}
}
