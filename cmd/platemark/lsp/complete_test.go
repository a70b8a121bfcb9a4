package lsp

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"platemark/lang"
)

func labels(l itemList) []string {
	out := []string{}
	for _, i := range l.Items {
		out = append(out, i.Label)
	}
	return out
}

func TestCompletion(t *testing.T) {
	c, dir, uri := folder(t)
	if err := os.MkdirAll(filepath.Join(dir, "papers"), 0o777); err != nil {
		t.Fatal(err)
	}
	for _, n := range []string{"papers/rag.icc", "papers/notes.txt", "mask.png", "old.jpg", ".hidden.tif"} {
		if err := os.WriteFile(filepath.Join(dir, filepath.FromSlash(n)), []byte("x"), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	kernels := []string{"nearest", "linear", "cubic", "mitchell", "b-spline", "lanczos2", "lanczos3", "lanczos4"}
	spaces := []string{"sRGB", "opRGB", "ROMM-RGB", "Display-P3", "grey-2.2"}
	var print []string // in the order of the list of statements
	for _, s := range lang.Statements() {
		if slices.Contains(s.Blocks, "print") && !slices.Contains(print, s.Word) {
			print = append(print, s.Word)
		}
	}
	shapes := []string{"stroke", "ellipse", "rectangle", "polygon", "gradient", "range", "edges", "file", "mask"}
	large := "print large {\n    size 60 in x 40 in at 300 ppi\n"
	for _, row := range []struct {
		old, new string   // what the recipe has at the marker
		want     []string // exactly these, in this order
		from     int      // characters of the word that is replaced
	}{
		{"title ", "ti| ", []string{"recipe", "title", "rights", "round", "master", "picture", "paper", "lab", "mask", "prepare", "steps", "print", "sheet", "inputs"}, 2},
		{large, large + "    |\n", print, 0},
		{large, large + "    sh|\n", print, 2},
		{"    polygon", "    |\n    polygon", append(slices.Clone(shapes), "invert", "soften", "less", "within"), 0},
		{"    less mask grasses", "    less |", shapes, 0},
		{"less mask grasses", "less mask g|", []string{"grasses"}, 1},
		{"through rocks", "through |", []string{"grasses", "rocks"}, 0},
		{"through rocks", "|", []string{"method", "blur", "quiet", "halo", "through", "as"}, 0},
		{"190% through rocks", "190% quiet 3% |", []string{"halo", "through", "as"}, 0},
		{"radius 1.8 px amount 190%", "|", []string{"radius"}, 0},
		{"1.8 px amount", "1.8 |", []string{"px", "mm", "%", "amount"}, 0},
		{"1.8 px amount", "1.8p| amount", []string{"px", "mm", "%", "amount"}, 1},
		{"follow wall\n    sharpen", "follow |\n    sharpen", []string{"wall"}, 0},
		{"blend smooth over", "blend |", []string{"crisp", "smooth"}, 0},
		{"over crisp", "over cr|", []string{"crisp", "smooth"}, 2},
		{"as crisp", "as |", nil, 0},
		{"mask rocks {", "mask r|", nil, 1},
		{"with mitchell as", "with mi| as", kernels, 2},
		{"with mitchell as smooth", "with mitchell |", []string{"light", "as"}, 0},
		{"with mitchell as smooth", "with mitchell light |", []string{"linear", "encoded"}, 0},
		{`"salt-road.tif"`, `"salt-road.tif" space op|`, spaces, 2},
		{`"salt-road.tif"`, `"|"`, []string{"mask.png", "papers/", "salt-road.tif"}, 0},
		{`"salt-road.tif"`, `"sa|`, []string{"mask.png", "papers/", "salt-road.tif"}, 2},
		{"    less mask grasses", `    within file "|"`, []string{"mask.png", "papers/", "salt-road.tif"}, 0},
		{`    save jpeg`, `    convert to profile "papers/r|"` + "\n    save jpeg", []string{"rag.icc"}, 1},
		{`    save jpeg`, `    convert to |` + "\n    save jpeg", append(slices.Clone(spaces), "profile"), 0},
		{`    save jpeg`, `    convert to sRGB intent |` + "\n    save jpeg", []string{"perceptual", "relative", "saturation", "absolute"}, 0},
		{`jpeg "large.jpg"`, `jpeg "|"`, []string{"old.jpg", "papers/", "salt-road.tif"}, 0},
		{`jpeg "large.jpg"`, `|`, []string{"jpeg", "tiff"}, 0},
		{`"large.jpg"`, `"large.jpg" chroma |`, []string{"full", "half"}, 0},
		{"60 in x 40 in at 300 ppi", "|", []string{"within"}, 0},
		{"60 in x 40 in at 300 ppi", "60 |", []string{"in", "cm", "mm", "px", "x", "wide", "high"}, 0},
		{"x 40 in at 300 ppi", "x 40 c|", []string{"in", "cm", "mm", "px", "at"}, 1},
		{"at 300 ppi\n    follow", "at 300 |\n    follow", []string{"ppi"}, 0},
		{"(52%, 70%) width", "(52%, 70%) |", []string{"width"}, 0},
		{"(52%, 70%)", "(52|", []string{"%", "px"}, 0},
		{"title ", "# ti|\ntitle ", nil, 0},
		{`"Salt road, November"`, `"Sa|"`, nil, 2},
	} {
		if strings.Count(saltRoad, row.old) == 0 {
			t.Fatalf("%q isn't there", row.old)
		}
		src, at := marked(t, strings.Replace(saltRoad, row.old, row.new, 1))
		c.opens(uri, src)
		var l itemList
		c.ask("textDocument/completion", where(uri, at.Line, at.Character), &l)
		want := row.want
		if want == nil {
			want = []string{}
		}
		if got := labels(l); cmp.Diff(got, want) != "" {
			t.Errorf("%q: %q, want %q", row.new, got, want)
		}
		for _, i := range l.Items {
			if i.Edit.Range != (span{position{at.Line, at.Character - row.from}, at}) {
				t.Errorf("%q: %s replaces %v", row.new, i.Label, i.Edit.Range)
			}
		}
	}
	c.leaves()
}
