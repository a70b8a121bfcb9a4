package interp

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"platemark/interp/audit"
)

// Masters that recipes share are read once, also where each prepares another
// picture from it, and the files are those of single builds.
func TestOrderReadsSharedInputsOnce(t *testing.T) {
	folder := t.TempDir()
	writeMaster(t, filepath.Join(folder, "in", "m.tif"), 96, 64, 3, "opRGB")
	writeMaster(t, filepath.Join(folder, "in", "n.tif"), 90, 60, 3, "opRGB")
	var files []string
	for i, r := range []struct{ master, prepare string }{
		{"in/m.tif", ""}, {"in/n.tif", "spot pixels over 12%"}, {"in/m.tif", "spot pixels over 12%"}, {"./in/m.tif", "spot pixels over 12%"}, {"in/m.tif", "spot pixels over 20%"}, {"in/n.tif", ""},
	} {
		f := filepath.Join(folder, fmt.Sprintf("r%d.recipe", i))
		prep := ""
		if r.prepare != "" {
			prep = "prepare {\n    " + r.prepare + "\n}\n"
		}
		write(t, f, fmt.Sprintf("recipe 1 draft\nmaster \"%s\"\n%sprint p {\n    size 2 in wide at 100 ppi\n    enlarge with mitchell\n    save jpeg \"p%d.jpg\"\n}\n", r.master, prep, i))
		files = append(files, f)
	}
	var mu sync.Mutex
	read, prepared := 0, 0
	o, err := LoadOrder(context.Background(), files, LoadOptions{Out: filepath.Join(folder, "out"), Resume: true})
	if err != nil {
		t.Fatal(err)
	}
	defer o.Close()
	if n := len(o.cache.open); n != 2 {
		t.Errorf("%d files were opened", n)
	}
	// Their holders are told from other programs, which a system that locks what
	// is open needs to know.
	for name, want := range map[string]bool{"out/../in/m.tif": true, "in/n.tif": true, "r0.recipe": false, "none.tif": false} {
		if o.cache.holds(filepath.Join(folder, name)) != want {
			t.Errorf("%s: held %v", name, !want)
		}
	}
	count := func(stage string, done, due int64) {
		mu.Lock()
		defer mu.Unlock()
		if done == 0 && strings.Contains(stage, "reading") {
			read++
		}
		if done == 0 && strings.Contains(stage, "preparing") {
			prepared++
		}
	}
	if err := o.Build(context.Background(), BuildOptions{Out: filepath.Join(folder, "out"), Progress: count}, nil); err != nil || o.Failed() {
		t.Fatal(err)
	}
	// m and n are read once each; of the three pictures that are prepared, one
	// serves two prints and is kept.
	if read != 2 || prepared != 1 {
		t.Errorf("%d masters were read, %d pictures prepared", read, prepared)
	}
	for i, f := range files {
		b := mustBuild(t, f, LoadOptions{}, BuildOptions{Out: filepath.Join(folder, "single")})
		if r := o.Rows[i]; b[0].Sum != r.Sum || r.State != OrderBuilt {
			t.Errorf("%s: another file than alone, or %s", f, r.State)
		}
	}
}

// What meets across recipes is refused before anything is built; what is wrong
// with one leaves the others.
func TestOrderProblems(t *testing.T) {
	folder, file := smallJob(t, "recipe 1 draft\nmaster \"m.tif\"\nprint p {\n    size 1 in wide at 50 ppi\n    enlarge with linear\n    save tiff \"Été.tif\"\n}\n")
	second := filepath.Join(folder, "second.recipe")
	write(t, second, strings.Replace(string(read(t, file)), "Été", "e\u0301te\u0301", 1))
	load := func(files ...string) *Order {
		t.Helper()
		o, err := LoadOrder(context.Background(), files, LoadOptions{Resume: true})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(o.Close)
		return o
	}
	// Names that fold together, here of two recipes.
	o := load(file, second)
	if len(o.Problems) != 1 || !strings.Contains(o.Problems[0], "one file") || o.Build(context.Background(), BuildOptions{}, nil) == nil {
		t.Errorf("%q", o.Problems)
	}
	// An output that is another recipe's master.
	write(t, second, "recipe 1 draft\nmaster \"n.tif\"\nprint p {\n    size 1 in wide at 50 ppi\n    enlarge with linear\n    save tiff \"M.TIF\"\n}\n")
	writeMaster(t, filepath.Join(folder, "n.tif"), 96, 64, 3, "opRGB")
	o, err := LoadOrder(context.Background(), []string{file, second}, LoadOptions{Force: true})
	if err != nil {
		t.Fatal(err)
	}
	refused := len(o.Problems) == 1 && strings.Contains(o.Problems[0], "never written to")
	if o.Close(); !refused {
		t.Errorf("%q %+v", o.Problems, o.Rows[1])
	}
	// A recipe without its master, a file in the way, one that is fine.
	write(t, second, strings.ReplaceAll(string(read(t, second)), "n.tif", "gone.tif"))
	third := filepath.Join(folder, "third.recipe")
	write(t, third, strings.Replace(string(read(t, file)), "Été", "third", 1))
	write(t, filepath.Join(folder, "third.tif"), "something else")
	o = load(second, third, file)
	if err := o.Build(context.Background(), BuildOptions{}, nil); err != nil {
		t.Fatal(err)
	}
	var p *Problems
	if !o.Failed() || o.Rows[0].State != OrderFailed || !errors.As(o.Rows[1].Err, &p) || o.Rows[2].State != OrderBuilt {
		t.Errorf("%+v %+v %+v", o.Rows[0], o.Rows[1], o.Rows[2])
	}
	if string(read(t, filepath.Join(folder, "third.tif"))) != "something else" {
		t.Error("a file in the way was overwritten")
	}
	// Again: there, verified. Changed by one byte: refused.
	if o = load(file); o.Rows[0].State != OrderThere || o.Rows[0].Sum.String() != audit.SumOf(read(t, o.Rows[0].File)) {
		t.Errorf("%+v", o.Rows[0])
	}
	b := read(t, o.Rows[0].File)
	b[len(b)/2] ^= 1
	write(t, o.Rows[0].File, string(b))
	if o = load(file); o.Rows[0].State != OrderFailed || !strings.Contains(fmt.Sprintf("%+v", o.Jobs[0].Job.Diags), "aren't those that the log") {
		t.Errorf("a changed file: %+v", o.Rows[0])
	}
}

