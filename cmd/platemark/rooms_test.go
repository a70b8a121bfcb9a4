package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// rooms says what each room may import of ours: lang and ops don't know each
// other, interp joins them, cmd only talks; interp/disk knows nothing of ours.
var rooms = map[string][]string{
	"lang":        {"lang", "testdata/frozen"},
	"ops":         {"ops"},
	"interp":      {"lang", "ops", "interp", "testdata"},
	"interp/disk": {},
	// Pages of true size hold whatever is drawn on them.
	"interp/pdf": {},
	// Signatures are of files, whatever those are.
	"interp/sign": {"interp/disk"},
	// The engine computes graphs of steps; it knows no recipe.
	"interp/engine": {"ops"},
	// What a recipe names is read without knowing the recipe.
	"interp/master": {"ops", "interp/disk"},
	// Logs are plain data: what a plan comes to is said above them.
	"interp/audit": {"lang", "ops/raster", "interp/disk", "interp/master"},
	// A plan is made without a pixel, of a recipe and what it names.
	"interp/plan": {"lang", "ops", "interp/disk", "interp/engine", "interp/master", "interp/audit", "testdata/frozen"},
	// What looks over a picture knows no recipe either.
	"interp/inspect": {"ops", "interp/engine"},
	// What stands above interp uses it as the command does.
	"interp/vectors":  {"lang", "ops", "interp", "interp/audit", "testdata/frozen", "testdata/standards/profiles"},
	"interp/rounds":   {"lang", "interp", "interp/disk", "interp/master", "interp/audit"},
	"interp/register": {"lang", "interp", "interp/disk", "interp/sign", "interp/audit", "interp/plan"},
	"interp/retouch":  {"lang", "ops", "interp", "interp/disk", "interp/inspect", "interp/master", "interp/audit", "interp/plan"},
	"interp/pack":     {"lang", "ops/raster", "interp", "interp/disk", "interp/sign", "interp/audit", "interp/register", "testdata/frozen", "testdata/second"},
	"interp/compare":  {"lang", "ops", "interp", "interp/disk", "interp/master", "interp/audit", "interp/plan", "interp/rounds"},
	"interp/proof":    {"lang", "ops", "interp", "interp/disk", "interp/master", "interp/plan"},
	// What was measured of a proof is held against profiles alone.
	"interp/wedge": {"ops"},
	"recipes":      {},
	// The demonstration's papers are computed by the formulas that proofs use.
	"recipes/paper": {"ops"},
	// What is looked at is what the steps make of photographs.
	"recipes/eye": {"ops", "testdata/photos"},
	"testdata":    {},
	// Recipes are written beside their pictures as editors are served.
	"cmd/platemark/desk": {"lang", "ops", "interp", "cmd/platemark/lsp", "cmd/platemark/view"},
	"cmd":                {"lang", "ops", "interp", "recipes", "cmd", "testdata/frozen"},
}

// floors are the rooms from the ground up: an import leads to a lower floor.
var floors = []string{"testdata", "lang", "ops", "recipes", "interp/disk", "interp/sign", "interp/pdf", "interp/engine", "interp/inspect", "interp/master", "interp/audit", "interp/plan", "interp", "interp/vectors", "interp/lint", "interp/rounds", "interp/register", "interp/retouch", "interp/pack", "interp/compare", "interp/proof", "interp/wedge", "cmd"}

// floor is the floor on which a folder lies: that of its room, or of the room
// around it.
func floor(folder string) int {
	for ; folder != "."; folder = path.Dir(folder) {
		if i := slices.Index(floors, folder); i >= 0 {
			return i
		}
	}
	return -1
}

// printPathBans are packages whose results differ between machines, releases
// or runs; nothing under ops may use them outside tests.
var printPathBans = []string{"math/rand", "math/rand/v2", "image/jpeg", "image/png", "compress/", "time", "os", "io/fs", "runtime", "encoding/json"}

func TestRooms(t *testing.T) {
	root := filepath.Join("..", "..")
	seen, up := 0, 0
	err := filepath.WalkDir(root, func(file string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && strings.HasPrefix(d.Name(), ".") && file != root {
			return fs.SkipDir
		}
		if !strings.HasSuffix(file, ".go") || strings.HasSuffix(file, "_test.go") {
			return nil
		}
		rel, err := filepath.Rel(root, file)
		if err != nil {
			return err
		}
		rel = filepath.ToSlash(rel)
		room, _, _ := strings.Cut(rel, "/")
		may, ok := rooms[filepath.ToSlash(filepath.Dir(rel))] // a room within a room
		if !ok {
			may, ok = rooms[room]
		}
		if !ok {
			t.Errorf("%s lies in no room", rel)
			return nil
		}
		f, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		seen++
		for _, i := range f.Imports {
			name, err := strconv.Unquote(i.Path.Value)
			if err != nil {
				return err
			}
			if ours, ok := strings.CutPrefix(name, "platemark/"); ok {
				if from, to := floor(path.Dir(rel)), floor(ours); to > from {
					up++
					t.Errorf("%s imports %s, which lies above it", rel, ours)
				}
				fine := false
				for _, m := range may {
					fine = fine || ours == m || strings.HasPrefix(ours, m+"/")
				}
				if !fine {
					t.Errorf("%s imports %s; %s may import of ours: %v", rel, name, room, may)
				}
			}
			if room != "ops" || strings.Contains(rel, "tifftest") {
				continue
			}
			for _, ban := range printPathBans {
				if name == ban || strings.HasSuffix(ban, "/") && strings.HasPrefix(name, ban) {
					if strings.HasPrefix(rel, "ops/raster/") && name == "runtime" {
						continue // asks for a collection, so that a large picture's memory is given back, or used next
					}
					if rel == "ops/raster/store.go" && name == "os" {
						continue // holds an open temporary file, opens none
					}
					if strings.HasPrefix(rel, "ops/codec/") && name == "compress/zlib" {
						continue // unpacking has one right answer; nothing is packed with it
					}
					t.Errorf("%s is on the print path and imports %s", rel, name)
				}
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if seen < 30 || up > 0 {
		t.Errorf("%d files were looked at, %d imports run up", seen, up)
	}
}
