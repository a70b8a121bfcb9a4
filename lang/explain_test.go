package lang

import (
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// Every code has its entry, with the cause and the mend of the table, and a
// wrong example that gives the code and a right one that reads without error.
// The planner's examples are tested where pictures are.
func TestSpecStatesEveryCode(t *testing.T) {
	byCode := map[string]Example{}
	for _, x := range Examples() {
		if byCode[x.Code].Code != "" {
			t.Errorf("%s stands twice", x.Code)
		}
		byCode[x.Code] = x
	}
	for _, c := range append(append([]Code{}, Codes...), PlannerCodes...) {
		x, ok := byCode[c.Code]
		if !ok || x.Wrong == "" || x.Right == "" {
			t.Errorf("no examples of %s", c.Code)
			continue
		}
		delete(byCode, c.Code)
		e := Explain(c.Code)
		if len(e) != 1 {
			t.Fatalf("%s: %d entries", c.Code, len(e))
		}
		if want := capital(c.Severity.String()) + ": " + c.Cause + ". "; !strings.HasPrefix(e[0].Markdown, want) {
			t.Errorf("%s: SPEC lacks %q", c.Code, want)
		}
		if want := " Mend: " + c.Mend + "."; !strings.Contains(e[0].Markdown, want) {
			t.Errorf("%s: SPEC lacks %q", c.Code, want)
		}
		if strings.HasPrefix(c.Code, "PM5") {
			continue
		}
		wrong := x.Recipe(x.Wrong)
		if _, n, _ := strings.Cut(x.Place, ", "); n == "300000 times" {
			wrong = strings.Repeat(wrong, 300000)
		}
		_, ds := Parse("wrong.recipe", []byte(wrong))
		gives := false
		for _, d := range ds {
			gives = gives || d.Code == c.Code
			if d.Code != c.Code && (d.Severity == Error || c.Severity != Error) {
				t.Errorf("%s: the wrong example gives %s too: %s", c.Code, d.Code, d.Summary)
			}
		}
		if !gives {
			t.Errorf("%s: the wrong example doesn't give it: %v\n%s", c.Code, ds, wrong)
		}
		if _, ds := Parse("right.recipe", []byte(x.Recipe(x.Right))); len(ds) > 0 {
			t.Errorf("%s: the right example gives %v\n%s", c.Code, ds, x.Recipe(x.Right))
		}
	}
	for c := range byCode {
		t.Errorf("SPEC states %s, which no table has", c)
	}
}

// Every word of the language has an entry; words nearby lead to it.
func TestExplainKnowsEveryWord(t *testing.T) {
	for w := range reserved() {
		if w == "" {
			continue
		}
		if len(Explain(w)) == 0 {
			t.Errorf("no entry for %s", w)
		}
	}
	// A statement is explained as one, and what may stand on its line, too: its values
	// and what its usage has for one.
	for _, s := range Statements() {
		if s.Word != "" && !slices.ContainsFunc(Explain(s.Word), func(e Entry) bool { return e.Kind == "statement" }) {
			t.Errorf("%s isn't explained as a statement", s.Word)
		}
		for _, p := range s.Params {
			for _, w := range p.OneOf {
				if len(Explain(w)) == 0 {
					t.Errorf("no entry for %s, a value of %s", w, s.Word)
				}
			}
		}
		for _, w := range regexp.MustCompile(`[A-Z]{2,}`).FindAllString(s.Usage(), -1) {
			if len(Explain(w)) == 0 {
				t.Errorf("no entry for %s, in the usage of %s", w, s.Word)
			}
		}
	}
	for _, c := range []struct{ word, kind, part string }{
		{"kernel", "meaning", "lanczos3"},
		{"kernels", "meaning", "lanczos3"},
		{"space", "meaning", "IEC 61966-2-1"},
		{"intent", "meaning", "colorimetric"},
		{"name", "meaning", "not a reserved word"},
		{"unit", "meaning", "mired"},
		{"8", "parameter", "bits"},
		{"sharpen", "statement", "sharpen radius N px|mm|% amount N %"},
		{"mask", "statement", "Opens a mask."},
		{"px", "unit", "pixels of the picture"},
		{"lanczos3", "kernel", "3 lobes"},
		{"srgb", "space", "IEC 61966-2-1"},
		{"frame", "meaning", "the master, upright"},
		{"pm301", "message", "a number has no unit"},
		{"PM503", "message", "shape"},
		{"quiet", "parameter", "sharpen"},
		{"halo", "parameter", "A parameter of sharpen: the most that a pixel may get lighter or darker"},
		{"soft", "parameter", "the share of the radius that fades"},
		{"through", "parameter", "a mask: only inside it"},
		{"wide", "parameter", "the width; the height follows"},
		{"half", "parameter", "one colour for each two by two pixels"},
		{"left", "parameter", "a quarter turn left"},
		{"sha256", "parameter", "the file's bytes"},
		{"repeated", "parameter", "drawn out to twice its width"},
		{"saturation", "intent", "strong colours"},
		{"relative", "intent", "colorimetric"},
		{"defaults", "chapter", "spot"},
		{"guide", "guide page", "from master to reprint"},
		{"dust and hot pixels", "guide page", "spot pixels over"},
	} {
		found := false
		for _, e := range Explain(c.word) {
			found = found || e.Kind == c.kind && strings.Contains(e.Markdown, c.part)
		}
		if !found {
			t.Errorf("explain %s lacks %q: %v", c.word, c.part, Explain(c.word))
		}
	}
	// Every entry says what its word means, and not only where it stands.
	form := regexp.MustCompile("(?s)```.*?```|^A (parameter|word) of [a-z -]+:|It may be [^\n]*|Left out, it is [^\n]*")
	for w := range reserved() {
		for _, e := range Explain(w) {
			if m := strings.Trim(form.ReplaceAllString(e.Markdown, ""), " .\n"); len(m) < 5 || m == w {
				t.Errorf("explain %s (%s) doesn't say what it means: %q", w, e.Kind, e.Markdown)
			}
		}
	}
	for near, want := range map[string]string{"sharpn": "sharpen", "dpi": "ppi", "resize": "enlarge", "lanczos9": "lanczos2", "PM3011": "PM301"} {
		if got := NearTopic(near); got != want && !(near == "lanczos9" && strings.HasPrefix(got, "lanczos")) {
			t.Errorf("%s: %q", near, got)
		}
	}
	if got := Explain("nonsense"); got != nil {
		t.Errorf("%v", got)
	}
}

// What explain shows keeps to the width, but for examples, which stay whole.
func TestExplainText(t *testing.T) {
	for _, e := range specEntries() {
		for _, l := range strings.Split(e.Text(60), "\n") {
			if cells.StringWidth(l) > 60 && !strings.HasPrefix(l, "    ") {
				t.Errorf("%s: too wide: %s", e.Word, l)
			}
			if strings.Contains(l, "**") || strings.HasPrefix(l, "|") {
				t.Errorf("%s: Markdown left: %s", e.Word, l)
			}
		}
	}
	got := Explain("mirror")[0].Text(72)
	want := "    mirror\n\nStands in prepare. Swaps left and right. Only at the head of prepare.\n\nExample:\n    mirror\n\nDraft: it may still change, and needs recipe 1 draft.\n"
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	for name, text := range map[string]string{"SPEC.md": specText, "BYTES.md": bytesText, "GUIDE.md": guideText} {
		if strings.Contains(text, "\u2019") {
			t.Errorf("%s has two kinds of apostrophes", name)
		}
		b, err := os.ReadFile(name)
		if err != nil || string(b) != text {
			t.Errorf("the embedded text isn't the file: %v", err)
		}
	}
}
