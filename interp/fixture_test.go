package interp

import (
	"context"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"platemark/interp/interptest"
	"platemark/lang"
)

// What the tests of the rooms above need too.
var (
	noise       = interptest.Noise
	writeMaster = interptest.WriteMaster
	write       = interptest.Write
	read        = interptest.Read
	smallJob    = interptest.SmallJob
)

// everyStep is a recipe with every statement that the engine builds.
const everyStep = `recipe 1 draft

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
    enlarge with cubic
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

// mustLoad plans a recipe and fails on errors.
func mustLoad(t testing.TB, file string, o LoadOptions) *Job {
	t.Helper()
	j, err := Load(context.Background(), file, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(j.Close)
	for _, d := range j.Diags {
		if d.Severity == lang.Error {
			t.Fatalf("line %d: %s %s: %s %v", d.Span.Line, d.Code, d.Summary, d.Detail, d.Hints)
		}
	}
	return j
}

// mustBuild builds all prints.
func mustBuild(t testing.TB, file string, lo LoadOptions, o BuildOptions) []Built {
	t.Helper()
	lo.Out, lo.Force = o.Out, o.Force
	j := mustLoad(t, file, lo)
	defer j.Close() // some systems don't move or remove what is open
	b, err := Build(context.Background(), j, o)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// links says whether the system has symbolic links, or at least its name for
// one: Windows gives them to few, and wine's lead nowhere. Tests try the other
// names of a file there.
func links(t *testing.T) bool {
	t.Helper()
	name := filepath.Join(t.TempDir(), "link")
	err := os.Symlink("to", name)
	if err == nil {
		_, err = os.Readlink(name)
	}
	if err != nil && runtime.GOOS != "windows" {
		t.Fatal(err)
	}
	if err != nil {
		t.Logf("no symbolic links here (%v): names by links aren't tried", err)
	}
	return err == nil
}
