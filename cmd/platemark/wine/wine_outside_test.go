//go:build outside

package wine

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"
)

// Every frozen vector, and the recipe with every step from master to print file
// and log, have the digests that they have here.
func TestVectorsAndEveryStep(t *testing.T) {
	here, code := run(t, t.TempDir(), "reach")
	if code != 0 {
		t.Fatalf("here: %s", here)
	}
	dir := folder(t, "reach")
	there, code := run(t, dir, "reach.exe")
	if there = strings.ReplaceAll(there, "\r\n", "\n"); code != 0 || there != here {
		t.Fatalf("exit code %d; on Windows\n%s\nhere\n%s", code, there, here)
	}
	n := 0
	for line := range strings.Lines(there) {
		n++
		if strings.HasPrefix(line, "print ") || strings.HasPrefix(line, "log ") {
			t.Log(strings.TrimSpace(line))
		}
	}
	if n < 50 {
		t.Errorf("only %d digests", n)
	}
}

// An order that is typed with a pattern, which no shell of Windows expands, has
// the files and determined records that it has here; its logs verify, and a
// lost file comes back byte for byte.
func TestOrder(t *testing.T) {
	dir := folder(t, "order")
	job(t, dir, "a", "b", "c")
	write(t, filepath.Join(dir, "c.recipe"), strings.Replace(recipe, `tiff "p.tif"`, `jpeg "c.jpg"`, 1))
	if out := must(t, dir, "build", "*.recipe", "--out", "order"); !strings.Contains(out, "3 built") {
		t.Errorf("%s", out)
	}
	if out, code := run(t, dir, "platemark", "build", "a.recipe", "b.recipe", "c.recipe", "--out", "here"); code != 0 {
		t.Fatalf("%s", out)
	}
	there, here := filepath.Join(dir, "order"), filepath.Join(dir, "here")
	logs := names(t, there, ".audit.jsonl")
	if len(logs) != 3 || fmt.Sprint(logs) != fmt.Sprint(names(t, here, ".audit.jsonl")) {
		t.Fatalf("on Windows %v, here %v", logs, names(t, here, ".audit.jsonl"))
	}
	for _, n := range logs {
		if determined(t, filepath.Join(there, n)) != determined(t, filepath.Join(here, n)) {
			t.Errorf("%s: other records than here", n)
		}
	}
	for _, n := range []string{"a.tif", "b.tif", "c.jpg"} {
		if read(t, filepath.Join(there, n)) != read(t, filepath.Join(here, n)) {
			t.Errorf("%s: other bytes than here", n)
		}
	}
	must(t, dir, "verify", `order\*.jsonl`)
	must(t, dir, "verify", `D:\order\here\?.*.AUDIT.jsonl`)
	if err := os.Remove(filepath.Join(there, "b.tif")); err != nil {
		t.Fatal(err)
	}
	refused(t, 1, "b.tif", dir, "verify", `order\b*.jsonl`)
	must(t, dir, "reprint", `order\b*.jsonl`)
	if read(t, filepath.Join(there, "b.tif")) != read(t, filepath.Join(here, "b.tif")) {
		t.Error("reprinted with other bytes")
	}
	if out := must(t, dir, "build", "?.recipe", "--out", "order"); !strings.Contains(out, "3 already there") {
		t.Errorf("%s", out)
	}
	refused(t, 2, "no file fits q*.recipe", dir, "check", "q*.recipe")
}

// A build that is killed at any moment loses nothing and leaves no part under
// the print's name; the next run takes away what was left.
func TestKilled(t *testing.T) {
	dir := folder(t, "killed")
	job(t, dir, "a")
	large := strings.Replace(strings.Replace(recipe, "at 80 ppi", "at 400 ppi", 1), "p.tif", "a.tif", 1)
	write(t, filepath.Join(dir, "a.recipe"), large)
	master := read(t, filepath.Join(dir, "m.png"))
	began := time.Now()
	must(t, dir, "build", "a.recipe")
	whole := time.Since(began)
	print := filepath.Join(dir, "a.tif")
	want := read(t, print)
	r := rand.New(rand.NewPCG(7, 11)) // fixed, so that a failure can be met again
	killed, left := 0, 0
	for range 10 {
		if err := os.Remove(print); err != nil && !os.IsNotExist(err) {
			t.Fatal(err)
		}
		c := on(dir, "platemark.exe", "build", "a.recipe", "--force")
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		at := whole/4 + time.Duration(r.Int64N(int64(whole)*3/4))
		time.Sleep(at)
		c.Process.Kill()
		if c.Wait() != nil {
			killed++
		}
		if read(t, filepath.Join(dir, "m.png")) != master || read(t, filepath.Join(dir, "a.recipe")) != large {
			t.Fatalf("killed after %v: an input changed", at)
		}
		if b, err := os.ReadFile(print); err == nil && string(b) != want {
			t.Fatalf("killed after %v: part of a print stands under its name", at)
		}
		left += len(names(t, dir, ".partial"))
	}
	t.Logf("%d of 10 builds, of %v each, were killed before they ended; unfinished files were met %d times", killed, whole, left)
	if killed < 5 || left == 0 {
		t.Error("too few builds were killed in the middle")
	}
	must(t, dir, "build", "a.recipe", "--force")
	if read(t, print) != want {
		t.Error("the next build gave other bytes")
	}
	if n := names(t, dir, ".partial"); len(n) > 0 {
		t.Errorf("the next build left %v", n)
	}
	must(t, dir, "verify", "*.audit.jsonl")
}

