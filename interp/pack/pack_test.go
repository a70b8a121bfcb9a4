package pack

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"platemark/interp"
	"platemark/interp/interptest"
	"platemark/ops/colour"
)

// recipe names its inputs as photographers and scanners do; two are equal bytes.
const recipe = `recipe 1 draft
title  "Reeds"
rights "invented, free to use"
master "scans/50%.tif"
mask reeds {
    file "a b#[1].tif"
}
mask shore {
    file "x%0Ay.tif"
}
prepare {
    spot pixels over 12%
    spot at (22%, 31%) radius 0.9%
    spot at (68%, 20%) radius 1% soft 50% from (75%, 40%)
    tone {
        exposure  +0.2 stops
        contrast  +5%
    }
}
print wall {
    size 3 in x 2 in at 80 ppi
    enlarge with lanczos3 as crisp
    enlarge with mitchell as smooth
    blend smooth over crisp through reeds at 40%
    sharpen radius 1 px amount 150% through reeds
    sharpen radius 2 px amount 50% through shore
    convert to profile "Été.icc"
    save jpeg "out/Wall 3x2.JPG" quality 90
}
`

// printed builds the recipe in a new folder and gives its log.
func printed(t testing.TB) (folder, log string) {
	t.Helper()
	folder = t.TempDir()
	interptest.WriteMaster(t, filepath.Join(folder, "scans", "50%.tif"), 120, 80, 3, "opRGB")
	interptest.WriteMaster(t, filepath.Join(folder, "a b#[1].tif"), 60, 40, 1, "")
	interptest.Write(t, filepath.Join(folder, "x%0Ay.tif"), string(interptest.Read(t, filepath.Join(folder, "a b#[1].tif"))))
	space, _ := colour.Space("sRGB")
	interptest.Write(t, filepath.Join(folder, "Été.icc"), string(space.Bytes()))
	file := filepath.Join(folder, "reeds.recipe")
	interptest.Write(t, file, recipe)
	j, err := interp.Load(context.Background(), file, interp.LoadOptions{})
	if err != nil || j.Failed() {
		t.Fatal(err, j.Diags)
	}
	defer j.Close()
	b, err := interp.Build(context.Background(), j, interp.BuildOptions{})
	if err != nil {
		t.Fatal(err)
	}
	return folder, b[0].Log
}

// packed makes a package and deletes all that it was made from.
func packed(t testing.TB, out string, o Options) (path string, print []byte, made *Made) {
	t.Helper()
	folder, log := printed(t)
	print = interptest.Read(t, filepath.Join(folder, "out", "Wall 3x2.JPG"))
	o.Out, o.WithoutProgram = filepath.Join(t.TempDir(), out), true
	made, err := Make(context.Background(), log, o)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.RemoveAll(folder); err != nil {
		t.Fatal(err)
	}
	return made.Path, print, made
}

