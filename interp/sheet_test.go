package interp

import (
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"platemark/interp/plan"
	"platemark/lang"
	"platemark/ops"
	"platemark/ops/colour"
)

const sheetRecipe = `recipe 1 draft
title "Salt road"
master "m.tif"
paper same {
    profile "same.icc"
}
paper other {
    profile "other.icc"
}
steps wall {
    enlarge with lanczos3
    sharpen radius 1 px amount 100%
}
print large on same {
    size 2 in x 1.333 in at 150 ppi
    crop to 3:2 at (40%, 50%)
    follow wall
    convert to same
    border 9 px
    save tiff "large.tif"
}
print keen on same {
    size 2 in x 1.333 in at 150 ppi
    crop to 3:2 at (40%, 50%)
    enlarge with lanczos3
    sharpen radius 1 px amount 140%
    convert to same
    border 9 px
    save tiff "keen.tif"
}
print warm on same {
    size 2 in x 1.333 in at 150 ppi
    crop to 3:2 at (40%, 50%)
    follow wall
    tone {
        exposure -0.5 stops
        warmth +5 mired
    }
    convert to same
    border 9 px
    save tiff "warm.tif"
}
sheet trial on same {
    size 9 in x 7 in at 150 ppi
    show large
    section of large at (50%, 60%) size 0.5 in x 0.3 in
    strip of large at (1 in, 40%) size 60 px x 50 px vary sharpen amount 100% to 160% by 20%
    ring of large at (50%, 50%) size 40 px x 30 px warmth 5 mired exposure 0.5 stops
    wedge grey 5
    wedge colour
    save tiff "trial.tif"
}
`

// What lies on a sheet are the prints' own pixels: whole, cut out at the place
// that is written, with a step's parameter as another print has it, warmer and
// darker as another print is. Patches have the codes of their names, and the line
// at the foot is 100 mm long.
func TestSheetShowsThePrintsPixels(t *testing.T) {
	folder, file := smallJob(t, sheetRecipe)
	for name, space := range map[string]string{"same.icc": "sRGB", "other.icc": "Display-P3"} {
		p, _ := colour.Space(space)
		write(t, filepath.Join(folder, name), string(p.Bytes()))
	}
	built := map[string][]uint16{}
	width := map[string]int{}
	for _, b := range mustBuild(t, file, LoadOptions{}, BuildOptions{}) {
		w, _, _, px := samples(t, b.File)
		built[b.Print], width[b.Print] = px, w
	}
	j := mustLoad(t, file, LoadOptions{NoOutputs: true})
	p := j.Plans[slices.IndexFunc(j.Plans, func(p *plan.Print) bool { return p.Sheet })]
	var pictures [][2]int
	patches := map[string]bool{}
	long := 0
	for _, part := range p.Nodes[p.Out].Args.All("part") {
		var x, y, w, h, r, g, b int
		switch {
		case strings.HasPrefix(part, "picture"):
			fmt.Sscanf(part, "picture %d %d", &x, &y)
			pictures = append(pictures, [2]int{x, y})
		case strings.HasPrefix(part, "fill"):
			fmt.Sscanf(part, "fill %d %d %d %d %d %d %d", &x, &y, &w, &h, &r, &g, &b)
			if h > 10 && w > 10 {
				patches[fmt.Sprintf("%d %d %d", r, g, b)] = true
				at := ((y+h/2)*width["trial"] + x + w/2) * 3
				if got := built["trial"][at : at+3]; !slices.Equal(got, []uint16{uint16(r), uint16(g), uint16(b)}) {
					t.Errorf("the patch %s is %v", part, got)
				}
			} else if h == 1 && y > 6*150 {
				long = w
			}
		}
	}
	same := func(what, of string, n, x, y, w, h int) {
		t.Helper()
		sx, sy := pictures[n][0], pictures[n][1]
		for row := range h {
			a := built["trial"][((sy+row)*width["trial"]+sx)*3:][:3*w]
			b := built[of][((y+row)*width[of]+x)*3:][:3*w]
			if !slices.Equal(a, b) {
				t.Errorf("%s: row %d differs from the print's", what, row)
				return
			}
		}
	}
	// large is 300 x 200 px in a border of 9; the crop to 3:2 cuts nothing of 96 x 64.
	same("shown whole", "large", 0, 0, 0, 318, 218)
	same("section", "large", 1, 150+9-37, 120+9-22, 75, 45) // 37.5 and 22.5, half up
	same("strip, as it is", "large", 2, 150+9-30, 80+9-25, 60, 50)
	same("strip, third", "keen", 4, 150+9-30, 80+9-25, 60, 50)
	same("ring, middle", "large", 2+4+4, 150+9-20, 100+9-15, 40, 30)
	same("ring, warmer and darker", "warm", 2+4+8, 150+9-20, 100+9-15, 40, 30)
	for _, name := range []string{"grey-0", "grey-25", "grey-75", "rgb-100-50-0", "rgb-50-50-50"} {
		rgb, _ := ops.Patch(name)
		if !patches[fmt.Sprintf("%d %d %d", ops.PatchCode(rgb[0]), ops.PatchCode(rgb[1]), ops.PatchCode(rgb[2]))] {
			t.Errorf("no patch %s", name)
		}
	}
	if want := (100*150*10 + 127) / 254; long != want {
		t.Errorf("the line at the foot is %d px long, 100 mm at 150 ppi are %d", long, want)
	}

	// A simulated paper is in between, and then the sheet's own colours.
	write(t, file, strings.Replace(sheetRecipe, "at 150 ppi\n    show", "at 150 ppi\n    simulate other\n    show", 1))
	j = mustLoad(t, file, LoadOptions{NoOutputs: true, Prints: []string{"trial"}})
	var intents []string
	for _, n := range j.Plans[0].Nodes {
		if v, ok := n.Args.Get("intent"); ok && n.Op == "convert" {
			intents = append(intents, v)
		}
	}
	if n := len(intents); n < 4 || !slices.Equal(intents[n-2:], []string{"relative", "absolute"}) {
		t.Errorf("conversions: %v", intents)
	}
	if lang.HasErrors(j.Diags) {
		t.Error(j.Diags)
	}
}

