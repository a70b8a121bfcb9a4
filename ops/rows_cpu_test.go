//go:build unix

package ops

import "syscall"

// cpuSeconds is the processor time that this process has used; 0 where the
// system has no such call.
func cpuSeconds() float64 {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}
