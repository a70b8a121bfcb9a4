package main

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

const killRecipe = `recipe 1 draft
master "m.tif"
prepare {
    spot pixels over 12%
}
print p {
    size 30 in x 20 in at 120 ppi
    enlarge with lanczos3
    sharpen radius 2 px amount 150%
    save jpeg "p.jpg"
}
`

// binary is the command, as the scripts have it: this test's own program by
// another name.
func binary(t testing.TB) string {
	t.Helper()
	path, err := exec.LookPath("platemark")
	if err != nil {
		t.Fatal(err)
	}
	return path
}

// A build killed at any moment leaves the master as it was, no file
// under the print's name unless it is whole, only temporary files that can be
// told by their name; the next build succeeds.
func TestKilledAtRandomMoments(t *testing.T) {
	bin := binary(t)
	dir := t.TempDir()
	master := filepath.Join(dir, "m.tif")
	if err := writeMaster(master, 1200, 800, 3, "opRGB"); err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "r.recipe"), killRecipe)
	before := digest(t, master)
	build := func() *exec.Cmd {
		c := exec.Command(bin, "build", filepath.Join(dir, "r.recipe"), "--force")
		c.Stderr = &bytes.Buffer{}
		return c
	}
	began := time.Now()
	if err := build().Run(); err != nil {
		t.Fatal(err)
	}
	whole := time.Since(began)
	print := filepath.Join(dir, "p.jpg")
	want := digest(t, print)

	// A fixed seed, so that a failure can be met again.
	r := rand.New(rand.NewPCG(7, 11))
	killed := 0
	for range 20 {
		os.Remove(print)
		c := build()
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		at := time.Duration(r.Int64N(int64(whole)))
		time.Sleep(at)
		c.Process.Kill()
		if err := c.Wait(); err != nil {
			killed++
		}
		if digest(t, master) != before {
			t.Fatalf("killed after %v: the master changed", at)
		}
		if _, err := os.Stat(print); err == nil && digest(t, print) != want {
			t.Fatalf("killed after %v: part of a print stands under its name", at)
		}
		list, err := os.ReadDir(dir)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range list {
			switch n := e.Name(); {
			case n == "m.tif", n == "r.recipe", n == "p.jpg", strings.HasSuffix(n, ".audit.jsonl"):
			case strings.HasPrefix(n, ".p.jpg.") && strings.Contains(n, "platemark") && strings.HasSuffix(n, ".partial"):
			default:
				t.Errorf("killed after %v: %s was left", at, n)
			}
		}
	}
	if killed < 10 {
		t.Errorf("only %d of 20 builds were killed before they ended", killed)
	}
	c := build()
	if err := c.Run(); err != nil {
		t.Fatalf("the next build: %v\n%s", err, c.Stderr)
	}
	if digest(t, print) != want {
		t.Error("the next build gave other bytes")
	}
	if left, _ := filepath.Glob(filepath.Join(dir, ".*.partial")); len(left) > 0 {
		t.Errorf("the next build left %v", left)
	}
	logs, _ := filepath.Glob(filepath.Join(dir, "*.audit.jsonl"))
	if out, err := exec.Command(bin, append([]string{"verify"}, logs...)...).CombinedOutput(); err != nil {
		t.Errorf("%v\n%s", err, out)
	}
}

// Registering that is killed at any moment loses no entry that was told of, and
// the next run goes on.
func TestRegisteringIsKilled(t *testing.T) {
	bin := binary(t)
	dir := t.TempDir()
	if err := writeMaster(filepath.Join(dir, "m.tif"), 60, 40, 3, "opRGB"); err != nil {
		t.Fatal(err)
	}
	recipe := filepath.Join(dir, "r.recipe")
	write(t, recipe, strings.NewReplacer("print p {\n", "print p {\n    edition 40\n", "30 in x 20 in at 120", "1.5 in x 1 in at 40").Replace(killRecipe))
	if out, err := exec.Command(bin, "build", recipe).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	logs, _ := filepath.Glob(filepath.Join(dir, "*.audit.jsonl"))
	add := func(n int) *exec.Cmd {
		return exec.Command(bin, "register", "add", recipe, "--copy", fmt.Sprint(n), "--log", logs[0])
	}
	told, killed := []int{}, 0
	whole := time.Hour // of the quickest: the first reads the program from the disk
	for n := 38; n <= 40; n++ {
		began := time.Now()
		if err := add(n).Run(); err != nil {
			t.Fatal(err)
		}
		whole, told = min(whole, time.Since(began)), append(told, n)
	}
	r := rand.New(rand.NewPCG(3, 5)) // a fixed seed, so that a failure can be met again
	for n := 1; n <= 20; n++ {
		c := add(n)
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Duration(r.Int64N(int64(whole))))
		c.Process.Kill()
		if c.Wait() == nil {
			told = append(told, n)
		} else {
			killed++
		}
	}
	if killed < 3 {
		t.Errorf("only %d of 20 runs were killed", killed)
	}
	if out, err := add(37).CombinedOutput(); err != nil {
		t.Fatalf("the next run: %v\n%s", err, out)
	}
	if out, err := exec.Command(bin, "register", "verify", recipe).CombinedOutput(); err != nil {
		t.Errorf("%v\n%s", err, out)
	}
	list, err := exec.Command(bin, "register", "list", recipe).CombinedOutput()
	for _, n := range append(told, 37) {
		if !strings.Contains(string(list), fmt.Sprintf(" %d/40 ", n)) {
			t.Errorf("copy %d is lost: %v\n%s", n, err, list)
		}
	}
}

// Ctrl-C ends a build within a second.
func TestInterruptEndsWithinASecond(t *testing.T) {
	bin := binary(t)
	dir := t.TempDir()
	if err := writeMaster(filepath.Join(dir, "m.tif"), 1200, 800, 3, "opRGB"); err != nil {
		t.Fatal(err)
	}
	text := strings.ReplaceAll(killRecipe, "at 120 ppi", "at 900 ppi")
	write(t, filepath.Join(dir, "r.recipe"), text)
	for _, wait := range []time.Duration{600, 1500} {
		c := exec.Command(bin, "build", filepath.Join(dir, "r.recipe"))
		interruptible(c)
		var out bytes.Buffer
		c.Stdout, c.Stderr = &out, &out
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(wait * time.Millisecond)
		began := time.Now()
		interrupt(t, c)
		err := c.Wait()
		if err == nil {
			t.Fatalf("the build ended by itself before %d ms", wait)
		}
		if c.ProcessState.ExitCode() != exitDiffers || !strings.Contains(out.String(), "nothing half written") {
			t.Errorf("stopped after %d ms: exit code %d, %q", wait, c.ProcessState.ExitCode(), out.String())
		}
		if d := time.Since(began); d > time.Second {
			t.Errorf("stopped after %d ms: it took %v to end", wait, d)
		}
		list, _ := os.ReadDir(dir)
		if len(list) != 2 {
			t.Errorf("stopped after %d ms: %v", wait, list)
		}
	}
}

func write(t testing.TB, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
}

func digest(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return fmt.Sprintf("%x", sha256.Sum256(b))
}