// verdict is what verifying a package comes to, and the lines that say what is
// wrong.
func verdict(t testing.TB, path string) (ok bool, wrong []string) {
	t.Helper()
	v, err := Verify(context.Background(), path, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range v.Lines {
		if l.State == interp.Wrong {
			wrong = append(wrong, l.What)
		}
	}
	return v.OK, wrong
}

// What was packed makes the same print when all else is gone, as a folder and as
// a zip file, with the print file and without; names in it are plain, and the
// recipe's own are used.
func TestReprintFromPackageAlone(t *testing.T) {
	for _, out := range []string{"Été 1", "Été 1.zip"} {
		for _, without := range []bool{false, true} {
			path, print, made := packed(t, out, Options{WithoutPrint: without})
			if ok, wrong := verdict(t, path); !ok {
				t.Errorf("%s: %v", out, wrong)
			}
			if n := len(made.Absent); without != strings.HasPrefix(made.Absent[0], "the print file: ") || n != 2 && !without || n != 3 && without {
				t.Errorf("%s: absent: %q", out, made.Absent)
			}
			again := t.TempDir()
			b, l, err := Reprint(context.Background(), path, interp.ReprintOptions{BuildOptions: interp.BuildOptions{Out: again}})
			if err != nil {
				t.Fatal(err)
			}
			if filepath.Base(b.File) != "Wall 3x2.JPG" || !bytes.Equal(interptest.Read(t, b.File), print) || l.Inputs[0].Path != "scans/50%.tif" {
				t.Errorf("%s: the reprint %s isn't the print", out, b.File)
			}
			p, err := Open(path)
			if err != nil {
				t.Fatal(err)
			}
			for name := range p.sizes {
				if strings.Trim(name, "abcdefghijklmnopqrstuvwxyz0123456789._-/") != "" {
					t.Errorf("%s: a name in it: %s", out, name)
				}
			}
			p.Close()
			if out == "Été 1.zip" && p.base != "ete-1" {
				t.Errorf("the folder in the zip file is %q", p.base)
			}
			// What was reprinted verifies beside a folder.
			v, err := interp.Verify(context.Background(), b.Log, interp.VerifyOptions{})
			if err != nil || v.OK != (p.path != "") {
				t.Errorf("%s: the new log: %v %+v", out, err, v)
			}
		}
	}
}

// Each file that is changed by a bit, or is missing, is named.
func TestEachDamagedFileIsNamed(t *testing.T) {
	folder, _, _ := packed(t, "p", Options{})
	zipped, _, _ := packed(t, "p.zip", Options{})
	p, err := Open(folder)
	if err != nil {
		t.Fatal(err)
	}
	p.Close()
	whole := interptest.Read(t, zipped)
	for _, name := range slices.Sorted(maps.Keys(p.sizes)) {
		path := filepath.Join(folder, filepath.FromSlash(name))
		b := interptest.Read(t, path)
		bad := bytes.Clone(b)
		bad[len(bad)/2] ^= 1
		interptest.Write(t, path, string(bad))
		if ok, wrong := verdict(t, folder); ok || name != tagFile && !strings.Contains(strings.Join(wrong, "\n"), name) {
			t.Errorf("%s changed: %v", name, wrong)
		} else if strings.HasPrefix(name, "data/") && len(wrong) != 1 {
			t.Errorf("%s changed, and more is said to be wrong: %v", name, wrong)
		}
		if err := os.Remove(path); err != nil {
			t.Fatal(err)
		}
		if ok, wrong := verdict(t, folder); ok || !strings.Contains(strings.Join(wrong, "\n"), name) {
			t.Errorf("%s removed: %v", name, wrong)
		}
		interptest.Write(t, path, string(b))

		// In the zip file, where its bytes are stored as they are.
		if n := bytes.Count(whole, b); n == 1 {
			bad := bytes.Clone(whole)
			bad[bytes.Index(whole, b)+len(b)/2] ^= 1
			interptest.Write(t, zipped, string(bad))
			if ok, wrong := verdict(t, zipped); ok || !strings.Contains(strings.Join(wrong, "\n"), name) {
				t.Errorf("%s changed in the zip file: %v", name, wrong)
			}
		}
	}
	interptest.Write(t, zipped, string(whole))
	for _, path := range []string{folder, zipped} {
		if ok, wrong := verdict(t, path); !ok {
			t.Errorf("%s as it was: %v", path, wrong)
		}
	}
}

// A reprint from a damaged package names the file and writes nothing; a damaged
// book stands in no print's way.
func TestReprintFromDamagedPackage(t *testing.T) {
	path, _, _ := packed(t, "p", Options{})
	damage := func(name string) func() {
		file := filepath.Join(path, filepath.FromSlash(name))
		b := interptest.Read(t, file)
		interptest.Write(t, file, string(b[1:]))
		return func() { interptest.Write(t, file, string(b)) }
	}
	again := t.TempDir()
	for _, name := range []string{"data/inputs/master-1.tif", logFile, namesFile, tagFile} {
		mend := damage(name)
		if _, _, err := Reprint(context.Background(), path, interp.ReprintOptions{BuildOptions: interp.BuildOptions{Out: again}}); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s damaged: %v", name, err)
		}
		mend()
	}
	if list, _ := os.ReadDir(again); len(list) > 0 {
		t.Errorf("%v was written", list)
	}
	damage("data/books/guide.md")
	if _, _, err := Reprint(context.Background(), path, interp.ReprintOptions{BuildOptions: interp.BuildOptions{Out: again}}); err != nil {
		t.Error(err)
	}
	for _, out := range []string{path, filepath.Join(path, "data", "again")} {
		if _, _, err := Reprint(context.Background(), path, interp.ReprintOptions{BuildOptions: interp.BuildOptions{Out: out}}); err == nil || !strings.Contains(err.Error(), "--out") {
			t.Errorf("into the package: %v", err)
		}
	}
}

