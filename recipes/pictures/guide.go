package main

import (
	"image"
	"image/color"
	"image/draw"
	"log"
	"os"
	"path/filepath"
	"strings"

	scale "golang.org/x/image/draw"
)

// A guide makes pictures from the guide's recipe in the demonstration's folder.
type guide struct{ tool, folder, recipe string }

// guidePictures makes the pictures of lang/GUIDE.md.
func guidePictures(tool, folder string) {
	text, err := os.ReadFile("recipes/evening.recipe")
	check(err)
	prints, _, _ := strings.Cut(string(text), "\nsheet ") // whose strip wants steps that pictures leave out
	// What the guide's page of burning and cleaning adds comes in behind the dust.
	g := guide{tool, folder, without(without(prints, "# The corners:", "prepare {"), "    # The lens's", "    tone for rag")}

	const block = "    tone for rag {\n        exposure       -0.15 stops\n        contrast       +5%\n        muted chroma   +20%\n    }\n"
	shown := func(was ...string) image.Image {
		g.proof("desk", "", was...)
		return readPNG(filepath.Join(folder, "shots", "desk-rag.png"))
	}
	plain, meant := shown(block, ""), readPNG(filepath.Join(folder, "shots", "desk-meant.png"))
	g.join("paper", 350, meant, plain, shown())

	g.write()
	run(folder, tool, "plan", "shot.recipe", "--print", "wall", "--picture", "masks.png")
	g.join("masks", 800, readPNG(filepath.Join(folder, "masks.png")))

	const crisp, smooth = "    enlarge with lanczos3 as crisp\n", "    enlarge with mitchell as smooth\n"
	const blend = "    blend smooth over crisp through fine-lines at 60%\n"
	const twigs = "6900,5000,116,116"
	g.join("kernels", 348,
		g.proof("wall", twigs, crisp, "    enlarge with lanczos3\n", smooth, "", blend, ""),
		g.proof("wall", twigs, crisp, "", smooth, "    enlarge with mitchell\n", blend, ""),
		g.proof("wall", twigs))

	const sky = "12136,1236,640,400"
	g.join("dust", 520, g.proof("wall", sky, "    spot ", "    # spot "), g.proof("wall", sky))

	g.recipe = prints
	const bank = "6300,7000,700,700"
	const sharpen = "sharpen radius 1.8 px amount 160%"
	g.join("sharpen", 350,
		g.proof("wall", bank, sharpen, ""),
		g.proof("wall", bank, sharpen, "sharpen radius 1.8 px amount 190%"),
		g.proof("wall", bank, sharpen, "sharpen radius 1.8 px amount 500%"))
}

// without returns a text without what stands from one text up to another.
func without(text, from, to string) string {
	before, rest, _ := strings.Cut(text, from)
	_, after, found := strings.Cut(rest, to)
	if !found {
		log.Fatalf("the recipe has no %q with %q behind it", from, to)
	}
	return before + to + after
}

// write writes the recipe with old texts replaced by new ones, each of which it
// must hold.
func (g guide) write(change ...string) {
	for i := 0; i < len(change); i += 2 {
		if !strings.Contains(g.recipe, change[i]) {
			log.Fatalf("the recipe has no %q", change[i])
		}
	}
	check(os.WriteFile(filepath.Join(g.folder, "shot.recipe"), []byte(strings.NewReplacer(change...).Replace(g.recipe)), 0o666))
}

// proof returns a print of the changed recipe as meant, for an sRGB screen: a
// section of it at its own pixels, or all of it made small.
func (g guide) proof(print, section string, change ...string) image.Image {
	g.write(change...)
	args := []string{"proof", "shot.recipe", "--print", print, "--out", "shots", "--force"}
	name := print
	if section != "" {
		args = append(args, "--section", section)
		name += "-section-" + strings.ReplaceAll(section, ",", "-")
	}
	run(g.folder, g.tool, args...)
	return readPNG(filepath.Join(g.folder, "shots", name+"-meant.png"))
}

// join writes pictures beside each other, each made w px wide: smoothly where it
// shrinks, by whole pixels where it grows.
func (g guide) join(name string, w int, pictures ...image.Image) {
	const gap = 8
	h := pictures[0].Bounds().Dy() * w / pictures[0].Bounds().Dx()
	out := image.NewRGBA(image.Rect(0, 0, len(pictures)*(w+gap)-gap, h))
	draw.Draw(out, out.Bounds(), image.NewUniform(color.White), image.Point{}, draw.Src)
	for i, m := range pictures {
		var by scale.Interpolator = scale.NearestNeighbor
		if m.Bounds().Dx() > w {
			by = scale.BiLinear
		}
		by.Scale(out, image.Rect(i*(w+gap), 0, i*(w+gap)+w, h), m, m.Bounds(), draw.Src, nil)
	}
	writeJPEG(filepath.Join("lang", "guide", name+".jpg"), out, 85)
}
