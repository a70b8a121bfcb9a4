//go:build !linux

package interp

import "os"

// reserve sets the file's length. Systems without a call to set disk space
// aside meet a full disk while writing; nothing half written gets a name then
// either.
func reserve(f *os.File, size int64) error { return f.Truncate(size) }
