//go:build unix && !solaris && !illumos && !aix

package disk

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// lock asks for the lock of f without waiting.
func lock(f *os.File) lockState {
	err := call("flock", func() error { return unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB) })
	switch {
	case err == nil:
		return lockGot
	case errors.Is(err, unix.EWOULDBLOCK):
		return lockHeld
	}
	return lockNone
}
