package disk

import (
	"strings"
	"testing"
)

// What can't be written is told by its own name and in plain words, not by the name of a
// temporary file or a call.
func TestToldByItsName(t *testing.T) {
	ways(t, func(t *testing.T) {
		for path, want := range map[string]string{
			"/proc/print.tif":         "/proc/print.tif can't be written: nothing can be put into its folder: ",
			"/proc/version/print.tif": "/proc/version/print.tif can't be written: not a directory",
		} {
			if err := Write(path, []byte("x"), false); err == nil || !strings.HasPrefix(err.Error(), want) || strings.Contains(err.Error(), "partial") {
				t.Errorf("%v", err)
			}
		}
		err := MakeFolder("/proc/package", func(string) error { return nil })
		if err == nil || !strings.HasPrefix(err.Error(), "/proc/package can't be made: nothing can be put into the folder around it: ") || strings.Contains(err.Error(), "partial") {
			t.Errorf("%v", err)
		}
	})
}
