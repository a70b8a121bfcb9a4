package wedge

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"platemark/ops"
	"platemark/ops/colour"
)

// All 34 published pairs (Sharma, Wu and Dalal 2005, table 1), as two files of
// measurements: differences to the four decimals of the table.
func TestPublishedPairs(t *testing.T) {
	f, err := os.Open("../../testdata/standards/ciede2000.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment, r.FieldsPerRecord = '#', -1
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	mine, theirs := "patch,L*,a*,b*\n", "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID LAB_B LAB_A LAB_L\nEND_DATA_FORMAT\nBEGIN_DATA\n"
	want := map[string]float64{}
	for _, row := range rows[1:] {
		mine += fmt.Sprintf("pair-%s,%s,%s,%s\n", row[0], row[1], row[2], row[3])
		theirs += fmt.Sprintf("pair-%s %s\t%s %s\n", row[0], row[6], row[5], row[4])
		want["pair-"+row[0]], _ = strconv.ParseFloat(row[7], 64)
	}
	got, err := Compare(read(t, mine), read(t, theirs+"END_DATA\n"))
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Rows) != 34 {
		t.Fatalf("%d pairs", len(got.Rows))
	}
	for _, row := range got.Rows {
		if math.Abs(row.Delta-want[row.Name]) > 0.00005001 {
			t.Errorf("%s: %.5f, published %.4f", row.Name, row.Delta, want[row.Name])
		}
	}
}

