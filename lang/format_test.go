package lang

import (
	"bytes"
	"fmt"
	"math/big"
	"math/rand"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"unicode/utf8"
)

// meaning writes a tree without its places.
func meaning(rec *Recipe) string {
	var b strings.Builder
	var walk func(v reflect.Value)
	walk = func(v reflect.Value) {
		switch {
		case v.Type() == reflect.TypeOf((*big.Rat)(nil)):
			if !v.IsNil() {
				b.WriteString(v.Interface().(*big.Rat).RatString())
			}
		case v.Kind() == reflect.Pointer || v.Kind() == reflect.Interface:
			if v.IsNil() {
				b.WriteString("-")
				return
			}
			walk(v.Elem())
		case v.Kind() == reflect.Slice:
			b.WriteString("[")
			for i := 0; i < v.Len(); i++ {
				walk(v.Index(i))
			}
			b.WriteString("]")
		case v.Kind() == reflect.Struct:
			if v.Type() == reflect.TypeOf(Span{}) {
				return
			}
			b.WriteString(v.Type().Name() + "{")
			for i := 0; i < v.NumField(); i++ {
				walk(v.Field(i))
				b.WriteString(" ")
			}
			b.WriteString("}")
		default:
			fmt.Fprintf(&b, "%q", fmt.Sprint(v.Interface()))
		}
	}
	walk(reflect.ValueOf(rec))
	return b.String()
}

// beside lists every comment with the number of tokens before it, and every
// token as it is written: what formatting must keep.
func beside(src []byte) (comments, tokens []string) {
	s, _ := ReadSource("", src)
	n := 0
	for i := range s.Lines {
		l := &s.Lines[i]
		cs := l.Comments
		for _, t := range l.Tokens {
			for len(cs) > 0 && cs[0].Offset < t.Offset {
				comments = append(comments, fmt.Sprint(n, " ", cs[0].Text))
				cs = cs[1:]
			}
			tokens = append(tokens, string(src[t.Offset:t.End]))
			n++
		}
		for _, c := range cs {
			comments = append(comments, fmt.Sprint(n, " ", c.Text))
		}
	}
	return comments, tokens
}

// checkFormat checks all that formatting promises, on a text without errors.
func checkFormat(t *testing.T, src []byte) []byte {
	t.Helper()
	out, ds := Format("x.recipe", src)
	if out == nil && HasErrors(ds) {
		return nil
	}
	again, ds := Format("x.recipe", out)
	if HasErrors(ds) || !bytes.Equal(out, again) {
		t.Fatalf("formatting twice isn't formatting once: %v\n%q\n%s\n%s", ds, src, out, again)
	}
	before, _ := Parse("x.recipe", src)
	after, _ := Parse("x.recipe", out)
	if a, b := meaning(before), meaning(after); a != b {
		t.Fatalf("the meaning changed:\n%s\n%s\n%q\n%s", a, b, src, out)
	}
	c1, t1 := beside(src)
	c2, t2 := beside(out)
	if !reflect.DeepEqual(c1, c2) {
		t.Fatalf("comments changed:\n%q\n%q\n%s", c1, c2, out)
	}
	if !reflect.DeepEqual(t1, t2) {
		t.Fatalf("words changed:\n%q\n%q", t1, t2)
	}
	if bytes.Contains(out, []byte("\r")) || bytes.HasPrefix(out, []byte("\uFEFF")) || bytes.Contains(out, []byte("\n\n\n")) ||
		bytes.Contains(out, []byte(" \n")) || len(out) > 0 && out[len(out)-1] != '\n' || bytes.HasPrefix(out, []byte("\n")) || bytes.HasSuffix(out, []byte("\n\n")) {
		t.Fatalf("loose ends:\n%q", out)
	}
	return out
}

// 500 generated recipes in untidy layouts. Formatting twice equals
// formatting once, every comment survives word for word beside its statement,
// and the meaning stays.
func TestFormattingKeepsWhatItFinds(t *testing.T) {
	g := &gen{r: rand.New(rand.NewSource(6))}
	seen := map[string]bool{}
	for range 500 {
		lines := g.recipe(t)
		for _, l := range lines {
			w, _, _ := strings.Cut(l, " ")
			seen[w] = true
		}
		src := g.untidy(lines)
		_, ds := Parse("x.recipe", []byte(src))
		if HasErrors(ds) {
			t.Fatalf("the untidy layout means something else: %v\n%s", ds, src)
		}
		if out := checkFormat(t, []byte(src)); out == nil {
			t.Fatalf("refused:\n%s", src)
		}
	}
	for _, f := range Statements() {
		if w := f.Word; w != "" && !seen[w] {
			t.Errorf("no generated recipe has a %s", w)
		}
	}
}

