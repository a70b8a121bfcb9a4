package interp

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"platemark/interp/audit"
	"platemark/lang"
)

// twins is a recipe with two masks of equal bytes under two names.
const twins = `recipe 1 draft
master "m.tif"
mask west {
    file "left.tif"
}
mask east {
    file "right.tif"
}
print small {
    size 1.5 in x 1 in at 96 ppi
    enlarge with lanczos3
    sharpen radius 1 px amount 100% through west
    sharpen radius 2 px amount 50% through east
    save tiff "small.tif"
}
`

func twinsJob(t testing.TB) (folder string, b Built) {
	t.Helper()
	folder, file := smallJob(t, twins)
	writeMaster(t, filepath.Join(folder, "left.tif"), 48, 32, 1, "")
	write(t, filepath.Join(folder, "right.tif"), string(read(t, filepath.Join(folder, "left.tif"))))
	return folder, mustBuild(t, file, LoadOptions{}, BuildOptions{})[0]
}

func verdictOf(t testing.TB, log string, o VerifyOptions) (*Verdict, string) {
	t.Helper()
	v, err := Verify(context.Background(), log, o)
	if err != nil {
		t.Fatal(err)
	}
	var s []string
	for _, l := range v.Lines {
		s = append(s, string(l.State)+" "+l.What)
	}
	return v, strings.Join(s, "\n")
}

// Inputs of equal bytes are each recorded by their own names: verify looks at
// both, and a reprint from an archive needs the bytes once.
func TestEqualInputsByTheirNames(t *testing.T) {
	folder, b := twinsJob(t)
	l, err := audit.ReadLog(b.Log)
	if err != nil {
		t.Fatal(err)
	}
	if len(l.Inputs) != 3 || l.Inputs[1].Path != "left.tif" || l.Inputs[2].Path != "right.tif" || l.Inputs[1].Picture != l.Inputs[2].Picture || len(l.Inputs[2].Picture) != 64 {
		t.Errorf("the log's inputs: %+v", l.Inputs)
	}
	if v, text := verdictOf(t, b.Log, VerifyOptions{Strict: true}); !v.OK {
		t.Errorf("%s", text)
	}
	right := filepath.Join(folder, "right.tif")
	old := read(t, right)
	write(t, right, "other")
	if v, text := verdictOf(t, b.Log, VerifyOptions{}); v.State != Wrong || !strings.Contains(text, "the mask right.tif was changed") {
		t.Errorf("right.tif changed: %s", text)
	}
	// In an archive the bytes lie once, under another name.
	archive := t.TempDir()
	write(t, filepath.Join(archive, "masks", "both.tif"), string(old))
	write(t, filepath.Join(archive, "m.tif"), string(read(t, filepath.Join(folder, "m.tif"))))
	log := filepath.Join(t.TempDir(), filepath.Base(b.Log))
	write(t, log, string(read(t, b.Log)))
	again, err := Reprint(context.Background(), log, ReprintOptions{LookIn: []string{archive}})
	if err != nil {
		t.Fatal(err)
	}
	if again.Sum != b.Sum || determinedPart(t, again.Log) != determinedPart(t, b.Log) {
		t.Error("the reprint differs")
	}
	if len(again.Elsewhere) != 3 || !strings.Contains(again.Elsewhere[2], "the mask right.tif was found at "+filepath.Join(archive, "masks", "both.tif")) {
		t.Errorf("where the inputs were found: %q", again.Elsewhere)
	}
}

// What isn't there is absent, not different; with a folder to look in it is
// found by its bytes, and the recipe is planned with it.
func TestAbsentIsNotDifferent(t *testing.T) {
	folder, b := twinsJob(t)
	archive := t.TempDir()
	for _, n := range []string{"m.tif", "small.tif"} {
		if err := os.Rename(filepath.Join(folder, n), filepath.Join(archive, "kept "+n)); err != nil {
			t.Fatal(err)
		}
	}
	v, text := verdictOf(t, b.Log, VerifyOptions{})
	if v.OK || v.State != Absent {
		t.Errorf("%s: %s", v.State, text)
	}
	for _, w := range []string{"absent the master m.tif isn't there", "absent the print file small.tif isn't there", "note the recorded recipe was not planned again: that needs every input"} {
		if !strings.Contains(text, w) {
			t.Errorf("expected %q in\n%s", w, text)
		}
	}
	v, text = verdictOf(t, b.Log, VerifyOptions{LookIn: []string{archive}})
	if !v.OK || v.State != Fine || !strings.Contains(text, "the master m.tif is the recorded one, and lies at "+filepath.Join(archive, "kept m.tif")) || !strings.Contains(text, "planned again, gives this mark") {
		t.Errorf("with a folder to look in: %s", text)
	}
	if _, err := Verify(context.Background(), b.Log, VerifyOptions{LookIn: []string{filepath.Join(folder, "no such")}}); err == nil || !strings.Contains(err.Error(), "can't look in") {
		t.Errorf("a folder that isn't there: %v", err)
	}
}

