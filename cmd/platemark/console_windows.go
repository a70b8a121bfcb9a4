package main

import (
	"os"

	"golang.org/x/sys/windows"
)

// escapes switches a console's escape sequences on, in which colours are
// written, and says whether it has them.
func escapes(f *os.File) bool {
	h := windows.Handle(f.Fd())
	var mode uint32
	return windows.GetConsoleMode(h, &mode) == nil &&
		windows.SetConsoleMode(h, mode|windows.ENABLE_PROCESSED_OUTPUT|windows.ENABLE_VIRTUAL_TERMINAL_PROCESSING) == nil
}
