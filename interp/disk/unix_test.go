//go:build unix

package disk

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"golang.org/x/sys/unix"
)

// fault answers calls of one name in the system's place, the given errors in
// turn, and counts them.
func fault(t *testing.T, name string, errs ...error) *int {
	n := 0
	testOnlyFault = func(call string) error {
		if call != name {
			return nil
		}
		if n++; n <= len(errs) {
			return errs[n-1]
		}
		return nil
	}
	t.Cleanup(func() { testOnlyFault = nil })
	return &n
}

// Errors of the device are errors, what a file system can't do is none, and
// calls that a signal cut off are made again.
func TestFaultsOfTheDevice(t *testing.T) {
	for _, c := range []struct {
		call  string
		err   error
		fails bool
		named bool
	}{
		{"syncdir", unix.EIO, true, true},
		{"syncdir", unix.ENOSPC, true, true},
		{"syncdir", unix.EINVAL, false, true},
		{"syncdir", unix.ENOTSUP, false, true},
		{"syncdir", unix.EINTR, false, true},
		{"sync", unix.EIO, true, false},
		{"sync", unix.EINTR, false, true},
		{"fallocate", unix.EIO, true, false},
		{"fallocate", unix.EINTR, false, true},
		{"fallocate", unix.ENOSPC, false, true}, // the second figure fits
		{"flock", unix.EINTR, false, true},
		{"flock", unix.ENOTSUP, false, true},
		{"flock", unix.ENOLCK, false, true},
	} {
		ways(t, func(t *testing.T) {
			dir := t.TempDir()
			n := fault(t, c.call, c.err)
			p := filepath.Join(dir, "p.tif")
			f, err := Create(p, 100, 200, false)
			if err == nil {
				err = f.Commit(10)
			}
			if (err != nil) != c.fails || c.fails && !errors.Is(err, c.err) {
				t.Errorf("%s, %v: %v", c.call, c.err, err)
			}
			if f != nil && f.Named() != c.named {
				t.Errorf("%s, %v: named is %v", c.call, c.err, f.Named())
			}
			if _, err := os.Stat(p); (err == nil) != c.named {
				t.Errorf("%s, %v: there is %v", c.call, c.err, err)
			}
			if l := left(t, dir, "p.tif"); len(l) > 0 {
				t.Errorf("%s, %v: left %v", c.call, c.err, l)
			}
			if *n == 0 {
				t.Errorf("%s was never called", c.call)
			}
		})
	}
}

// A sync that fails while the file is still written is an error of its end, though
// the last sync finds nothing wrong: the system may tell of a fault once only.
func TestFaultOfAnEarlySync(t *testing.T) {
	ways(t, func(t *testing.T) {
		dir := t.TempDir()
		n := fault(t, "sync", unix.EIO)
		p := filepath.Join(dir, "p.tif")
		f, err := Create(p, 0, 0, false)
		if err != nil {
			t.Fatal(err)
		}
		piece := make([]byte, earlyBytes/4)
		for range 20 {
			if _, err := f.Write(piece); err != nil {
				t.Fatal(err)
			}
		}
		if err := f.Commit(20 * earlyBytes / 4); !errors.Is(err, unix.EIO) || *n != 1 {
			t.Errorf("%v after %d syncs", err, *n)
		}
		if l := left(t, dir); len(l) > 0 {
			t.Errorf("left: %v", l)
		}
	})
}

// Where even the likely room isn't there, both figures are said.
func TestNoRoom(t *testing.T) {
	fault(t, "fallocate", unix.ENOSPC, unix.ENOSPC)
	dir := t.TempDir()
	p := filepath.Join(dir, "p.jpg")
	_, err := Create(p, 172_000, 3_000_000, false)
	if err == nil || err.Error() != "no room for "+p+", which needs about 0.2 MB and at most 3.0 MB: no space left on device" {
		t.Errorf("%v", err)
	}
	if l := left(t, dir); len(l) > 0 {
		t.Errorf("left: %v", l)
	}
}

// Without locks nothing is swept, and nothing fails.
func TestNoLocks(t *testing.T) {
	dir := t.TempDir()
	stray := filepath.Join(dir, ".p.tif.platemark-0123456789ab.partial")
	write(t, stray, "perhaps another's")
	fault(t, "flock", unix.ENOTSUP, unix.ENOTSUP, unix.ENOTSUP)
	if err := Write(filepath.Join(dir, "a"), nil, false); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(stray); err != nil {
		t.Error("it was swept")
	}
}

// A sweep that comes between a file's creation and its lock makes the run take
// another name, not fail at the end.
func TestSweptBeforeItsLock(t *testing.T) {
	named(t)
	swept := 0
	testOnlyLocked = func(name string) {
		if swept++; swept == 1 {
			os.Remove(name)
		}
	}
	t.Cleanup(func() { testOnlyLocked = nil })
	p := filepath.Join(t.TempDir(), "a")
	if err := Write(p, []byte("x"), false); err != nil || content(t, p) != "x" {
		t.Error(err)
	}
	if swept != 2 {
		t.Errorf("%d files were begun", swept)
	}
}

// A named pipe isn't waited for, nor a device read.
func TestOpenPipeAndDevice(t *testing.T) {
	p := filepath.Join(t.TempDir(), "pipe")
	if err := unix.Mkfifo(p, 0o600); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]string{p: "a named pipe", "/dev/zero": "a device"} {
		var kind *KindError
		if _, err := Read(path, 100); !errors.As(err, &kind) || kind.What != want {
			t.Errorf("%s: %v", path, err)
		}
	}
}
