package main

import (
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// Packing that is killed at any moment leaves nothing under the package's name
// unless it is whole, only temporary files that can be told by their name; the next
// run takes these away.
func TestKilledWhilePacking(t *testing.T) {
	bin := binary(t)
	dir := t.TempDir()
	if err := writeMaster(filepath.Join(dir, "m.tif"), 300, 200, 3, "opRGB"); err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "r.recipe"), strings.ReplaceAll(killRecipe, "at 120 ppi", "at 20 ppi"))
	if out, err := exec.Command(bin, "build", filepath.Join(dir, "r.recipe")).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	logs, _ := filepath.Glob(filepath.Join(dir, "*.audit.jsonl"))
	archive := filepath.Join(dir, "archive")
	r := rand.New(rand.NewPCG(7, 13))
	for _, name := range []string{"p", "p.zip"} {
		pack := func() *exec.Cmd {
			return exec.Command(bin, "pack", logs[0], "--without-program", "--out", filepath.Join(archive, name))
		}
		began := time.Now()
		if out, err := pack().CombinedOutput(); err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		whole := time.Since(began)
		killed := 0
		for range 12 {
			if err := os.RemoveAll(filepath.Join(archive, name)); err != nil {
				t.Fatal(err)
			}
			c := pack()
			if err := c.Start(); err != nil {
				t.Fatal(err)
			}
			at := time.Duration(r.Int64N(int64(whole)))
			time.Sleep(at)
			c.Process.Kill()
			if c.Wait() != nil {
				killed++
			}
			list, err := os.ReadDir(archive)
			if err != nil {
				t.Fatal(err)
			}
			for _, e := range list {
				switch n := e.Name(); {
				case n == name:
					if out, err := exec.Command(bin, "verify", filepath.Join(archive, name)).CombinedOutput(); err != nil {
						t.Errorf("killed after %v: %s", at, out)
					}
				case !strings.HasPrefix(n, "."+name+".platemark-"):
					t.Errorf("killed after %v: %s was left", at, n)
				}
			}
		}
		if killed < 6 {
			t.Errorf("%s: only %d of 12 runs were killed before they ended", name, killed)
		}
		os.RemoveAll(filepath.Join(archive, name))
		if out, err := pack().CombinedOutput(); err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		if list, _ := os.ReadDir(archive); len(list) != 1 {
			t.Errorf("the next run left %v", list)
		}
		os.RemoveAll(archive)
	}
}
