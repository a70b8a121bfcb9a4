package ops

import (
	"regexp"
	"strconv"
	"sync"
)

var patchName = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`^(?:grey-([0-9]{1,3})|rgb-([0-9]{1,3})-([0-9]{1,3})-([0-9]{1,3}))$`)
})

// Patch is what a patch of a wedge is printed with, red, green and blue in per
// cent: grey-50 has 50 of each, rgb-100-50-0 what it says. Other names are none of
// ours.
func Patch(name string) (rgb [3]int, ok bool) {
	m := patchName().FindStringSubmatch(name)
	if m == nil {
		return rgb, false
	}
	for i := range rgb {
		s := m[1]
		if s == "" {
			s = m[2+i]
		}
		rgb[i], _ = strconv.Atoi(s)
		if rgb[i] > 100 {
			return rgb, false
		}
	}
	return rgb, true
}

// PatchCode is the 16-bit code that a patch's per cent is printed with, rounded
// half up.
func PatchCode(percent int) uint16 { return uint16((percent*65535 + 50) / 100) }
