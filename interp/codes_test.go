package interp

import (
	"context"
	"math/big"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"platemark/lang"
	"platemark/ops"
	"platemark/ops/codec/tiff"
	"platemark/ops/colour"
)

// Every code that planning and building give has its entry in the reference.
func TestEveryCodeIsDocumented(t *testing.T) {
	known := map[string]bool{}
	for _, c := range append(append([]lang.Code{}, lang.Codes...), lang.PlannerCodes...) {
		known[c.Code] = true
	}
	var files []string
	for _, p := range []string{"*.go", "plan/*.go"} {
		list, err := filepath.Glob(p)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, list...)
	}
	used := map[string]bool{}
	for _, f := range files {
		if strings.HasSuffix(f, "_test.go") {
			continue
		}
		for _, m := range regexp.MustCompile(`"(PM\d{3})"`).FindAllStringSubmatch(string(read(t, f)), -1) {
			used[m[1]] = true
			if !known[m[1]] {
				t.Errorf("%s gives %s, which lang.PlannerCodes doesn't have", f, m[1])
			}
			if len(lang.Explain(m[1])) == 0 {
				t.Errorf("the reference has no entry for %s", m[1])
			}
		}
	}
	for _, c := range lang.PlannerCodes {
		if !used[c.Code] {
			t.Errorf("nothing gives %s", c.Code)
		}
	}
}

// Every operation of the table has its entry in the reference.
func TestEveryOperationIsDocumented(t *testing.T) {
	for _, o := range ops.Table() {
		if !slices.ContainsFunc(lang.Explain(o.Name), func(e lang.Entry) bool { return e.Kind == "operation" }) {
			t.Errorf("the reference has no entry for the operation %s", o.Name)
		}
	}
}

// The planner's examples of the reference: the wrong one gives its code, the
// right one no error and not that code.
func TestExamplesOfPlannerCodes(t *testing.T) {
	folder := t.TempDir()
	writeMaster(t, filepath.Join(folder, "salt-road.tif"), 900, 600, 3, "opRGB")
	writeMaster(t, filepath.Join(folder, "untagged.tif"), 900, 600, 3, "")
	writeMaster(t, filepath.Join(folder, "crafted.tif"), 900, 600, 3, "opRGB")
	writeMaster(t, filepath.Join(folder, "other-colours.tif"), 900, 600, 3, "sRGB")
	writeMaster(t, filepath.Join(folder, "square.tif"), 60, 60, 1, "grey-2.2")
	write(t, filepath.Join(folder, "baryta.icc"), string(read(t, filepath.Join("..", "testdata", "standards", "profiles", "rgbprint_v4.icc"))))
	writeMaster(t, filepath.Join(folder, "reeds.tif"), 90, 60, 1, "grey-2.2")
	grey, _ := colour.Space("grey-2.2")
	write(t, filepath.Join(folder, "grey.icc"), string(grey.Bytes()))
	l, err := tiff.NewLayout(tiff.Options{W: 9, H: 6, C: 3, Bits: 16, PPI: big.NewRat(300, 1), ICC: grey.Bytes()})
	if err != nil {
		t.Fatal(err)
	}
	b := l.Header()
	for range 6 {
		b = l.AppendRow(b, make([]uint16, 27), 0)
	}
	write(t, filepath.Join(folder, "odd.tif"), string(append(b, l.Trailer()...)))
	write(t, filepath.Join(folder, "old.tif"), "an older print")
	load := func(x lang.Example, lines string) []lang.Diagnostic {
		file := filepath.Join(folder, "x.recipe")
		if err := os.WriteFile(file, []byte(x.Recipe(lines)), 0o666); err != nil {
			t.Fatal(err)
		}
		j, err := Load(context.Background(), file, LoadOptions{Masks: true, Spots: true})
		if err != nil {
			t.Fatal(err)
		}
		defer j.Close()
		return j.Diags
	}
	n := 0
	for _, x := range lang.Examples() {
		if !strings.HasPrefix(x.Code, "PM5") {
			continue
		}
		n++
		gives := false
		for _, d := range load(x, x.Wrong) {
			gives = gives || d.Code == x.Code
			if d.Severity == lang.Error && d.Code != x.Code {
				t.Errorf("%s: the wrong example gives %s too: %s", x.Code, d.Code, d.Summary)
			}
		}
		if !gives {
			t.Errorf("%s: the wrong example doesn't give it: %v\n%s", x.Code, load(x, x.Wrong), x.Recipe(x.Wrong))
		}
		for _, d := range load(x, x.Right) {
			if d.Severity == lang.Error || d.Code == x.Code {
				t.Errorf("%s: the right example gives %s: %s %s\n%s", x.Code, d.Code, d.Summary, d.Detail, x.Recipe(x.Right))
			}
		}
	}
	if n < len(lang.PlannerCodes) {
		t.Errorf("%d examples", n)
	}
}

// A profile that can't say its white is refused by intent absolute alone, with
// the place of the word and the mend.
func TestAbsoluteIntentNeedsAWhite(t *testing.T) {
	folder, file := smallJob(t, "recipe 1 draft\nmaster \"m.tif\"\nprint p {\n    size 96 px wide at 300 ppi\n    convert to profile \"dull.icc\" intent absolute\n    save tiff \"p.tif\"\n}\n")
	p, _ := colour.Space("sRGB")
	write(t, filepath.Join(folder, "dull.icc"), strings.Replace(string(p.Bytes()), "wtpt", "wxyz", 1))
	j, err := Load(context.Background(), file, LoadOptions{})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	if len(j.Diags) != 1 {
		t.Fatalf("%v", j.Diags)
	}
	d := j.Diags[0]
	if d.Code != "PM514" || d.Span.Line != 5 || d.Span.Col != 42 || !strings.Contains(d.Summary, "absolute intent can't be used") || !strings.Contains(d.Hints[0], "intent relative") {
		t.Errorf("%+v", d)
	}
	write(t, file, strings.Replace(string(read(t, file)), "absolute", "relative", 1))
	mustLoad(t, file, LoadOptions{})
}
