package raster

import (
	"unsafe"

	"golang.org/x/sys/unix"
)

// huge asks the system for a large picture's memory in large pages: there are 500
// times fewer to fault in. Where it can't, nothing is lost.
func huge(px []uint16) {
	if 2*len(px) < large {
		return
	}
	b := unsafe.Slice((*byte)(unsafe.Pointer(&px[0])), 2*len(px))
	page := unix.Getpagesize()
	_ = unix.Madvise(b[-int(uintptr(unsafe.Pointer(&b[0])))&(page-1):], unix.MADV_HUGEPAGE)
}
