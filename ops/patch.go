package ops

import (
	"fmt"
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

// Greys are the patches of a wedge of n greys by name, from black to white.
func Greys(n int) (names []string) {
	for i := range n {
		names = append(names, fmt.Sprintf("grey-%d", (200*i+n-1)/(2*(n-1))))
	}
	return names
}

// Mixtures are the patches of the wedge of colours: all mixtures of nothing, half
// and all of red, green and blue.
func Mixtures() (names []string) {
	for r := 0; r <= 100; r += 50 {
		for g := 0; g <= 100; g += 50 {
			for b := 0; b <= 100; b += 50 {
				names = append(names, fmt.Sprintf("rgb-%d-%d-%d", r, g, b))
			}
		}
	}
	return names
}
