package interp

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"platemark/interp/audit"
)

const keepRecipe = `recipe 1 draft
master "m.tif"
mask middle {
    ellipse at (50%, 50%) size 60% x 60% soft 30%
}
prepare {
    spot at (22%, 11%) radius 1%
}
print small {
    size 3 in x 2 in at 96 ppi
    enlarge with lanczos3 as crisp
    enlarge with mitchell as smooth
    blend smooth over crisp through middle at 40%
    sharpen radius 1 px amount 100%
    save tiff "small.tif"
}
`

// keeper builds a recipe again and again with steps kept in one folder.
type keeper struct {
	*testing.T
	folder, file string
	most         int64
	change       func(k *Keeping) // before a build, if set
}

func newKeeper(t *testing.T) *keeper {
	folder, file := smallJob(t, keepRecipe)
	return &keeper{T: t, folder: filepath.Join(folder, "steps"), file: file, most: 1e9}
}

// edit changes the recipe.
func (k *keeper) edit(old, text string) {
	write(k, k.file, strings.Replace(string(read(k, k.file)), old, text, 1))
}

// build builds, with what is kept or without, and returns the file, the determined
// lines of the log, how many pictures were taken, and what was told.
func (k *keeper) build(keep bool) (file, log string, taken int, told []string) {
	k.Helper()
	o := BuildOptions{Force: true}
	if keep {
		var err error
		if o.Keeping, err = NewKeeping(context.Background(), k.folder, k.most, func(what string) { told = append(told, what) }); err != nil {
			k.Fatal(err)
		}
		if k.change != nil {
			k.change(o.Keeping)
		}
	}
	b := mustBuild(k, k.file, LoadOptions{}, o)[0]
	l, err := audit.ReadLog(b.Log)
	if err != nil {
		k.Fatal(err)
	}
	return string(read(k, b.File)), string(bytes.Join(l.Lines[:len(l.Lines)-1], []byte("\n"))), len(l.Run.Taken), told
}

// same builds with what is kept, and asks that file and log be those of a build
// without.
func (k *keeper) same(taken, notes int) {
	k.Helper()
	file, log, n, told := k.build(true)
	wantFile, wantLog, _, _ := k.build(false)
	if file != wantFile || log != wantLog {
		k.Error("a build with kept steps comes to another file or log")
	}
	if n != taken || len(told) != notes {
		k.Errorf("%d pictures taken and told %q, expected %d and %d notes", n, told, taken, notes)
	}
}

func (k *keeper) pictures() []string {
	list, _ := filepath.Glob(filepath.Join(k.folder, "*"+keptSuffix))
	return list
}

// What is kept changes no byte of files and determined records: a change of the
// sharpening goes on from behind the enlargements, one of an enlargement from what
// prepare leaves, one of prepare from nothing.
func TestKeptStepsChangeNoByte(t *testing.T) {
	k := newKeeper(t)
	k.same(0, 0)
	if n := len(k.pictures()); n != 2 {
		t.Fatalf("%d pictures are kept, expected those of prepare and of blend", n)
	}
	k.same(1, 0)
	k.edit("amount 100%", "amount 150%")
	k.same(1, 0)
	if _, _, n, _ := k.build(true); n != 1 {
		t.Errorf("%d pictures taken", n)
	}
	k.edit("mitchell", "lanczos3")
	k.same(1, 0)
	k.edit("(22%, 11%)", "(40%, 30%)")
	k.same(0, 0)
}

// Pictures of another program and of a master with other bytes are never taken.
func TestKeptStepsAreOfThisProgramAndInput(t *testing.T) {
	k := newKeeper(t)
	k.same(0, 0)
	k.change = func(g *Keeping) { g.program[0]++ }
	k.same(0, 0)
	k.change = nil
	k.same(1, 0)
	writeMaster(t, filepath.Join(filepath.Dir(k.file), "m.tif"), 60, 40, 3, "opRGB")
	k.same(0, 0)
}

