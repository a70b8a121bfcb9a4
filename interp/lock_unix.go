//go:build unix && !solaris && !illumos && !aix

package interp

import (
	"os"

	"golang.org/x/sys/unix"
)

// lock marks f as held by a running build; the system lifts it when the
// process ends, however it ends. It fails if another process holds it.
func lock(f *os.File) error { return unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB) }
