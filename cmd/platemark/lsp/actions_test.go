package lsp

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

// The mends of the problems in a range are offered as edits of the version that
// is open, the safe ones preferred, with the problem that each mends.
func TestMendsAreOffered(t *testing.T) {
	const src = "recipe 1 draft\nmaster \"ä.tif\"\nprint p {\n    sise 3 in x 2 in at 300 ppi\n    tone {   # é\n        exposure ,5 stop\n    }\n    sharpen radius .5 px amount 80%\n    save tiff \"p.tif\"\n}\n"
	c := start(t)
	c.ask("initialize", map[string]any{"capabilities": map[string]any{"workspace": map[string]any{"workspaceEdit": map[string]any{"documentChanges": true}}}}, nil)
	c.tell("initialized", map[string]any{})
	c.opens("untitled:1", src)
	ask := func(from, to int) []action {
		var out []action
		c.ask("textDocument/codeAction", map[string]any{"textDocument": docID{"untitled:1"}, "range": span{position{from, 0}, position{to, 0}}, "context": map[string]any{"diagnostics": []any{}}}, &out)
		return out
	}
	type offer struct {
		title string
		safe  bool
		edit  textEdit
	}
	var got []offer
	for _, a := range ask(0, 20) {
		if a.Kind != "quickfix" || len(a.Problems) != 1 || len(a.Edit.Versioned) != 1 || a.Edit.Versioned[0].Doc.Version != 1 {
			t.Fatalf("%+v", a)
		}
		got = append(got, offer{a.Title, a.Preferred, a.Edit.Versioned[0].Edits[0]})
	}
	want := []offer{
		{"did you mean size?", false, textEdit{span{position{3, 4}, position{3, 8}}, "size"}},
		{"write 0.5", true, textEdit{span{position{7, 19}, position{7, 21}}, "0.5"}},
	}
	if d := cmp.Diff(got, want, cmp.AllowUnexported(offer{})); d != "" {
		t.Error(d)
	}
	if n := len(ask(8, 9)); n != 0 {
		t.Errorf("%d mends where nothing is wrong", n)
	}
	c.leaves()
}
