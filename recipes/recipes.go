// Package recipes holds the example recipes, so that a program can write them
// where it is installed without their files.
//
// The recipes are text that people read and copy; what they promise is that
// each is right in this version of the language. They start from the master
// that the demonstration draws, whose dust stands where marsh.recipe mends it.
package recipes

import (
	"embed"
)

// Marsh is the demonstration's recipe, marsh.recipe, whose master is
// "marsh.tif".
//
//go:embed marsh.recipe
var Marsh []byte

// Files holds every example, by its name ("grey.recipe").
//
//go:embed *.recipe
var Files embed.FS
