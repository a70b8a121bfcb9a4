package interp

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// reserve sets size bytes of the disk aside for f, so that a full disk is met
// before the first row and not after an hour.
func reserve(f *os.File, size int64) error {
	err := unix.Fallocate(int(f.Fd()), 0, 0, size)
	if errors.Is(err, unix.EOPNOTSUPP) || errors.Is(err, unix.ENOSYS) {
		return f.Truncate(size)
	}
	return err
}
