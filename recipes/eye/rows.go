package main

import (
	"fmt"
	"slices"
	"strings"

	"platemark/ops"
	"platemark/testdata/photos"
)

// panel is a picture of a row as the page shows it: zoom times as large.
type panel struct {
	picture
	name, caption string
	zoom          int
}

// row is a step to look at, on some subjects.
type row struct {
	name     string
	subjects []subject
}

var rows = []row{
	{"chroma", []subject{
		{from: hues, step: "tone", args: "chroma -1/2"},
		{photo: "beach", reduce: 4, step: "tone", args: "chroma -1/2"},
		{photo: "marigold", reduce: 4, step: "tone", args: "chroma 1/4"},
		{photo: "mountains", reduce: 4, step: "tone", args: "muted 1/2"},
	}},
	{"curve", []subject{
		{from: hues, step: "tone", args: "curve 0 0 30 15 100 100"},
		{photo: "lamps", reduce: 4, step: "tone", args: "curve 0 0 25 18 75 82 100 100"},
		{photo: "hills", reduce: 4, step: "tone", args: "curve 0 0 30 15 100 100"},
	}},
	{"contrast", []subject{
		{photo: "sunset", reduce: 4, step: "tone", args: "contrast 3/10"},
		{photo: "meadow", reduce: 4, step: "tone", args: "contrast 3/10"},
	}},
	{"exposure", []subject{
		{from: hues, step: "tone", args: "exposure 1"},
		{photo: "marigold", reduce: 4, step: "tone", args: "exposure 1"},
		{photo: "sunset", reduce: 4, step: "tone", args: "exposure 1"},
	}},
	{"warmth", []subject{
		{from: greys, step: "tone", args: "warmth 50"},
		{from: greys, step: "tone", args: "warmth -50"},
		{photo: "mountains", reduce: 4, step: "tone", args: "warmth 50"},
		{photo: "storm", reduce: 4, step: "tone", args: "warmth -50"},
	}},
	{"local contrast", []subject{
		{from: edge, step: "tone", args: "local 1, local-radius 20"},
		{photo: "mountains", reduce: 2, cutAt: 0.4, step: "tone", args: "local 1, local-radius 30"},
		{photo: "storm", reduce: 2, cutAt: 0.6, step: "tone", args: "local 1, local-radius 30"},
	}},
	{"sharpening", []subject{
		{from: edge, step: "sharpen", args: "radius 9/5, amount 19/10"},
		{photo: "leaves", enlarge: 3, cutAt: 0.5, step: "sharpen", args: "radius 9/5, amount 19/10"},
		{photo: "lamps", enlarge: 3, cutAt: 0.5, step: "sharpen", args: "radius 9/5, amount 19/10"},
		{photo: "mountains", enlarge: 3, cutAt: 0.4, step: "sharpen", args: "radius 9/5, amount 19/10"},
	}},
	{"deconvolve", []subject{
		{from: edge, harm: outOfFocus, step: "deconvolve", args: "blur disc, radius 2, amount 1"},
		{photo: "leaves", reduce: 4, cutAt: 0.5, harm: outOfFocus, step: "deconvolve", args: "blur disc, radius 2, amount 1", zoom: 2},
		{photo: "lamps", reduce: 2, cutAt: 0.5, harm: outOfFocus, step: "deconvolve", args: "blur disc, radius 2, amount 1", zoom: 2},
		{photo: "wood", reduce: 4, cutAt: 0.5, harm: outOfFocus, step: "deconvolve", args: "blur disc, radius 2, amount 1", zoom: 2},
		{photo: "wood", reduce: 4, cutAt: 0.5, harm: outOfFocus, step: "deconvolve", args: "blur disc, radius 3, amount 1", zoom: 2},
	}},
	{"spot pixels", []subject{
		{photo: "brook", cutAt: 0.5, harm: hotPixels, step: "spot-pixels", args: "over 3/25", zoom: 2},
		{photo: "leaves", cutAt: 0.5, harm: hotPixels, step: "spot-pixels", args: "over 3/25", zoom: 2},
	}},
	{"spot", []subject{
		{photo: "beach", cutAt: 0.1, harm: specks, step: "spots", zoom: 2},
		{photo: "brook", cutAt: 0.5, harm: specks, step: "spots", zoom: 2},
		{photo: "wood", cutAt: 0.5, harm: specks, step: "spots", zoom: 2},
		{photo: "mountains", cutAt: 0.4, harm: specks, step: "spots", zoom: 2},
	}},
	{"spot with from", []subject{
		{photo: "beach", cutAt: 0.1, harm: specks, step: "spots", args: "from", zoom: 2},
		{photo: "brook", cutAt: 0.5, harm: specks, step: "spots", args: "from", zoom: 2},
		{photo: "hills", cutAt: 0.3, harm: specks, step: "spots", args: "from", zoom: 2},
	}},
	{"fringe", []subject{
		{photo: "lamps", reduce: 2, cutAt: 0.5, harm: fringes, step: "fringe", args: "radius 7", zoom: 2},
		{photo: "mountains", reduce: 2, cutAt: 0.4, harm: fringes, step: "fringe", args: "radius 7", zoom: 2},
		{photo: "marigold", reduce: 2, cutAt: 0.5, harm: fringes, step: "fringe", args: "radius 7, hue-from 260, hue-to 340", zoom: 2},
		{photo: "leaves", reduce: 2, cutAt: 0.5, step: "fringe", args: "radius 7", zoom: 2},
	}},
	{"denoise", []subject{
		{photo: "beach", reduce: 2, cutAt: 0.4, harm: noisy, step: "denoise", args: "lightness 1, chroma 1", zoom: 2},
		{photo: "lamps", reduce: 2, cutAt: 0.5, harm: noisy, step: "denoise", args: "lightness 1, chroma 1", zoom: 2},
		{photo: "hills", reduce: 2, cutAt: 0.3, harm: noisy, step: "denoise", args: "lightness 1/2, chroma 1", zoom: 2},
		{photo: "meadow", cutAt: 0.5, step: "denoise", args: "lightness 1, chroma 1", zoom: 2},
	}},
	{"masks from the picture", []subject{
		{from: hues, step: "range", args: "of hue, from 340, to 60, soft 15"},
		{photo: "marigold", reduce: 4, step: "range", args: "of hue, from 20, to 60, soft 15"},
		{photo: "sunset", reduce: 4, step: "range", args: "of lightness, from 0, to 30, soft 6"},
		{photo: "lamps", reduce: 4, step: "range", args: "of chroma, from 2/5, to 2, soft 1/10"},
		{photo: "mountains", reduce: 4, step: "edges", args: "radius 1, over 2/25"},
	}},
	{"grain", []subject{
		{photo: "sunset", reduce: 4, step: "grain", args: "amount 1/25, size 2, seed 7"},
		{photo: "marigold", reduce: 4, step: "grain", args: "amount 1/25, size 5, seed 7"},
		{from: hues, step: "grain", args: "amount 1/10, size 3, seed 7"},
	}},
	{"8 bits", []subject{
		{from: sky, step: "8 bits", gain: 16},
	}},
	{"black point", []subject{
		{from: hues, space: "veil", step: "convert", plain: "black-point off", args: "black-point on"},
		{photo: "lamps", reduce: 4, space: "veil", step: "convert", plain: "black-point off", args: "black-point on"},
	}},
	{"convert keep hue", []subject{
		{from: hues, space: "opRGB", step: "convert", plain: "hue clip", args: "hue keep"},
		{photo: "sunset", reduce: 4, space: "opRGB", step: "convert", plain: "hue clip", args: "hue keep"},
		{photo: "marigold", reduce: 4, space: "opRGB", step: "convert", plain: "hue clip", args: "hue keep"},
	}},
}

