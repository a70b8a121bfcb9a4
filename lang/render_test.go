package lang

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
)

func TestRender(t *testing.T) {
	src := []byte("recipe 1 draft\n\tsharpen radius 1 px amout 80%\n")
	ds := []Diagnostic{{Error, "PM203", "a.recipe", Span{2, 22, 2, 27}, "sharpen has no parameter amout", "The rule.", []string{"did you mean amount?", "or not"}, nil}}
	var b bytes.Buffer
	if err := Render(&b, src, ds, RenderOptions{}); err != nil {
		t.Fatal(err)
	}
	want := `error: sharpen has no parameter amout [PM203]
  a.recipe:2:22
      sharpen radius 1 px amout 80%
                          ^^^^^
  The rule.
hint: did you mean amount?
hint: or not
`
	if b.String() != want {
		t.Errorf("got\n%s\nwant\n%s", b.String(), want)
	}
	b.Reset()
	Render(&b, src, ds, RenderOptions{Colour: true})
	if s := b.String(); !strings.Contains(s, "\x1b[1;31merror:\x1b[0m") || !strings.Contains(s, "\x1b[1;31m^^^^^\x1b[0m") {
		t.Errorf("colours: %q", s)
	}
}

// Marks stand under what they mean, whatever the width of the characters.
func TestUnderline(t *testing.T) {
	for _, c := range []struct {
		line       string
		span       Span
		width      int
		text, mark string
	}{
		{"  title x", Span{1, 9, 1, 10}, 80, "title x", "      ^"},
		{"a\tb", Span{1, 3, 1, 4}, 80, "a   b", "    ^"},
		{"title \"日本\" zz", Span{1, 12, 1, 14}, 80, "title \"日本\" zz", "             ^^"},
		{"title \"日本\"", Span{1, 8, 1, 10}, 80, "title \"日本\"", "       ^^^^"},
		{"e\u0301a b", Span{1, 5, 1, 6}, 80, "e\u0301a b", "   ^"},
		{"a\u200Bb", Span{1, 2, 1, 3}, 80, "a·b", " ^"},
		{"ab", Span{1, 3, 1, 3}, 80, "ab", "  ^"},
		{"ab", Span{1, 1, 2, 1}, 80, "ab", "^^"},
		{"x\x1b[2Jy", Span{1, 6, 1, 7}, 80, "x\uFFFD[2Jy", "     ^"},
		{strings.Repeat("ab ", 30) + "here" + strings.Repeat(" cd", 30), Span{1, 91, 1, 95}, 40, "…b ab ab ab here cd cd cd cd cd cd cd…", "            ^^^^"},
	} {
		text, mark := underline(c.line, c.span, c.width)
		if text != c.text && c.width == 80 || mark != c.mark && c.width == 80 {
			t.Errorf("%q %v:\n%s|\n%s| want\n%s|\n%s|", c.line, c.span, text, mark, c.text, c.mark)
		}
		if c.width < 80 {
			i := strings.Index(mark, "^")
			if cells.StringWidth(text) > c.width || string([]rune(text)[i:i+4]) != "here" {
				t.Errorf("cut: %s|\n%s|", text, mark)
			}
		}
	}
}

func TestRenderKeepsToTheWidth(t *testing.T) {
	long := strings.Repeat("word ", 60)
	ds := []Diagnostic{{Note, "PM451", "a.recipe", Span{1, 1, 1, 2}, long, long, []string{long}, nil}}
	var b bytes.Buffer
	Render(&b, []byte(long), ds, RenderOptions{Width: 50})
	for _, l := range strings.Split(b.String(), "\n") {
		if cells.StringWidth(l) > 50 {
			t.Errorf("too wide: %s", l)
		}
	}
}

func TestJSON(t *testing.T) {
	b, err := JSON(nil)
	if err != nil || string(b) != "[]" {
		t.Errorf("%s %v", b, err)
	}
	b, err = JSON([]Diagnostic{{Warning, "PM651", "a.recipe", Span{1, 2, 3, 4}, "s <b> & c", "", []string{"h"}, nil}})
	var back []map[string]any
	if err != nil || json.Unmarshal(b, &back) != nil {
		t.Fatalf("%s %v", b, err)
	}
	d := back[0]
	if d["severity"] != "warning" || d["code"] != "PM651" || d["line"] != 1.0 || d["end-line"] != 3.0 || d["end-column"] != 4.0 || !strings.Contains(string(b), "s <b> & c") || d["hints"].([]any)[0] != "h" {
		t.Errorf("%s", b)
	}
}
