//go:build linux || darwin

package interp

import "golang.org/x/sys/unix"

// room is the disk that folder lies on, by number, and the bytes free on it
// for this user.
func room(folder string) (disk uint64, free int64, ok bool) {
	var st unix.Stat_t
	var fs unix.Statfs_t
	if unix.Stat(folder, &st) != nil || unix.Statfs(folder, &fs) != nil {
		return 0, 0, false
	}
	return uint64(st.Dev), int64(fs.Bavail) * int64(fs.Bsize), true
}
