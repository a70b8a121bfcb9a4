package disk

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"golang.org/x/sys/unix"
)

// reserve sets size bytes of the disk aside for f, so that a full disk is met
// before the first row and not after an hour.
func reserve(f *os.File, size int64) error {
	err := call("fallocate", func() error { return unix.Fallocate(int(f.Fd()), 0, 0, size) })
	if errors.Is(err, unix.EOPNOTSUPP) || errors.Is(err, unix.ENOSYS) {
		return f.Truncate(size)
	}
	return err
}

// testOnlyNamed makes files with temporary names, as other systems do.
var testOnlyNamed bool

// createNameless makes a file without a name in dir. It needs /proc to get one.
func createNameless(dir string) (*os.File, error) {
	if _, err := os.Stat("/proc/self/fd"); err != nil || testOnlyNamed {
		return nil, errors.ErrUnsupported
	}
	return os.OpenFile(dir, os.O_RDWR|unix.O_TMPFILE, 0o666)
}

// nameNameless gives a nameless file a name that is free.
func nameNameless(f *os.File, name string) error {
	from := fmt.Sprintf("/proc/self/fd/%d", f.Fd())
	err := call("linkat", func() error {
		return unix.Linkat(unix.AT_FDCWD, from, unix.AT_FDCWD, name, unix.AT_SYMLINK_FOLLOW)
	})
	if err != nil {
		return &fs.PathError{Op: "naming", Path: name, Err: err}
	}
	return nil
}
