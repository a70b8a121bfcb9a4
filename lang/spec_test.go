package lang

import (
	"fmt"
	"os"
	"regexp"
	"sort"
	"strings"
	"testing"
)

func spec(t *testing.T) string {
	t.Helper()
	b, err := os.ReadFile("SPEC.md")
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// section returns the text under a heading up to the next of its level.
func section(t *testing.T, text, heading string) string {
	t.Helper()
	i := strings.Index(text, "\n"+heading+"\n")
	if i < 0 {
		t.Fatalf("SPEC has no heading %q", heading)
	}
	body := text[i+len(heading)+2:]
	level := heading[:strings.Index(heading, " ")+1]
	if j := strings.Index(body, "\n"+level); j >= 0 {
		body = body[:j]
	}
	return body
}

// SPEC states every statement as the table of forms has it.
func TestSpecStatesEveryForm(t *testing.T) {
	text := spec(t)
	for i := range Forms {
		f := &Forms[i]
		sec := section(t, text, "### "+f.heading())
		if !strings.Contains(sec, "\n"+f.Usage()+"\n") {
			t.Errorf("%s: SPEC lacks the form\n%s", f.heading(), f.Usage())
		}
		where := "Stands " + andList(places(f.Blocks)) + "."
		if !strings.Contains(sec, where) {
			t.Errorf("%s: SPEC lacks %q", f.heading(), where)
		}
		for k := range f.Slots {
			if row := specRow(&f.Slots[k]); !strings.Contains(sec, row) {
				t.Errorf("%s: SPEC lacks\n%s", f.heading(), row)
			}
		}
		if !strings.Contains(sec, "Example: ") && !strings.Contains(sec, "Example:\n") {
			t.Errorf("%s: SPEC has no example", "### "+f.heading())
		}
	}
}

// SPEC lists the units, kernels, spaces, intents and all reserved words.
func TestSpecListsTheWords(t *testing.T) {
	text := spec(t)
	for h, words := range map[string][]string{"### Units": Units, "### Kernels": Kernels, "### Spaces": Spaces, "### Intents": Intents} {
		sec := section(t, text, h)
		for _, w := range words {
			if !strings.Contains(sec, "| "+w+" |") {
				t.Errorf("%s lacks %s", h, w)
			}
		}
	}
	var all []string
	for w := range reserved {
		all = append(all, w)
	}
	sort.Strings(all)
	if sec := section(t, text, "### Reserved words"); !strings.Contains(strings.Join(strings.Fields(sec), " "), strings.Join(all, " ")) {
		t.Errorf("reserved words are\n%s", strings.Join(all, " "))
	}
}

// SPEC has a line for each default.
func TestSpecListsTheDefaults(t *testing.T) {
	sec := section(t, spec(t), "## Defaults")
	for i := range Forms {
		for k := range Forms[i].Slots {
			s := &Forms[i].Slots[k]
			if s.Default == "" {
				continue
			}
			if row := fmt.Sprintf("| %s | %s | %s |", Forms[i].Word, s.Word, s.Default); !strings.Contains(sec, row) {
				t.Errorf("SPEC lacks %s", row)
			}
		}
	}
}

// ebnf is the grammar in SPEC's way of writing, from the parsers themselves.
func ebnf() string {
	seen := map[string]bool{}
	var out []string
	name := regexp.MustCompile(`\bG([A-Z][a-zA-Z]*)`)
	kind := regexp.MustCompile(`<([a-z]+)>`)
	for _, l := range strings.Split(grammarText(), "\n") {
		l = strings.TrimSpace(l)
		l = name.ReplaceAllStringFunc(l, func(s string) string { return strings.ToLower(s[1:]) })
		l = kind.ReplaceAllStringFunc(l, func(s string) string { return strings.ToUpper(strings.Trim(s, "<>")) })
		if l != "" && !seen[l] {
			seen[l] = true
			out = append(out, l)
		}
	}
	return strings.Join(out, "\n")
}

// SPEC's grammar is the parsers'.
func TestSpecGrammarIsTheParsers(t *testing.T) {
	text := spec(t)
	i := strings.Index(text, "```ebnf\n")
	if i < 0 {
		t.Fatal("SPEC has no grammar")
	}
	got := text[i+8:]
	got = strings.TrimSpace(got[:strings.Index(got, "```")])
	if want := ebnf(); got != want {
		t.Errorf("the parsers' grammar is\n%s", want)
	}
}

// The examples of SPEC read without complaint: whole recipes as they are, the
// lines of statements inside a recipe that has what they refer to.
func TestSpecExamples(t *testing.T) {
	text := spec(t)
	n := 0
	for _, m := range regexp.MustCompile("(?s)```recipe\n(.*?)```").FindAllStringSubmatch(text, -1) {
		parseOK(t, m[1])
		n++
	}
	if n == 0 {
		t.Error("no whole recipe")
	}
	for i := range Forms {
		f := &Forms[i]
		sec := section(t, text, "### "+f.heading())
		for _, m := range regexp.MustCompile("Example: `([^`]+)`").FindAllStringSubmatch(sec, -1) {
			s, ds := ReadSource("", []byte(m[1]))
			if len(ds) > 0 || len(s.Lines) != 1 {
				t.Errorf("%s: %v", m[1], ds)
				continue
			}
			start := 1
			if f.Word == "" {
				start = 0
			}
			fits := false
			for _, x := range formsOf(f.Word, f.Blocks[0]) {
				_, fl := matchForm(x, s.Lines[0].Tokens, start)
				fits = fits || fl == nil
			}
			if !fits {
				t.Errorf("the example %q isn't of %s", m[1], f.Word)
			}
			n++
		}
	}
	if n < 30 {
		t.Errorf("only %d examples", n)
	}
}
