// Package lang turns the text of a recipe into its meaning before any picture
// is looked at: characters to tokens, tokens to statements, statements to a
// checked tree with exact units.
//
// It promises that reading is a function of the text alone, that every problem
// in a file is reported in one run with its place and its mend, and that what
// version 1 accepts keeps its meaning for good. It refuses whatever it doesn't
// know in full: unknown, repeated and misplaced words, numbers in any form but
// one, units that don't fit. It opens no files and imports nothing else of
// this project.
package lang
