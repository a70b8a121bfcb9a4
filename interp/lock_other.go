//go:build !unix || solaris || illumos || aix

package interp

import "os"

// lock does nothing where the system has no such locks; a file still being
// written can't be removed there, or the writer loses only its temporary name.
func lock(*os.File) error { return nil }
