package lang

import (
	"bytes"
	"testing"
	"unicode/utf8"
)

// checkSpans: every diagnostic lies inside the file, and can be shown.
func checkSpans(t *testing.T, src []byte, ds []Diagnostic) {
	t.Helper()
	lines := rows(src)
	for _, d := range ds {
		s := d.Span
		if s.Line < 1 || s.EndLine < s.Line || s.EndLine > len(lines) || s.Col < 1 ||
			s.EndLine == s.Line && s.EndCol < s.Col {
			t.Fatalf("%s: span %+v in %d lines of %q", d.Code, s, len(lines), src)
		}
		if d.Code == "PM101" || d.Code == "PM107" || d.Code == "PM108" {
			continue
		}
		if n := utf8.RuneCountInString(lines[s.EndLine-1]); s.EndCol > n+2 || s.Col > utf8.RuneCountInString(lines[s.Line-1])+1 {
			t.Fatalf("%s: span %+v behind the end of %q", d.Code, s, lines[s.EndLine-1])
		}
		if f := d.Fix; f != nil {
			if e := f.edit(src); e.From > e.To || e.To > len(src) || f.Line != f.EndLine && f.EndLine > len(lines) {
				t.Fatalf("%s: its mend %+v is %+v of %q", d.Code, *f, e, src)
			}
		}
		if _, ok := codeIndex[d.Code]; !ok || d.Summary == "" || len(d.Hints) == 0 {
			t.Fatalf("%+v: no code, summary or hint", d)
		}
	}
	var b bytes.Buffer
	if err := Render(&b, src, ds, RenderOptions{Width: 60}); err != nil {
		t.Fatal(err)
	}
	if !utf8.Valid(b.Bytes()) {
		t.Fatalf("shown text isn't UTF-8: %q", b.Bytes())
	}
	if _, err := JSON(ds); err != nil {
		t.Fatal(err)
	}
}

// checkTokens: tokens and comments lie in order inside the text.
func checkTokens(t *testing.T, s *Source) {
	t.Helper()
	at := 0
	for _, l := range s.Lines {
		for _, k := range l.Tokens {
			if k.Offset < at || k.End <= k.Offset || k.End > len(s.Text) {
				t.Fatalf("token %+v at %d of %d", k, at, len(s.Text))
			}
			at = k.End
		}
	}
}

// FuzzParse: no text makes the reader panic, every diagnostic has its place,
// and reading is a function of the text.
func FuzzParse(f *testing.F) {
	for _, src := range rightFiles(f) {
		f.Add(src)
	}
	for _, src := range wrongFiles(f) {
		f.Add(src)
	}
	pins := []Pin{{"salt-road.tif", "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"}}
	f.Fuzz(func(t *testing.T, src []byte) {
		rec, ds := Parse("fuzz.recipe", src)
		if rec == nil {
			t.Fatal("no recipe")
		}
		checkSpans(t, src, ds)
		s, _ := ReadSource("fuzz.recipe", src)
		checkTokens(t, s)
		if len(src) < 2000 {
			Mend("fuzz.recipe", src)
		}
		if HasErrors(ds) {
			return
		}
		for _, p := range rec.Prints {
			rec.Expand(p.Steps)
		}
		out, err := SetInputs(src, pins)
		if err != nil {
			t.Fatalf("can't pin a right recipe: %v", err)
		}
		again, err := SetInputs(out, pins)
		if err != nil || !bytes.Equal(out, again) {
			t.Fatalf("pinning twice differs: %v\n%q\n%q", err, out, again)
		}
		pinned, ds := Parse("fuzz.recipe", out)
		for _, d := range ds {
			if d.Severity == Error && d.Code != "PM603" {
				t.Fatalf("pinned recipe is wrong: %+v\n%q", d, out)
			}
		}
		if pinned.Inputs == nil || len(pinned.Inputs.Lines) != 1 {
			t.Fatalf("pins: %+v", pinned.Inputs)
		}
	})
}
