package vectors

import (
	"slices"
	"sync"

	"platemark/ops/colour"
	"platemark/testdata/standards/profiles"
)

// spaces are the profiles that vectors name: the built-in spaces, invented ones
// with tables, and two of curves whose black gives light.
var spaces = sync.OnceValue(func() map[string]*colour.Profile {
	all := map[string]*colour.Profile{}
	for _, n := range colour.SpaceNames() {
		all[n], _ = colour.Space(n)
	}
	for _, n := range profiles.Names() {
		p, err := colour.Parse(profiles.Bytes(n))
		if err != nil {
			panic(err) // vectors name them all
		}
		all[n] = p
	}
	return all
})

// spaceName is the name of a profile, "" where none is.
func spaceName(p *colour.Profile) string {
	for n, q := range spaces() {
		if p != nil && q.Digest() == p.Digest() {
			return n
		}
	}
	return ""
}

// digests are lines with the digests of the named profiles that aren't
// built-in spaces, whose bytes have vectors of their own.
func digests(names []string) (out []string) {
	slices.Sort(names)
	for _, n := range slices.Compact(names) {
		if _, ok := colour.Space(n); n != "" && !ok {
			out = append(out, "profile "+n+" "+spaces()[n].Digest().String())
		}
	}
	return out
}
