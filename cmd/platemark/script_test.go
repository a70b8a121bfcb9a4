package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"platemark": func() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }})
}

// The scripts run the real main, as a user would type it.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			// master FILE W H CHANNELS [SPACE] writes an invented master.
			"master": writeMasterCmd,
			// papers FOLDER writes the invented papers' profiles.
			"papers": papersCmd,
			// space FILE SPACE writes the profile of a space.
			"space": spaceCmd,
			// photo FILE W H writes an invented picture as PNG or JPEG.
			"photo": photoCmd,
		},
		Setup: func(e *testscript.Env) error {
			e.Setenv("HOME", e.WorkDir)
			e.Setenv("TMPDIR", filepath.Join(e.WorkDir, "tmp"))
			return os.MkdirAll(filepath.Join(e.WorkDir, "tmp"), 0o777)
		},
	})
}
