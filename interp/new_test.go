package interp

import (
	"bytes"
	"context"
	"path/filepath"
	"strings"
	"testing"

	"platemark/interp/plan"
	"platemark/lang"
)

// A first recipe of any master is in canonical form, checks and builds; the
// untagged one does so once its caution was answered.
func TestNewRecipe(t *testing.T) {
	ctx := context.Background()
	for _, c := range []struct {
		name, space string
		w, h, n     int
		want        []string
	}{
		{"tiny", "opRGB", 60, 40, 3, []string{"size 60 px wide at 300 ppi", `save tiff "tiny-own-size.tif" bits 16`, "60 x 40 px upright (3:2), RGB, 16 bits, profile "}},
		{"square", "sRGB", 300, 300, 3, []string{"within it: 8 x 8 in", "convert to opRGB", "(1:1)"}},
		{"four-to-three", "opRGB", 4000, 3000, 3, []string{"#     18 x 12 in      250 ppi   within it: 16 x 12 in", "print within-18x12 {", "size within 18 in x 12 in at 300 ppi", `"four-to-three-within-18x12.tif"`}},
		// A print of 12 x 7.996 inches is one of 12 x 8.
		{"nearly", "opRGB", 3002, 2000, 3, []string{"#     12 x 8 in       250 ppi\n", "print size-12x8 {"}},
		{"grey", "grey-2.2", 90, 60, 1, []string{"grey, 16 bits"}},
		{"tall", "ROMM-RGB", 2000, 3000, 3, []string{"print size-8x12 {", "size within 8 in x 12 in at 300 ppi", `"tall-8x12.tif"`, "40 x 60 in", "100 x 150 cm", "convert to opRGB"}},
		// 7.75 inches of 12 are 3100 px wide: 258 ppi; 18 inches 172.
		{"wide", "opRGB", 3100, 2001, 3, []string{"#     12 x 8 in       258 ppi", "#     18 x 12 in      172 ppi", "#     30 x 20 cm      262 ppi", "print within-12x8 {", "size within 12 in x 8 in at 300 ppi", `"wide-within-12x8.tif"`}},
		// 12 inches of 20000 px hold 3 px in 0.0018 inches, 60 in 0.009; 8 inches 8 px.
		{"thin", "opRGB", 3, 20000, 3, []string{"1667 ppi   within it: 0.002 x 12 in\n", "within it: 0.01 x 60 in\n", "# The print below is only 0.01 in across. Is this the right file?\n"}},
		{"dot", "opRGB", 8, 8, 3, []string{"#     12 x 8 in         1 ppi", "#     60 x 40 in      0.2 ppi", "# The print below is only 0.03 in across."}},
		// Names of prints have 190 bytes at most (lang.MaxPrintName); the last letter
		// that fits is whole.
		{strings.Repeat("a", 180), "opRGB", 60, 40, 3, []string{`save tiff "` + strings.Repeat("a", 177) + `-own-size.tif"`}},
		{strings.Repeat("é", 90), "opRGB", 60, 40, 3, []string{`save tiff "` + strings.Repeat("é", 88) + `-own-size.tif"`}},
	} {
		t.Run(c.name, func(t *testing.T) {
			folder := t.TempDir()
			master := filepath.Join(folder, c.name+".tif")
			writeMaster(t, master, c.w, c.h, c.n, c.space)
			file := filepath.Join(folder, c.name+".recipe")
			text, err := plan.NewRecipe(ctx, master, file)
			if err != nil {
				t.Fatal(err)
			}
			if told := strings.Contains(string(text), "Is this the right file?"); told != (c.w < 20) {
				t.Errorf("its thinness is told: %v", told)
			}
			for _, w := range c.want {
				if !strings.Contains(string(text), w) {
					t.Errorf("lacks %q:\n%s", w, text)
				}
			}
			if f, ds := lang.Format("", text); len(ds) > 0 || !bytes.Equal(f, text) {
				t.Errorf("not canonical: %v\n%s", ds, text)
			}
			write(t, file, string(text))
			j := mustLoad(t, file, LoadOptions{})
			for _, d := range j.Diags {
				t.Errorf("%s %s\n%s", d.Code, d.Summary, text)
			}
			if c.w < 400 {
				mustBuild(t, file, LoadOptions{}, BuildOptions{Workers: 2})
			}
			// A recipe elsewhere names the master from there.
			text, err = plan.NewRecipe(ctx, master, filepath.Join(folder, "recipes", "x.recipe"))
			if err != nil || !strings.Contains(string(text), `master  "../`+c.name+`.tif"`) {
				t.Errorf("%v\n%s", err, text)
			}
		})
	}
	folder := t.TempDir()
	writeMaster(t, filepath.Join(folder, "m.tif"), 60, 40, 3, "")
	text, err := plan.NewRecipe(ctx, filepath.Join(folder, "m.tif"), filepath.Join(folder, "m.recipe"))
	if err != nil || !strings.Contains(string(text), "# master  \"m.tif\" space SPACE\n") {
		t.Fatalf("%v\n%s", err, text)
	}
	answered := strings.Replace(strings.Replace(string(text), "master  \"m.tif\"\n", "", 1), "# master  ", "master  ", 1)
	answered = strings.Replace(answered, "SPACE", "opRGB", 1)
	write(t, filepath.Join(folder, "m.recipe"), answered)
	mustBuild(t, filepath.Join(folder, "m.recipe"), LoadOptions{}, BuildOptions{Workers: 1})

	write(t, filepath.Join(folder, "text.tif"), "no picture")
	for _, bad := range []string{"text.tif", "missing.tif", "."} {
		if _, err := plan.NewRecipe(ctx, filepath.Join(folder, bad), filepath.Join(folder, "n.recipe")); err == nil {
			t.Errorf("%s gave a recipe", bad)
		}
	}
}
