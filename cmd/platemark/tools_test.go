package main

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

// scriptTools are what scripts take in place of a shell and its small programs,
// which not every system has.
var scriptTools = map[string]func(ts *testscript.TestScript, neg bool, args []string){
	// exits CODE COMMAND ARGUMENT... runs a command that must end with CODE.
	"exits": func(ts *testscript.TestScript, neg bool, args []string) {
		tool(ts, neg, len(args) >= 2, "exits CODE COMMAND ARGUMENT...")
		code := 0
		var ended *exec.ExitError
		if err := ts.Exec(args[1], args[2:]...); errors.As(err, &ended) {
			code = ended.ExitCode()
		} else {
			ts.Check(err)
		}
		if strconv.Itoa(code) != args[0] {
			ts.Fatalf("exit code %d, expected %s", code, args[0])
		}
	},
	// edit FILE PATTERN TEXT puts TEXT, with the escapes of Go, in place of what
	// fits the regular expression.
	"edit": func(ts *testscript.TestScript, neg bool, args []string) {
		tool(ts, neg, len(args) == 3, "edit FILE PATTERN TEXT")
		text, err := strconv.Unquote(`"` + args[2] + `"`)
		ts.Check(err)
		old := ts.ReadFile(args[0])
		now := regexp.MustCompile(args[1]).ReplaceAllLiteralString(old, text)
		if now == old {
			ts.Fatalf("nothing in %s fits %s", args[0], args[1])
		}
		ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(now), 0o666))
	},
	// cut FILE BYTES TO writes the first bytes of a file to another.
	"cut": func(ts *testscript.TestScript, neg bool, args []string) {
		tool(ts, neg, len(args) == 3, "cut FILE BYTES TO")
		n, err := strconv.Atoi(args[1])
		ts.Check(err)
		ts.Check(os.WriteFile(ts.MkAbs(args[2]), []byte(ts.ReadFile(args[0])[:n]), 0o666))
	},
	// none PATTERN fails if a file fits.
	"none": func(ts *testscript.TestScript, neg bool, args []string) {
		tool(ts, neg, len(args) == 1, "none PATTERN")
		if list, err := filepath.Glob(ts.MkAbs(args[0])); err != nil || len(list) > 0 {
			ts.Fatalf("%v %v", list, err)
		}
	},
	// clear PATTERN removes every file that fits; one at least must.
	"clear": func(ts *testscript.TestScript, neg bool, args []string) {
		tool(ts, neg, len(args) == 1, "clear PATTERN")
		list, err := filepath.Glob(ts.MkAbs(args[0]))
		if ts.Check(err); len(list) == 0 {
			ts.Fatalf("no file fits %s", args[0])
		}
		for _, f := range list {
			ts.Check(os.Remove(f))
		}
	},
	// newest PATTERN sets $NEWEST to the youngest file that fits.
	"newest": func(ts *testscript.TestScript, neg bool, args []string) {
		tool(ts, neg, len(args) == 1, "newest PATTERN")
		list, err := filepath.Glob(ts.MkAbs(args[0]))
		ts.Check(err)
		var at time.Time
		for _, f := range list {
			st, err := os.Stat(f)
			ts.Check(err)
			if at.Before(st.ModTime()) {
				at = st.ModTime()
				ts.Setenv("NEWEST", filepath.Base(f))
			}
		}
		if at.IsZero() {
			ts.Fatalf("no file fits %s", args[0])
		}
	},
}

func tool(ts *testscript.TestScript, neg, right bool, usage string) {
	if neg || !right {
		ts.Fatalf("usage: %s", usage)
	}
}
