package raster

import (
	"runtime"
	"unsafe"

	"golang.org/x/sys/unix"
)

// block is what large pages are asked for at a time, in bytes.
const block = 4 << 20

// huge asks the system to back what is allocated next, so many bytes, by large pages:
// there are 500 times fewer to fault in. The runtime clears memory that was used
// before as it gives it, which would fault small ones in before anybody could ask. So
// it takes blocks, asks for each, and lets all go at once. Where the system can't, or
// the runtime then takes other memory, nothing is lost.
func huge(bytes int64) {
	if bytes < large {
		return
	}
	blocks := make([][]byte, (bytes+block-1)/block)
	page := unix.Getpagesize()
	for i := range blocks {
		b := make([]byte, block)
		_ = unix.Madvise(b[-int(uintptr(unsafe.Pointer(&b[0])))&(page-1):], unix.MADV_HUGEPAGE)
		blocks[i] = b
	}
	runtime.GC() // nothing holds them any more
}
