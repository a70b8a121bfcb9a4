// Package editor holds the grammar that colours recipes in editors, and its
// tests.
package editor

import (
	_ "embed"
	"slices"
	"strings"

	"platemark/lang"
)

//go:embed platemark.tmLanguage.json
var patterns string

// Grammar is the grammar, in TextMate's form: the file of this folder, with the
// language's words where it says STATEMENTS and WORDS.
func Grammar() []byte {
	var statements []string
	for _, s := range lang.Statements() {
		if s.Word != "" && !slices.Contains(statements, s.Word) {
			statements = append(statements, s.Word)
		}
	}
	others := slices.Concat(lang.Units, lang.Kernels, lang.Spaces, []string{"black-point"}) // they have patterns of their own
	words := slices.DeleteFunc(lang.Words(), func(w string) bool { return slices.Contains(others, w) })
	list := func(words []string) string { return strings.Join(words, "|") }
	return []byte(strings.NewReplacer("STATEMENTS", list(statements), "WORDS", list(words)).Replace(patterns))
}
