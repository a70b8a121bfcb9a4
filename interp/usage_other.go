//go:build !unix && !windows

package interp

import "time"

// usage isn't known on this system.
func usage() (time.Duration, int64) { return 0, 0 }