// A reprint names every input that it misses, and where it found the others.
func TestReprintNamesAllThatIsMissing(t *testing.T) {
	folder, b := twinsJob(t)
	archive := t.TempDir()
	write(t, filepath.Join(archive, "old.tif"), string(read(t, filepath.Join(folder, "m.tif"))))
	for _, n := range []string{"m.tif", "left.tif", "right.tif", "small.tif"} {
		os.Remove(filepath.Join(folder, n))
	}
	_, err := Reprint(context.Background(), b.Log, ReprintOptions{LookIn: []string{archive}})
	var d *Difference
	if err == nil || errors.As(err, &d) {
		t.Fatalf("%v", err)
	}
	for _, w := range []string{"the mask left.tif (", "the mask right.tif (", "the master m.tif is at " + filepath.Join(archive, "old.tif"), "--look-in FOLDER names more places"} {
		if !strings.Contains(err.Error(), w) {
			t.Errorf("expected %q in\n%v", w, err)
		}
	}
}

// A folder whose name isn't UTF-8 can't be written in a log as it is; what lies
// in it is found, also beside another one that is written alike.
func TestFoldersThatAreNotUTF8(t *testing.T) {
	if runtime.GOOS == "windows" || runtime.GOOS == "darwin" {
		t.Skip("names are Unicode on this system")
	}
	top := t.TempDir()
	writeMaster(t, filepath.Join(top, "a\xe9b", "m.tif"), 96, 64, 3, "opRGB")
	writeMaster(t, filepath.Join(top, "a\xe8b", "m.tif"), 96, 65, 3, "opRGB")
	file := filepath.Join(top, "a\xe9b", "r.recipe")
	write(t, file, tiny)
	out := filepath.Join(top, "prints")
	b := mustBuild(t, file, LoadOptions{}, BuildOptions{Out: out})[0]
	if v, text := verdictOf(t, b.Log, VerifyOptions{Strict: true}); !v.OK {
		t.Error(text)
	}
	// The log's own folder by a link: what is above it is above the real one.
	link := filepath.Join(t.TempDir(), "link")
	if err := os.Symlink(out, link); err != nil {
		t.Fatal(err)
	}
	if v, text := verdictOf(t, filepath.Join(link, filepath.Base(b.Log)), VerifyOptions{Strict: true}); !v.OK {
		t.Error(text)
	}
}

// Logs that are no logs, too large, or made to be slow end soon.
func TestHostileLogs(t *testing.T) {
	l := forgedJob(t)
	text := func(n int) func([]any) []any {
		return altered(2, func(r *audit.RecipeRecord) { r.Text += strings.Repeat("# dusk\n", n/7) })
	}
	lay := func(path string) func([]any) []any {
		return altered(12, func(r *audit.RunRecord) {
			r.Found = map[string]string{"m.tif": path, "painted.tif": "painted.tif", "p.icc": "p.icc"}
		})
	}
	again := func(n int) func([]any) []any {
		return func(all []any) []any { return slices.Insert(all, n, slices.Repeat(all[n-1:n], 3000)...) }
	}
	log := func(change func([]any) []any) string { return string(rechain(change(recordsOf(l))...)) }
	pipe := filepath.Join(filepath.Dir(l.Path), "pipe")
	if runtime.GOOS == "windows" { // which has no pipes among its files
		write(t, pipe, "")
	} else if out, err := exec.Command("mkfifo", pipe).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	for name, c := range map[string]struct {
		log   string
		words string
	}{
		"a text above a recipe's limit": {log(text(lang.MaxSource)), "line 2: this line was changed, or isn't an audit record: the recipe's text is longer than a recipe may be (4 MB)"},
		"a text far above it":           {log(text(5 << 19 << 2)), "line 2: too long for a record: more than 8 MB"},
		"line ends alone":               {strings.Repeat("\n", 1<<16+1), "more than 65536 lines"},
		"deep brackets":                 {strings.Repeat("[", 1<<20) + "\n", "line 1: this isn't a record"},
		"thousands of steps":            {log(again(6)), "line 7: "},
		"thousands of inputs":           {log(again(3)), "line 4: the master m.tif stands twice"},
		"too many bytes":                {strings.Repeat("x", audit.MaxLog+1), "too long for an audit log: more than 16 MB"},
		"a device in an input's place":  {log(lay("/dev/zero")), "ok the master m.tif is the recorded one"},
		"a pipe in an input's place":    {log(lay("pipe")), "ok the master m.tif is the recorded one"},
		"a path of a million folders":   {log(lay(strings.Repeat("a/", 1<<20))), "ok the master m.tif is the recorded one"},
	} {
		write(t, l.Path, c.log)
		began := time.Now()
		if _, text := verdictOf(t, l.Path, VerifyOptions{}); !strings.Contains(text, c.words) {
			t.Errorf("%s: %.300s", name, text)
		}
		if took := time.Since(began); took.Seconds() > 10 {
			t.Errorf("%s: %v", name, took)
		}
	}
	if v, text := verdictOf(t, pipe, VerifyOptions{}); v.State != NoLog {
		t.Error(text)
	}
}
