package ops

import "maps"

// languages says for each language version which version of an operation it
// speaks of, where that isn't version 1. Once a language version is frozen its
// line never changes: an operation that is to give other samples is a new line of
// the table, and a new language version that names it here.
var languages = map[int]map[string]int{
	1: {},
}

// Version is the version of the operation name that a language version speaks
// of; 0 where the engine knows no such language or the language no such
// operation.
func Version(language int, name string) int {
	differing, ok := languages[language]
	if !ok {
		return 0
	}
	v := 1
	if w, ok := differing[name]; ok {
		v = w
	}
	if _, ok := Lookup(name, v); !ok {
		return 0
	}
	return v
}

// TestOnlyRegister adds an operation to the table, or puts it in the place of
// the one with its name and version, and returns what undoes that. Not safe
// beside running builds.
func TestOnlyRegister(o Operation) (undo func()) {
	old := table
	table = append([]Operation(nil), old...)
	undo = func() { table = old }
	for i := range table {
		if table[i].Name == o.Name && table[i].Version == o.Version {
			table[i] = o
			return undo
		}
	}
	table = append(table, o)
	return undo
}

// TestOnlySpeak makes a language version speak of another version of an
// operation, and returns what undoes that.
func TestOnlySpeak(language int, name string, version int) (undo func()) {
	old := languages
	list := map[string]int{name: version}
	for n, v := range old[language] {
		if n != name {
			list[n] = v
		}
	}
	languages = maps.Clone(old)
	languages[language] = list
	return func() { languages = old }
}
