//go:build outside

package second

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
)

const (
	python   = "/usr/bin/python3"
	reader   = "../../../testdata/second/second.py"
	wanted   = 100 // recipes that this program builds
	attempts = 300 // recipes written for them at most
)

// A row says of a piece how many vectors and random prints have it, and how many of
// these are equal.
type row struct{ vectors, vectorsEqual, prints, printsEqual int }

// All frozen vectors by the second reader, and random recipes by both: the files
// are equal to the byte, and so are the logs but for the run record.
func TestSecondReader(t *testing.T) {
	if out, err := exec.Command(python, "-c", "import numpy").CombinedOutput(); err != nil {
		t.Fatalf("the second reader needs Python 3 with numpy (package python3-numpy): %v\n%s", err, out)
	}
	table := map[string]*row{} // by piece, as the second reader's list names it
	at := func(piece string) *row {
		if table[piece] == nil {
			table[piece] = &row{}
		}
		return table[piece]
	}
	t.Cleanup(func() {
		t.Logf("%-28s %12s %14s", "piece", "vectors", "random prints")
		for _, piece := range slices.Sorted(maps.Keys(table)) {
			r := table[piece]
			t.Logf("%-28s %5d of %3d %7d of %3d", piece, r.vectorsEqual, r.vectors, r.printsEqual, r.prints)
		}
	})
	out, err := second("vectors", "../../../testdata/frozen").Output()
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(out)) {
		var piece string
		var n, equal int
		if _, err := fmt.Sscan(line, &piece, &n, &equal); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		r := at(strings.NewReplacer("-1", " 1", "operation-", "operation ", "encoder-", "encoder ", "decoder-", "reader ",
			"digest-", "digest ", "table-", "table ").Replace(piece))
		r.vectors, r.vectorsEqual = n, equal
		if n != equal {
			t.Errorf("%s: %d of %d vectors are equal", piece, equal, n)
		}
	}
	dirs := build(t)
	readAgain(t, dirs)
	for _, dir := range dirs {
		compare(t, dir, at)
	}
	if t.Failed() {
		return
	}
	// What the second reader says that it makes, both have been seen to make alike.
	list, err := os.ReadFile("../../../testdata/second/PIECES")
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(list)) {
		if piece := strings.TrimSpace(line); table[piece] == nil {
			t.Errorf("the second reader's list has %s, which no vector and no random recipe shows", piece)
		}
	}
}

func second(args ...string) *exec.Cmd {
	c := exec.Command(python, append([]string{reader}, args...)...)
	c.Env = append(os.Environ(), "PYTHONDONTWRITEBYTECODE=1", "OMP_NUM_THREADS=1")
	c.Stderr = os.Stderr
	return c
}

// build writes random recipes until the program has built enough of them, each in a
// folder of its own, the prints in its folder "first".
func build(t *testing.T) []string {
	t.Helper()
	root := t.TempDir()
	program := filepath.Join(root, "platemark")
	if out, err := exec.Command("go", "build", "-o", program, "../../../cmd/platemark").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	var dirs []string
	refused := map[string]int{}
	for seed := uint64(1); len(dirs) < wanted; seed++ {
		if seed > attempts {
			t.Fatalf("only %d of %d recipes were built; refused: %v", len(dirs), attempts, refused)
		}
		dir := filepath.Join(root, fmt.Sprint(seed))
		if err := os.Mkdir(dir, 0o777); err != nil {
			t.Fatal(err)
		}
		r := rand.New(rand.NewPCG(seed, 13))
		master, w := inputs(t, dir, r)
		recipe := filepath.Join(dir, "random.recipe")
		if err := os.WriteFile(recipe, []byte(w.recipe(master, 1+r.IntN(2))), 0o666); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command(program, "build", recipe, "--out", filepath.Join(dir, "first")).CombinedOutput()
		if err == nil {
			dirs = append(dirs, dir)
			continue
		}
		for line := range strings.Lines(string(out)) {
			if strings.HasPrefix(line, "error: ") {
				_, code, _ := strings.Cut(strings.TrimSpace(line), "[")
				refused[code]++
			}
		}
	}
	t.Logf("refused for: %v", refused)
	return dirs
}

// readAgain lets two second readers build the same recipes into "second".
func readAgain(t *testing.T, dirs []string) {
	t.Helper()
	var both sync.WaitGroup
	for half := range 2 {
		var lines strings.Builder
		for i, dir := range dirs {
			if i%2 == half {
				fmt.Fprintf(&lines, "%s\t%s\n", filepath.Join(dir, "random.recipe"), filepath.Join(dir, "second"))
			}
		}
		c := second("many")
		c.Stdin = strings.NewReader(lines.String())
		both.Go(func() {
			out, err := c.Output()
			if err != nil {
				t.Error(err)
			}
			for line := range strings.Lines(string(out)) {
				if !strings.HasPrefix(line, "built ") {
					t.Errorf("the second reader: %s", line)
				}
			}
		})
	}
	both.Wait()
}

