package lsp

import (
	"encoding/json"
	"fmt"
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"platemark/lang"
	"platemark/ops/codec/tiff"
	"platemark/ops/colour"
)

const saltRoad = `recipe 1 draft

title   "Salt road, November"
master  "salt-road.tif"

mask grasses {
    stroke along (4%, 71%), (18%, 69.5%),
        (52%, 70%) width 6% soft 70%
}

mask rocks {
    polygon (61%, 58%), (74%, 55%), (80%, 67%)
    less mask grasses
}

steps wall {
    enlarge with lanczos3 as crisp
    enlarge with mitchell as smooth
    blend smooth over crisp through grasses at 40%
}

print large {
    size 60 in x 40 in at 300 ppi
    follow wall
    sharpen radius 1.8 px amount 190% through rocks
    save jpeg "large.jpg"
}

print small {
    size 2 in wide at 300 ppi
    follow wall
    save tiff "small.tif"
}
`

// writeMaster writes an empty master of w x h px.
func writeMaster(t testing.TB, path string, w, h int) {
	t.Helper()
	p, _ := colour.Space("opRGB")
	l, err := tiff.NewLayout(tiff.Options{W: w, H: h, C: 3, Bits: 16, PPI: big.NewRat(300, 1), ICC: p.Bytes()})
	if err != nil {
		t.Fatal(err)
	}
	b := append(l.Header(), make([]byte, 6*w*h)...)
	if err := os.WriteFile(path, append(b, l.Trailer()...), 0o666); err != nil {
		t.Fatal(err)
	}
}

// folder is a folder with a master, a recipe address in it and a session.
func folder(t testing.TB) (*client, string, string) {
	dir := t.TempDir()
	writeMaster(t, filepath.Join(dir, "salt-road.tif"), 600, 400)
	c := start(t)
	c.initialize()
	return c, dir, uriOf(filepath.Join(dir, "salt-road.recipe"))
}

func TestDiagnosticsWhileTyping(t *testing.T) {
	c, _, uri := folder(t)
	c.opens(uri, saltRoad)
	got := c.published(uri, 1)
	if len(got) != 1 || got[0].Code != "PM504" || got[0].Severity != 2 || got[0].Range != (span{position{22, 4}, position{22, 33}}) {
		t.Fatalf("right recipe: %+v", got) // few pixels for 60 inches: the planner's warning
	}
	// Typed: mitchel, a letter short.
	c.tell("textDocument/didChange", map[string]any{
		"textDocument":   map[string]any{"uri": uri, "version": 2},
		"contentChanges": []change{{&span{position{17, 24}, position{17, 25}}, ""}},
	})
	got = c.published(uri, 2)
	if len(got) != 1 || got[0].Code != "PM209" || got[0].Severity != 1 || got[0].Range != (span{position{17, 17}, position{17, 24}}) || !strings.Contains(got[0].Message, "hint: did you mean mitchell?") {
		t.Fatalf("%+v", got)
	}
	// Mended, and a line more at the top in the same change: the warning has
	// moved with its line.
	c.tell("textDocument/didChange", map[string]any{
		"textDocument": map[string]any{"uri": uri, "version": 3},
		"contentChanges": []change{
			{&span{position{17, 24}, position{17, 24}}, "l"},
			{&span{position{1, 0}, position{1, 0}}, "round   2\n"},
		},
	})
	got = c.published(uri, 3)
	if len(got) != 1 || got[0].Code != "PM504" || got[0].Range.Start != (position{23, 4}) {
		t.Fatalf("%+v", got)
	}
	// Its line changed: what was found about it is old.
	c.tell("textDocument/didChange", map[string]any{
		"textDocument":   map[string]any{"uri": uri, "version": 4},
		"contentChanges": []change{{&span{position{23, 9}, position{23, 22}}, "3 in x 2 in"}},
	})
	if got = c.published(uri, 4); len(got) != 0 {
		t.Fatalf("%+v", got)
	}
	c.tell("textDocument/didSave", inDoc(uri))
	if got = c.published(uri, 4); len(got) != 0 {
		t.Fatalf("%+v", got)
	}
	c.tell("textDocument/didClose", inDoc(uri))
	m := c.hear(func(m message) bool {
		return m.Method == "textDocument/publishDiagnostics" && !strings.Contains(string(m.Params), "version")
	})
	var p publishParams
	if err := json.Unmarshal(m.Params, &p); err != nil || p.URI != uri || len(p.Diagnostics) != 0 {
		t.Errorf("closed: %s %v", m.Params, err)
	}
	c.leaves()
}

