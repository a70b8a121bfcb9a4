//go:build unix

package disk

import (
	"errors"
	"os"
	"slices"

	"golang.org/x/sys/unix"
)

// openWithoutWaiting keeps a named pipe from waiting for its writer.
const openWithoutWaiting = unix.O_NONBLOCK

func interrupted(err error) bool { return errors.Is(err, unix.EINTR) }

// full says whether the disk, or what this user may have of it, is used up.
func full(err error) bool { return errors.Is(err, unix.ENOSPC) || errors.Is(err, unix.EDQUOT) }

// unsyncable are the errors of file systems that have no way to sync a folder,
// and of folders that may be written but not read.
var unsyncable = []error{unix.EINVAL, unix.ENOTSUP, unix.EOPNOTSUPP, unix.ENOSYS, unix.EBADF, unix.EACCES, unix.EPERM}

// SyncDir brings the names in a folder to the disk; that a file system has no
// way to is no error.
func SyncDir(dir string) error {
	d, err := os.Open(dir)
	if err == nil {
		err = call("syncdir", d.Sync)
		d.Close()
	}
	if slices.ContainsFunc(unsyncable, func(e error) bool { return errors.Is(err, e) }) {
		return nil
	}
	return err
}
