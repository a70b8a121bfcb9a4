package main

import (
	"fmt"
	"maps"
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
	cmds := maps.Clone(scriptTools)
	cmds["master"] = writeMasterCmd // master FILE W H CHANNELS [SPACE] writes an invented master
	cmds["papers"] = papersCmd      // papers FOLDER writes the invented papers' profiles
	cmds["space"] = spaceCmd        // space FILE SPACE writes the profile of a space
	cmds["photo"] = photoCmd        // photo FILE W H writes an invented picture as PNG or JPEG
	cmds["specks"] = specksCmd      // specks FILE W H X,Y,RADIUS,PERCENT ... writes a sky with specks
	cmds["guide"] = guideCmd        // guide goes through lang/GUIDE.md
	testscript.Run(t, testscript.Params{
		Dir:  "testdata/script",
		Cmds: cmds,
		// [links] says that symbolic links can be made and lead somewhere.
		Condition: func(c string) (bool, error) {
			if c != "links" {
				return false, fmt.Errorf("there is no condition %s", c)
			}
			dir := t.TempDir()
			if os.Symlink(".", filepath.Join(dir, "link")) != nil {
				return false, nil
			}
			_, err := os.Readlink(filepath.Join(dir, "link"))
			return err == nil, nil
		},
		Setup: func(e *testscript.Env) error {
			e.Setenv("HOME", e.WorkDir)
			e.Setenv("TMPDIR", filepath.Join(e.WorkDir, "tmp"))
			return os.MkdirAll(filepath.Join(e.WorkDir, "tmp"), 0o777)
		},
	})
}