func read(t *testing.T, text string) *Chart {
	t.Helper()
	c, err := Read([]byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// One chart in every form that is read: equal colours.
func TestOneChartInManyForms(t *testing.T) {
	white, grey := colour.Lab{L: 95.1, A: 0, B: -2}, colour.Lab{L: 50, A: 1, B: 2.5}
	xyz := func(scale float64) string {
		s := "SAMPLE_ID,XYZ_X,XYZ_Y,XYZ_Z\n"
		for _, p := range []Patch{{"grey-100", white}, {"grey-50", grey}} {
			v := p.Lab.XYZ()
			s += fmt.Sprintf("%s,%.9f,%.9f,%.9f\n", p.Name, v[0]*scale, v[1]*scale, v[2]*scale)
		}
		return s
	}
	cgats := "CGATS.17\nORIGINATOR \"a \"\"quoted\"\" name\"\nKEYWORD \"COMMENT\"\n# one\nNUMBER_OF_FIELDS 5\nBEGIN_DATA_FORMAT\nSAMPLE_ID SAMPLE_NAME LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\nNUMBER_OF_SETS 2\nBEGIN_DATA\nA1 \"grey-100\" 9.51e1 0 -2\n\nA2 grey-50 50.0 1 2.5 # here\nEND_DATA\n"
	plain := "patch,L*,a*,b*\ngrey-100,95.1,0,-2\ngrey-50,50,1,2.5\n"
	for name, text := range map[string]string{
		"cgats":         cgats,
		"CRLF":          strings.ReplaceAll(cgats, "\n", "\r\n"),
		"CR":            strings.ReplaceAll(cgats, "\n", "\r"),
		"mark":          "\xEF\xBB\xBF" + cgats,
		"lower case":    strings.ReplaceAll(strings.ReplaceAll(cgats, "LAB_", "lab_"), "SAMPLE", "sample"),
		"commas":        plain,
		"tabs":          strings.ReplaceAll(plain, ",", "\t"),
		"semicolons":    strings.ReplaceAll(plain, ",", ";"),
		"shuffled":      "b*,more,Patch,a*,L*\n2.5,x,GREY-50,1,50\n-2,y,grey-100,0.0,+95.10\n",
		"quotes":        "\"patch\",\"L*\",\"a*\",\"b*\"\n\"grey-100\",\"95.1\",\"0\",\"-2\"\n\"grey-50\",50,1,2.5",
		"XYZ to 100":    xyz(100),
		"XYZ to 1":      xyz(1),
		"both":          "patch,L*,a*,b*,X,Y,Z\n" + strings.ReplaceAll(strings.TrimPrefix(plain, "patch,L*,a*,b*\n"), "\n", ",1,1,1\n"),
		"id beside":     "id,patch,L*,a*,b*\n7,grey-100,95.1,0,-2\n8,grey-50,50,1,2.5\n",
		"blank between": strings.ReplaceAll(plain, "\n", "\n\n"),
	} {
		c, err := Read([]byte(text))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		found := 0
		for _, p := range c.Patches {
			want := map[string]colour.Lab{"grey-100": white, "grey-50": grey}[p.Name]
			if math.Abs(p.Lab.L-want.L)+math.Abs(p.Lab.A-want.A)+math.Abs(p.Lab.B-want.B) < 1e-6 {
				found++
			}
		}
		if found != 2 || len(c.Patches) != 2 {
			t.Errorf("%s: %+v", name, c.Patches)
		}
		if told := len(c.Notes) > 0; told != (strings.HasPrefix(name, "XYZ") || name == "both") {
			t.Errorf("%s: notes %q", name, c.Notes)
		}
	}
}

// What can't be read as it stands is refused by its place.
func TestRefusedMeasurements(t *testing.T) {
	cgats := func(promise, row string) string {
		return "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\n" + promise + "BEGIN_DATA\n" + row + "END_DATA\n"
	}
	for _, c := range []struct{ text, want string }{
		{cgats("", "1 95,1 0 -2\n"), "line 6, column 3: 95,1 has a decimal comma"},
		{cgats("", "1 95.1 nan -2\n"), `line 6, column 8: "nan" is no number`},
		{cgats("", "1 95.1 - -2\n"), `"-" is no number`},
		{cgats("", "1 95.1 0x10 -2\n"), `"0x10" is no number`},
		{cgats("", "1 95.1 "+strings.Repeat("9", 400)+" -2\n"), "line 6, column 8"},
		{"patch,X,Y,Z\ngrey-100,87,90,74\nrgb-100-0-0,8700,45,37\n", "X 8700, Y 45, Z 37 of rgb-100-0-0 is no colour"},
		{cgats("", "1 95.1 0\n"), "line 6: it has 3 values for 4 columns"},
		{cgats("NUMBER_OF_SETS 3\n", "1 95 0 0\n2 50 0 0\n"), "line 5, column 16: it promises 3 sets and has 2"},
		{cgats("", "1 95 0 0\n1 95 0 0\n"), "line 7, column 1: 1 stands in line 6 too"},
		{cgats("", "1 950 0 0\n"), "is no colour of a print"},
		{strings.TrimSuffix(cgats("", "1 95 0 0\n"), "END_DATA\n"), "it ends before END_DATA"},
		{cgats("", "1 95 0 0\n") + cgats("", "1 95 0 0\n"), "a second table"},
		{"patch,L*,a*,b*\ngrey-100,95,1,0,-2\n", "line 2: it has 5 values for 4 columns"},
		{"patch;L*;a*;b*\ngrey-100;95,1;0;-2\n", "decimal comma"},
		{"patch,L*,a*,b*\ngrey-100,,0,-2\n", "line 2, column 10: a value is missing"},
		{"patch,L*,a*,b*\n,95,0,-2\n", "a patch without a name"},
		{"patch,L*,a*,b*\n\"grey-100,95,0,-2\n", "a quote is opened"},
		{"patch,LAB_L,L*,a*,b*\ngrey-100,95,95,0,-2\n", "L* stands for the same as LAB_L"},
		{"patch,nm400,nm410\ngrey-100,1,2\n", "it has spectra only"},
		{"L*,a*,b*\n95,0,-2\n", "no column of patches' names"},
		{"SAMPLE_IDENTITY,L*,a*,b*\n1,95,0,-2\n", "no column of patches' names"},
		{"patch,red\ngrey-100,2\n", "no columns of colours"},
		{"patch,X,Y,Z\ngrey-100,43,45,37\n", "L* 72.9, where papers have 80 to 100"},
		{"patch,X,Y,Z\ngrey-50,43,45,37\n", "without the paper's white"},
		{"patch,X,Y,Z\ngrey-100,4300,4500,3700\n", "has Y 4500"},
		{"hello\n", "line 1: it isn't a table"},
		{"patch,L*,a*,b*\n", "it has no measurements"},
		{"", "names no columns"},
		{"\xFF\xFE", "isn't text in UTF-8"},
	} {
		_, err := Read([]byte(c.text))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: %v, want %q", c.text, err, c.want)
		}
	}
}

// The built-in sRGB promises what IEC 61966-2-1 and CIE 15 come to beside D50:
// white, 53.39 for half (0.5 is 0.21404 of white's light), and red as it is
// published for sRGB under D50 (54.29, 80.81, 69.89; from memory).
func TestExpectedOfSRGB(t *testing.T) {
	p, _ := colour.Space("sRGB")
	c, err := Expect(p, []string{"grey-100", "grey-50", "grey-0", "rgb-100-0-0"})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []colour.Lab{{L: 100}, {L: 53.39}, {}, {L: 54.29, A: 80.81, B: 69.89}} {
		if d := colour.DeltaE2000(c.Patches[i].Lab, want); d > 0.05 {
			t.Errorf("%s: %+v, want %+v", c.Patches[i].Name, c.Patches[i].Lab, want)
		}
	}
	for _, name := range []string{"grey-101", "rgb-1-2", "7", "grey--1"} {
		if _, err := Expect(p, []string{name}); err == nil {
			t.Errorf("%s is taken for a patch of ours", name)
		}
	}
	if p, _ := colour.Space("grey-2.2"); p != nil {
		if _, err := Expect(p, []string{"grey-50"}); err == nil {
			t.Error("a grey profile promises colours")
		}
	}
}

// Calculated by hand: a paper 2.1 b* warmer and greys that agree; five patches
// whose differences are 0, 0, 0, 0 and one of L* alone at 50, where CIEDE2000 of
// L* is the difference itself to second order (S_L is 1 at 50).
func TestSentences(t *testing.T) {
	mine := "patch,L*,a*,b*\ngrey-100,95,0,0\ngrey-50,50,0,0\ngrey-0,15,0,0\n"
	theirs := "patch,L*,a*,b*\ngrey-100,95,0,2.1\ngrey-50,50,0,0\ngrey-0,15,0,0\n"
	r, err := Compare(read(t, mine), read(t, theirs))
	if err != nil {
		t.Fatal(err)
	}
	r.Agree()
	if got := r.Verdict[0].Text + " " + r.Verdict[1].Text; got != "Their paper, beside mine: 2.1 b* warmer than mine. Greys agree (0.0 apart at most)." {
		t.Errorf("%s", got)
	}
	wedge := "patch,L*,a*,b*\n"
	for i := 1; i < 20; i++ {
		wedge += fmt.Sprintf("grey-%d,50,0,0\n", 5*i)
	}
	off := strings.Replace(wedge, "grey-50,50,0,0", "grey-50,51,0,0", 1)
	if r, err = Compare(read(t, wedge), read(t, off)); err != nil {
		t.Fatal(err)
	}
	if r.Worst.Name != "grey-50" || math.Abs(r.Worst.Delta-1) > 0.01 || math.Abs(r.Mean-1.0/19) > 0.001 || r.P95 != r.Worst.Delta {
		t.Errorf("worst %+v, mean %v, 95 %% %v", r.Worst, r.Mean, r.P95)
	}
	if r, err = Compare(read(t, wedge+"grey-0,50,0,0\n"), read(t, strings.Replace(off, "grey-5,", "other,", 1)+"grey-0,50,0,0\n")); err != nil || fmt.Sprint(r.Missing, r.Extra) != "[grey-5] [other]" {
		t.Errorf("%v, missing %v, extra %v", err, r.Missing, r.Extra)
	}
	if r.Agree(); fmt.Sprint(r.Missing, r.Extra) != "[grey-5 other grey-100] []" || r.Good() || !strings.HasPrefix(r.Verdict[0].Text, "3 of 22 patches weren't measured in both: grey-5, other, grey-100. ") {
		t.Errorf("missing %v, extra %v: %+v", r.Missing, r.Extra, r.Verdict[0])
	}
	if _, err = Compare(read(t, mine), read(t, "patch,L*,a*,b*\nx,1,2,3\n")); err == nil {
		t.Error("nothing in common, and no error")
	}
}

// By the ranges of SPEC, wedge: every wedge is whole by its own names, alone and
// beside the colours; one that lacks any patch that no smaller wedge explains is
// filled up. Names of other charts stand for themselves.
func TestWholeWedges(t *testing.T) {
	for n := 3; n <= 51; n++ {
		for _, more := range [][]string{nil, ops.Mixtures()} {
			names := append(ops.Greys(n), more...)
			if got := Whole(names); len(got) != n+len(more) {
				t.Errorf("%d greys, %d mixtures: %d are the whole", n, len(more), len(got))
			}
		}
	}
	two := append(ops.Greys(11), "grey-17", "grey-33", "grey-67", "grey-83") // of 7, with 0, 50 and 100
	for _, c := range []struct {
		names []string
		want  int
	}{
		{two, 15},
		{ops.Greys(11)[1:], 11}, {ops.Greys(11)[:10], 11}, {append(ops.Greys(11)[:3], ops.Greys(11)[4:]...), 11},
		{ops.Mixtures()[:18], 27}, {ops.Mixtures()[13:14], 27},
		{[]string{"A1", "rgb-10-20-30", "A1"}, 2}, {nil, 0},
	} {
		if got := Whole(c.names); len(got) != c.want {
			t.Errorf("%v: the whole is %v", c.names, got)
		}
	}
}

// The names of a wedge's patches are all that is needed to print them.
func TestCodes(t *testing.T) {
	for percent, want := range map[int]uint16{0: 0, 1: 655, 50: 32768, 99: 64880, 100: 65535} {
		if got := ops.PatchCode(percent); got != want {
			t.Errorf("%d %% is %d, want %d", percent, got, want)
		}
	}
}

func FuzzRead(f *testing.F) {
	f.Add([]byte("patch,L*,a*,b*\ngrey-100,95,0,-2\n"))
	f.Add([]byte("CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID XYZ_X XYZ_Y XYZ_Z\nEND_DATA_FORMAT\nBEGIN_DATA\ngrey-100 \"90\" 95 80 #\nEND_DATA"))
	f.Fuzz(func(t *testing.T, b []byte) {
		c, err := Read(b)
		if err != nil {
			return
		}
		for _, p := range c.Patches {
			if math.IsNaN(p.Lab.L) || math.IsInf(p.Lab.L, 0) {
				t.Errorf("%q: %+v", b, p)
			}
		}
	})
}