// subject is what a step is shown on, and how.
type subject struct {
	from            func() picture // a chart, or
	photo           string
	reduce, enlarge int     // to an nth; then n times as large
	cutAt           float64 // the part in the middle at that height is shown, from 0 (top) to 1; all without
	space           string  // what the codes are taken as; sRGB without
	// harm plants what the step is to mend; its arguments are those of the step.
	harm        func(p picture, args string) (harmed picture, mend string)
	step        string
	plain, args string // arguments for another way of the step that stands before, and after
	gain        int    // differences from the middle are shown so many times as large
	zoom        int
}

// partWide and partHigh are the size of a part on the page, px.
const partWide, partHigh = 480, 320

func (s subject) picture() (picture, error) {
	if s.from != nil {
		return s.from(), nil
	}
	pix, w, h, err := photos.Read(s.photo, max(1, s.reduce))
	if err != nil {
		return picture{}, err
	}
	p := picture{ops.Pic{W: w, H: h, C: 3, Profile: spaces["sRGB"]}, pix}
	if s.cutAt > 0 {
		n := max(1, s.enlarge) * max(1, s.zoom)
		pw, ph := min(w, partWide/n), min(h, partHigh/n)
		p = p.cut((w-pw)/2, int(s.cutAt*float64(h-ph)), pw, ph)
	}
	if s.enlarge > 1 {
		return p.do("enlarge", fmt.Sprintf("kernel lanczos3, light encoded, width %d, height %d", s.enlarge*p.W, s.enlarge*p.H))
	}
	return p, nil
}

