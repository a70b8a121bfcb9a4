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
	verb, depth := verbOf(model, args)
	if verb == nil {
		return args
	}
	flags := slices.Clone(args[:depth])
	rest := []string{}
	for k := depth; k < len(args); k++ {
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
			if !named || f.IsBool() || f.IsCounter() || k+1 == len(args) {
				continue
			}
			switch next := args[k+1]; {
			case !strings.HasPrefix(next, "-"):
				k++
				flags = append(flags, next)
			case len(next) > 1 && next[1] >= '0' && next[1] <= '9': // below 0, which no flag is
				k++
				flags[len(flags)-1] = "--" + f.Name + "=" + next
			}
		}
	}
	return append(flags, rest...)
}

// verbOf is the verb that the words begin with, of so many of them; nil where
// they begin with none.
func verbOf(model *kong.Application, words []string) (verb *kong.Node, depth int) {
	for at := model.Node; depth < len(words); depth++ {
		i := slices.IndexFunc(at.Children, func(n *kong.Node) bool { return n.Name == words[depth] })
		if i < 0 {
			break
		}
		verb, at = at.Children[i], at.Children[i]
	}
	return verb, depth
}
