package disk

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
)

// A folder gets its name when it is whole and never takes a place; one that isn't
// finished leaves nothing, and what a killed run left goes with the next.
func TestMakeFolder(t *testing.T) {
	dir := t.TempDir()
	p := filepath.Join(dir, "new", "p")
	fill := func(in string) error {
		// Another run leaves alone what this one still makes.
		sweep(filepath.Dir(p))
		return Write(filepath.Join(in, "data", "a.txt"), []byte("one"), false)
	}
	begin := func(in string) error {
		if _, err := os.Stat(p); err == nil {
			t.Error("it has its name before it is whole")
		}
		return fill(in)
	}
	if err := MakeFolder(p, begin); err != nil || content(t, filepath.Join(p, "data", "a.txt")) != "one" {
		t.Fatal(err)
	}
	if err := MakeFolder(p, fill); !errors.Is(err, fs.ErrExist) {
		t.Errorf("a name that is taken: %v", err)
	}
	q := filepath.Join(dir, "new", "q")
	why := errors.New("stopped")
	if err := MakeFolder(q, func(in string) error { fill(in); return why }); err != why {
		t.Errorf("%v", err)
	}
	if err := MakeFolder(q, func(string) error { return os.Mkdir(q, 0o777) }); !errors.Is(err, fs.ErrExist) {
		t.Errorf("a name that was taken meanwhile: %v", err)
	}
	if l := left(t, filepath.Dir(p), "p", "q"); len(l) > 0 {
		t.Errorf("%v was left", l)
	}
	stray := filepath.Join(dir, "new", ".q.platemark-0123456789ab.partial")
	alone := filepath.Join(dir, "new", ".r.platemark-0123456789ab.partial") // killed while it swept
	write(t, stray, "")
	for _, s := range []string{stray, alone} {
		if err := Write(filepath.Join(s+folderTail, "data", "a.txt"), []byte("four"), false); err != nil {
			t.Fatal(err)
		}
	}
	TakeSwept()
	if err := MakeFolder(filepath.Join(dir, "new", "s"), fill); err != nil {
		t.Fatal(err)
	}
	if l := left(t, filepath.Dir(p), "p", "q", "s"); len(l) > 0 {
		t.Errorf("%v was left", l)
	}
	if s := TakeSwept(); len(s) != 1 || s[0].Bytes != 8 {
		t.Errorf("told of %+v", s)
	}
}
