// Command pictures makes the pictures of README.md and lang/GUIDE.md again: it
// runs the demonstration, proofs and a comparison as a photographer would, and
// takes pictures of two pages with Chromium, which must be on the path.
//
//	go run ./recipes/pictures
package main

import (
	"bytes"
	"image"
	"image/jpeg"
	"image/png"
	"log"
	"os"
	"os/exec"
	"path/filepath"
)

func main() {
	log.SetFlags(0)
	dir, err := os.MkdirTemp("", "platemark-pictures-")
	check(err)
	defer os.RemoveAll(dir)
	tool, demo := filepath.Join(dir, "platemark.exe"), filepath.Join(dir, "demo")
	const recipe = "marsh-papers.recipe"
	run(".", "go", "build", "-o", tool, "./cmd/platemark")
	run(dir, tool, "demo", demo)
	run(demo, tool, "proof", recipe, "--print", "wall", "--paper", "baryta", "--paper", "rag", "--out", ".")
	run(demo, tool, "round", recipe)
	text, err := os.ReadFile(filepath.Join(demo, recipe))
	check(err)
	check(os.WriteFile(filepath.Join(demo, recipe), bytes.ReplaceAll(text, []byte("+0.2 stops"), []byte("+0.9 stops")), 0o666))
	// A difference is exit code 1; that there is no page would show below.
	diff := exec.Command(tool, "diff", recipe+"@1", recipe, "--print", "desk", "--picture", "--out", "diff.html")
	diff.Dir = demo
	diff.Run()
	photograph(filepath.Join(demo, "wall.html"), "recipes/proof.jpg")
	photograph(filepath.Join(demo, "diff.html"), "recipes/diff.jpg")
	deskPicture(tool, demo, "marsh.recipe", 3, "m", "recipes/page.jpg")
	certificate(tool, demo)
	guidePictures(tool, demo)
}

// certificate takes a picture of the page for the buyer of a copy.
func certificate(tool, demo string) {
	logs, err := filepath.Glob(filepath.Join(demo, "marsh-60x40.jpg.*.audit.jsonl"))
	check(err)
	run(demo, tool, "register", "add", "marsh.recipe", "--copy", "3", "--log", logs[0])
	run(demo, tool, "certificate", logs[0], "--copy", "3", "--paper", "baryta, 310 g/m2")
	pages, err := filepath.Glob(filepath.Join(demo, "*.certificate.html"))
	check(err)
	photograph(pages[0], "recipes/certificate.jpg")
}

// photograph takes a picture of the head of a page.
func photograph(page, to string) {
	run(".", "chromium", "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--user-data-dir="+page+".browser",
		"--window-size=1000,940", "--screenshot="+page+".png", "file://"+page)
	writeJPEG(to, readPNG(page+".png"), 88)
}

func readPNG(name string) image.Image {
	b, err := os.ReadFile(name)
	check(err)
	m, err := png.Decode(bytes.NewReader(b))
	check(err)
	return m
}

func writeJPEG(name string, m image.Image, quality int) {
	var out bytes.Buffer
	check(jpeg.Encode(&out, m, &jpeg.Options{Quality: quality}))
	check(os.WriteFile(name, out.Bytes(), 0o666))
}

func run(dir, name string, args ...string) {
	c := exec.Command(name, args...)
	c.Dir = dir
	if out, err := c.CombinedOutput(); err != nil {
		log.Fatalf("%s %v: %v\n%s", name, args, err, out)
	}
}

func check(err error) {
	if err != nil {
		log.Fatal(err)
	}
}
