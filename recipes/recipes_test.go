package recipes

import (
	"bytes"
	"io/fs"
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"platemark/lang"
	"platemark/recipes/marsh"
)

func TestEveryRecipeIsRight(t *testing.T) {
	names, err := fs.Glob(Files, "*.recipe")
	if err != nil || len(names) < 5 {
		t.Fatalf("%d recipes, %v", len(names), err)
	}
	readme, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range names {
		src, err := Files.ReadFile(n)
		if err != nil {
			t.Fatal(err)
		}
		r, ds := lang.Parse(n, src)
		for _, d := range ds {
			t.Errorf("%s:%d:%d: %s %s: %s %v", n, d.Span.Line, d.Span.Col, d.Severity, d.Code, d.Summary, d.Hints)
		}
		if r.Master == nil || r.Master.Path.Value != "marsh.tif" {
			t.Errorf("%s doesn't start from marsh.tif", n)
		}
		if !bytes.Contains(readme, []byte("`"+n+"`")) {
			t.Errorf("README.md doesn't list %s", n)
		}
		for i, line := range strings.Split(string(src), "\n") {
			if strings.ContainsAny(line, "\t\r") || strings.TrimRight(line, " ") != line || len(line) > 100 {
				t.Errorf("%s:%d: a tab, a space at the end, or more than 100 characters", n, i+1)
			}
		}
	}
}

var spotLine = regexp.MustCompile(`spot at \(([0-9.]+)%, ([0-9.]+)%\) radius ([0-9.]+)%`)

type spot struct{ x, y, r float64 }

func spotsOf(t *testing.T, name string) []spot {
	t.Helper()
	src, err := Files.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	var list []spot
	for _, m := range spotLine.FindAllStringSubmatch(string(src), -1) {
		var v [3]float64
		for i := range v {
			if v[i], err = strconv.ParseFloat(m[i+1], 64); err != nil {
				t.Fatal(err)
			}
		}
		list = append(list, spot{v[0] / 100, v[1] / 100, v[2] / 100})
	}
	return list
}

// covers tells whether the mending disc covers the speck where it counts in
// full: within the 70 % of its radius that don't fade.
func covers(m spot, s marsh.Speck) bool {
	return math.Abs(m.x-s.X) < 1e-9 && math.Abs(m.y-s.Y) < 1e-9 && m.r*0.7 >= s.R && m.r <= 2*s.R+0.0002
}

func TestMarshMendsEverySpeck(t *testing.T) {
	list := spotsOf(t, "marsh.recipe")
	specks := marsh.Specks()
	if len(list) != len(specks) {
		t.Errorf("%d spot lines for %d specks", len(list), len(specks))
	}
	for _, s := range specks {
		n := 0
		for _, m := range list {
			if covers(m, s) {
				n++
			}
		}
		if n != 1 {
			t.Errorf("the speck at (%.1f%%, %.1f%%), radius %.2f%%, is mended by %d lines", s.X*100, s.Y*100, s.R*100, n)
		}
	}
}

func TestOtherRecipesMendSpecks(t *testing.T) {
	for _, name := range []string{"square.recipe", "transfer.recipe", "evening.recipe"} {
		list := spotsOf(t, name)
		if len(list) == 0 {
			t.Errorf("%s mends no spot", name)
		}
		for _, m := range list {
			if name == "transfer.recipe" {
				// Turned right and then mirrored: across and down change places.
				m.x, m.y = m.y, m.x
			}
			n := 0
			for _, s := range marsh.Specks() {
				if covers(m, s) {
					n++
				}
			}
			if n != 1 {
				t.Errorf("%s: the spot at (%g, %g) mends %d specks", name, m.x, m.y, n)
			}
		}
	}
}
