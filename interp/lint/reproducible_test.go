//go:build outside

package lint

import (
	"bytes"
	"crypto/sha256"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"platemark/interp/lint/programs"
)

// copySource copies the module's files, without what begins with a dot.
func copySource(t *testing.T, to string) {
	t.Helper()
	root, err := filepath.Abs(filepath.Join("..", ".."))
	if err != nil {
		t.Fatal(err)
	}
	err = filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, path)
		if err != nil || rel == "." {
			return err
		}
		if strings.HasPrefix(d.Name(), ".") {
			if d.IsDir() {
				return fs.SkipDir
			}
			return nil
		}
		target := filepath.Join(to, rel)
		if d.IsDir() {
			return os.MkdirAll(target, 0o777)
		}
		if !d.Type().IsRegular() {
			return nil
		}
		b, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		return os.WriteFile(target, b, 0o666)
	})
	if err != nil {
		t.Fatal(err)
	}
}

// The program built twice, in different folders, the second time from an empty
// build cache, under another time zone and language, has the same bytes.
func TestReproducibleProgram(t *testing.T) {
	base := t.TempDir()
	var first []byte
	for i, place := range []string{"here", "quite/another/place"} {
		dir := filepath.Join(base, place)
		if err := os.MkdirAll(dir, 0o777); err != nil {
			t.Fatal(err)
		}
		copySource(t, dir)
		env := []string{"GOFLAGS="}
		if i == 1 {
			env = append(env, "GOCACHE="+filepath.Join(base, "cache"), "TZ=Pacific/Auckland", "LANG=de_DE.UTF-8", "GOMAXPROCS=1")
		}
		program := filepath.Join(dir, "platemark")
		programs.Build(t, dir, "./cmd/platemark", program, env, "-trimpath")
		b := read(t, program)
		t.Logf("%s: %d bytes, sha256 %x", place, len(b), sha256.Sum256(b))
		if first == nil {
			first = b
		} else if !bytes.Equal(first, b) {
			t.Errorf("built in %s it has other bytes", place)
		}
		if bytes.Contains(b, []byte(base)) {
			t.Errorf("the folder's name %s stands in the program", base)
		}
		out, err := exec.Command(program, "version", "--long").Output()
		if err != nil {
			t.Fatal(err)
		}
		for _, w := range []string{"toolchain  go1.", "vector list ", "module     github.com/alecthomas/kong v1.", " h1:"} {
			if !bytes.Contains(out, []byte(w)) {
				t.Errorf("version --long doesn't say %q:\n%s", w, out)
			}
		}
	}
}
