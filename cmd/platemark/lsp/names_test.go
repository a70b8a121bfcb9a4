package lsp

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// placesOf finds every place of a word in a text, by the test's own count.
func placesOf(src, word string) []span {
	var out []span
	for n, l := range strings.Split(src, "\n") {
		for i := 0; ; {
			k := strings.Index(l[i:], word)
			if k < 0 {
				break
			}
			i += k
			out = append(out, span{position{n, i}, position{n, i + len(word)}})
			i += len(word)
		}
	}
	return out
}

func TestNames(t *testing.T) {
	c, _, uri := folder(t)
	c.opens(uri, saltRoad)
	for _, name := range []string{"grasses", "rocks", "wall", "crisp", "smooth", "small"} {
		all := placesOf(saltRoad, name)
		if name == "small" {
			all = all[:1] // the other is the file's name
		}
		for _, p := range all {
			var def, refs []location
			c.ask("textDocument/definition", where(uri, p.Start.Line, p.Start.Character+1), &def)
			if len(def) != 1 || def[0].URI != uri || def[0].Range != all[0] {
				t.Errorf("%s: defined at %v, want %v", name, def, all[0])
			}
			q := where(uri, p.End.Line, p.End.Character) // behind the last letter
			q["context"] = map[string]any{"includeDeclaration": true}
			c.ask("textDocument/references", q, &refs)
			var got []span
			for _, r := range refs {
				got = append(got, r.Range)
			}
			if cmp.Diff(got, all) != "" {
				t.Errorf("%s: used at %v, want %v", name, got, all)
			}
			q["context"] = map[string]any{"includeDeclaration": false}
			c.ask("textDocument/references", q, &refs)
			if len(refs) != len(all)-1 {
				t.Errorf("%s: %d uses", name, len(refs))
			}
			var edit workspaceEdit
			r := where(uri, p.Start.Line, p.Start.Character)
			r["newName"] = "other-1"
			c.ask("textDocument/rename", r, &edit)
			got = nil
			for _, e := range edit.Changes[uri] {
				got = append(got, e.Range)
				if e.Text != "other-1" {
					t.Errorf("%s becomes %q", name, e.Text)
				}
			}
			if cmp.Diff(got, all) != "" {
				t.Errorf("%s: renamed at %v, want %v", name, got, all)
			}
		}
	}
	crisp := placesOf(saltRoad, "crisp")[0].Start
	for name, why := range map[string]string{
		"sharpen": "a word of the language", "lanczos3": "a word of the language", "grain": "a word of the language",
		"smooth": "the name of a picture already", "grasses": "the name of a mask already", "wall": "the name of a steps block already",
		"": "a name begins with a letter", "2nd": "a name begins with a letter", "Crisp": "a name begins with a letter", "a b": "a name begins with a letter", "ä": "a name begins with a letter",
	} {
		r := where(uri, crisp.Line, crisp.Character)
		r["newName"] = name
		code, what := c.fails("textDocument/rename", r)
		if code != codeRefused || !strings.Contains(what, why) {
			t.Errorf("%q: %d %s", name, code, what)
		}
	}
	if code, what := c.fails("textDocument/prepareRename", where(uri, 0, 3)); code != codeRefused || !strings.Contains(what, "can be renamed") {
		t.Errorf("%d %s", code, what)
	}
	var p prepared
	c.ask("textDocument/prepareRename", where(uri, crisp.Line, crisp.Character+2), &p)
	if p.Placeholder != "crisp" || p.Range != placesOf(saltRoad, "crisp")[0] {
		t.Errorf("%+v", p)
	}
	var def []location
	c.ask("textDocument/definition", where(uri, 22, 6), &def)
	if len(def) != 0 {
		t.Errorf("size is defined at %v", def)
	}
	c.leaves()
}

// Pictures of two prints with one name are two; a shared block joins them.
func TestNamesOfPicturesHoldInTheirPrint(t *testing.T) {
	src := `recipe 1 draft
master "m.tif"
steps tail {
    take shared
}
print a {
    size 3 in wide at 100 ppi
    enlarge with cubic as own
    take own
    sharpen radius 1 px amount 100% as shared
    follow tail
    save tiff "a.tif"
}
print b {
    size 3 in wide at 100 ppi
    enlarge with cubic as own
    take own
    sharpen radius 1 px amount 100% as shared
    follow tail
    save tiff "b.tif"
}
`
	c := start(t)
	c.initialize()
	c.opens("untitled:1", src)
	count := func(line int, name string) int {
		var edit workspaceEdit
		col := strings.Index(strings.Split(src, "\n")[line], name)
		r := where("untitled:1", line, col)
		r["newName"] = "fresh"
		c.ask("textDocument/rename", r, &edit)
		return len(edit.Changes["untitled:1"])
	}
	if n := count(7, "own"); n != 2 {
		t.Errorf("own: %d places, want 2", n)
	}
	if n := count(3, "shared"); n != 3 {
		t.Errorf("shared: %d places, want 3", n)
	}
	r := where("untitled:1", 7, 27)
	r["newName"] = "shared"
	if _, what := c.fails("textDocument/rename", r); !strings.Contains(what, "already") {
		t.Error(what)
	}
	c.leaves()
}
