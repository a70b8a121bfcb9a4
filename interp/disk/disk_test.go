package disk

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"
)

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

func content(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// left lists what stands in a folder beside the named files.
func left(t *testing.T, dir string, but ...string) (out []string) {
	t.Helper()
	for _, n := range namesIn(dir) {
		known := false
		for _, b := range but {
			known = known || n == b
		}
		if !known {
			out = append(out, n)
		}
	}
	return out
}

// A file gets its name when it is whole, never over another unasked, and keeps
// the permission bits of the one that it replaces.
func TestNaming(t *testing.T) {
	ways(t, func(t *testing.T) {
		dir := t.TempDir()
		p := filepath.Join(dir, "new", "a.txt")
		if err := Write(p, []byte("one"), false); err != nil || content(t, p) != "one" {
			t.Fatal(err)
		}
		if err := Write(p, []byte("two"), false); !errors.Is(err, fs.ErrExist) || content(t, p) != "one" {
			t.Errorf("a name that is taken: %v", err)
		}
		if err := os.Chmod(p, 0o640); err != nil {
			t.Fatal(err)
		}
		was, err := os.Stat(p)
		if err != nil {
			t.Fatal(err)
		}
		if err := Write(p, []byte("two"), true); err != nil || content(t, p) != "two" {
			t.Error(err)
		}
		if st, err := os.Stat(p); err != nil || st.Mode() != was.Mode() {
			t.Errorf("bits %v, before %v", st.Mode(), was.Mode())
		}
		f, err := Create(filepath.Join(dir, "b.txt"), 10, 20, false)
		if err != nil {
			t.Fatal(err)
		}
		write(t, filepath.Join(dir, "b.txt"), "meanwhile")
		if err := f.Commit(0); !errors.Is(err, fs.ErrExist) || f.Named() || content(t, filepath.Join(dir, "b.txt")) != "meanwhile" {
			t.Errorf("a file that came meanwhile: %v", err)
		}
		if f, err = Create(filepath.Join(dir, "c.txt"), 10, 20, false); err != nil {
			t.Fatal(err)
		}
		f.Abandon()
		if l := append(left(t, dir, "new", "b.txt"), left(t, filepath.Dir(p), "a.txt")...); len(l) > 0 {
			t.Errorf("left: %v", l)
		}
	})
}

// A file that was edited since it was read isn't replaced; a link stays one.
func TestRewriteReadsAgain(t *testing.T) {
	dir := t.TempDir()
	p := filepath.Join(dir, "r.recipe")
	write(t, p, "edited meanwhile")
	if err := Rewrite(p, []byte("as it was"), []byte("pinned")); err == nil || !strings.Contains(err.Error(), "changed meanwhile") || content(t, p) != "edited meanwhile" {
		t.Errorf("%v", err)
	}
	if err := Rewrite(p, []byte("edited meanwhile"), []byte("pinned")); err != nil || content(t, p) != "pinned" {
		t.Errorf("%v", err)
	}
	link := filepath.Join(dir, "link.recipe")
	if err := os.Symlink("r.recipe", link); err == nil && Target(link) != link {
		if err := Rewrite(link, []byte("pinned"), []byte("again")); err != nil || content(t, p) != "again" {
			t.Errorf("%v", err)
		}
		if st, err := os.Lstat(link); err != nil || st.Mode()&fs.ModeSymlink == 0 {
			t.Error("the link became a file")
		}
	}
	os.Remove(p)
	if err := Rewrite(p, []byte("again"), []byte("x")); err == nil {
		t.Error("a file that went was written")
	}
	if l := left(t, dir, "link.recipe"); len(l) > 0 {
		t.Errorf("left: %v", l)
	}
}

// What a killed run left in a folder goes with the next file written there,
// whatever that is, and is told; what looks alike stays, and a file being made
// stays.
func TestSweeping(t *testing.T) {
	ways(t, func(t *testing.T) {
		dir := t.TempDir()
		write(t, filepath.Join(dir, ".p.tif.platemark-0123456789ab.partial"), "half")
		write(t, filepath.Join(dir, ".p.tif.platemark-mine.partial"), "not ours")
		held, err := Create(filepath.Join(dir, "held.tif"), 0, 0, false)
		if err != nil {
			t.Fatal(err)
		}
		if s := TakeSwept(); len(s) != 1 || s[0] != (Swept{dir, 1, 4}) {
			t.Errorf("told: %+v", s)
		}
		if err := Write(filepath.Join(dir, "other.csv"), nil, false); err != nil {
			t.Fatal(err)
		}
		if s := TakeSwept(); len(s) != 0 {
			t.Errorf("told: %+v", s)
		}
		if err := held.Commit(0); err != nil {
			t.Error(err)
		}
		if l := left(t, dir, "held.tif", "other.csv", ".p.tif.platemark-mine.partial"); len(l) > 0 {
			t.Errorf("left: %v", l)
		}
	})
}

// A temporary picture has no name that a kill could leave.
func TestTemp(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("TMPDIR", dir)
	t.Setenv("TMP", dir)
	write(t, filepath.Join(dir, "platemark-picture-123.partial"), "of an older version")
	f, err := Temp(1000)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteAt([]byte("x"), 999); err != nil {
		t.Error(err)
	}
	f.Close()
	TakeSwept()
	if l := left(t, dir); len(l) > 0 {
		t.Errorf("left: %v", l)
	}
}

// Only one of two has a lock; others read the file all the same.
func TestLock(t *testing.T) {
	p := filepath.Join(t.TempDir(), "list")
	write(t, p, "text")
	open := func() *os.File {
		f, err := os.OpenFile(p, os.O_RDWR, 0)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { f.Close() })
		return f
	}
	a, b := open(), open()
	if err := Lock(a, 0); err != nil {
		t.Fatal(err)
	}
	if err := Lock(b, 50*time.Millisecond); !errors.Is(err, ErrHeld) {
		t.Errorf("a second lock: %v", err)
	}
	if b, err := Read(p, 100); err != nil || string(b) != "text" {
		t.Errorf("read while locked: %q %v", b, err)
	}
	a.Close()
	if err := Lock(b, time.Second); err != nil {
		t.Error(err)
	}
}