// A JPEG over its limit never gets its name, and the error says a quality that
// really fits.
func TestLargestBytes(t *testing.T) {
	folder, file := smallJob(t, "recipe 1 draft\nmaster \"m.tif\"\nprint p {\n    size 6 in wide at 100 ppi\n    enlarge with mitchell\n    save jpeg \"p.jpg\"\n}\n")
	build := func(text string, limit int64) (*Built, error) {
		t.Helper()
		write(t, file, text)
		j := mustLoad(t, file, LoadOptions{Force: true})
		j.Plans[0].File.LargestBytes = limit
		b, err := Build(context.Background(), j, BuildOptions{Force: true})
		if err != nil {
			return nil, err
		}
		return &b[0], nil
	}
	text := string(read(t, file))
	whole, err := build(text, 0)
	if err != nil {
		t.Fatal(err)
	}
	if b, err := build(text, whole.Size); err != nil || b.Sum != whole.Sum {
		t.Errorf("a file of the very size: %v", err)
	}
	for _, share := range []int64{100, 60, 30} {
		limit := whole.Size*share/100 - 1
		os.Remove(whole.File)
		_, err := build(text, limit)
		var large *TooLarge
		if !errors.As(err, &large) || large.Quality < 1 || large.Quality >= 100 {
			t.Fatalf("%d %%: %v", share, err)
		}
		if _, err := os.Stat(whole.File); err == nil {
			t.Fatal("the file got its name")
		}
		b, err := build(strings.Replace(text, "\"p.jpg\"", fmt.Sprintf("\"p.jpg\" quality %d", large.Quality), 1), limit)
		if err != nil {
			t.Errorf("%d %%: quality %d doesn't fit: %v", share, large.Quality, err)
			continue
		}
		if off := float64(b.Size-large.Bytes) / float64(b.Size); off > 0.03 || off < -0.03 {
			t.Errorf("%d %%: %d bytes, said %d", share, b.Size, large.Bytes)
		}
	}
	if _, err := build(text, 700); err == nil || !strings.Contains(err.Error(), "no quality fits") {
		t.Errorf("700 bytes: %v", err)
	}
	if left, _ := filepath.Glob(filepath.Join(folder, ".*.partial")); len(left) > 0 {
		t.Errorf("left: %v", left)
	}
}

// What a single build warns of, found in the samples of an input, stands with
// each print of an order that the input goes into, read for it or not, and with
// no other.
func TestOrderWarnsOfEachPrintItsOwn(t *testing.T) {
	folder := t.TempDir()
	writeFloatMaster(t, filepath.Join(folder, "f.tif"))
	writeMaster(t, filepath.Join(folder, "m.tif"), 96, 64, 3, "opRGB")
	var files []string
	for i, master := range []string{"f.tif", "m.tif", "./f.tif", "m.tif"} {
		f := filepath.Join(folder, fmt.Sprintf("r%d.recipe", i))
		write(t, f, fmt.Sprintf("recipe 1 draft\nmaster %q\nprint p {\n    size 1 in wide at 40 ppi\n    enlarge with linear\n    save tiff \"p%d.tif\"\n}\n", master, i))
		files = append(files, f)
	}
	o, err := LoadOrder(context.Background(), files, LoadOptions{Resume: true})
	if err != nil {
		t.Fatal(err)
	}
	defer o.Close()
	if err := o.Build(context.Background(), BuildOptions{}, nil); err != nil || o.Failed() {
		t.Fatal(err, o.Rows[0].Err)
	}
	for i, r := range o.Rows {
		clipped := strings.Contains(strings.Join(r.Warnings, "\n"), "were clipped")
		if clipped != (i%2 == 0) || clipped && !strings.Contains(strings.Join(r.Built.Warnings, "\n"), r.Plan.Inputs[0].Path+": ") {
			t.Errorf("%s: %q", r.Recipe, r.Warnings)
		}
	}
}
