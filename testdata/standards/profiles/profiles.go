// Package profiles carries the test profiles that frozen vectors name, so that
// a program that computes them on another machine needs no file. README.md
// says where each comes from and under what terms.
package profiles

import (
	"embed"
	"slices"
	"strings"
)

//go:embed *_lifted.icc *-2.icc *-4.icc
var files embed.FS

// Names lists them, sorted: of curves whose black gives light, and of tables.
func Names() (names []string) {
	list, err := files.ReadDir(".")
	if err != nil {
		panic(err) // they are in the program
	}
	for _, e := range list {
		names = append(names, strings.TrimSuffix(e.Name(), ".icc"))
	}
	slices.Sort(names)
	return names
}

// Bytes is a profile by its name, nil for any other.
func Bytes(name string) []byte {
	b, _ := files.ReadFile(name + ".icc")
	return b
}
