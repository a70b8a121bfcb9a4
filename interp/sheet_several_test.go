package interp

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"platemark/interp/audit"
	"platemark/ops/colour"
)

const pondRecipe = `recipe 1 draft
title "Pond"
master "m.tif"
mask reeds {
    rectangle at (25%, 50%) size 50% x 100%
}
paper same {
    profile "same.icc"
}
paper other {
    profile "other.icc"
}
print pond on same {
    size 1 in x 1 in at 150 ppi
    enlarge with lanczos3
    tone through reeds {
        exposure 0.5 stops
    }
    convert to same
    save tiff "pond.tif"
}
sheet trial on same {
    size 9 in x 7 in at 150 ppi
    show pond
    section of pond at (50%, 50%) size 0.4 in x 0.3 in
    save tiff "pond-trial.tif"
}
`

// Pieces of a second recipe lie behind those of the first, with the very samples
// and marks of their prints, whatever the two recipes call their files; and a log
// of both whose chain is made anew is found to be forged.
func TestSheetOfSeveralRecipes(t *testing.T) {
	ctx := context.Background()
	folder, file := smallJob(t, sheetRecipe)
	pond := filepath.Join(folder, "pond", "r.recipe")
	if err := os.Mkdir(filepath.Dir(pond), 0o777); err != nil {
		t.Fatal(err)
	}
	write(t, pond, pondRecipe)
	writeMaster(t, filepath.Join(folder, "pond", "m.tif"), 64, 64, 3, "sRGB")
	for name, space := range map[string]string{"same.icc": "sRGB", "other.icc": "Display-P3"} {
		p, _ := colour.Space(space)
		write(t, filepath.Join(folder, name), string(p.Bytes()))
		write(t, filepath.Join(folder, "pond", name), string(p.Bytes()))
	}
	print := mustBuild(t, pond, LoadOptions{Prints: []string{"pond"}}, BuildOptions{})[0]
	var logs [][]byte
	var built Built
	for i, o := range []BuildOptions{{}, {Out: filepath.Join(folder, "again"), Workers: 1, BandRows: 16}} {
		j, err := LoadSheet(ctx, []string{file, pond}, "", LoadOptions{Out: o.Out})
		if err != nil || j.Failed() {
			t.Fatal(err, j.Errors())
		}
		b, err := Build(ctx, j, o)
		j.Close()
		if err != nil {
			t.Fatal(err)
		}
		lines := strings.SplitAfter(string(read(t, b[0].Log)), "\n")
		logs = append(logs, []byte(strings.Join(lines[:len(lines)-2], "")))
		if i == 0 {
			built = b[0]
		}
	}
	if string(logs[0]) != string(logs[1]) {
		t.Error("the determined records depend on bands or workers")
	}
	l, err := audit.ReadLog(built.Log)
	if err != nil {
		t.Fatal(err)
	}
	w, _, _, sheet := samples(t, built.File)
	wp, hp, _, whole := samples(t, print.File)
	var pictures [][2]int
	marked := 0
	for i := 1; ; i++ {
		part, ok := l.Steps[len(l.Steps)-1].Args[fmt.Sprintf("part-%d", i)]
		if !ok {
			break
		}
		var x, y int
		if n, _ := fmt.Sscanf(part, "picture %d %d", &x, &y); n == 2 {
			pictures = append(pictures, [2]int{x, y})
		}
		if strings.Contains(part, "mark "+print.Mark.String()[:12]) {
			marked++
		}
	}
	if marked != 2 {
		t.Errorf("%d captions bear the mark of the second recipe's print, not 2", marked)
	}
	n := len(pictures)
	for _, c := range []struct{ at, x, y, w, h int }{{n - 2, 0, 0, wp, hp}, {n - 1, 45, 53, 60, 45}} { // 52.5, half up
		for y := range c.h {
			a := sheet[((pictures[c.at][1]+y)*w+pictures[c.at][0])*3:][:3*c.w]
			if b := whole[((c.y+y)*wp+c.x)*3:][:3*c.w]; !slices.Equal(a, b) {
				t.Errorf("piece %d: row %d isn't the print's", c.at, y)
				break
			}
		}
	}

	last := len(l.Lines)
	first := slices.IndexFunc(l.Steps, func(s audit.StepRecord) bool { return s.Recipe == 2 })
	step := l.InputLine(len(l.Inputs)) + first
	for name, c := range map[string]struct {
		line   int
		words  string
		change func([]any) []any
	}{
		"itself":             {0, "", func(all []any) []any { return all }},
		"no second recipe":   {3, "a recipe has no place here, or one is missing", func(all []any) []any { return slices.Delete(all, 2, 3) }},
		"other pieces":       {last - 3, "of recipe 2 (crop), `section of pond", altered(3, func(r *audit.RecipeRecord) { r.Text = strings.Replace(r.Text, "0.4 in x", "0.5 in x", 1) })},
		"another size":       {2, "recipe 2, line 23: this sheet is", altered(3, func(r *audit.RecipeRecord) { r.Text = strings.Replace(r.Text, "size 9 in", "size 8 in", 1) })},
		"a print of several": {2, "only sheets of one name", altered(2, func(r *audit.RecipeRecord) { r.Print = "large" })},
		"another name":       {3, "has no print large", altered(3, func(r *audit.RecipeRecord) { r.Print = "large" })},
		"pinned otherwise": {l.InputLine(len(l.Inputs) - 1), "recipe 2: m.tif has the sha256", altered(3, func(r *audit.RecipeRecord) {
			r.Text += "inputs {\n    \"m.tif\" sha256 \"" + strings.Repeat("ab", 32) + "\"\n}\n"
		})},
		"a step's recipe": {step, "has the recipe 3", altered(step, func(r *audit.StepRecord) { r.Recipe = 3 })},
		"no recipe's":     {step, "has the recipe 0", altered(step, func(r *audit.StepRecord) { r.Recipe = 0 })},
		"recipes without end": {2 + audit.MaxRecipes, "at most 24 recipes", func(all []any) []any {
			run := all[last-1].(audit.RunRecord)
			for range audit.MaxRecipes - 1 {
				all = slices.Insert(all, 3, all[2])
				run.Others = append(slices.Clone(run.Others), "r.recipe")
			}
			all[len(all)-1] = run
			return all
		}},
		"a recipe less": {3, "the run is of 1 recipe, the log has 2", altered(last, func(r *audit.RunRecord) { r.Others = nil })},
	} {
		write(t, l.Path, string(rechain(c.change(recordsOf(l))...)))
		v, err := Verify(ctx, l.Path, VerifyOptions{})
		want := c.words
		if c.line > 0 {
			want = fmt.Sprintf("line %d: ", c.line)
		}
		if err != nil || v.OK != (c.words == "") || !slices.ContainsFunc(v.Lines, func(f Finding) bool {
			return strings.HasPrefix(f.What, want) && strings.Contains(f.What, c.words)
		}) {
			t.Errorf("%s: %v %+v", name, err, v)
		}
	}
}
