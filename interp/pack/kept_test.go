package pack

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"platemark/interp"
	"platemark/interp/audit"
	"platemark/testdata/frozen"
)

// The packages in testdata/packages were made by earlier commits, as the tests'
// recipe is packed, without a program. While the language is a draft, a piece that
// changes on purpose may change their prints: then, with its change note, they are
// made again by
//
//	PLATEMARK_KEEP=reeds-2026-11.zip go test -run TestKeptPackages ./interp/pack
//
// and never once every piece that they use is frozen.
const keptDir = "../../testdata/packages"

// What earlier commits packed is printed again, to the same bytes and the same
// records.
func TestKeptPackages(t *testing.T) {
	if name := os.Getenv("PLATEMARK_KEEP"); name != "" {
		keep(t, filepath.Join(keptDir, name))
	}
	list, err := filepath.Glob(filepath.Join(keptDir, "*.zip"))
	if err != nil || len(list) == 0 {
		t.Fatalf("no packages: %v", err)
	}
	for _, path := range list {
		if st, err := os.Stat(path); err != nil || st.Size() > 2_000_000 {
			t.Errorf("%s: %v, or above 2 MB", path, err)
		}
		if ok, wrong := verdict(t, path); !ok {
			t.Errorf("%s: %v", path, wrong)
		}
		l, now := rebuilt(t, path)
		was := records(t, l.Lines)
		if is := records(t, now.Lines); !slices.EqualFunc(was, is, bytes.Equal) {
			for i := range min(len(was), len(is)) {
				if !bytes.Equal(was[i], is[i]) {
					t.Fatalf("%s: line %d of its log\n%s\nis now\n%s", path, i+1, was[i], is[i])
				}
			}
			t.Fatalf("%s: its log has %d records, %d now", path, len(was), len(is))
		}
		if l.Head.Draft != frozen.Digest() {
			t.Logf("%s is of another draft: its recipe was built", path)
			continue
		}
		if _, _, err := Reprint(context.Background(), path, interp.ReprintOptions{BuildOptions: interp.BuildOptions{Out: t.TempDir()}}); err != nil {
			t.Error(err)
		}
	}
}

// rebuilt builds the recipe of a package with its inputs under their own names, and
// gives the log in the package and the new one.
func rebuilt(t *testing.T, path string) (l, now *audit.Log) {
	t.Helper()
	p, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	names, l, err := p.log(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for _, in := range append(names.Inputs, Named{Name: "r.recipe", Payload: recipeFile}) {
		if err := p.unpack(in.Payload, filepath.Join(dir, filepath.FromSlash(in.Name))); err != nil {
			t.Fatal(err)
		}
	}
	j, err := interp.Load(context.Background(), filepath.Join(dir, "r.recipe"), interp.LoadOptions{Prints: []string{names.Print}})
	if err != nil || j.Failed() {
		t.Fatal(err, j.Diags)
	}
	defer j.Close()
	b, err := interp.Build(context.Background(), j, interp.BuildOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if now, err = audit.ReadLog(b[0].Log); err != nil {
		t.Fatal(err)
	}
	return l, now
}

// records are the determined records of a log without what says which draft made
// them.
func records(t *testing.T, lines [][]byte) (list [][]byte) {
	t.Helper()
	for _, line := range lines[:len(lines)-1] {
		var r map[string]any
		if err := json.Unmarshal(line, &r); err != nil {
			t.Fatal(err)
		}
		delete(r, "prev")
		delete(r, "draft")
		b, err := json.Marshal(r)
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, b)
	}
	return list
}

// keep makes a package to be kept.
func keep(t *testing.T, path string) {
	t.Helper()
	_, log := printed(t)
	os.Remove(path)
	if _, err := Make(context.Background(), log, Options{Out: path, WithoutProgram: true}); err != nil {
		t.Fatal(err)
	}
}
