package ops

import (
	"slices"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// Letters are drawn with the outlines of Go Regular (2048 units an em), in whole
// numbers: what a caption looks like is part of a sheet's bytes. x and y are in
// 1/256 px, y downwards.
//
//	point   (u, v) of an outline, in units, of a letter that stands at (X, Y) px
//	        and is S px an em high: x = 256 X + floor((u S + 4)/8), y = 256 Y -
//	        floor((v S + 4)/8), where u counts from the line's beginning
//	curve   a quadratic one from a over b to c is 8 lines between its points at
//	        k/8: floor(((8-k)²a + 2k(8-k)b + k²c + 32)/64), for x and for y
//	share   of a pixel: each of 16 lines across it, at y = 256 row + 16 j + 8, is
//	        inside where outlines wind round it (not 0 times). A line from (x0, y0)
//	        to (x1, y1) meets it where min(y0, y1) <= y < max(y0, y1), at x =
//	        x0 + floor((x1-x0)(y-y0)/(y1-y0)), and turns by the sign of y1 - y0
//	result  the lengths inside, of 16 lines of 256, sum to s: floor((65535 s +
//	        2048)/4096)
//
// A letter's place follows from the widths of those before it, in units; there
// is no kerning. Characters that the font lacks are its empty box.
type lettering struct {
	left, top, w, h int
	share           []uint16
}

var goRegular = sync.OnceValue(func() *sfnt.Font {
	f, err := sfnt.Parse(goregular.TTF)
	if err != nil {
		panic(err) // it comes with the program
	}
	return f
})

const emUnits = 2048

// LetterWidth is how many units of 1/2048 em a line of letters is wide, and the
// characters of it that there are no letters for.
func LetterWidth(text string) (units int, lacking []rune) {
	var buf sfnt.Buffer
	f := goRegular()
	for _, r := range text {
		g, err := f.GlyphIndex(&buf, r)
		if err != nil || g == 0 {
			lacking = append(lacking, r)
		}
		units += advance(&buf, g)
	}
	return units, lacking
}

// LetterPixels is how many px a line of letters is wide, size px an em high.
func LetterPixels(text string, size int) int {
	units, _ := LetterWidth(text)
	return int((int64(units)*int64(size) + emUnits - 1) / emUnits)
}

func advance(buf *sfnt.Buffer, g sfnt.GlyphIndex) int {
	a, err := goRegular().GlyphAdvance(buf, g, fixed.I(emUnits), font.HintingNone)
	if err != nil {
		return emUnits / 2
	}
	return int(a) >> 6
}

type letterPoint struct{ x, y int64 }

// letterLine is one piece of an outline.
type letterLine struct{ a, b letterPoint }

// letters draws a line of text whose baseline begins at (x, y) px, size px an em
// high.
func letters(text string, x, y, size int) lettering {
	var buf sfnt.Buffer
	var lines []letterLine
	pen := 0
	for _, r := range text {
		g, err := goRegular().GlyphIndex(&buf, r)
		if err != nil {
			g = 0
		}
		lines = append(lines, letterOutline(&buf, g, pen, x, y, size)...)
		pen += advance(&buf, g)
	}
	return fillLetters(lines)
}

// letterOutline is the outline of a letter that begins pen units behind (x, y) px.
func letterOutline(buf *sfnt.Buffer, g sfnt.GlyphIndex, pen, x, y, size int) []letterLine {
	segments, err := goRegular().LoadGlyph(buf, g, fixed.I(emUnits), nil)
	if err != nil {
		return nil
	}
	at := func(p fixed.Point26_6) letterPoint { // y points down there already
		u, v := int64(pen)+int64(p.X>>6), -int64(p.Y>>6)
		return letterPoint{256*int64(x) + floorDiv(u*int64(size)+4, 8), 256*int64(y) - floorDiv(v*int64(size)+4, 8)}
	}
	var lines []letterLine
	var first, last letterPoint
	to := func(p letterPoint) {
		if p.y != last.y { // level lines meet none across
			lines = append(lines, letterLine{last, p})
		}
		last = p
	}
	for _, s := range segments {
		switch s.Op {
		case sfnt.SegmentOpMoveTo:
			to(first)
			first = at(s.Args[0])
			last = first
		case sfnt.SegmentOpLineTo:
			to(at(s.Args[0]))
		case sfnt.SegmentOpQuadTo:
			a, b, c := last, at(s.Args[0]), at(s.Args[1])
			for k := int64(1); k <= 8; k++ {
				on := func(a, b, c int64) int64 { return floorDiv((8-k)*(8-k)*a+2*k*(8-k)*b+k*k*c+32, 64) }
				to(letterPoint{on(a.x, b.x, c.x), on(a.y, b.y, c.y)})
			}
		}
	}
	to(first)
	return lines
}

// fillLetters is the share of each pixel that lies inside outlines.
func fillLetters(lines []letterLine) lettering {
	if len(lines) == 0 {
		return lettering{}
	}
	lo, hi := lines[0].a, lines[0].a
	for _, l := range lines {
		lo.x, lo.y = min(lo.x, l.a.x, l.b.x), min(lo.y, l.a.y, l.b.y)
		hi.x, hi.y = max(hi.x, l.a.x, l.b.x), max(hi.y, l.a.y, l.b.y)
	}
	t := lettering{left: int(floorDiv(lo.x, 256)), top: int(floorDiv(lo.y, 256))}
	t.w, t.h = int(floorDiv(hi.x, 256))+1-t.left, int(floorDiv(hi.y, 256))+1-t.top
	t.share = make([]uint16, t.w*t.h)
	type crossing struct{ x, turn int64 }
	var at []crossing
	sums := make([]int64, t.w)
	for row := range t.h {
		clear(sums)
		for j := range int64(16) {
			y := 256*int64(t.top+row) + 16*j + 8
			at = at[:0]
			for _, l := range lines {
				a, b, turn := l.a, l.b, int64(1)
				if a.y > b.y {
					turn = -1
				}
				if min(a.y, b.y) <= y && y < max(a.y, b.y) {
					x := a.x + floorDiv((b.x-a.x)*(y-a.y), b.y-a.y)
					at = append(at, crossing{x - 256*int64(t.left), turn})
				}
			}
			slices.SortFunc(at, func(a, b crossing) int { return int(a.x - b.x) })
			wound := int64(0)
			for i, c := range at {
				if wound != 0 {
					addLength(sums, at[i-1].x, c.x)
				}
				wound += c.turn
			}
		}
		for i, s := range sums {
			t.share[row*t.w+i] = uint16((65535*s + 2048) / 4096)
		}
	}
	return t
}

// addLength adds the length from <= x < till to the pixels in which it lies.
func addLength(sums []int64, from, till int64) {
	for p := from / 256; p*256 < till; p++ {
		sums[p] += min(till, 256*(p+1)) - max(from, 256*p)
	}
}
