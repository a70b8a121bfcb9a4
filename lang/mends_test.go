package lang

import (
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
