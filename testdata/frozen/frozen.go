// Package frozen carries the frozen vectors and their list: one line a file, its
// SHA-256 and its name. While a language version is a draft, the list's digest
// says which draft an audit log speaks of.
package frozen

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
)

// Files are the vectors as they stand in the repository.
//
//go:embed *.txt *.recipe
var Files embed.FS

//go:embed LIST
var list []byte

// List is the list as it stands in the repository.
func List() []byte { return list }

// Digest is the lower-case hexadecimal SHA-256 of the list.
func Digest() string {
	s := sha256.Sum256(list)
	return hex.EncodeToString(s[:])
}
