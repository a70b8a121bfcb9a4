package lang

import (
	"slices"
	"strings"
	"testing"
	"unicode/utf8"
)

// Bytes that aren't UTF-8 are refused wherever they stand: overlong forms, half
// surrogates, what is beyond Unicode, marks of other encodings, a lone half
// (Unicode 15, table 3-7).
func TestEveryByteIsUTF8(t *testing.T) {
	for _, bad := range []string{"\xFF", "\xFF\xFE", "\xC0\xAF", "\xE0\x80\xAF", "\xED\xA0\x80", "\xF4\x90\x80\x80", "\xE2\x82", "\x80"} {
		if utf8.ValidString(bad) {
			t.Fatalf("%q is UTF-8", bad)
		}
		for _, place := range []string{"# remark @", "title \"a@\"", "ti@tle \"a\"", "@", "# @"} {
			src := strings.Replace(withStep(plainStep), "recipe 1 draft\n", "recipe 1 draft\n"+strings.Replace(place, "@", bad, 1)+"\n", 1)
			_, ds := Parse("x", []byte(src))
			found := false
			for _, d := range ds {
				found = found || d.Code == "PM102" && d.Span.Line == 2
			}
			if !found {
				t.Errorf("%q in %q: %v", bad, place, ds)
			}
		}
	}
	if _, ds := Parse("x", []byte(strings.Replace(withStep(plainStep), "draft\n", "draft # \uFFFD\n", 1))); len(ds) > 0 {
		t.Errorf("the replacement character itself: %v", ds)
	}
}

// Hints say what was likely meant, and never what would be worse.
func TestHintsOfNumbersAndColours(t *testing.T) {
	for _, c := range []struct{ step, want, not string }{
		{"tone {\n curve (0,0), (100, 100)\n}", "put a space behind the comma: 0, 0", "write 0.0"},
		{"spot at (4,5%, 3%) radius 1%", "write 4.5", "put a space behind the comma: 4, 5\n"},
		{"sharpen radius 1 px amount 100 300%", "take one of two numbers out", ""},
		{"border 10 px colour gray 50", "did you mean grey?", ""},
		{"tone {\n curve (0%, 0), (100, 100)\n}", "Its numbers stand without a unit", "It takes ."},
		{"tone {\n curve (0 0), (100, 100)\n}", "a comma is due here, found 0", "has no unit"},
	} {
		_, ds := Parse("x", []byte(withStep(c.step)))
		var all strings.Builder
		for _, d := range ds {
			all.WriteString(message(d) + "\n")
		}
		if got := all.String(); !strings.Contains(got, c.want) || c.not != "" && strings.Contains(got, c.not) {
			t.Errorf("%s: %s", c.step, got)
		}
	}
}

// A name that can't be one is one mistake: what it would have named isn't
// guessed at further on.
func TestWrongNameCausesNoOtherError(t *testing.T) {
	for _, wrong := range []string{
		"enlarge with cubic as Large\ntake Large", // no name
		"enlarge with cubic as grey\ntake grey",   // a word of the language
		"enlarge with cubic as large\ntake lagre", // another
	} {
		text := "enlarge with mitchell as big\n" + wrong + "\nsharpen radius 1 px amount 50% as more\nblend more over big"
		_, ds := Parse("x", []byte(strings.Replace(small, "enlarge with mitchell\n    STEP", text, 1)))
		for _, d := range ds {
			if d.Code == "PM715" {
				t.Errorf("%s: %s %s", wrong, d.Code, d.Summary)
			}
		}
	}
}

// Of a file with thousands of problems the first are told, errors before
// notes, and how many more there are.
func TestProblemsOfAFileAreBounded(t *testing.T) {
	src := "recipe 1 draft\nmaster \"m.tif\"\n" + strings.Repeat("mask m {\n foo\n}\n", 3000)
	_, ds := Parse("x", []byte(src))
	if len(ds) != mostInFile || !HasErrors(ds) {
		t.Fatalf("%d problems", len(ds))
	}
	if last := message(ds[len(ds)-1]); !strings.Contains(last, "and 5,8") || !strings.Contains(last, " more; they are told once these are mended") {
		t.Errorf("the last says %s", last)
	}
}

