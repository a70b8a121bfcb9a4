package ops

import (
	"fmt"
	"image"
	"strconv"
	"strings"
	"sync"
)

// sheetV1 lays pictures, patches and lines of letters on a sheet.
//
// The sheet is white: 65535 in every channel. Its parts lie on it in their order:
//
//	picture X Y            the next input, its left upper pixel at (X, Y)
//	fill X Y W H C...      W x H px from (X, Y) with a code for each channel
//	text X Y S TEXT        letters (see lettering) whose baseline begins at (X, Y),
//	                       S px an em high, in the sheet's black: a sample v becomes
//	                       floor((v (65535 - a) + 32767)/65535), a the pixel's share
//
// All numbers are whole. A part that leaves the sheet is refused.
//
// Source: our own definition.
var sheetV1 = operation(Operation{
	Name:    "sheet",
	Version: 1,
	Doc:     "Lays pictures, patches and lines of letters on a white sheet, in their order. Samples of pictures stay as they are.",
	Takes:   -1,
	Nanos:   2,
	Params: Params{
		{Name: "width", Unit: "px", Min: "1", Max: "300000", Doc: "the sheet's width"},
		{Name: "height", Unit: "px", Min: "1", Max: "300000", Doc: "the sheet's height"},
		{Name: "part-1", Unit: "part", Doc: "the first part: picture X Y, fill X Y W H CODES, or text X Y SIZE TEXT; part-2, part-3, … follow"},
	},
}, newSheet)

type sheetParams struct {
	Width, Height int
	Part          []string
}

type sheetPart struct {
	r     image.Rectangle // where it lies; of letters a row of it is there
	input int             // for a picture
	codes []uint16        // for a fill
	text  func() lettering
}

type sheet struct {
	pic   Pic
	parts []sheetPart
	from  int // the first column, of a part of the sheet
}

func newSheet(a sheetParams, in []Pic, _ Env) (Step, error) {
	if len(in) == 0 {
		return nil, fmt.Errorf("sheet takes at least one picture")
	}
	s := &sheet{pic: Pic{W: a.Width, H: a.Height, C: in[0].C, Profile: in[0].Profile}}
	for _, p := range in {
		if p.C != s.pic.C || !sameProfile(p.Profile, s.pic.Profile) {
			return nil, fmt.Errorf("sheet: its pictures have several colour spaces")
		}
	}
	taken := 0
	for i, text := range a.Part {
		p, err := s.part(text, in, &taken)
		if err == nil && !p.r.In(image.Rect(0, 0, a.Width, a.Height)) {
			err = fmt.Errorf("it leaves the sheet of %d x %d px", a.Width, a.Height)
		}
		if err != nil {
			return nil, fmt.Errorf("sheet: part-%d: %w", i+1, err)
		}
		s.parts = append(s.parts, p)
	}
	if taken != len(in) {
		return nil, fmt.Errorf("sheet: its parts take %d pictures, got %d", taken, len(in))
	}
	return s, nil
}

func (s *sheet) part(text string, in []Pic, taken *int) (p sheetPart, err error) {
	kind, rest, _ := strings.Cut(text, " ")
	count := map[string]int{"picture": 2, "fill": 4 + s.pic.C, "text": 3}[kind]
	var v []int
	for len(v) < count {
		var word string
		word, rest, _ = strings.Cut(rest, " ")
		n, err := strconv.Atoi(word)
		if err != nil || n < 0 || n > 300000 || strconv.Itoa(n) != word {
			return p, fmt.Errorf("%q isn't a whole number of 0 to 300000", word)
		}
		v = append(v, n)
	}
	switch kind {
	case "picture":
		if p.input = *taken; p.input >= len(in) {
			return p, fmt.Errorf("there are %d pictures", len(in))
		}
		*taken++
		p.r = image.Rect(v[0], v[1], v[0]+in[p.input].W, v[1]+in[p.input].H)
	case "fill":
		p.r = image.Rect(v[0], v[1], v[0]+v[2], v[1]+v[3])
		for _, c := range v[4:] {
			if c > 65535 {
				return p, fmt.Errorf("%d isn't a code of 0 to 65535", c)
			}
			p.codes = append(p.codes, uint16(c))
		}
		rest = strings.TrimSpace(rest)
	case "text":
		if v[2] < 1 || v[2] > 2000 || len(rest) > 1000 {
			return p, fmt.Errorf("letters are 1 to 2000 px high, and a line has 1000 bytes at most")
		}
		p.text = sync.OnceValue(func() lettering { return letters(rest, v[0], v[1], v[2]) })
		p.r = image.Rect(v[0], v[1]-v[2], v[0]+LetterPixels(rest, v[2]), v[1]+(v[2]+3)/4)
	default:
		return p, fmt.Errorf("%q is none of picture, fill and text", kind)
	}
	if kind != "text" && rest != "" {
		return p, fmt.Errorf("%q is too much", rest)
	}
	return p, nil
}

func (s *sheet) Pic() Pic { return s.pic }

// Window is the picture's row that lies there, or the nearest one.
func (s *sheet) Window(in, y int) (lo, hi int) {
	for _, p := range s.parts {
		if p.codes == nil && p.text == nil && p.input == in {
			lo = max(0, min(p.r.Dy()-1, y-p.r.Min.Y))
		}
	}
	return lo, lo + 1
}

// Worker is the step itself: a row needs no memory of others.
func (s *sheet) Worker() Worker { return s }

func (s *sheet) Row(dst []uint16, y int, in []Rows) {
	c := s.pic.C
	dst = dst[:s.pic.Stride()]
	for i := range dst {
		dst[i] = 65535
	}
	for _, p := range s.parts {
		if p.text != nil {
			s.letters(dst, y, p.text())
			continue
		}
		lo, hi := max(p.r.Min.X, s.from), min(p.r.Max.X, s.from+s.pic.W)
		if y < p.r.Min.Y || y >= p.r.Max.Y || lo >= hi {
			continue
		}
		d := dst[(lo-s.from)*c : (hi-s.from)*c]
		if p.codes == nil {
			copy(d, in[p.input].Row(y-p.r.Min.Y))
			continue
		}
		for i := range d {
			d[i] = p.codes[i%c]
		}
	}
}

// letters lays a line of letters over a row.
func (s *sheet) letters(dst []uint16, y int, t lettering) {
	if y < t.top || y >= t.top+t.h {
		return
	}
	for i, a := range t.share[(y-t.top)*t.w:][:t.w] {
		x := t.left + i - s.from
		if a == 0 || x < 0 || x >= s.pic.W {
			continue
		}
		for j := x * s.pic.C; j < (x+1)*s.pic.C; j++ {
			dst[j] = uint16((uint64(dst[j])*uint64(65535-a) + 32767) / 65535)
		}
	}
}

func (s *sheet) Needs(in int, r image.Rectangle) image.Rectangle {
	for _, p := range s.parts {
		if p.codes == nil && p.text == nil && p.input == in {
			return r.Intersect(p.r).Sub(p.r.Min)
		}
	}
	return image.Rectangle{}
}

// Part is the same with rows that begin further on. An input's columns are then
// those of Needs, which begin where the part lies.
func (s *sheet) Part(r image.Rectangle) (Step, int) {
	p := *s
	p.pic.W, p.from = r.Dx(), s.from+r.Min.X
	return &p, r.Min.X
}
