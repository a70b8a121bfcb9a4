package ops

import (
	"cmp"
	"slices"
)

// table is every operation in every version; each file of an operation puts its
// own there. What a frozen language version speaks of is never changed or taken out.
var table []Operation

// Table lists every operation in every version, sorted by name, then version.
func Table() []Operation {
	return slices.SortedFunc(slices.Values(table), func(a, b Operation) int {
		return cmp.Or(cmp.Compare(a.Name, b.Name), cmp.Compare(a.Version, b.Version))
	})
}

// Lookup finds an operation by name and version.
func Lookup(name string, version int) (Operation, bool) {
	for _, o := range table {
		if o.Name == name && o.Version == version {
			return o, true
		}
	}
	return Operation{}, false
}
