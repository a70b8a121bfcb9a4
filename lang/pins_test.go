package lang

import (
	"strings"
	"testing"
)

const (
	sumA = "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"
	sumB = "fedcba9876543210fedcba9876543210fedcba9876543210fedcba9876543210"
)

func setInputs(t *testing.T, src string, pins ...Pin) string {
	t.Helper()
	out, err := SetInputs([]byte(src), pins)
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

func TestSetInputsAddsTheBlock(t *testing.T) {
	base := withStep(plainStep)
	want := base + "\ninputs {                                    # written by platemark pin\n    \"salt-road.tif\" sha256 \"" + sumA + "\"\n}\n"
	if got := setInputs(t, base, Pin{"salt-road.tif", sumA}); got != want {
		t.Errorf("got %q", got)
	}
	parseOK(t, want)
	// Without a last line end, with blank lines, with CR LF and a mark.
	if got := setInputs(t, strings.TrimSuffix(base, "\n"), Pin{"salt-road.tif", sumA}); got != want {
		t.Errorf("no line end: %q", got)
	}
	if got := setInputs(t, base+"\n", Pin{"salt-road.tif", sumA}); got != want {
		t.Errorf("blank line: %q", got)
	}
	crlf := func(s string) string { return "\uFEFF" + strings.ReplaceAll(s, "\n", "\r\n") }
	if got := setInputs(t, crlf(base), Pin{"salt-road.tif", sumA}); got != crlf(want) {
		t.Errorf("CR LF: %q", got)
	}
	if got := setInputs(t, base); got != base {
		t.Errorf("no pins: %q", got)
	}
}

func TestSetInputsReplacesInPlace(t *testing.T) {
	head := withStep(plainStep) + `
inputs {                                    # written by hand
    # the master
    "salt-road.tif"   sha256 "` + sumA + `"  # scanned in May
    "gone.icc" sha256 "` + sumA + `"
}

# the end
`
	want := strings.Replace(head, `"salt-road.tif"   sha256 "`+sumA, `"salt-road.tif"   sha256 "`+sumB, 1)
	want = strings.Replace(want, "    \"gone.icc\" sha256 \""+sumA+"\"\n", "    \"a \\\"b\\\".icc\" sha256 \""+sumB+"\"\n", 1)
	got := setInputs(t, head, Pin{`a "b".icc`, sumB}, Pin{"salt-road.tif", sumB})
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	if again := setInputs(t, got, Pin{`a "b".icc`, sumB}, Pin{"salt-road.tif", sumB}); again != got {
		t.Error("not idempotent")
	}
}

func TestSetInputsRefuses(t *testing.T) {
	base := withStep(plainStep)
	for _, c := range []struct {
		src  string
		pins []Pin
		part string
	}{
		{base, []Pin{{"a", "12"}}, "64 hexadecimal"},
		{base, []Pin{{"a", sumA}, {"a", sumB}}, "twice"},
		{base, []Pin{{"a\nb", sumA}}, "control character"},
		{base + "inputs {\n", []Pin{{"a", sumA}}, "isn't closed"},
		{base + "inputs {\n  what 3\n}\n", []Pin{{"a", sumA}}, "isn't written as"},
		{base + "inputs { \"a\" sha256 \"b\" }\n", []Pin{{"a", sumA}}, "block of lines"},
		{"\xFF\xFEr\x00", []Pin{{"a", sumA}}, "UTF-16"},
	} {
		_, err := SetInputs([]byte(c.src), c.pins)
		if err == nil || !strings.Contains(err.Error(), c.part) {
			t.Errorf("%q: %v", c.part, err)
		}
	}
}

func TestExcerpt(t *testing.T) {
	src := []byte("\uFEFFrecipe 1 draft\r\nmask é {\r\n    stroke along (4%, 71%), # left\r\n        (18%, 69%) width 6%  # right\r\n}\r\n")
	s, _ := ReadSource("", src)
	if got := excerpt(src, s.Lines[2].Span); got != "stroke along (4%, 71%), # left\n        (18%, 69%) width 6%" {
		t.Errorf("%q", got)
	}
	if got := excerpt(src, Span{2, 6, 2, 7}); got != "é" {
		t.Errorf("%q", got)
	}
	if len(s.Lines[2].Comments) != 2 || s.Lines[2].Comments[1].Text != "# right" {
		t.Errorf("comments %+v", s.Lines[2].Comments)
	}
}
