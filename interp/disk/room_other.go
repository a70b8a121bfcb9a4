//go:build !linux

package disk

import (
	"errors"
	"os"
)

// reserve sets the file's length, which takes the room on Windows. Elsewhere a
// full disk is met while writing; nothing half written gets a name then either.
func reserve(f *os.File, size int64) error {
	return call("fallocate", func() error { return f.Truncate(size) })
}

func createNameless(string) (*os.File, error) { return nil, errors.ErrUnsupported }

func nameNameless(*os.File, string) error { return errors.ErrUnsupported }