// Files that are missing are told on opening, shapes that don't fit on saving.
func TestDiagnosticsOfFiles(t *testing.T) {
	c, dir, uri := folder(t)
	c.opens(uri, strings.Replace(saltRoad, "salt-road.tif", "salt-raod.tif", 1))
	got := c.published(uri, 1)
	if len(got) != 1 || got[0].Code != "PM510" || got[0].Range != (span{position{3, 8}, position{3, 23}}) {
		t.Fatalf("%+v", got)
	}
	writeMaster(t, filepath.Join(dir, "salt-raod.tif"), 400, 400)
	c.tell("textDocument/didSave", inDoc(uri))
	got = c.published(uri, 1)
	if len(got) != 1 || got[0].Code != "PM503" || got[0].Range.Start != (position{22, 4}) {
		t.Fatalf("%+v", got)
	}
	c.leaves()
}

// Places are UTF-16 units: a wide character is one, an emoji two, a combining
// mark one of its own.
func TestPlacesAreUTF16(t *testing.T) {
	for _, row := range []struct {
		title string
		units int // worked out by hand from the Unicode code charts
	}{
		{"plain", 5},
		{"塩の道", 3},
		{"👩🌾 🧂", 7},    // woman, rice, space, salt: 2+2+1+2
		{"e\u0301", 2}, // e with a combining acute
		{"é", 1},
		{"𝔸b", 3},
	} {
		for _, eol := range []string{"\n", "\r\n"} {
			c, _, uri := folder(t)
			src := strings.ReplaceAll(strings.Replace(saltRoad, "Salt road, November", row.title, 1), "\n", eol)
			src = strings.Replace(src, "master  ", `rights  "`+row.title+`" quality 3`+eol+"master  ", 1)
			c.opens(uri, src)
			got := c.published(uri, 1)
			// quality isn't a parameter of rights: rights, two spaces, the quotes
			// and the title stand before it.
			want := span{position{3, 11 + row.units}, position{3, 18 + row.units}}
			if len(got) == 0 || got[0].Range != want {
				t.Fatalf("%q: %+v, want %v", row.title, got, want)
			}
			// An edit behind the title lands where the editor meant it.
			c.tell("textDocument/didChange", map[string]any{
				"textDocument": map[string]any{"uri": uri, "version": 2},
				"contentChanges": []change{
					{&span{position{3, 10 + row.units}, position{3, 20 + row.units}}, ""},
				},
			})
			for _, d := range c.published(uri, 2) {
				if d.Range.Start.Line == 3 {
					t.Errorf("%q: %+v", row.title, d)
				}
			}
			c.leaves()
		}
	}
}

func TestHover(t *testing.T) {
	c, _, uri := folder(t)
	c.opens(uri, saltRoad)
	for _, row := range []struct {
		line, col int
		want      []string
		span      span
	}{
		// 60 in at 300 ppi is 18000 px; 600 px of the master on 60 in are 10 ppi.
		{22, 5, []string{"60 x 40 in, 18000 x 12000 px", "at 300 ppi", "10 pixels an inch of its own", "size"}, span{position{22, 4}, position{22, 8}}},
		// 2 in wide of a 3:2 picture: 600 x 400 px; 600 px on 2 in are 300 ppi.
		{29, 24, []string{"600 x 400 px", "2 x 1.33 in", "300 pixels an inch"}, span{position{29, 22}, position{29, 25}}},
		{24, 6, []string{"sharpen"}, span{position{24, 4}, position{24, 11}}},
		{24, 14, []string{"radius", "0.1 to 100 px"}, span{position{24, 12}, position{24, 18}}},
		{17, 20, []string{"mitchell"}, span{position{17, 17}, position{17, 25}}},
		{24, 48, []string{"mask **rocks**, line 11", "used once"}, span{position{24, 46}, position{24, 51}}},
		{3, 12, []string{"600 x 400 px", "16 bits"}, span{position{3, 8}, position{3, 23}}},
	} {
		var h hover
		c.ask("textDocument/hover", where(uri, row.line, row.col), &h)
		for _, w := range row.want {
			if !strings.Contains(h.Contents.Value, w) {
				t.Errorf("%d:%d: %q lacks %q", row.line, row.col, h.Contents.Value, w)
			}
		}
		if h.Range != row.span {
			t.Errorf("%d:%d: %v", row.line, row.col, h.Range)
		}
	}
	var none *hover
	c.ask("textDocument/hover", where(uri, 1, 0), &none)
	if none != nil {
		t.Errorf("%+v", none)
	}
	// Without a master the pixels of the line itself are shown.
	other := strings.Replace(uri, "salt-road.recipe", "none/other.recipe", 1)
	c.opens(other, saltRoad)
	var h hover
	c.ask("textDocument/hover", where(other, 22, 5), &h)
	if !strings.Contains(h.Contents.Value, "18000 x 12000 px") {
		t.Errorf("%q", h.Contents.Value)
	}
	c.leaves()
}

