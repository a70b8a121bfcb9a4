// Package frozen carries the list of frozen vectors: one line a file, its
// SHA-256 and its name. While a language version is a draft, the list's digest
// says which draft an audit log speaks of.
package frozen

import (
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
)

//go:embed LIST
var list []byte

// List is the list as it stands in the repository.
func List() []byte { return list }

// Digest is the lower-case hexadecimal SHA-256 of the list.
func Digest() string {
	s := sha256.Sum256(list)
	return hex.EncodeToString(s[:])
}