// The texts on which formatters elsewhere lost a comment.
func TestSmallTexts(t *testing.T) {
	head := "recipe 1 draft\nmaster \"a.tif\"\nprint p {\nsize 3 in x 2 in at 40 ppi\n"
	tail := "save tiff \"p.tif\"\n}"
	for name, c := range map[string][2]string{
		"comments only":        {"\n\n  # one\n\n\n\t# two", "# one\n\n# two\n"},
		"nothing":              {"", ""},
		"blank lines only":     {"\r\n \n\n", ""},
		"no line end":          {head + tail + " # last", "recipe 1 draft\nmaster  \"a.tif\"\nprint p {\n    size 3 in x 2 in at 40 ppi\n    save tiff \"p.tif\"\n}" + strings.Repeat(" ", 43) + "# last\n"},
		"comment at the end":   {head + tail + "\n\n\n#last", "recipe 1 draft\nmaster  \"a.tif\"\nprint p {\n    size 3 in x 2 in at 40 ppi\n    save tiff \"p.tif\"\n}\n\n#last\n"},
		"empty block":          {"recipe 1 draft\nmaster \"a.tif\"\nprepare {\n\n# nothing yet,\n\n\n}\n" + head[30:] + tail, "recipe 1 draft\nmaster  \"a.tif\"\nprepare {\n    # nothing yet,\n}\nprint p {\n    size 3 in x 2 in at 40 ppi\n    save tiff \"p.tif\"\n}\n"},
		"commented-out step":   {head + "#  sharpen radius 1.8 px   amount 190%\n" + tail, "recipe 1 draft\nmaster  \"a.tif\"\nprint p {\n    size 3 in x 2 in at 40 ppi\n    #  sharpen radius 1.8 px   amount 190%\n    save tiff \"p.tif\"\n}\n"},
		"comment behind brace": {head[:30] + "print p {# here\n" + head[40:] + tail, "recipe 1 draft\nmaster  \"a.tif\"\nprint p {" + strings.Repeat(" ", 35) + "# here\n    size 3 in x 2 in at 40 ppi\n    save tiff \"p.tif\"\n}\n"},
	} {
		t.Run(name, func(t *testing.T) {
			if out := checkFormat(t, []byte(c[0])); string(out) != c[1] {
				t.Errorf("got\n%s|\nwant\n%s|", out, c[1])
			}
		})
	}
}

// The layout, by an example that was written by hand.
func TestFormatLayout(t *testing.T) {
	pairs, _ := filepath.Glob("testdata/format/*.in")
	if len(pairs) < 2 {
		t.Fatalf("%d examples", len(pairs))
	}
	for _, in := range pairs {
		src, err := os.ReadFile(in)
		if err != nil {
			t.Fatal(err)
		}
		want, err := os.ReadFile(strings.TrimSuffix(in, ".in") + ".out")
		if err != nil {
			t.Fatal(err)
		}
		out := checkFormat(t, src)
		if !bytes.Equal(out, want) {
			t.Errorf("%s:\n%s", in, UnifiedDiff("got", "want", out, want))
		}
		for _, l := range rows(out) {
			if utf8.RuneCountInString(l) > formatColumns && strings.Contains(l, "), (") && !strings.Contains(l, "#") {
				t.Errorf("%s: too long: %s", in, l)
			}
		}
	}
}

// A recipe with an error isn't formatted.
func TestFormatRefusesErrors(t *testing.T) {
	for f, src := range wrongFiles(t) {
		if _, ds := Parse(f, src); HasErrors(ds) {
			if out, ds := Format(f, src); out != nil || !HasErrors(ds) {
				t.Errorf("%s was formatted", f)
			}
		} else {
			checkFormat(t, src)
		}
	}
}

// The example of SPEC and the recipes of this package's tests.
func TestFormatRightRecipes(t *testing.T) {
	for f, src := range rightFiles(t) {
		if checkFormat(t, src) == nil {
			t.Errorf("%s was refused", f)
		}
	}
}

// A line's form depends on that line alone: formatting with one statement more
// changes no other line.
func TestFormatIsLineByLine(t *testing.T) {
	g := &gen{r: rand.New(rand.NewSource(8))}
	for range 50 {
		lines := g.recipe(t)
		whole, _ := Format("x", []byte(strings.Join(lines, "\n")))
		longer := append(append([]string{}, lines[:1]...), append([]string{"# a very long remark that could push others"}, lines[1:]...)...)
		more, _ := Format("x", []byte(strings.Join(longer, "\n")))
		i := bytes.IndexByte(whole, '\n') + 1
		want := string(whole[:i]) + "# a very long remark that could push others\n" + string(whole[i:])
		if string(more) != want {
			t.Fatalf("\n%s", UnifiedDiff("got", "want", more, []byte(want)))
		}
	}
}

func FuzzFormat(f *testing.F) {
	for _, src := range rightFiles(f) {
		f.Add(src)
	}
	g := &gen{r: rand.New(rand.NewSource(7))}
	for range 20 {
		f.Add([]byte(g.untidy(g.recipe(f))))
	}
	f.Add([]byte("# only\n\n#comments"))
	f.Fuzz(func(t *testing.T, src []byte) { checkFormat(t, src) })
}

func TestUnifiedDiff(t *testing.T) {
	for _, c := range []struct{ a, b, want string }{
		{"x\n", "x\n", ""},
		{"a\nb\nc\n", "a\nB\nc\n", "--- old\n+++ new\n@@ -1,3 +1,3 @@\n a\n-b\n+B\n c\n"},
		{"", "a\n", "--- old\n+++ new\n@@ -0,0 +1,1 @@\n+a\n"},
		{"a\n", "", "--- old\n+++ new\n@@ -1,1 +0,0 @@\n-a\n"},
		{"a", "a\n", "--- old\n+++ new\n@@ -1,1 +1,1 @@\n-a\n\\ No newline at end of file\n+a\n"},
		{"1\n2\n3\n4\n5\n6\n7\n8\n9\n10\n11\n12\n", "1\nX\n3\n4\n5\n6\n7\n8\n9\n10\n11\nY\n",
			"--- old\n+++ new\n@@ -1,5 +1,5 @@\n 1\n-2\n+X\n 3\n 4\n 5\n@@ -9,4 +9,4 @@\n 9\n 10\n 11\n-12\n+Y\n"},
		{"a\nb\nc\nd\n", "b\nc\nx\nd\n", "--- old\n+++ new\n@@ -1,4 +1,4 @@\n-a\n b\n c\n+x\n d\n"},
	} {
		if got := UnifiedDiff("old", "new", []byte(c.a), []byte(c.b)); got != c.want {
			t.Errorf("got\n%s\nwant\n%s", got, c.want)
		}
	}
}
