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

	xdraw "golang.org/x/image/draw"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"

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
img { display: block; max-width: 480px } h2 { margin: 8px 0 }
</style>
`

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
				page += figure(name+".png", p.name+": "+p.caption)
				if with == "" || p.name != "after" {
					continue
				}
				switch _, err := os.Stat(filepath.Join(other, name+".png")); {
				case err == nil:
					page += "the other version: " + figure("file://"+filepath.ToSlash(filepath.Join(other, name+".png")), "the other version")
				case !os.IsNotExist(err): // that version may have no such row
					return err
				}
			}
			page += "<br>\n"
		}
	}
	return os.WriteFile(filepath.Join(dir, "eye.html"), []byte(page), 0o666)
}

// pageWide is the most that a picture is wide on the page, px.
const pageWide = 480

func figure(file, caption string) string {
	return fmt.Sprintf("<figure><img src=\"%s\" alt=\"%[2]s\" title=\"%[2]s\"></figure>\n", html.EscapeString(file), html.EscapeString(caption))
}

// write writes a panel's picture by 8 bits as print files have them, with its
// caption below it.
func write(name string, p panel) error {
	m := image.NewNRGBA(image.Rect(0, 0, p.W, p.H))
	for y := range p.H {
		var row []uint16
		for rgb := range slices.Chunk(p.Row(y), 3) {
			row = append(append(row, rgb...), 65535)
		}
		raster.Eight(m.Pix[y*m.Stride:], row, 4, 0, y)
	}
	captioned, err := under(m, p.zoom, p.name+": "+p.caption)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := png.Encode(&b, captioned); err != nil {
		return err
	}
	return os.WriteFile(name+".png", b.Bytes(), 0o666)
}

// under is a picture zoom times as large with a caption below it, of a size that can
// be read where pageWide px of the page show it.
func under(m image.Image, zoom int, caption string) (image.Image, error) {
	w, h := m.Bounds().Dx()*zoom, m.Bounds().Dy()*zoom
	f, err := opentype.Parse(goregular.TTF)
	if err != nil {
		return nil, err
	}
	line := max(18, 18*w/pageWide)
	face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: float64(line) * 0.75, DPI: 72, Hinting: font.HintingFull})
	if err != nil {
		return nil, err
	}
	defer face.Close()
	lines := []string{""}
	for _, word := range strings.Fields(caption) {
		if last := &lines[len(lines)-1]; *last == "" || font.MeasureString(face, *last+" "+word).Ceil() > w {
			lines = append(lines, word)
		} else {
			*last += " " + word
		}
	}
	lines = lines[1:]
	out := image.NewNRGBA(image.Rect(0, 0, w, h+line*len(lines)+line/3))
	xdraw.Draw(out, out.Rect, image.White, image.Point{}, xdraw.Src)
	xdraw.NearestNeighbor.Scale(out, image.Rect(0, 0, w, h), m, m.Bounds(), xdraw.Src, nil)
	for i, s := range lines {
		d := font.Drawer{Dst: out, Src: image.Black, Face: face, Dot: fixed.P(0, h+line*(i+1))}
		d.DrawString(s)
	}
	return out, nil
}