func TestSymbols(t *testing.T) {
	c, _, uri := folder(t)
	c.opens(uri, saltRoad)
	var got []symbol
	c.ask("textDocument/documentSymbol", inDoc(uri), &got)
	var list []string
	for _, s := range got {
		list = append(list, fmt.Sprintf("%s %s %d-%d", s.Detail, s.Name, s.Range.Start.Line, s.Range.End.Line))
		for _, k := range s.Children {
			list = append(list, "  "+k.Name)
		}
	}
	want := []string{"mask grasses 5-8", "mask rocks 10-13", "steps wall 15-19", "  crisp", "  smooth", "print large 21-26", "print small 28-32"}
	if cmp.Diff(list, want) != "" {
		t.Errorf("%q", list)
	}
	c.leaves()
}

func TestFormatting(t *testing.T) {
	c, _, uri := folder(t)
	right, _ := lang.Format("", []byte(saltRoad))
	src := strings.Replace(string(right), "    follow wall\n    sharpen", "  follow   wall # 塩\n    sharpen", 1)
	c.opens(uri, src)
	var edits []textEdit
	c.ask("textDocument/formatting", inDoc(uri), &edits)
	if len(edits) != 1 || edits[0].Range != (span{position{22, 0}, position{23, 0}}) {
		t.Fatalf("%+v", edits)
	}
	c.tell("textDocument/didChange", map[string]any{
		"textDocument":   map[string]any{"uri": uri, "version": 2},
		"contentChanges": []change{{&edits[0].Range, edits[0].Text}},
	})
	c.ask("textDocument/formatting", inDoc(uri), &edits)
	if len(edits) != 0 {
		t.Errorf("formatted twice: %+v", edits)
	}
	for _, text := range []string{strings.ReplaceAll(src, "\n", "\r\n"), "\uFEFF" + src, strings.TrimSuffix(src, "\n"), src + "\n\n\n"} {
		c.opens(uri, text)
		c.ask("textDocument/formatting", inDoc(uri), &edits)
		b := []byte(text)
		if len(edits) != 1 {
			t.Fatalf("%d edits", len(edits))
		}
		b = newText(uri, 1, b).apply(change{&edits[0].Range, edits[0].Text})
		c.opens(uri, string(b))
		c.ask("textDocument/formatting", inDoc(uri), &edits)
		if len(edits) != 0 {
			t.Errorf("formatted twice: %+v", edits)
		}
	}
	c.opens(uri, strings.Replace(src, "follow   wall", "folow   wall", 1))
	c.ask("textDocument/formatting", inDoc(uri), &edits)
	if len(edits) != 0 {
		t.Errorf("a wrong recipe is formatted: %+v", edits)
	}
	c.leaves()
}