// Safe mends are made, a recipe that needs no others is right after them, and
// what isn't wrong stays as it is, to the byte.
func TestMendMakesTheSafeMends(t *testing.T) {
	for _, c := range [][2]string{
		{"sharpen radius .5 px amount 120%", "sharpen radius 0.5 px amount 120%"},
		{"sharpen radius 0,5 px amount 120", "sharpen radius 0.5 px amount 120%"},
		{"sharpen\u00A0radius\u00A01 px \u200Bamount = 120 %;", "sharpen radius 1 px amount   120 %"},
		{"sharpen radius 1pixels amount 1_20.0 pct", "sharpen radius 1px amount 120.0 %"},
		{"crop [10%, 10%] to (90％, 90%)", "crop (10%, 10%) to (90%, 90%)"},
		{"sharpen radius 1   px amount 80%  # stays,  ;so", "sharpen radius 1 px amount 80%  # stays,  ;so"},
		{"enlarge with cubic as \"crisp\"\ntake crisp", "enlarge with cubic as crisp\ntake crisp"},
		{"sharpen radius 1 px amount 1.9", "sharpen radius 1 px amount 1.9"}, // 190 %?
		{"sharpn radius 1 px amount 80%", "sharpn radius 1 px amount 80%"},   // a guess
	} {
		out, done := Mend("x", []byte(withStep(c[0])))
		if string(out) != withStep(c[1]) {
			t.Errorf("\n%s", UnifiedDiff("got", "want", out, []byte(withStep(c[1]))))
		}
		if (len(done) > 0) != (c[0] != c[1]) {
			t.Errorf("%s: %d mends", c[0], len(done))
		}
	}
	crlf := "\uFEFF" + strings.ReplaceAll(withStep("sharpen radius .5 px amount 120%"), "\n", "\r\n")
	crlf = strings.Replace(strings.Replace(crlf, `"salt-road.tif"`, `“salt-road.tif”`, 1), "12 in x 8 in", `12"x8"`, 1)
	want := strings.ReplaceAll("\uFEFF"+withStep(plainStep), "\n", "\r\n")
	if out, _ := Mend("x", []byte(crlf)); string(out) != want {
		t.Errorf("\n%s", UnifiedDiff("got", "want", out, []byte(want)))
	}
}

// No mend of any wrong recipe brings a problem that wasn't there: a safe one
// takes its own away, and leaves no more errors than there were.
func TestMendsMend(t *testing.T) {
	safe, guesses := 0, 0
	for name, src := range wrongFiles(t) {
		_, ds := Parse("x", src)
		for _, d := range ds {
			if d.Fix == nil {
				continue
			}
			out := Apply(src, d.Fix.edit(src))
			if !d.Fix.Safe {
				guesses++
				continue
			}
			safe++
			_, after := Parse("x", out)
			if slices.ContainsFunc(after, func(x Diagnostic) bool { return x.Code == d.Code && x.Span == d.Span && x.Summary == d.Summary }) {
				t.Errorf("%s:%d: %s is still there after its mend: %s", name, d.Span.Line, d.Summary, rows(out)[d.Span.Line-1])
			}
			if len(after) > len(ds) {
				t.Errorf("%s:%d: %s: %d problems after the mend, %d before: %s", name, d.Span.Line, d.Summary, len(after), len(ds), rows(out)[d.Span.Line-1])
			}
		}
	}
	if safe < 30 || guesses < 30 {
		t.Errorf("only %d safe mends and %d guesses", safe, guesses)
	}
}

// A line that should open a block and doesn't is one mistake: that the block isn't
// closed and holds nothing follows from it.
func TestHeadWithoutBraceIsOneError(t *testing.T) {
	for _, c := range []struct{ head, want string }{
		{`mask reeds "reeds.png"`, `{ is due here, found "reeds.png"`},
		{`mask reeds file "reeds.png"`, "{ is due here, found file"},
		{"mask reeds \"reeds.png\" {\n}", `{ is due here, found "reeds.png"`},
		{`mask x "reeds.png"`, "x is a word of the language and can't be a name"},
		{"mask reeds", "this line opens a block and lacks its {"},
		{`paper rag "rag.icc"`, `{ is due here, found "rag.icc"`},
		{`paper rag profile "rag.icc"`, "{ is due here, found profile"},
		{`print other "other.tif"`, `{ is due here, found "other.tif"`},
		{"sheet trial", "sheet lacks on"},
	} {
		_, ds := Parse("x", []byte(strings.Replace(withStep(plainStep), "print ", c.head+"\nprint ", 1)))
		var got []string
		for _, d := range ds {
			if d.Severity == Error {
				got = append(got, d.Summary)
			}
		}
		if len(got) != 1 || got[0] != c.want {
			t.Errorf("%s: %q", c.head, got)
		}
	}
	// With lines below it, the block is there.
	_, ds := Parse("x", []byte(strings.Replace(withStep(plainStep), "print ", "mask reeds\nsoften 2%\nprint ", 1)))
	if !slices.ContainsFunc(ds, func(d Diagnostic) bool { return d.Code == "PM135" }) {
		t.Errorf("%v", ds)
	}
}
