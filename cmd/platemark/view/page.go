// Package view writes the pages on which pictures are looked at: one HTML file
// with everything in it, that needs no network and no scripts. It promises to
// show; what it shows was computed in interp.
package view

import (
	"bytes"
	"compress/zlib"
	"embed"
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"html/template"
	"image"
	"image/png"
	"math"
	"strings"
	"sync"

	"platemark/interp"
	"platemark/ops/colour"
)

//go:embed *.html page.css
var files embed.FS

// pageOf is the one frame of the pages with what a file of templates puts in it,
// read when it is asked for: few commands show a page.
func pageOf(name string) func() *template.Template {
	return sync.OnceValue(func() *template.Template {
		return template.Must(template.New("page.html").Funcs(template.FuncMap{
			"percent": percent,
			"number":  func(v float64) string { return fmt.Sprintf("%.2f", v) },
			"tone":    tone,
		}).ParseFS(files, "page.html", name))
	})
}

func style() template.CSS {
	b, _ := files.ReadFile("page.css")
	return template.CSS(b)
}

// stage is the pictures of a page beside each other.
type stage struct {
	Exact           bool // at 100 %, never scaled
	Figures         []stageFigure
	Fit, Large, Row template.CSS // widths of a figure: all in the window, alone, on paper
}

type stageFigure struct {
	ID, Name, Text string
	URL            template.URL
	W, H           int
	White          template.CSS // of the sheet round it; "" none
}

const (
	stageGap  = 12 // px between figures, as page.css has it
	stageEdge = 20 // px of a sheet's margins on both sides
	stageText = 48 // px of a sentence below
	stageHead = 100
	stageFoot = 40
)

// lay sets the widths: of all numbers of columns the one that makes the pictures
// largest while all fit the window together. One row is taken where more would
// make them a tenth larger at most.
func (s *stage) lay() {
	n := len(s.Figures)
	shape := 0.0
	for _, f := range s.Figures {
		if r := float64(f.W) / float64(f.H); shape == 0 || r < shape {
			shape = r
		}
	}
	least := func(columns, head int) string {
		rows := (n + columns - 1) / columns
		if head == 0 {
			rows = 1
		}
		return fmt.Sprintf("min(calc((100%% - %dpx) / %d), calc(((100vh - %dpx) / %d - %dpx) * %.4f + %dpx))",
			(columns-1)*stageGap+1, columns, head+stageFoot+(rows-1)*stageGap, rows, stageText+stageEdge, shape, stageEdge)
	}
	var all []string
	for c := 1; c <= n; c++ {
		w := least(c, stageHead)
		if c < n {
			w = "calc(0.9 * " + w + ")"
		}
		all = append(all, w)
	}
	s.Fit = template.CSS("max(160px, " + strings.Join(all, ", ") + ")")
	s.Large = template.CSS(least(1, 0))
	c := min(n, 4)
	s.Row = template.CSS(fmt.Sprintf("calc((100%% - %dpx) / %d)", (c-1)*6, c))
}

// headEnd is where a PNG file's first chunk (IHDR) ends.
const headEnd = 8 + 25

// quick writes PNG files a tenth larger in half the time: pages are looked at
// at once.
var quick = png.Encoder{CompressionLevel: png.BestSpeed}

func tagged(m image.Image, icc []byte) ([]byte, error) { return PNG(&quick, m, icc) }

// PNG is a picture as a PNG file that says what its numbers mean: the given
// profile, or sRGB where it is nil. (PNG, third edition, 11.3.2: iCCP holds a
// name, 0, the method 0 and the profile deflated; sRGB holds the intent.)
func PNG(e *png.Encoder, m image.Image, icc []byte) ([]byte, error) {
	var b bytes.Buffer
	if err := e.Encode(&b, m); err != nil {
		return nil, err
	}
	kind, body := "sRGB", []byte{1} // media-relative
	if icc != nil {
		var z bytes.Buffer
		z.WriteString("display\x00\x00")
		w := zlib.NewWriter(&z)
		if _, err := w.Write(icc); err != nil {
			return nil, err
		}
		if err := w.Close(); err != nil {
			return nil, err
		}
		kind, body = "iCCP", z.Bytes()
	}
	chunk := append(binary.BigEndian.AppendUint32(nil, uint32(len(body))), kind...)
	chunk = append(chunk, body...)
	chunk = binary.BigEndian.AppendUint32(chunk, crc32.ChecksumIEEE(chunk[4:]))
	whole := b.Bytes()
	return append(append(append([]byte{}, whole[:headEnd]...), chunk...), whole[headEnd:]...), nil
}

// inPage is a PNG file as a part of the page.
func inPage(b []byte) template.URL {
	return template.URL("data:image/png;base64," + base64.StdEncoding.EncodeToString(b))
}

// encode is an sRGB picture as a part of the page.
func encode(m image.Image) (template.URL, error) {
	b, err := tagged(m, nil)
	return inPage(b), err
}

// Opaque is a picture without transparency.
func Opaque(p interp.ViewPicture) image.Image {
	m := image.NewNRGBA(image.Rect(0, 0, p.W, p.H))
	for i := range p.W * p.H {
		copy(m.Pix[4*i:], []uint8{p.RGB[3*i], p.RGB[3*i+1], p.RGB[3*i+2], 255})
	}
	return m
}

// percent writes a share so that a small one isn't nought, and all but one
// isn't all.
func percent(v float64) string {
	p := 100 * v
	switch {
	case p == 100:
		return "100 %"
	case p < 10:
		return percentTo(2, v, p)
	}
	return percentTo(1, v, p)
}

// percentTo is percent with so many decimals of a share that is told as p per cent.
func percentTo(decimals int, v, p float64) string {
	switch {
	case v == 0:
		return "none"
	case p < math.Pow10(-decimals):
		return fmt.Sprintf("under %g %%", math.Pow10(-decimals))
	case v < 1 && p > 99.9:
		return "over 99.9 %"
	}
	return fmt.Sprintf("%.*f %%", decimals, p)
}

// cssColour is a colour beside D50 on an sRGB screen whose white stands for it.
func cssColour(c colour.Lab) template.CSS {
	space, _ := colour.Space("sRGB")
	from, err := colour.NewFromLab(space, colour.Relative)
	if err != nil {
		return "#fff"
	}
	var v [3]uint16
	from.Row(v[:], []colour.Lab{c})
	return template.CSS(fmt.Sprintf("rgb(%d, %d, %d)", v[0]/257, v[1]/257, v[2]/257))
}
