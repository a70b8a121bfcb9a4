//go:build outside

package main

import (
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// Completion in the shells themselves, each plain, without its user's settings:
// a key is typed at a terminal, and what stands on the line then is read.
func TestShells(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata/shells",
		Setup: func(e *testscript.Env) error {
			e.Setenv("HOME", e.WorkDir)
			e.Setenv("TERM", "dumb")
			return nil
		},
	})
}
