package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// orderOf writes 12 recipes over 3 masters into a new folder.
func orderOf(t *testing.T) (dir string, recipes []string) {
	t.Helper()
	dir = t.TempDir()
	for i := range 3 {
		if err := writeMaster(filepath.Join(dir, fmt.Sprintf("m%d.tif", i)), 300+10*i, 200, 3, "opRGB"); err != nil {
			t.Fatal(err)
		}
	}
	for i := range 12 {
		text := fmt.Sprintf(`recipe 1 draft
master "m%d.tif"
prepare {
    spot pixels over %d%%
}
print p {
    size 6 in wide at %d ppi
    enlarge with lanczos3
    sharpen radius 1 px amount 150%%
    save %s
}
`, i%3, 10+i%2, 150+10*i, map[bool]string{true: fmt.Sprintf(`jpeg "p%02d.jpg"`, i), false: fmt.Sprintf(`tiff "p%02d.tif"`, i)}[i%2 == 0])
		name := fmt.Sprintf("r%02d.recipe", i)
		write(t, filepath.Join(dir, name), text)
		recipes = append(recipes, name)
	}
	return dir, recipes
}

// printFiles are the print files in a folder.
func printFiles(t *testing.T, folder string) (files []string) {
	t.Helper()
	for _, pattern := range []string{"p*.jpg", "p*.tif"} {
		list, err := filepath.Glob(filepath.Join(folder, pattern))
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, list...)
	}
	return files
}

// printDigests are the digests of all print files in a folder.
func printDigests(t *testing.T, folder string) map[string]string {
	t.Helper()
	out := map[string]string{}
	for _, f := range printFiles(t, folder) {
		out[filepath.Base(f)] = digest(t, f)
	}
	return out
}

// An order of 12 recipes that is killed in the middle and taken up again gives
// the same files as an unbroken run, and builds none of them twice.
func TestOrderKilledAndTakenUp(t *testing.T) {
	bin := binary(t)
	dir, recipes := orderOf(t)
	order := func(out string) *exec.Cmd {
		c := exec.Command(bin, append([]string{"build", "--out", out}, recipes...)...)
		c.Dir = dir
		return c
	}
	if out, err := order("whole").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	want := printDigests(t, filepath.Join(dir, "whole"))
	if len(want) != 12 {
		t.Fatalf("%d prints", len(want))
	}

	broken := filepath.Join(dir, "broken")
	killed := 0
	for _, due := range []int{2, 4, 6} {
		c := order("broken")
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		ended := make(chan error, 1)
		go func() { ended <- c.Wait() }()
		for running := true; running && len(printFiles(t, broken)) < due; {
			select {
			case <-ended:
				running = false
			case <-time.After(time.Millisecond):
			}
		}
		c.Process.Kill()
		killed++
		<-ended
		for name, d := range printDigests(t, broken) {
			if d != want[name] {
				t.Fatalf("killed with %d prints finished: %s isn't whole", due, name)
			}
		}
	}
	there := len(printDigests(t, broken))
	if there == 0 || there == 12 {
		t.Fatalf("%d prints were there when the order was taken up", there)
	}
	before := map[string]time.Time{}
	for name := range printDigests(t, broken) {
		st, err := os.Stat(filepath.Join(broken, name))
		if err != nil {
			t.Fatal(err)
		}
		before[name] = st.ModTime()
	}
	out, err := order("broken").CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	if n := strings.Count(string(out), "already there, verified"); n != there {
		t.Errorf("%d prints of %d were said to be there:\n%s", n, there, out)
	}
	got := printDigests(t, broken)
	for name, d := range want {
		if got[name] != d {
			t.Errorf("%s differs from the unbroken run's", name)
		}
	}
	for name, at := range before {
		if st, err := os.Stat(filepath.Join(broken, name)); err != nil || !st.ModTime().Equal(at) {
			t.Errorf("%s was built again", name)
		}
	}
	if left, _ := filepath.Glob(filepath.Join(broken, ".*.partial")); len(left) > 0 {
		t.Errorf("left: %v", left)
	}
	// Both tables say the same files.
	table := func(folder string) [][]string {
		b, err := os.ReadFile(filepath.Join(dir, folder, orderFile))
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		return rows
	}
	a, b := table("whole"), table("broken")
	if len(a) != 13 || fmt.Sprint(a) != fmt.Sprint(b) {
		t.Errorf("the tables differ:\n%v\n%v", a, b)
	}
}
