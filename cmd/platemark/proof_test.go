package main

import (
	"os"
	"path/filepath"

	"github.com/rogpeppe/go-internal/testscript"

	"platemark/ops/colour"
	"platemark/recipes/paper"
)

// spaceCmd writes the profile of a space.
func spaceCmd(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: space FILE SPACE")
	}
	p, ok := colour.Space(args[1])
	if !ok {
		ts.Fatalf("no space %s", args[1])
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), p.Bytes(), 0o666))
}

func papersCmd(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: papers FOLDER")
	}
	ts.Check(os.MkdirAll(ts.MkAbs(args[0]), 0o777))
	for _, name := range paper.Names() {
		b, _ := paper.Profile(name)
		ts.Check(os.WriteFile(filepath.Join(ts.MkAbs(args[0]), name+".icc"), b, 0o666))
	}
}
