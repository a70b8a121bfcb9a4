//go:build outside

package second

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"testing"

	"platemark/interp"
	"platemark/interp/audit"
	"platemark/interp/interptest"
	"platemark/interp/lint/programs"
	"platemark/interp/pack"
	"platemark/testdata/frozen"
)

// A print is packed with the program, its source and its WebAssembly build. When all
// else is gone, checksum programs find the package whole, and the packed program,
// the WebAssembly build and the second reader print the same file from it; so they
// do from the packages that earlier commits made.
func TestPackagesReprintedByAll(t *testing.T) {
	dir := t.TempDir()
	program := filepath.Join(dir, "platemark")
	run(t, ".", "go", "build", "-o", program, "../../../cmd/platemark")
	folder, file := interptest.SmallJob(t, interptest.EveryStep)
	j, err := interp.Load(context.Background(), file, interp.LoadOptions{Prints: []string{"large"}})
	if err != nil || j.Failed() {
		t.Fatal(err, j.Diags)
	}
	b, err := interp.Build(context.Background(), j, interp.BuildOptions{})
	j.Close()
	if err != nil {
		t.Fatal(err)
	}
	root, err := filepath.Abs("../../..")
	if err != nil {
		t.Fatal(err)
	}
	said := run(t, dir, program, "pack", b[0].Log, "--source", root, "--out", "fresh")
	if bytes.Contains(said, []byte("not in it")) {
		t.Errorf("something isn't in the package: %s", said)
	}
	for _, gone := range []string{folder, program} {
		if err := os.RemoveAll(gone); err != nil {
			t.Fatal(err)
		}
	}
	kept, err := filepath.Glob("../../../testdata/packages/*.zip")
	if err != nil || len(kept) == 0 {
		t.Fatalf("no packages are kept: %v", err)
	}
	for _, path := range kept {
		z, err := zip.OpenReader(path)
		if err == nil {
			err = os.CopyFS(dir, z)
			z.Close()
		}
		if err != nil {
			t.Fatal(err)
		}
	}

	var all, older []string // packages of this draft, and recipes of an older one
	sums := map[string]string{}
	logs, _ := filepath.Glob(filepath.Join(dir, "*", "data", "print.audit.jsonl"))
	if len(logs) != 1+len(kept) {
		t.Fatalf("packages: %v", logs)
	}
	for _, path := range logs {
		l, err := audit.ReadLog(path)
		if err != nil {
			t.Fatal(err)
		}
		sums[l.Run.Out] = l.File.SHA256
		at := filepath.Dir(filepath.Dir(path))
		for _, list := range []string{"manifest-sha256.txt", "tagmanifest-sha256.txt"} {
			run(t, at, "sha256sum", "--check", "--strict", "--quiet", list)
		}
		if l.Head.Draft == frozen.Digest() {
			all = append(all, filepath.Base(at))
		} else {
			older = append(older, laidOut(t, at))
		}
	}
	form := filepath.Join(dir, "fresh", "data", "program", "platemark.wasm")
	own := filepath.Join(dir, "fresh", "data", "program", "platemark-"+runtime.GOOS+"-"+runtime.GOARCH)
	slow := filepath.Join(dir, "fresh", "data", "reader", "second.py")
	for how, again := range map[string]func(args ...string){
		"the packed program": func(args ...string) { run(t, dir, own, args...) },
		"WebAssembly":        func(args ...string) { programs.RunWasm(t, form, dir, args...) },
		"the second reader": func(args ...string) {
			end := len(args) - 2 // --out FOLDER; it takes one package or recipe at a time
			for _, one := range args[1:end] {
				run(t, dir, python, append([]string{slow, args[0], one}, args[end:]...)...)
			}
		},
	} {
		again(append(append([]string{"reprint"}, all...), "--out", how)...)
		if older != nil {
			again(append(append([]string{"build"}, older...), "--out", how)...)
		}
		for name, want := range sums {
			found, _ := filepath.Glob(filepath.Join(dir, how, "*", name)) // a folder of the recipe's
			for _, path := range append(found, filepath.Join(dir, how, name)) {
				if b, err := os.ReadFile(path); err == nil && fmt.Sprintf("%x", sha256.Sum256(b)) == want {
					want = ""
				}
			}
			if want != "" {
				t.Errorf("%s: %s isn't the print that the package's log records", how, name)
			}
		}
	}
}

// laidOut puts the files of a package where its recipe names them, and gives the
// recipe's path there.
func laidOut(t *testing.T, at string) string {
	t.Helper()
	var names pack.Names
	if err := json.Unmarshal(interptest.Read(t, filepath.Join(at, "data", "names.json")), &names); err != nil {
		t.Fatal(err)
	}
	recipe := filepath.Base(at) + "-laid-out/r.recipe"
	for _, f := range append(names.Inputs, pack.Named{Name: "r.recipe", Payload: names.Recipe.Payload}) {
		to := filepath.Join(filepath.Dir(at), filepath.Dir(recipe), f.Name)
		interptest.Write(t, to, string(interptest.Read(t, filepath.Join(at, f.Payload))))
	}
	return recipe
}

// run runs a program in a folder and gives its output.
func run(t *testing.T, dir, program string, args ...string) []byte {
	t.Helper()
	c := exec.Command(program, args...)
	c.Dir = dir
	c.Stderr = &bytes.Buffer{}
	out, err := c.Output()
	if err != nil {
		t.Fatalf("%s %q: %v: %s%s", program, args, err, out, c.Stderr)
	}
	return out
}