// What is no regular file is named and not opened; a file over its limit isn't
// read.
func TestOpenLooksFirst(t *testing.T) {
	dir := t.TempDir()
	var kind *KindError
	if _, _, err := Open(dir); !errors.As(err, &kind) || kind.What != "a folder" {
		t.Errorf("a folder: %v", err)
	}
	if _, _, err := Open(filepath.Join(dir, "none")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("none: %v", err)
	}
	p := filepath.Join(dir, "f")
	write(t, p, "12345")
	var large *SizeError
	if b, err := Read(p, 5); err != nil || string(b) != "12345" {
		t.Errorf("%q %v", b, err)
	}
	if _, err := Read(p, 4); !errors.As(err, &large) || large.Size != 5 {
		t.Errorf("%v", err)
	}
}

// Names with the signs of patterns are compared as they are.
func TestBeside(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "a[b")
	if err := os.Mkdir(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	for _, n := range []string{"p[1].jpg.m.audit.jsonl", "p[1].jpg.m-2.audit.jsonl", "p1.jpg.m.audit.jsonl", "p[1].jpg"} {
		write(t, filepath.Join(dir, n), "")
	}
	got := Beside(filepath.Join(dir, "p[1].jpg.m"), ".audit.jsonl")
	if len(got) != 2 || filepath.Base(got[0]) != "p[1].jpg.m-2.audit.jsonl" || filepath.Dir(got[1]) != dir {
		t.Errorf("%q", got)
	}
}

func TestFreeIsKnown(t *testing.T) {
	disk, free, ok := Free(t.TempDir())
	if !ok || disk == "" || free <= 0 {
		t.Errorf("%q %d %v", disk, free, ok)
	}
}

// What a message suggests can be typed as it stands (POSIX.1-2017, Shell Command
// Language, 2.2 Quoting).
func TestTyped(t *testing.T) {
	for path, want := range map[string]string{"a/b-1.tif": "a/b-1.tif", "am Teich.tif": `"am Teich.tif"`, "Öl.tif": `"Öl.tif"`, "": `""`, "-5 °C.tif": `"./-5 °C.tif"`} {
		if got := Typed(path); got != want {
			t.Errorf("%q: %s, not %s", path, got, want)
		}
	}
	if runtime.GOOS != "windows" {
		for path, want := range map[string]string{"it's $5!": `'it'\''s $5!'`, "it's": `"it's"`, `a\b`: `'a\b'`} {
			if got := Typed(path); got != want {
				t.Errorf("%q: %s, not %s", path, got, want)
			}
		}
	}
}
