//go:build unix

package audit

import (
	"runtime"
	"time"

	"golang.org/x/sys/unix"
)

// Usage is the processor time of this process so far and its peak memory in
// bytes.
func Usage() (cpu time.Duration, peak int64) {
	var r unix.Rusage
	if unix.Getrusage(unix.RUSAGE_SELF, &r) != nil {
		return 0, 0
	}
	peak = int64(r.Maxrss)
	if runtime.GOOS != "darwin" && runtime.GOOS != "ios" {
		peak *= 1024 // kilobytes everywhere else
	}
	return time.Duration(r.Utime.Nano() + r.Stime.Nano()), peak
}
