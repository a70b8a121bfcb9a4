// Package second carries the second reader of recipes, a program in Python, for
// packages.
package second

import "embed"

// Files are the reader's files as they stand in the repository.
//
//go:embed *.py README.md PIECES
var Files embed.FS