// compare holds the prints of one recipe against each other.
func compare(t *testing.T, dir string, at func(piece string) *row) {
	t.Helper()
	logs, err := filepath.Glob(filepath.Join(dir, "first", "*.audit.jsonl"))
	if err != nil || len(logs) == 0 {
		t.Fatalf("%s: no logs: %v", dir, err)
	}
	for _, log := range logs {
		print, _, _ := strings.Cut(filepath.Base(log), ".audit")
		print = print[:strings.LastIndexByte(print, '.')]
		pieces, determined := pieces(t, log)
		same := equal(filepath.Join(dir, "first", print), filepath.Join(dir, "second", print))
		again, err := os.ReadFile(filepath.Join(dir, "second", filepath.Base(log)))
		sameLog := err == nil && bytes.Equal(again, determined)
		for _, piece := range append(pieces, "all") {
			r := at(piece)
			r.prints++
			if same && sameLog {
				r.printsEqual++
			}
		}
		if !same || !sameLog {
			if t.Failed() {
				continue // one is enough to look at
			}
			recipe, _ := os.ReadFile(filepath.Join(dir, "random.recipe"))
			t.Errorf("seed %s, %s: file equal %v, log equal %v: %s\n%s", filepath.Base(dir), print, same, sameLog, difference(determined, again), recipe)
		}
	}
}

func equal(a, b string) bool {
	x, err := os.ReadFile(a)
	if err != nil {
		return false
	}
	y, err := os.ReadFile(b)
	return err == nil && bytes.Equal(x, y)
}

// pieces gives the vector files' names of what a print is made with, and the log
// without its run record.
func pieces(t *testing.T, log string) ([]string, []byte) {
	t.Helper()
	data, err := os.ReadFile(log)
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]bool{"digest picture 1": true, "digest mark 1": true, "digest log 1": true}
	var determined []byte
	for line := range bytes.Lines(data) {
		var r struct {
			Record, Operation, Path, Role string
			Text                          string
			Version                       int
			Args                          map[string]string
		}
		if err := json.Unmarshal(line, &r); err != nil {
			t.Fatal(err)
		}
		switch {
		case r.Record == "run":
			continue
		case r.Record == "step":
			found[fmt.Sprintf("operation %s %d", r.Operation, r.Version)] = true
			if k := r.Args["kernel"]; k != "" {
				found["kernel "+k+" 1"] = true
			}
		case r.Record == "file":
			found["encoder "+r.Args["format"]+" 1"] = true
		case r.Record == "recipe":
			for _, name := range statements(r.Text) {
				found["statement "+name] = true
			}
		case r.Role == "profile":
			found["reader icc 1"] = true
		case strings.HasSuffix(r.Path, ".png"):
			found["reader png 1"] = true
		case strings.HasSuffix(r.Path, ".tif"):
			found["reader tiff 1"] = true
		}
		determined = append(determined, line...)
	}
	return slices.Sorted(maps.Keys(found)), determined
}

// statements names the statements of a recipe as the book's headings do.
func statements(text string) (names []string) {
	block := ""
	for line := range strings.Lines(text) {
		words := strings.Fields(line)
		if len(words) == 0 {
			continue
		}
		name := words[0]
		switch {
		case name == "}":
			if block = ""; strings.HasPrefix(line, "    ") {
				block = "prepare" // what ends is a tone
			}
			continue
		case strings.HasPrefix(name, `"`):
			name = "a line of inputs"
		case block == "mask" && (name == "less" || name == "within"):
			name = words[1]
		}
		if block == "paper" || block == "lab" || block == "tone" || block == "mask" && name == "mask" {
			name += ", in a " + block
		}
		if words[len(words)-1] == "{" {
			block = words[0]
		}
		names = append(names, name)
	}
	return names
}

// difference gives the first lines that differ.
func difference(a, b []byte) string {
	x, y := bytes.Split(a, []byte("\n")), bytes.Split(b, []byte("\n"))
	for i := range min(len(x), len(y)) {
		if !bytes.Equal(x[i], y[i]) {
			return fmt.Sprintf("line %d:\n%s\n%s", i+1, x[i], y[i])
		}
	}
	return fmt.Sprintf("%d lines and %d", len(x), len(y))
}
