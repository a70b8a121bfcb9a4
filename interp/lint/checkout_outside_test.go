//go:build outside

package lint

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// A checkout by a system that turns line ends keeps every byte of what is
// embedded or has a digest: git is asked for such a checkout.
func TestCheckoutKeepsLineEnds(t *testing.T) {
	root, err := filepath.Abs(filepath.Join("..", ".."))
	if err != nil {
		t.Fatal(err)
	}
	names := []string{".gitattributes", "testdata/frozen/LIST", "lang/SPEC.md", "recipes/marsh.recipe"}
	dir := t.TempDir()
	for _, n := range names {
		to := filepath.Join(dir, filepath.FromSlash(n))
		if err := os.MkdirAll(filepath.Dir(to), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(to, read(t, filepath.Join(root, filepath.FromSlash(n))), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	git := func(args ...string) {
		t.Helper()
		c := exec.Command("git", append([]string{"-c", "core.autocrlf=true", "-c", "core.safecrlf=false"}, args...)...)
		c.Dir = dir
		if out, err := c.CombinedOutput(); err != nil {
			t.Fatalf("git %v: %v\n%s", args, err, out)
		}
	}
	git("init", "-q")
	git("add", ".")
	for _, n := range names[1:] {
		os.Remove(filepath.Join(dir, filepath.FromSlash(n)))
	}
	git("checkout-index", "--all")
	for _, n := range names {
		if !bytes.Equal(read(t, filepath.Join(dir, filepath.FromSlash(n))), read(t, filepath.Join(root, filepath.FromSlash(n)))) {
			t.Errorf("%s has other bytes in a checkout that turns line ends", n)
		}
	}
}
