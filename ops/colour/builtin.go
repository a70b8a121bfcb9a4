package colour

import (
	"embed"
	"slices"
	"sync"
)

// spaces are the profiles of the built-in spaces, of version 4.3; a test makes
// them from the published numbers.
//
//go:embed spaces/*.icc
var spaces embed.FS

// Space returns a built-in space by the name that recipes use. Its meaning is
// its profile's numbers: the published ones, rounded to a profile's
// fixed-point numbers.
func Space(name string) (*Profile, bool) {
	i := slices.Index(SpaceNames(), name)
	if i < 0 {
		return nil, false
	}
	return builtin()[i], true
}

// SpaceNames lists the built-in spaces.
func SpaceNames() []string {
	return []string{"sRGB", "opRGB", "ROMM-RGB", "Display-P3", "grey-2.2"}
}

var builtin = sync.OnceValue(func() []*Profile {
	var out []*Profile
	for _, name := range SpaceNames() {
		icc, err := spaces.ReadFile("spaces/" + name + ".icc")
		if err != nil {
			panic(err) // a test parses them all
		}
		p, err := Parse(icc)
		if err != nil {
			panic(err)
		}
		for k, t := range p.tones {
			for _, q := range out {
				if q.tones[0].curve == t.curve {
					p.tones[k] = q.tones[0] // Display P3 has sRGB's curve
				}
			}
		}
		out = append(out, p)
	}
	return out
})
