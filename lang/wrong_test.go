package lang

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// Wrong recipes carry what they expect in a comment on the offending line:
//
//	# want CODE "part of the message" CODE:COLUMN "part" …
//
// `# want+1` speaks of the line below, for lines that can hold no comment. The
// message is summary, detail and hints together. Every diagnostic must be
// wanted, and every wanted one must come.
var (
	wantLine = regexp.MustCompile(`# want(\+1)? (PM.*)$`)
	wantItem = regexp.MustCompile(`^\s*(PM\d{3})(?::(\d+))? ("(?:[^"\\]|\\.)*")`)
)

type want struct {
	line, col  int
	code, part string
	met        bool
}

func wants(t *testing.T, src []byte) []want {
	t.Helper()
	var out []want
	for i, l := range rows(src) {
		m := wantLine.FindStringSubmatch(l)
		if m == nil {
			continue
		}
		n := i + 1 + len(m[1])/2
		for rest := m[2]; rest != ""; {
			k := wantItem.FindStringSubmatch(rest)
			if k == nil {
				t.Fatalf("line %d: can't read the want: %s", i+1, rest)
			}
			part, err := strconv.Unquote(k[3])
			if err != nil {
				t.Fatalf("line %d: %v", i+1, err)
			}
			col, _ := strconv.Atoi(k[2])
			out = append(out, want{line: n, col: col, code: k[1], part: part})
			rest = strings.TrimSpace(rest[len(k[0]):])
		}
	}
	return out
}

func message(d Diagnostic) string {
	return strings.Join(append([]string{d.Summary, d.Detail}, d.Hints...), "\n")
}

// compare checks diagnostics against wants.
func compare(t *testing.T, src []byte, ds []Diagnostic, ws []want) {
	t.Helper()
	for _, d := range ds {
		found := false
		for i := range ws {
			w := &ws[i]
			if !w.met && w.line == d.Span.Line && w.code == d.Code && (w.col == 0 || w.col == d.Span.Col) && strings.Contains(message(d), w.part) {
				w.met, found = true, true
				break
			}
		}
		if !found {
			var b bytes.Buffer
			Render(&b, src, []Diagnostic{d}, RenderOptions{})
			t.Errorf("not wanted:\n%s", b.String())
		}
	}
	for _, w := range ws {
		if !w.met {
			t.Errorf("line %d: %s %q didn't come", w.line, w.code, w.part)
		}
	}
}

// wrongFiles returns the wrong recipes by name: those of testdata/wrong, and
// the examples of messages that want something.
func wrongFiles(t testing.TB) map[string][]byte {
	t.Helper()
	files, err := filepath.Glob("testdata/wrong/*.recipe")
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]byte{}
	for _, f := range files {
		if out[filepath.Base(f)], err = os.ReadFile(f); err != nil {
			t.Fatal(err)
		}
	}
	for _, x := range readExamples(messagesText) {
		if strings.Contains(x.Wrong, "# want") {
			out[x.Code+".recipe"] = []byte(x.Recipe(x.Wrong))
		}
	}
	if len(out) < 150 {
		t.Fatalf("%d wrong recipes", len(out))
	}
	return out
}

func TestWrongRecipes(t *testing.T) {
	for f, src := range wrongFiles(t) {
		t.Run(strings.TrimSuffix(f, ".recipe"), func(t *testing.T) {
			ws := wants(t, src)
			if len(ws) == 0 {
				t.Fatal("wants nothing")
			}
			_, ds := Parse(f, src)
			compare(t, src, ds, ws)
		})
	}
}

// Every code of the table must be shown by a wrong recipe, but for those that
// no recipe with comments can show; they have tests of their own.
func TestEveryCodeIsShown(t *testing.T) {
	seen := map[string]bool{"PM101": true, "PM107": true, "PM108": true} // TestMarksAndInvisibleCharacters, TestHugeFile, TestBounds
	for _, src := range wrongFiles(t) {
		for _, w := range wants(t, src) {
			seen[w.code] = true
		}
	}
	for i, c := range Codes {
		if !seen[c.Code] {
			t.Errorf("no wrong recipe shows %s (%s)", c.Code, c.Cause)
		}
		if i > 0 && Codes[i-1].Code >= c.Code {
			t.Errorf("%s stands behind %s", c.Code, Codes[i-1].Code)
		}
		delete(seen, c.Code)
	}
	for c := range seen {
		t.Errorf("%s isn't in the table", c)
	}
}

func TestFiveMistakesFiveErrors(t *testing.T) {
	src, err := os.ReadFile("testdata/wrong/five-mistakes.recipe")
	if err != nil {
		t.Fatal(err)
	}
	_, ds := Parse("five-mistakes.recipe", src)
	n := 0
	lines := map[int]bool{}
	for _, d := range ds {
		if d.Severity == Error {
			n++
			lines[d.Span.Line] = true
		}
	}
	if n != 5 || len(lines) != 5 {
		t.Errorf("%d errors on %d lines, want 5 on 5: %s", n, len(lines), fmt.Sprint(ds))
	}
}