// What a sheet can't show is said where the sheet asks for it, with what to do. A
// title that is wider than the sheet is broken between its words.
func TestSheetsThatCannotBe(t *testing.T) {
	grey := strings.Replace(sheetRecipe, "follow wall\n    convert", "follow wall\n    mix red 30% green 60% blue 10%\n    convert", 1)
	line := func(text, piece string) string {
		head, _, _ := strings.Cut(text, "    show large")
		return head + "    " + piece + "\n    save tiff \"trial.tif\"\n}\n"
	}
	titled := func(title, text string) string { return strings.Replace(text, "Salt road", title, 1) }
	for name, c := range map[string]struct{ text, want string }{
		"grey ring":  {line(grey, "ring of large at (50%, 50%) size 40 px x 30 px warmth 5 mired exposure 0.5 stops"), `line 46: error tone: this picture is grey.*write strip of large … vary tone exposure`},
		"deconvolve": {line(strings.Replace(sheetRecipe, "sharpen radius 1 px amount 100%", "sharpen radius 2 px amount 100% method deconvolve blur disc", 1), "strip of large at (50%, 50%) size 40 px x 30 px vary sharpen radius 2 px to 12 px by 5 px"), `line 45: error deconvolve: radius is 12.*change the strip`},
		"one word":   {titled(strings.Repeat("W", 300), sheetRecipe), `too full: [0-9.]+ in of width are missing.*the title shorter`},
		"many words": {titled(strings.Repeat("Salt road ", 60), line(sheetRecipe, "show large")), `^$`},
		"turned":     {strings.Replace(line(sheetRecipe, "section of large at (50%, 50%) size 2 in x 0.9 in"), "9 in x 7 in", "2.3 in x 8 in", 1), `on the sheet turned it fits: size 8 in x 2.3 in`},
		"relaid":     {strings.Replace(line(sheetRecipe, "section of large at (50%, 50%) size 2 in x 0.9 in\n    wedge grey 3"), "9 in x 7 in", "2.3 in x 8 in", 1), `on the sheet turned it may fit: size 8 in x 2.3 in`},
	} {
		folder, file := smallJob(t, c.text)
		for name, space := range map[string]string{"same.icc": "sRGB", "other.icc": "Display-P3"} {
			p, _ := colour.Space(space)
			write(t, filepath.Join(folder, name), string(p.Bytes()))
		}
		got := regexp.MustCompile(`(?m)^line [0-9]+: warning.*\n?`).ReplaceAllString(problemsOf(t, file, LoadOptions{NoOutputs: true}), "")
		if !regexp.MustCompile(c.want).MatchString(got) {
			t.Errorf("%s: %s, want %s", name, got, c.want)
		}
	}
}