// Pins are the bytes that they are here; a master that was changed since is
// refused.
func TestPins(t *testing.T) {
	dir := folder(t, "pins")
	job(t, dir, "a", "b")
	write(t, filepath.Join(dir, "b.recipe"), read(t, filepath.Join(dir, "a.recipe")))
	must(t, dir, "pin", "a.recipe")
	if out, code := run(t, dir, "platemark", "pin", "b.recipe"); code != 0 {
		t.Fatalf("%s", out)
	}
	got := read(t, filepath.Join(dir, "a.recipe"))
	if got != read(t, filepath.Join(dir, "b.recipe")) || !strings.Contains(got, "sha256") {
		t.Errorf("on Windows:\n%s", got)
	}
	must(t, dir, "check", "a.recipe")
	write(t, filepath.Join(dir, "m.png"), read(t, filepath.Join(dir, "m.png"))+"\n")
	refused(t, 1, "isn't the file that was pinned", dir, "check", "a.recipe")
}

// Rounds are kept, and two runs at once don't damage their list; two builds at
// once leave one whole print.
func TestRoundsAndTwoAtOnce(t *testing.T) {
	dir := folder(t, "rounds")
	job(t, dir, "a")
	must(t, dir, "build", "a.recipe")
	twice := func(args ...string) (ended int) {
		var said [2]string
		var codes [2]int
		var both sync.WaitGroup
		for i := range 2 {
			both.Go(func() { said[i], codes[i] = run(t, dir, "platemark.exe", args...) })
		}
		both.Wait()
		for i := range 2 {
			if codes[i] == 0 {
				ended++
			}
			t.Logf("%q: exit code %d: %s", args, codes[i], said[i])
		}
		return ended
	}
	for range 3 {
		if twice("round", "a.recipe") == 0 {
			t.Error("neither run kept a round")
		}
		must(t, dir, "rounds", "a.recipe")
	}
	must(t, dir, "rounds", "a.recipe", "--approve", "p", "--round", "1")
	want := read(t, filepath.Join(dir, "a.tif"))
	if twice("build", "a.recipe", "--force") == 0 {
		t.Error("neither build ended")
	}
	if read(t, filepath.Join(dir, "a.tif")) != want {
		t.Error("two builds at once left other bytes")
	}
	if n := names(t, dir, ".partial"); len(n) > 0 {
		t.Errorf("left: %v", n)
	}
}

