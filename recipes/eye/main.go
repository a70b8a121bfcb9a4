// Command eye draws what steps do to photographs and charts, to be looked at:
// before and after as PNG files with a caption and figures, and eye.html, which
// shows all of them beside one another.
//
//	go run ./recipes/eye DIR
//	go run ./recipes/eye -with OTHER DIR
//
// OTHER is a folder that another version of this program has drawn: its results
// stand beside. Photographs are those of testdata/photos.
package main

import (
	"bytes"
	"flag"
	"fmt"
	"html"
	"image"
	"image/png"
	"log"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"platemark/ops/raster"
)

func main() {
	log.SetFlags(0)
	with := flag.String("with", "", "a `folder` that another version has drawn, to show beside")
	flag.Parse()
	if flag.NArg() != 1 {
		log.Fatal("usage: go run ./recipes/eye [-with OTHER] DIR")
	}
	if err := draw(flag.Arg(0), *with, rows); err != nil {
		log.Fatal(err)
	}
}

const head = `<!DOCTYPE html><meta charset="utf-8"><title>Steps, before and after</title><style>
body { background: #808080; font: 14px sans-serif; margin: 16px } figure { display: inline-block; margin: 0 8px 12px 0; vertical-align: top }
figcaption { width: 0; min-width: 100%; padding-top: 4px } img { display: block; max-width: 480px; image-rendering: pixelated } h2 { margin: 8px 0 }
</style>
`

// draw draws rows and the page. A picture's caption lies beside it as a text, for
// another version to show.
func draw(dir, with string, rows []row) error {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	other, err := filepath.Abs(with)
	if err != nil {
		return err
	}
	page := head
	for _, r := range rows {
		page += "<h2>" + html.EscapeString(r.name) + "</h2>\n"
		for i, s := range r.subjects {
			panels, err := s.draw()
			if err != nil {
				return fmt.Errorf("%s: %w", r.name, err)
			}
			for _, p := range panels {
				name := fmt.Sprintf("%s-%d-%s", strings.ReplaceAll(r.name, " ", "-"), i+1, p.name)
				if err := write(filepath.Join(dir, name), p); err != nil {
					return err
				}
				page += figure(name+".png", p.name+": "+p.caption, p)
				if with == "" || p.name != "after" {
					continue
				}
				caption, err := os.ReadFile(filepath.Join(other, name+".txt"))
				switch {
				case err == nil:
					page += figure("file://"+filepath.ToSlash(filepath.Join(other, name+".png")), "the other version: "+string(caption), p)
				case !os.IsNotExist(err): // that version may have no such row
					return err
				}
			}
			page += "<br>\n"
		}
	}
	return os.WriteFile(filepath.Join(dir, "eye.html"), []byte(page), 0o666)
}

func figure(file, caption string, p panel) string {
	return fmt.Sprintf("<figure><img src=%q width=%d><figcaption>%s</figcaption></figure>\n", file, p.W*p.zoom, html.EscapeString(caption))
}

// write writes a panel's picture by 8 bits as print files have them, and its caption.
func write(name string, p panel) error {
	m := image.NewNRGBA(image.Rect(0, 0, p.W, p.H))
	for y := range p.H {
		var row []uint16
		for rgb := range slices.Chunk(p.Row(y), 3) {
			row = append(append(row, rgb...), 65535)
		}
		raster.Eight(m.Pix[y*m.Stride:], row, 4, 0, y)
	}
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		return err
	}
	if err := os.WriteFile(name+".png", b.Bytes(), 0o666); err != nil {
		return err
	}
	return os.WriteFile(name+".txt", []byte(p.caption), 0o666)
}
