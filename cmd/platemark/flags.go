package main

import (
	"slices"
	"strings"

	"github.com/alecthomas/kong"
)

// flagsFirst brings a command's flags before its other arguments, since kong
// takes a list of files or blocks only up to the first flag. What stands behind
// -- stays where it is, and so do words that can't be read for certain: kong
// says what is wrong with them.
func flagsFirst(model *kong.Application, args []string) []string {
	verb := verbOf(model, args)
	if verb == nil {
		return args
	}
	flags, rest := args[:1:1], []string{}
	for k := 1; k < len(args); k++ {
		w := args[k]
		if w == "--" {
			rest = append(rest, args[k:]...)
			break
		}
		if len(w) < 2 || w[0] != '-' {
			rest = append(rest, w)
			continue
		}
		flags = append(flags, w)
		for _, f := range verb.Flags {
			named := w == "--"+f.Name || f.Short != 0 && w == "-"+string(f.Short)
			if named && !f.IsBool() && !f.IsCounter() && k+1 < len(args) && !strings.HasPrefix(args[k+1], "-") {
				k++
				flags = append(flags, args[k])
			}
		}
	}
	return append(flags, rest...)
}

// verbOf is the verb that the words begin with, nil where they begin with none.
func verbOf(model *kong.Application, words []string) *kong.Node {
	i := slices.IndexFunc(model.Children, func(n *kong.Node) bool { return len(words) > 0 && n.Name == words[0] })
	if i < 0 {
		return nil
	}
	return model.Children[i]
}
