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
	jpegFile    = interptest.JPEG
	jpegSegment = interptest.JPEGSegment
	exifOf      = interptest.Exif
	pngWith     = interptest.PNG
	decodeFile  = interptest.Decode
)

const everyStep = interptest.EveryStep

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
