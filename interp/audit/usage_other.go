//go:build !unix && !windows

package audit

import "time"

// Usage isn't known on this system.
func Usage() (time.Duration, int64) { return 0, 0 }