// What can't be packed is said, and leaves nothing.
func TestPackRefusals(t *testing.T) {
	ctx := context.Background()
	folder, log := printed(t)
	out := filepath.Join(t.TempDir(), "p")
	refused := func(o Options, want ...string) {
		t.Helper()
		o.Out, o.WithoutProgram = out, true
		_, err := Make(ctx, log, o)
		for _, w := range want {
			if err == nil || !strings.Contains(err.Error(), w) {
				t.Errorf("expected %q: %v", w, err)
			}
		}
		if list, _ := os.ReadDir(filepath.Dir(out)); len(list) > 0 {
			t.Errorf("%v was left", list)
		}
	}
	refused(Options{Source: folder}, "isn't the source of this program")
	print := filepath.Join(folder, "out", "Wall 3x2.JPG")
	old := interptest.Read(t, print)
	interptest.Write(t, print, "changed")
	refused(Options{}, "isn't the file that the log records", "--without-print")
	os.Remove(print)
	refused(Options{}, "isn't there", "--without-print")
	// It is found elsewhere by its digest, and so is an input.
	archive := t.TempDir()
	interptest.Write(t, filepath.Join(archive, "kept.jpg"), string(old))
	if err := os.Rename(filepath.Join(folder, "Été.icc"), filepath.Join(archive, "E\u0301te\u0301.icc")); err != nil {
		t.Fatal(err)
	}
	m, err := Make(ctx, log, Options{Out: filepath.Join(archive, "p.zip"), LookIn: []string{archive}, WithoutProgram: true})
	if err != nil || len(m.Elsewhere) != 2 || !strings.Contains(m.Elsewhere[1], "kept.jpg") {
		t.Errorf("%v %+v", err, m)
	}
	if _, err := Make(ctx, log, Options{Out: filepath.Join(archive, "p.zip"), LookIn: []string{archive}}); !errors.Is(err, fs.ErrExist) {
		t.Errorf("a name that is taken: %v", err)
	}
	os.Remove(filepath.Join(folder, "scans", "50%.tif"))
	refused(Options{}, "the master scans/50%.tif (", "the profile Été.icc (")
}

// A package too large for a zip file that everything reads is a folder.
func TestLargePackageIsAFolder(t *testing.T) {
	was := zipLimit
	zipLimit = 1 << 19
	defer func() { zipLimit = was }()
	path, _, made := packed(t, "p.zip", Options{})
	if !made.Folder || filepath.Base(path) != "p" {
		t.Errorf("%+v", made)
	}
	if ok, wrong := verdict(t, path); !ok {
		t.Error(wrong)
	}
}

// stopped is a context that ends after some questions.
type stopped struct {
	context.Context
	left *int
}

func (s stopped) Err() error {
	if *s.left--; *s.left < 0 {
		return context.Canceled
	}
	return nil
}

// Packing that is stopped at any moment leaves nothing.
func TestPackingStopped(t *testing.T) {
	_, log := printed(t)
	for _, name := range []string{"p", "p.zip"} {
		for _, n := range []int{5, 40, 100, 250} {
			dir := t.TempDir()
			ctx, cancel := context.WithCancelCause(context.Background())
			cancel(context.Canceled)
			_, err := Make(stopped{ctx, &n}, log, Options{Out: filepath.Join(dir, name), WithoutProgram: true})
			if list, _ := os.ReadDir(dir); !errors.Is(err, context.Canceled) || len(list) > 0 {
				t.Errorf("%s: %v, %s was left", name, err, fmt.Sprint(list))
			}
		}
	}
}
