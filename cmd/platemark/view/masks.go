package view

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"math"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"

	"platemark/interp"
	"platemark/interp/proof"
)

// The hatch of a mask: lines of one direction, each half white and half black,
// so that they show on any ground; they are as wide as the mask is strong.
// Masks of one picture take these directions in turn, then wider ones.
var hatchAngles = []float64{45, 135, 0, 90, 22.5, 112.5, 67.5, 157.5}

const (
	hatchEach = 14 // px from line to line
	hatchMost = 5  // px, a line where the mask is full
	nameSize  = 17 // px
	nameRow   = 30 // px, a line of the list below the picture
)

// inked is the tone of mask i at a pixel, 0 black or 255 white, and whether a
// line of its hatch runs there.
func inked(i, x, y int, value uint16) (tone uint8, ok bool) {
	sin, cos := math.Sincos(hatchAngles[i%len(hatchAngles)] * math.Pi / 180)
	each := float64(hatchEach * (1 + i/len(hatchAngles)))
	d := math.Mod(float64(x)*sin+float64(y)*cos, each)
	if d < 0 {
		d += each
	}
	w := hatchMost * float64(value) / 65535
	if value == 0 || d >= w {
		return 0, false
	}
	if d < w/2 {
		return 255, true
	}
	return 0, true
}

// Masks draws a print with each of its masks over it in a hatch of its own,
// named where it is strongest, and a list of the masks below; a PNG file.
func Masks(p *proof.MaskPicture) ([]byte, error) {
	f, err := opentype.Parse(goregular.TTF)
	if err != nil {
		return nil, err
	}
	face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: nameSize, DPI: 72, Hinting: font.HintingFull})
	if err != nil {
		return nil, err
	}
	defer face.Close()
	// The list needs room for its longest line, whatever the picture's width.
	var lines []string
	for _, m := range p.Masks {
		lines = append(lines, fmt.Sprintf("%s: %s of the frame, %s of the print", m.Name, interp.ShareText(m.Frame), interp.ShareText(m.Print)))
	}
	if len(lines) == 0 {
		lines = []string{"no step works through a mask"}
	}
	wide := p.W
	for _, s := range lines {
		wide = max(wide, 70+font.MeasureString(face, s).Ceil())
	}
	img := image.NewNRGBA(image.Rect(0, 0, wide, p.H+nameRow*len(lines)+10))
	fill := func(r image.Rectangle, grey uint8) {
		draw.Draw(img, r, image.NewUniform(color.Gray{grey}), image.Point{}, draw.Src)
	}
	// hatch draws the lines of mask i into a part of the image; its places are
	// counted from a column, left.
	hatch := func(i int, r image.Rectangle, left int, value func(x, y int) uint16) {
		for y := r.Min.Y; y < r.Max.Y; y++ {
			for x := r.Min.X; x < r.Max.X; x++ {
				if t, ok := inked(i, x-left, y, value(x-left, y)); ok {
					img.SetNRGBA(x, y, color.NRGBA{t, t, t, 255})
				}
			}
		}
	}
	fill(img.Rect, 119) // a neutral ground, L* 50
	left := (wide - p.W) / 2
	picture := image.Rect(left, 0, left+p.W, p.H)
	draw.Draw(img, picture, Opaque(p.ViewPicture), image.Point{}, draw.Src)
	for i, m := range p.Masks {
		hatch(i, picture, left, func(x, y int) uint16 { return m.Values[y*p.W+x] })
	}
	text := func(s string, x, y int) {
		d := font.Drawer{Dst: img, Src: image.White, Face: face, Dot: fixed.P(x, y)}
		d.DrawString(s)
	}
	var taken []image.Rectangle
	for _, m := range p.Masks {
		w := font.MeasureString(face, m.Name).Ceil()
		x, y, ok := middle(m.Values, p.W, p.H)
		if !ok {
			continue
		}
		r := image.Rect(0, 0, w+12, nameSize+8).Add(image.Pt(min(max(left+x-w/2-6, left), max(left, left+p.W-w-12)), min(max(y-nameSize/2-4, 0), max(0, p.H-nameSize-8))))
		for _, t := range taken { // names of masks that lie over each other stand below each other
			if r.Overlaps(t) {
				r = r.Add(image.Pt(0, t.Max.Y-r.Min.Y))
			}
		}
		taken = append(taken, r)
		fill(r, 20)
		text(m.Name, r.Min.X+6, r.Max.Y-8)
	}
	for i, s := range lines {
		top := p.H + 5 + nameRow*i
		if i < len(p.Masks) {
			key := image.Rect(10, top+4, 54, top+nameRow-4)
			fill(key, 150)
			hatch(i, key, 0, func(int, int) uint16 { return 65535 })
		}
		text(s, 62, top+nameRow-10)
	}
	return tagged(img, nil)
}

// middle is the pixel of a mask that its name stands on: of those above half,
// the one nearest to their mean; ok is false where the mask is never above half.
func middle(v []uint16, w, h int) (x, y int, ok bool) {
	var sx, sy, n int
	for k, s := range v {
		if s >= 1<<15 {
			sx, sy, n = sx+k%w, sy+k/w, n+1
		}
	}
	if n == 0 {
		return 0, 0, false
	}
	best := -1
	for k, s := range v {
		if s < 1<<15 {
			continue
		}
		dx, dy := k%w-sx/n, k/w-sy/n
		if d := dx*dx + dy*dy; best < 0 || d < best {
			best, x, y = d, k%w, k/w
		}
	}
	return x, y, true
}
