// Package editor holds the grammar that colours recipes in editors, and its
// tests.
package editor

import _ "embed"

// Grammar is the grammar, in TextMate's form.
//
//go:embed platemark.tmLanguage.json
var Grammar []byte
