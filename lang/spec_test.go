package lang

import (
	"cmp"
	"fmt"
	"os"
	"reflect"
	"regexp"
	"slices"
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

// SPEC states every statement as the list has it.
func TestSpecStatesEveryStatement(t *testing.T) {
	text := spec(t)
	for _, f := range Statements() {
		sec := section(t, text, "### "+f.heading())
		if !strings.Contains(sec, "\n"+f.Usage()+"\n") {
			t.Errorf("%s: SPEC lacks the form\n%s", f.heading(), f.Usage())
		}
		where := "Stands " + andList(places(f.Blocks)) + "."
		if !strings.Contains(sec, where) {
			t.Errorf("%s: SPEC lacks %q", f.heading(), where)
		}
		for k := range f.Params {
			if row := specRow(&f.Params[k]); !strings.Contains(sec, row) {
				t.Errorf("%s: SPEC lacks\n%s", f.heading(), row)
			}
		}
		if !strings.Contains(sec, "Example: ") && !strings.Contains(sec, "Example:\n") {
			t.Errorf("%s: SPEC has no example", "### "+f.heading())
		}
	}
}

// A tone's parameters stand in one order everywhere, light before colour, since
// SPEC says that they act in the order of its sections.
func TestSpecHasToneInItsOrder(t *testing.T) {
	want := []string{"exposure", "curve", "contrast", "local", "warmth", "chroma", "muted"}
	var headings, fields []string
	for _, m := range regexp.MustCompile(`(?m)^### (\w+), in a tone$`).FindAllStringSubmatch(spec(t), -1) {
		headings = append(headings, m[1])
	}
	for _, f := range reflect.VisibleFields(reflect.TypeFor[Tone]()) {
		if w := strings.ToLower(f.Name); slices.Contains(want, w) {
			fields = append(fields, w)
		}
	}
	for what, got := range map[string][]string{"SPEC": headings, "the list": wordsIn("tone"), "the node": fields} {
		if !slices.Equal(got, want) {
			t.Errorf("%s has %v", what, got)
		}
	}
}

// SPEC lists the units, kernels, spaces, intents and all reserved words.
func TestSpecListsTheWords(t *testing.T) {
	text := spec(t)
	for h, words := range map[string][]string{"### Units": Units, "### Kernels": Kernels, "### Spaces": Spaces, "### Intents": statementsOf("intent", "paper")[0].Params[0].Words} {
		sec := section(t, text, h)
		for _, w := range words {
			if !strings.Contains(sec, "| "+w+" |") {
				t.Errorf("%s lacks %s", h, w)
			}
		}
	}
	var all []string
	for w := range reserved() {
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
	for _, f := range Statements() {
		for _, s := range f.Params {
			if s.Default == "" {
				continue
			}
			if row := fmt.Sprintf("| %s | %s | %s |", f.Word, s.Word, s.Default); !strings.Contains(sec, row) {
				t.Errorf("SPEC lacks %s", row)
			}
		}
	}
}

func oneOf(words []string) string { return `"` + strings.Join(words, `" | "`) + `"` }

// ebnf is the grammar of the statements in SPEC's way of writing: a rule a
// block, a rule a statement.
func ebnf() string {
	value := map[valueKind]string{valueCount: "NUMBER", valueMeasure: "measure", valuePair: `measure "x" measure`, valuePoint: "point",
		valuePoints: `point ("," point)*`, valueRatio: "RATIO", valueText: "STRING", valuePath: "STRING", valueName: "NAME",
		valueSpace: "SPACE", valueKernel: "KERNEL", valueTarget: "(SPACE | NAME)", valueColour: "colour"}
	choice := func(words []string) string {
		if len(words) == 1 {
			return fmt.Sprintf("%q", words[0])
		}
		return fmt.Sprintf("(%q)", words)
	}
	quoted := strings.NewReplacer(`(["`, `("`, `"])`, `")`, `" "`, `" | "`)
	way := func(f *Statement) string {
		var out []string
		for _, p := range append([]Param{{Word: f.Word}}, f.Params...) {
			v := value[p.Kind]
			switch p.Kind {
			case valueWord:
				v = quoted.Replace(choice(p.Words))
			case valueList:
				v = quoted.Replace(choice(p.Words))
				v += ` ("," ` + v + ")*"
			}
			if p.Word != "" {
				v = strings.TrimSpace(fmt.Sprintf("%q %s", p.Word, v))
			}
			if p.Tail != "" {
				v += fmt.Sprintf(" %q", p.Tail)
			}
			if p.Optional {
				v = "(" + v + ")?"
			}
			if v != "" {
				out = append(out, v)
			}
		}
		if f.Opens {
			out = append(out, `"{"`)
		}
		return strings.Join(out, " ")
	}
	rule := func(word, block string) string {
		if slices.Contains([]string{"paper", "lab", "mask", "tone", "sheet"}, block) {
			return block + "-" + word
		}
		return cmp.Or(word, "input")
	}
	var blocks, rules []string
	seen := map[string]bool{}
	for _, b := range []string{"top", "paper", "lab", "mask", "prepare", "steps", "print", "sheet", "tone", "inputs"} {
		var names []string
		for _, f := range Statements() {
			name := rule(f.Word, b)
			if !slices.Contains(f.Blocks, b) || slices.Contains(names, name) {
				continue
			}
			names = append(names, name)
			if seen[name] {
				continue
			}
			seen[name] = true
			var ways []string
			for _, x := range statementsOf(f.Word, b) {
				ways = append(ways, way(x))
			}
			rules = append(rules, name+" = "+strings.Join(ways, " | ")+" .")
		}
		all := strings.Join(names, " | ")
		if b == "mask" {
			all = `("less" | "within")? (` + strings.Join(names[:len(shapes)], " | ") + ") | " + strings.Join(names[len(shapes):], " | ")
		}
		blocks = append(blocks, b+"-line = "+all+" .")
	}
	return strings.Join(append(append(blocks, rules...),
		`measure = NUMBER UNIT? .`, `point = "(" measure "," measure ")" .`, `colour = "white" | "black" | "grey" NUMBER .`,
		`RATIO = digits ("." digits)? ":" digits ("." digits)? .`, `NUMBER = ("+" | "-")? digits ("." digits)? .`, `digits = digit+ .`,
		`NAME = letter (letter | digit | "-")* .`, `STRING = "\"" (character | "\\\"" | "\\\\")* "\"" .`, `letter = "a" … "z" .`, `digit = "0" … "9" .`,
		"UNIT = "+oneOf(Units)+" .", "SPACE = "+oneOf(Spaces)+" .", "KERNEL = "+oneOf(Kernels)+" ."), "\n")
}

// SPEC's grammar is that of the statements.
func TestSpecGrammarIsOfTheStatements(t *testing.T) {
	text := spec(t)
	i := strings.Index(text, "```ebnf\n")
	if i < 0 {
		t.Fatal("SPEC has no grammar")
	}
	got := text[i+8:]
	got = strings.TrimSpace(got[:strings.Index(got, "```")])
	if want := ebnf(); got != want {
		t.Errorf("the grammar is\n%s", want)
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
	for _, f := range Statements() {
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
			for _, x := range statementsOf(f.Word, f.Blocks[0]) {
				_, fl := x.match(s.Lines[0].Tokens, start)
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
