//go:build linux || darwin || freebsd

package disk

import (
	"fmt"

	"golang.org/x/sys/unix"
)

// Free names the disk that folder lies on and says the bytes free on it for
// this user; ok is false where that isn't known.
func Free(folder string) (disk string, free int64, ok bool) {
	var st unix.Stat_t
	var fs unix.Statfs_t
	err := call("stat", func() error { return unix.Stat(folder, &st) })
	if err == nil {
		err = call("statfs", func() error { return unix.Statfs(folder, &fs) })
	}
	return fmt.Sprint(st.Dev), int64(fs.Bavail) * int64(fs.Bsize), err == nil
}