// Files are named as Windows names them: drives, backslashes, other cases,
// brackets, more than 260 letters.
func TestPaths(t *testing.T) {
	dir := folder(t, "paths")
	job(t, dir, "a")
	for i, typed := range []string{`D:\paths\a.recipe`, `d:/paths/A.RECIPE`, `\paths\a.recipe`, `..\paths\.\a.recipe`, `D:a.recipe`} {
		out := fmt.Sprintf(`D:\paths\out%d`, i)
		must(t, dir, "build", typed, "--out", out)
		must(t, dir, "verify", out+`\*.jsonl`)
	}
	// A name in another case is the same file, and two prints aren't two.
	write(t, filepath.Join(dir, "other.recipe"), strings.Replace(strings.Replace(recipe, "m.png", "M.PNG", 1), "p.tif", "O.tif", 1))
	must(t, dir, "build", "other.recipe")
	refused(t, 1, "exists already", dir, "build", "OTHER.recipe")
	two := recipe + strings.Replace(recipe[strings.Index(recipe, "print p"):], "print p", "print q", 1)
	write(t, filepath.Join(dir, "two.recipe"), strings.Replace(two, "p.tif", "P.TIF", 1))
	refused(t, 1, "one file", dir, "check", "two.recipe")

	// Logs are found in a folder whose name reads like a pattern.
	marked := folder(t, filepath.Join("paths", "d[1]"))
	job(t, marked, "a")
	must(t, marked, "build", "a.recipe")
	if out := must(t, dir, "build", `d[1]\*.recipe`, "--force"); !strings.Contains(out, "as an older log records") {
		t.Errorf("the older log wasn't found: %s", out)
	}
	must(t, dir, "verify", `d[1]\a.tif.*`)

	deep := "paths"
	for i := range 10 {
		deep = filepath.Join(deep, fmt.Sprintf("folder-%02d-of-a-long-way-down", i))
	}
	job(t, folder(t, deep), "a")
	typed := `D:\` + strings.ReplaceAll(deep, "/", `\`) + `\`
	typed += strings.Repeat("l", 335-len(typed)-len(`\a.recipe`)) + `\`
	long := folder(t, filepath.Join(deep, strings.Repeat("l", len(typed)-len(deep)-len(`D:\\`)-1)))
	job(t, long, "a")
	must(t, dir, "build", typed+"a.recipe")
	must(t, dir, "verify", typed+"*.jsonl")
	if len(typed+"a.recipe") != 335 || len(names(t, long, "a.tif")) != 1 {
		t.Errorf("%d letters: %v", len(typed+"a.recipe"), names(t, long, ""))
	}
}

// A print on another drive names its inputs by theirs, and is made again.
func TestOtherDrive(t *testing.T) {
	dir := folder(t, "drives")
	job(t, dir, "a")
	must(t, dir, "build", "a.recipe", "--out", `E:\prints`)
	must(t, dir, "verify", `E:\prints\*.jsonl`)
	out := filepath.Join(base, "e", "prints", "a.tif")
	want := read(t, out)
	if err := os.Remove(out); err != nil {
		t.Fatal(err)
	}
	must(t, dir, "reprint", `E:\prints\*.jsonl`)
	if read(t, out) != want {
		t.Error("reprinted with other bytes")
	}
	if err := os.Remove(filepath.Join(dir, "m.png")); err != nil {
		t.Fatal(err)
	}
	refused(t, 1, "D:/drives/m.png", dir, "verify", `E:\prints\*.jsonl`)
}

// failed finds the scripts that failed.
var failed = regexp.MustCompile(`--- FAIL: TestScripts/(\S+)`)

// The tests of what reads, writes and names files pass on Windows as well.
func TestTests(t *testing.T) {
	for _, p := range []struct{ folder, run string }{
		{"interp/disk", "."},
		{"interp", "OutputIsInput|NamesThatFold|PathsAreRelative|Orientation|MaskAndMaster|Adopt|Verify|Reprint|Logs|Round|Pin|Order|Overwritten|Swept|Stopping|MaskAndProfile|Glance"},
		{"interp/rounds", "Round"},
		{"cmd/platemark", "Scripts/^(adopt|copy|diff|fmt|masks|names|new|orders?|outputs|rounds|usage)$|Patterns|OrderKilled"},
	} {
		program := strings.ReplaceAll(p.folder, "/", "-") + ".exe"
		c, err := forWindows("test", "-c", "-o", filepath.Join(base, program), "platemark/"+p.folder)
		if err != nil {
			t.Fatal(err)
		}
		if out, err := c.CombinedOutput(); err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		dir, err := filepath.Abs(filepath.Join("..", "..", "..", filepath.FromSlash(p.folder)))
		if err != nil {
			t.Fatal(err)
		}
		out, code := run(t, dir, program, "-test.v", "-test.run", p.run, "-test.skip", "Outside")
		passed := strings.Count(out, "\n--- PASS")
		t.Logf("%s: %d tests passed", p.folder, passed)
		for line := range strings.Lines(out) {
			if strings.Contains(line, "--- SKIP") || strings.Contains(line, "aren't tried") {
				t.Log(strings.TrimSpace(line))
			}
		}
		if again := failed.FindAllStringSubmatch(out, -1); code != 0 && len(again) > 0 && strings.Contains(out, ": Internal error.]") {
			// Now and then this wine can't start a program and says so; the
			// scripts that met it run once more.
			var names []string
			for _, m := range again {
				names = append(names, m[1])
			}
			t.Logf("wine failed to start a program; once more: %v", names)
			out, code = run(t, dir, program, "-test.v", "-test.run", "^TestScripts$/^("+strings.Join(names, "|")+")$", "-test.parallel", "1")
		}
		if code != 0 || passed == 0 {
			t.Errorf("%s: exit code %d\n%s", p.folder, code, out)
		}
	}
}