func TestLife(t *testing.T) {
	c := start(t)
	if code, _ := c.fails("textDocument/hover", where("untitled:1", 0, 0)); code != -32002 {
		t.Errorf("before initialize: %d", code)
	}
	c.initialize()
	if code, _ := c.fails("initialize", map[string]any{}); code != -32600 {
		t.Errorf("initialize twice: %d", code)
	}
	if code, _ := c.fails("textDocument/hover", where("untitled:1", 0, 0)); code != -32602 {
		t.Errorf("a document that isn't open: %d", code)
	}
	if code, _ := c.fails("textDocument/onTypeFormatting", map[string]any{}); code != -32601 {
		t.Errorf("an unknown method: %d", code)
	}
	if code, _ := c.fails("textDocument/hover", []int{3}); code != -32602 {
		t.Errorf("parameters of another kind: %d", code)
	}
	// What is no message at all is answered, and the session goes on.
	for _, bad := range []string{"{", "[]", "null", `{"jsonrpc":"2.0"}`, `{"jsonrpc":"1.0","id":"x","method":3}`, "\xff\xfe", `{"id":null}`} {
		c.raw(bad)
	}
	for _, note := range []string{"textDocument/didOpen", "textDocument/didChange", "textDocument/didSave", "textDocument/didClose", "$/cancelRequest", "$/setTrace"} {
		c.tell(note, map[string]any{"textDocument": 3})
		c.tell(note, inDoc("untitled:none"))
		c.tell(note, nil)
	}
	c.opens("untitled:1", saltRoad)
	c.published("untitled:1", 1)
	c.ask("shutdown", nil, nil)
	if code, _ := c.fails("textDocument/hover", where("untitled:1", 0, 0)); code != -32600 {
		t.Errorf("after shutdown: %d", code)
	}
	c.tell("exit", nil)
	if err := <-c.done; err != nil {
		t.Error(err)
	}

	c = start(t)
	c.initialize()
	c.in.Close()
	if err := <-c.done; err != ErrUnasked {
		t.Errorf("left: %v", err)
	}
	c = start(t)
	c.initialize()
	c.tell("exit", nil)
	if err := <-c.done; err != ErrUnasked {
		t.Errorf("exit without shutdown: %v", err)
	}
	c = start(t)
	fmt.Fprint(c.in, "GET / HTTP/1.1\r\n\r\n")
	if err := <-c.done; err == nil || !strings.Contains(err.Error(), "can't be understood") {
		t.Errorf("another protocol: %v", err)
	}
}

// A request that is cancelled is answered as cancelled, or with its result
// where it was quicker.
func TestCancel(t *testing.T) {
	c, _, uri := folder(t)
	text := long()
	if testing.Short() { // beside the search for races, which is slow
		text = saltRoad
	}
	c.opens(uri, text)
	for range 10 {
		id := c.send("textDocument/formatting", inDoc(uri))
		c.tell("$/cancelRequest", map[string]any{"id": id})
		if m := c.reply(id); m.Error != nil && m.Error.Code != codeCancelled {
			t.Fatalf("%+v", m.Error)
		}
	}
	c.leaves()
}

// long is a recipe of more than 500 lines.
func long() string {
	var b strings.Builder
	b.WriteString("recipe 1 draft\nmaster \"salt-road.tif\"\nmask m {\n    stroke along (4%, 71%), (18%, 69.5%) width 6%\n}\nprepare {\n")
	for i := range 480 {
		fmt.Fprintf(&b, "    spot at (%d.5%%, %d%%) radius 0.06%%   # speck %d 塩\n", 1+i%98, 5+15*(i/98), i)
	}
	b.WriteString("}\n")
	for i := range 5 {
		fmt.Fprintf(&b, "print p%d {\n    size 3 in wide at 300 ppi\n    enlarge with mitchell\n    sharpen radius 1.8 px amount 190%% through m\n    save jpeg \"p%d.jpg\"\n}\n", i, i)
	}
	return b.String()
}

// From a keystroke in a recipe of 500 lines to its problems on the wire:
// well under 30 ms on a machine that does nothing else.
func BenchmarkKeystroke500Lines(b *testing.B) {
	c, _, uri := folder(b)
	src := long()
	if n := strings.Count(src, "\n"); n < 500 {
		b.Fatalf("%d lines", n)
	}
	c.opens(uri, src)
	c.published(uri, 1)
	v := 2
	for b.Loop() {
		c.tell("textDocument/didChange", map[string]any{
			"textDocument":   map[string]any{"uri": uri, "version": v},
			"contentChanges": []change{{&span{position{250, 0}, position{250, 0}}, " "}},
		})
		c.published(uri, v)
		v++
	}
	c.leaves()
}

// A long recipe that changes line by line is answered to the last version.
func TestLongRecipe(t *testing.T) {
	c, _, uri := folder(t)
	c.opens(uri, long())
	c.published(uri, 1)
	for v := 2; v < 8; v++ {
		c.tell("textDocument/didChange", map[string]any{
			"textDocument":   map[string]any{"uri": uri, "version": v},
			"contentChanges": []change{{&span{position{250, 0}, position{250, 0}}, " "}},
		})
		c.published(uri, v)
	}
	for _, ask := range []string{"textDocument/completion", "textDocument/hover", "textDocument/definition"} {
		c.ask(ask, where(uri, 490, 10), nil)
	}
	c.leaves()
}
