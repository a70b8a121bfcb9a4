package lang

import (
	"bytes"
	"math/big"
	"reflect"
	"strings"
	"testing"
	"unicode/utf16"
)

// small is a recipe that reads without complaint; its step is what the tests
// of single lines replace.
const small = `recipe 1 draft
master "salt-road.tif"

print small {
    size 12 in x 8 in at 300 ppi
    enlarge with mitchell
    STEP
    save tiff "salt-road-12x8.tif"
}
`

const plainStep = "sharpen radius 0.5 px amount 120%"

func withStep(step string) string { return strings.Replace(small, "STEP", step, 1) }

func parseOK(t *testing.T, src string) *Recipe {
	t.Helper()
	rec, ds := Parse("test.recipe", []byte(src))
	if len(ds) > 0 {
		var b bytes.Buffer
		Render(&b, []byte(src), ds, RenderOptions{})
		t.Fatalf("unexpected:\n%s", b.String())
	}
	return rec
}

func codesOf(ds []Diagnostic) string {
	var out []string
	for _, d := range ds {
		out = append(out, d.Code)
	}
	return strings.Join(out, " ")
}

// One byte-order mark is skipped, UTF-16 gets a sentence, and
// other invisible or look-alike characters are named with their column.
func TestMarksAndInvisibleCharacters(t *testing.T) {
	plain := withStep(plainStep)
	a := parseOK(t, plain)
	if b := parseOK(t, "\uFEFF"+plain); !reflect.DeepEqual(a, b) {
		t.Error("a byte-order mark changes the meaning")
	}
	if b := parseOK(t, strings.ReplaceAll(plain, "\n", "\r\n")); !reflect.DeepEqual(a, b) {
		t.Error("CR LF changes the meaning")
	}
	if _, ds := Parse("x", []byte("\uFEFF\uFEFF"+plain)); codesOf(ds) != "PM103" || ds[0].Span != (Span{1, 1, 1, 2}) {
		t.Errorf("two marks: %v", ds)
	}
	for _, big := range []bool{false, true} {
		for _, mark := range []string{"\uFEFF", ""} {
			var b []byte
			for _, u := range utf16.Encode([]rune(mark + plain)) {
				if big {
					b = append(b, byte(u>>8), byte(u))
				} else {
					b = append(b, byte(u), byte(u>>8))
				}
			}
			_, ds := Parse("x", b)
			if len(ds) != 1 || ds[0].Code != "PM101" || !strings.Contains(message(ds[0]), "save as UTF-8") {
				t.Errorf("UTF-16, big %v, mark %q: %v", big, mark, ds)
			}
		}
	}
	for _, c := range []struct{ ch, name string }{
		{"\u00A0", "no-break space"}, {"\u200B", "zero width space"}, {"\u202F", "narrow no-break space"},
		{"\u00AD", "soft hyphen"}, {"\u3000", "ideographic space"}, {"\u2060", "word joiner"},
	} {
		_, ds := Parse("x", []byte(withStep("sharpen"+c.ch+" radius 0.5 px amount 120%")))
		if len(ds) != 1 || ds[0].Code != "PM103" || !strings.Contains(ds[0].Summary, c.name) ||
			!strings.Contains(ds[0].Summary, "column 12") || ds[0].Span != (Span{7, 12, 7, 13}) {
			t.Errorf("%s: %v", c.name, ds)
		}
	}
}

// Only the decimal point counts, whatever the locale.
func TestNumbersInOneForm(t *testing.T) {
	for _, locale := range []string{"C", "de_DE.UTF-8"} {
		t.Setenv("LC_ALL", locale)
		t.Setenv("LANG", locale)
		for in, mended := range map[string]string{
			"0,5": "write 0.5", "1.234,56": "write 1234.56", "1 000": "write 1000", "1_000": "write 1000",
			"0x10": "write 16", "NaN": "write a number", "Inf": "write a number", "０.5": "type a plain 0",
			".5": "write 0.5", "5.": "write 5", "1,234.5": "write 1234.5", "1'000": "write 1000",
			"1.234.567": "write 1234567", "+.5": "write +0.5", "1 000 000": "write 1000000",
		} {
			_, ds := Parse("x", []byte(withStep("sharpen radius "+in+" px amount 120%")))
			if len(ds) != 1 || ds[0].Span.Col != 20 || !strings.Contains(message(ds[0]), mended) {
				t.Errorf("%s: %v", in, ds)
			}
		}
		a := parseOK(t, withStep(plainStep)).Prints[0].Steps[1].(*Sharpen)
		b := parseOK(t, withStep("sharpen radius 0.50 px amount 120.0%")).Prints[0].Steps[1].(*Sharpen)
		if a.Radius.Value.Cmp(b.Radius.Value) != 0 || a.Radius.Value.Cmp(big.NewRat(1, 2)) != 0 || a.Amount.Value.RatString() != b.Amount.Value.RatString() {
			t.Error("0.50 and 0.5 differ")
		}
	}
}

