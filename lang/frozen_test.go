package lang

import (
	"strings"
	"testing"

	"platemark/testdata/frozen"
)

// Every statement is a piece of the table, and every piece that is a statement
// one of the language.
func TestEveryStatementIsAPiece(t *testing.T) {
	named := map[string]bool{}
	for _, s := range Statements() {
		name := "statement " + s.heading()
		named[name] = true
		if _, ok := frozen.Find(name); !ok {
			t.Errorf("testdata/frozen/pieces.go has no %s", name)
		}
	}
	for _, p := range frozen.Pieces() {
		if p.Kind == "statement" && !named[p.String()] {
			t.Errorf("testdata/frozen/pieces.go has the %s; the language hasn't", p)
		}
	}
}

// freeze freezes the pieces that a test chooses.
func freeze(t *testing.T, chosen func(frozen.Piece) bool) {
	t.Helper()
	var table []frozen.Piece
	for _, p := range frozen.Pieces() {
		p.Frozen = chosen(p)
		table = append(table, p)
	}
	t.Cleanup(frozen.TestOnlyBecome(frozen.List(), table))
}

// Without draft a recipe may use frozen statements only; the error names the
// first that isn't and its line, and the others, each once. The reference says
// which those are.
func TestRecipeWithoutDraftUsesFrozenStatements(t *testing.T) {
	drafts := map[string]bool{"sharpen": true, "curve, in a tone": true, "stroke": true}
	freeze(t, func(p frozen.Piece) bool { return !drafts[p.Name] })
	const text = `recipe 1
master "m.tif"
mask reeds {
    stroke along (10%, 50%), (90%, 50%) width 9%
    stroke along (10%, 70%), (90%, 70%) width 9%
}
print p {
    size 3 in x 2 in at 300 ppi
    sharpen radius 1 px amount 50% through reeds
    tone {
        curve (0, 0), (50, 55), (100, 100)
    }
    save tiff "p.tif"
}
`
	_, ds := Parse("", []byte(text))
	if len(ds) != 1 || ds[0].Code != "PM703" || ds[0].Span.Line != 4 || ds[0].Summary != "the statement stroke isn't frozen yet" ||
		!strings.HasSuffix(ds[0].Detail, "Drafts too: statement sharpen (line 9), statement curve, in a tone (line 11).") || ds[0].Hints[0] != "write recipe 1 draft" {
		t.Errorf("%+v", ds)
	}
	for title, want := range map[string]string{"sharpen": "text\n\nDraft: ", "crop": "text\n\nFrozen: "} {
		if e := sectionEntries("Steps", specHeading{title, "text"}); !strings.HasPrefix(e[0].Markdown, want) {
			t.Errorf("explain %s says %q", title, e[0].Markdown)
		}
	}
	for _, right := range []string{strings.Replace(text, "recipe 1", "recipe 1 draft", 1), "recipe 1\nmaster \"m.tif\"\nprint p {\n    size 3 in x 2 in at 300 ppi\n    save tiff \"p.tif\"\n}\n"} {
		if rec, ds := Parse("", []byte(right)); len(ds) > 0 || rec.Version != 1 {
			t.Errorf("%v", ds)
		}
	}
}
