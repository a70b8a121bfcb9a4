package interp

import (
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// An outFile is a file being made: it has a recognisable temporary name beside
// its final one until it is complete.
type outFile struct {
	*os.File
	final string
	force bool
}

// partialMark stands in the names of files being made.
const partialMark = ".platemark-"

// createOut makes the temporary file, sets size bytes aside and removes what
// builds that were killed left for the same name.
func createOut(final string, size int64, force bool) (*outFile, error) {
	if !force {
		if err := absent(final); err != nil {
			return nil, err
		}
	}
	dir, base := filepath.Split(final)
	if dir != "" {
		if err := os.MkdirAll(dir, 0o777); err != nil {
			return nil, err
		}
	}
	sweep(dir, base)
	var id [6]byte
	if _, err := rand.Read(id[:]); err != nil {
		return nil, err
	}
	name := filepath.Join(dir, "."+base+partialMark+hex.EncodeToString(id[:])+".partial")
	f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return nil, err
	}
	o := &outFile{f, final, force}
	if err := lock(f); err != nil {
		o.abandon()
		return nil, err
	}
	if size > 0 {
		if err := reserve(f, size); err != nil {
			o.abandon()
			return nil, fmt.Errorf("no room for %s, which needs about %d MB: %w", final, (size+999_999)/1_000_000, plainPathError(err))
		}
	}
	return o, nil
}

// absent fails if anything stands at path.
func absent(path string) error {
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("%s exists already, and nothing is overwritten unasked", path)
	} else if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

// commit cuts the file to its length, brings it to the disk and gives it its
// final name. Without force an existing file wins.
func (o *outFile) commit(length int64) error {
	err := o.Truncate(length)
	if err == nil {
		err = o.Sync()
	}
	if err != nil {
		o.abandon()
		return fmt.Errorf("writing %s: %w", o.final, plainPathError(err))
	}
	name := o.Name()
	if o.force {
		err = os.Rename(name, o.final)
	} else if err = os.Link(name, o.final); err == nil {
		os.Remove(name)
	} else if !errors.Is(err, fs.ErrExist) {
		// A file system without hard links.
		if err = absent(o.final); err == nil {
			err = os.Rename(name, o.final)
		}
	}
	if err != nil {
		o.abandon()
		if errors.Is(err, fs.ErrExist) {
			return fmt.Errorf("%s came into being meanwhile, and nothing is overwritten unasked", o.final)
		}
		return err
	}
	o.File.Close()
	syncDir(filepath.Dir(o.final))
	return nil
}

// syncDir brings a new name to the disk where the system has a way to.
func syncDir(dir string) {
	if d, err := os.Open(dir); err == nil {
		d.Sync()
		d.Close()
	}
}

// abandon removes the temporary file.
func (o *outFile) abandon() {
	o.File.Close()
	os.Remove(o.Name())
}

// sweep removes temporary files for the same name, and for logs of it, that no
// running build holds.
func sweep(dir, base string) {
	list, err := filepath.Glob(filepath.Join(escapeGlob(dir), "."+escapeGlob(base)+"*"+partialMark+"*.partial"))
	if err != nil {
		return
	}
	for _, p := range list {
		f, err := os.OpenFile(p, os.O_RDWR, 0)
		if err != nil {
			continue
		}
		if lock(f) == nil {
			os.Remove(p)
		}
		f.Close()
	}
}

func escapeGlob(s string) string {
	var b []rune
	for _, r := range s {
		if r == '*' || r == '?' || r == '[' || r == '\\' && filepath.Separator != '\\' {
			b = append(b, '\\')
		}
		b = append(b, r)
	}
	return string(b)
}

// writeNew writes a small file whole under a name that must be free.
func writeNew(path string, data []byte) error {
	return WriteFile(path, func(w *os.File) error {
		_, err := w.Write(data)
		return err
	})
}

// WriteFile makes a new file by fill; it gets its name only when it is whole,
// and never in place of another.
func WriteFile(path string, fill func(w *os.File) error) error {
	o, err := createOut(path, 0, false)
	if err != nil {
		return err
	}
	if err := fill(o.File); err != nil {
		o.abandon()
		return err
	}
	st, err := o.Stat()
	if err != nil {
		o.abandon()
		return err
	}
	return o.commit(st.Size())
}

// ReplaceFile puts data in place of the file at path in one move, keeping its
// permissions.
func ReplaceFile(path string, data []byte) error {
	st, err := os.Stat(path)
	if err != nil {
		return err
	}
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real // a linked recipe stays a link
	}
	o, err := createOut(path, 0, true)
	if err != nil {
		return err
	}
	if _, err := o.Write(data); err != nil {
		o.abandon()
		return err
	}
	if err := o.Chmod(st.Mode().Perm()); err != nil {
		o.abandon()
		return err
	}
	return o.commit(int64(len(data)))
}