// draw gives the panels of a subject: the photograph where something was planted,
// before and after.
func (s subject) draw() (panels []panel, err error) {
	p, err := s.picture()
	if err != nil {
		return nil, err
	}
	if s.space != "" {
		p.Profile = spaces[s.space]
	}
	show := func(name, caption string, p picture) {
		if s.gain > 0 {
			p = p.steeper(s.gain)
			caption += fmt.Sprintf("; differences shown x %d", s.gain)
		}
		panels = append(panels, panel{p, name, caption, max(1, s.zoom)})
	}
	of, args, before, photograph := s.photo, s.args, p, p
	if s.from != nil {
		of = "chart"
	}
	switch {
	case s.harm != nil:
		show("photograph", of, p)
		p, args = s.harm(p, args)
		before, of = p, of+" with what is to be mended"
	case s.plain != "":
		if before, err = p.do(s.step, s.plain); err != nil {
			return nil, err
		}
		of += ", " + s.step + " " + s.plain
	}
	show("before", of, before)
	after, err := p.do(s.step, args)
	if err != nil {
		return nil, err
	}
	show("after", strings.TrimSpace(s.step+" "+s.args)+s.figures(photograph, before, after), after)
	return panels, nil
}

// figures are those of the step that the tests of ops measure too, and distances.
func (s subject) figures(photograph, before, after picture) string {
	switch {
	case s.step == "8 bits":
		return fmt.Sprintf(": widest band %d px", photos.WidestBand(slices.Collect(slices.Chunk(after.pix, after.Stride()))))
	case s.step == "spot-pixels":
		n := 0
		for i := 0; i < len(after.pix); i += 3 {
			if !slices.Equal(before.pix[i:i+3], after.pix[i:i+3]) {
				n++
			}
		}
		return fmt.Sprintf(": %d pixels changed", n)
	case s.step == "fringe" || s.step == "denoise" || s.step == "range" || s.step == "edges" || s.step == "grain":
		return ""
	case s.step == "deconvolve":
		return fmt.Sprintf(": where they differ, %.1f from the photograph (OKLab x 100), before %.1f",
			photos.Apart(photograph.pix, after.pix, before.pix), photos.Apart(photograph.pix, before.pix, before.pix))
	case s.harm != nil:
		return fmt.Sprintf(": where the specks were, %.1f from the photograph (OKLab x 100), before %.1f",
			photos.Apart(photograph.pix, after.pix, before.pix), photos.Apart(photograph.pix, before.pix, before.pix))
	case s.plain != "":
		return fmt.Sprintf(": where they differ, %.1f apart (OKLab x 100)", photos.Apart(before.pix, after.pix, after.pix))
	case s.photo == "" && strings.Contains(s.args, "radius"):
		return fmt.Sprintf(": %.1f L* beyond the edge's sides", photos.Halo(before.pix, after.pix))
	}
	text := ": " + photos.Compare(before.pix, after.pix).String()
	if s.step == "sharpen" {
		var was, is float64
		for _, n := range photos.Noise(before.W, before.pix, after.pix) {
			was, is = was+n[0], is+n[1]
		}
		text += fmt.Sprintf(", noise of the flattest squares x %.2f", is/was)
	}
	return text
}