// Unknown, repeated and misplaced words stop the run, with
// the nearest valid word.
func TestUnknownRepeatedMisplaced(t *testing.T) {
	for step, part := range map[string]string{
		"sharpen { amout 80 }":                           "amount?",
		"sharpen radius 1 px amount 80% amount 90%":      "column 25, then on line 7, column 36",
		"sharpen radius 1 px amount 80% light linear":    "light isn't a parameter of sharpen",
		"sharpn radius 1 px amount 80%":                  "did you mean sharpen?",
		"wibble 3":                                       "isn't a word that begins a line",
		plainStep + "\n    size 12 in x 8 in at 240 ppi": "on line 5 and on line 8",
	} {
		_, ds := Parse("x", []byte(withStep(step)))
		found := false
		for _, d := range ds {
			found = found || strings.Contains(message(d), part)
		}
		if !found || !HasErrors(ds) {
			t.Errorf("%s: %v", step, ds)
		}
	}
}

// Two names that fold to one on some
// file system are refused, both shown; unusual names work.
func TestNamesThatFoldTogether(t *testing.T) {
	two := func(a, b string) string {
		return strings.Replace(withStep(plainStep), "salt-road-12x8.tif", a, 1) + strings.Replace(`
print second {
    size 12 in x 8 in at 300 ppi
    enlarge with mitchell
    save tiff "NAME"
}
`, "NAME", b, 1)
	}
	for _, c := range [][2]string{
		{"Ete.tif", "ete.tif"}, {"\u00C9t\u00E9.tif", "E\u0301te\u0301.tif"}, {"straße.tif", "STRASSE.tif"},
		{"out/a.tif", "OUT/./a.tif"}, {"a.tif", "b/../a.tif"},
	} {
		_, ds := Parse("x", []byte(two(c[0], c[1])))
		if codesOf(ds) != "PM604" || !strings.Contains(ds[0].Summary, c[0]) || !strings.Contains(ds[0].Summary, c[1]) {
			t.Errorf("%q, %q: %v", c[0], c[1], ds)
		}
	}
	parseOK(t, two("Été [1] #2 (50%).tif", "Été [2] #2 (50%).tif"))
	parseOK(t, strings.Replace(withStep(plainStep), "salt-road.tif", "Été [1] #2 (50%).tif", 1))
}

// A resolution is one number with its
// unit.
func TestResolutionHasAUnit(t *testing.T) {
	for _, bad := range []string{"300 1", "300", "300/1"} {
		_, ds := Parse("x", []byte(strings.Replace(withStep(plainStep), "300 ppi", bad, 1)))
		if !HasErrors(ds) || len(ds) != 1 {
			t.Fatalf("%s: %v", bad, ds)
		}
		if bad != "300/1" && (ds[0].Code != "PM301" || !strings.Contains(message(ds[0]), "write 300 ppi")) {
			t.Errorf("%s: %v", bad, ds)
		}
	}
	s := parseOK(t, withStep(plainStep)).Prints[0].Size
	if s.At.Unit != "ppi" || s.At.Value.Cmp(big.NewRat(300, 1)) != 0 {
		t.Errorf("at %v", s.At)
	}
}

func TestHugeFile(t *testing.T) {
	_, ds := Parse("x", bytes.Repeat([]byte("# picture\n"), MaxSource/10+1))
	if codesOf(ds) != "PM107" {
		t.Errorf("%v", ds)
	}
}

// A line of nothing but problems is told of in bounds, and quickly: the first
// ones, and that there are more.
func TestLineOfProblemsIsBounded(t *testing.T) {
	_, ds := Parse("x.recipe", []byte("recipe 1 draft\nmaster \"m.tif\"\nprint p {\n    si\xff"+strings.Repeat("..", 20000)+"\n}\n"))
	n := 0
	for _, d := range ds {
		if d.Span.Line == 4 {
			n++
		}
	}
	if n == 0 || n > mostOnLine {
		t.Fatalf("%d problems of one line", n)
	}
	more := false
	for _, d := range ds {
		for _, h := range d.Hints {
			more = more || strings.Contains(h, "more problems")
		}
	}
	if !more {
		t.Error("it isn't said that there are more")
	}
}
