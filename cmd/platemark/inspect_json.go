package main

import (
	"image"

	"platemark/interp/inspect"
	"platemark/interp/retouch"
)

// lookRow is what was found in a picture as data. Lengths and places are px of
// the picture that was looked over, unless their names say otherwise.
type lookRow struct {
	File       string       `json:"file"`
	Print      string       `json:"print,omitempty"`
	Width      int          `json:"width"`
	Height     int          `json:"height"`
	From       float64      `json:"from-mm"`
	Finds      []findRow    `json:"finds"`
	More       []moreRow    `json:"more"`
	Highlights clippedRow   `json:"highlights"`
	Shadows    clippedRow   `json:"shadows"`
	Faults     []faultRow   `json:"faults"`
	Noise      [8]float64   `json:"noise"`
	Colour     [8]float64   `json:"colour-noise"`
	Sharpness  sharpnessRow `json:"sharpness"`
}

type findRow struct {
	Number    int      `json:"number"`
	Kind      string   `json:"kind"`
	Seen      float64  `json:"seen"`
	At        string   `json:"at"` // as a recipe says it, of the frame
	X         float64  `json:"x"`
	Y         float64  `json:"y"`
	W         float64  `json:"width"`
	H         float64  `json:"height"`
	Across    float64  `json:"across"`
	Contrast  float64  `json:"contrast"`
	HueFrom   float64  `json:"hue-from,omitempty"`
	HueTo     float64  `json:"hue-to,omitempty"`
	Lines     []string `json:"lines"`
	Line      int      `json:"mended-by-line,omitempty"`
	Dismissed bool     `json:"dismissed,omitempty"`
}

type partRow struct {
	X      int     `json:"x"`
	Y      int     `json:"y"`
	W      int     `json:"width"`
	H      int     `json:"height"`
	Amount float64 `json:"amount"`
}

type moreRow struct {
	Kind  string `json:"kind"`
	Count int    `json:"count"`
	partRow
}

type clippedRow struct {
	Share float64   `json:"share"`
	Whole float64   `json:"all-channels"`
	Parts []partRow `json:"parts"`
}

type faultRow struct {
	Kind  string  `json:"kind"`
	Share float64 `json:"share"`
	partRow
}

type sharpnessRow struct {
	Side  int       `json:"side"`
	Cols  int       `json:"columns"`
	Rows  int       `json:"rows"`
	Blur  []float64 `json:"blur"`
	Focus []partRow `json:"focus"`
	Soft  []partRow `json:"soft"`
}

func partJSON(r image.Rectangle, amount float64) partRow {
	return partRow{r.Min.X, r.Min.Y, r.Dx(), r.Dy(), amount}
}

func partsJSON(list []inspect.Part) []partRow {
	out := []partRow{}
	for _, p := range list {
		out = append(out, partJSON(p.In, p.Amount))
	}
	return out
}

func clippedJSON(c inspect.Clipped) clippedRow {
	return clippedRow{c.Share, c.Whole, partsJSON(c.Parts)}
}

func lookJSON(file string, l *retouch.Look) lookRow {
	s := l.Sharpness
	r := lookRow{File: file, Print: l.Print, Width: l.W, Height: l.H, From: l.From, Finds: []findRow{}, More: []moreRow{}, Faults: []faultRow{},
		Highlights: clippedJSON(l.Highlights), Shadows: clippedJSON(l.Shadows), Noise: l.Noise.Light, Colour: l.Noise.Colour,
		Sharpness: sharpnessRow{s.Side, s.Cols, s.Rows, append([]float64{}, s.Blur...), partsJSON(s.Focus), partsJSON(s.Soft)}}
	for _, f := range l.Finds {
		r.Finds = append(r.Finds, findRow{f.Number, string(f.Kind), f.Seen, "(" + f.X + ", " + f.Y + ")", f.At.X, f.At.Y, f.W, f.H, f.Width, f.Contrast, f.HueFrom, f.HueTo,
			append([]string{}, f.Lines...), f.Line, f.Dismissed})
	}
	for _, m := range l.More {
		r.More = append(r.More, moreRow{string(m.Kind), m.Count, partJSON(m.In, 0)})
	}
	for _, f := range l.Faults {
		r.Faults = append(r.Faults, faultRow{string(f.Kind), f.Share, partJSON(f.In, f.Amount)})
	}
	return r
}
