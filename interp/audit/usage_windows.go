package audit

import (
	"time"
	"unsafe"

	"golang.org/x/sys/windows"
)

var processMemory = windows.NewLazySystemDLL("kernel32.dll").NewProc("K32GetProcessMemoryInfo")

// Usage is the processor time of this process so far and its peak memory in
// bytes.
func Usage() (cpu time.Duration, peak int64) {
	me := windows.CurrentProcess()
	var began, ended, kernel, user windows.Filetime
	if windows.GetProcessTimes(me, &began, &ended, &kernel, &user) != nil {
		return 0, 0
	}
	// 100 ns each; Filetime.Nanoseconds counts from 1970 and is no length.
	length := func(t windows.Filetime) time.Duration {
		return time.Duration(int64(t.HighDateTime)<<32|int64(t.LowDateTime)) * 100
	}
	var m struct { // PROCESS_MEMORY_COUNTERS
		size, faults uint32
		peak         uintptr
		_            [7]uintptr
	}
	m.size = uint32(unsafe.Sizeof(m))
	if processMemory.Find() == nil {
		processMemory.Call(uintptr(me), uintptr(unsafe.Pointer(&m)), uintptr(m.size))
	}
	return length(kernel) + length(user), int64(m.peak)
}