// A damaged picture is told once, removed and computed anew.
func TestDamagedKeptStepsAreMisses(t *testing.T) {
	whole := func(b []byte, at int) []byte { b[at] ^= 4; return b }
	for name, damage := range map[string]func(b []byte) []byte{
		"empty":          func(b []byte) []byte { return nil },
		"one byte":       func(b []byte) []byte { return b[:1] },
		"half":           func(b []byte) []byte { return b[:len(b)/2] },
		"last byte":      func(b []byte) []byte { return b[:len(b)-1] },
		"longer":         func(b []byte) []byte { return append(b, '\n') },
		"first sample":   func(b []byte) []byte { return whole(b, 0) },
		"a sample":       func(b []byte) []byte { return whole(b, len(b)/3) },
		"a record":       func(b []byte) []byte { return whole(b, len(b)-700) },
		"its own digest": func(b []byte) []byte { return whole(b, bytes.LastIndex(b, []byte(`"self":"`))+9) },
		"zeros":          func(b []byte) []byte { return make([]byte, len(b)) },
	} {
		t.Run(name, func(t *testing.T) {
			k := newKeeper(t)
			k.build(true)
			for _, p := range k.pictures() {
				write(t, p, string(damage(read(t, p))))
			}
			k.same(0, 2)
			k.same(1, 0)
		})
	}
	// The picture of one step under the name of another.
	k := newKeeper(t)
	k.build(true)
	list := k.pictures()
	a, b := read(t, list[0]), read(t, list[1])
	write(t, list[0], string(b))
	write(t, list[1], string(a))
	k.same(0, 2)
}

// All kept pictures together stay within the room that is given; those used
// longest ago go first, and what doesn't fit isn't begun.
func TestKeptStepsStayWithinTheirRoom(t *testing.T) {
	k := newKeeper(t)
	k.build(true)
	var sizes int64
	for _, p := range k.pictures() {
		st, err := os.Stat(p)
		if err != nil {
			t.Fatal(err)
		}
		sizes += st.Size()
	}
	first := k.pictures()
	long := time.Now().Add(-time.Hour)
	for _, p := range first {
		os.Chtimes(p, long, long)
	}
	k.most = sizes + 4096
	k.edit("(22%, 11%)", "(40%, 30%)")
	k.same(0, 0)
	now := k.pictures()
	if len(now) != 2 || slices.Contains(now, first[0]) || slices.Contains(now, first[1]) {
		t.Errorf("the folder holds %v, before %v", now, first)
	}
	k.same(1, 0)

	k = newKeeper(t)
	k.most = 1000
	k.same(0, 2)
	if n := len(k.pictures()); n != 0 {
		t.Errorf("%d pictures are kept where none fits", n)
	}
}

// A folder that can't be made, one that another run writes into, and a disk that
// fails end the keeping, with one note, and no build.
func TestKeepingEndsAndTheBuildGoesOn(t *testing.T) {
	k := newKeeper(t)
	write(t, k.folder, "a file in the folder's place")
	k.same(0, 1)

	k = newKeeper(t)
	k.build(true)
	other, err := NewKeeping(context.Background(), k.folder, 1e9, func(string) {})
	if err == nil {
		err = other.own()
	}
	if err != nil {
		t.Fatal(err)
	}
	k.same(1, 0) // reading needs no lock
	k.edit("(22%, 11%)", "(40%, 30%)")
	k.same(0, 1)
	other.close()
	k.same(0, 0)

	j := mustLoad(t, k.file, LoadOptions{NoOutputs: true})
	p := j.Plans[0]
	var told []string
	g, err := NewKeeping(context.Background(), filepath.Join(t.TempDir(), "steps"), 1e9, func(what string) { told = append(told, what) })
	if err != nil {
		t.Fatal(err)
	}
	defer g.close()
	seen := g.begin(p, p.Ready)
	g.under[p.Nodes[p.Ready].Key].file.Close() // every write fails from here on
	for y := range p.Nodes[p.Ready].Pic.H {
		seen(y, make([]uint16, p.Nodes[p.Ready].Pic.Stride()))
	}
	g.finish(p, nil)
	if len(told) != 1 || !g.ended {
		t.Errorf("told %q", told)
	}
}
