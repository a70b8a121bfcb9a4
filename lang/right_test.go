package lang

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
)

// rightFiles returns the recipes that must read without a word of complaint.
func rightFiles(t testing.TB) map[string][]byte {
	t.Helper()
	files, err := filepath.Glob("testdata/right/*.recipe")
	if err != nil || len(files) == 0 {
		t.Fatalf("no right recipes: %v", err)
	}
	out := map[string][]byte{}
	for _, f := range files {
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		out[f] = b
	}
	return out
}

func TestRightRecipesAreRight(t *testing.T) {
	for f, src := range rightFiles(t) {
		rec, ds := Parse(f, src)
		if len(ds) > 0 {
			var b bytes.Buffer
			Render(&b, src, ds, RenderOptions{})
			t.Errorf("%s:\n%s", f, b.String())
		}
		if rec.Version != 1 || !rec.Draft {
			t.Errorf("%s: version %d, draft %v", f, rec.Version, rec.Draft)
		}
	}
}
