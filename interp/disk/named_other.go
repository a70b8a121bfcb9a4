//go:build !windows

package disk

import (
	"errors"
	"io/fs"
	"os"
)

// createLocked makes a temporary file and locks it; errLost says that a sweep
// came between the two.
func createLocked(name string) (*os.File, error) {
	f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return nil, err
	}
	state := lock(f)
	if testOnlyLocked != nil {
		testOnlyLocked(name)
	}
	if state == lockHeld || !isAt(f, name) {
		f.Close()
		return nil, errLost
	}
	return f, nil
}

// testOnlyLocked, if set, is called when a temporary file was locked.
var testOnlyLocked func(name string)

// isAt says whether name still is the file f.
func isAt(f *os.File, name string) bool {
	x, err1 := f.Stat()
	y, err2 := os.Lstat(name)
	return err1 == nil && err2 == nil && os.SameFile(x, y)
}

// createFleeting makes a file that goes when it is closed.
func createFleeting(name string) (*os.File, error) {
	f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	if err == nil {
		err = os.Remove(name)
	}
	return f, err
}

// removeStray removes a temporary file if its lock is free and it still is the
// file that was locked.
func removeStray(path string) bool {
	f, err := os.OpenFile(path, os.O_RDWR|openWithoutWaiting, 0)
	if err != nil {
		return false
	}
	defer f.Close()
	return lock(f) == lockGot && isAt(f, path) && os.Remove(path) == nil
}

// unnameOpen takes a temporary name away.
func unnameOpen(_ *os.File, name string) { os.Remove(name) }

// Replaceable fails if a file can't be replaced. Here that can be told when a
// file beside it is made.
func Replaceable(string) error { return nil }

// name gives the file its final name.
func (o *File) name() error {
	if o.temp == "" {
		if !o.force {
			return nameNameless(o.File, o.final)
		}
		temp := temporary(o.final)
		if err := nameNameless(o.File, temp); err != nil {
			return err
		}
		o.temp = temp
	}
	if o.force {
		return os.Rename(o.temp, o.final)
	}
	err := os.Link(o.temp, o.final)
	if err == nil {
		os.Remove(o.temp)
		return nil
	}
	if errors.Is(err, fs.ErrExist) {
		return err
	}
	// A file system without hard links.
	if err := Absent(o.final); err != nil {
		return err
	}
	return os.Rename(o.temp, o.final)
}
