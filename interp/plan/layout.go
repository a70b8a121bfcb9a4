package plan

import (
	"cmp"
	"fmt"
	"math/big"
	"slices"
	"strings"

	"platemark/ops"
	"platemark/ops/exact"
)

// How a sheet is laid out, in mm and points at the sheet's resolution, each
// rounded half up to whole pixels:
//
// Pieces are boxes: a picture or patches, below it a caption of 8 pt letters, 10
// pt a line. A print that is shown whole has 4 mm around it for its cutting
// marks, 3 mm long and 1 mm off. The tallest box comes first, boxes of one
// height in the recipe's order; each goes into the first row that has room, rows
// go from the top down, and a row is as high as its first box. 8 mm stay free at
// the sheet's edges, 5 mm between boxes; at the foot a line of 100 mm, or of 50 or
// 20 where there is no room, tells whether a printer scaled the sheet.
const (
	sheetMargin = 8 // mm
	sheetGap    = 5
	cutRoom     = 4
	cutOff      = 1
	footRoom    = 9
	patchWide   = 14
	patchHigh   = 10
	letterSize  = 8 // pt
	lineHeight  = 10
	ink         = "0 0 0" // of marks and lines
)

// box is a piece with its place on the sheet.
type box struct {
	w, h, x, y int
	parts      []boxPart
}

// boxPart is a part of the operation sheet, at a place inside its box.
type boxPart struct {
	x, y int
	node int // of a picture; below 0 none
	rest string
	text bool
}

// layout lays boxes on a sheet.
type layout struct {
	w, h  int
	ppi   *big.Rat
	boxes []*box
}

func (l *layout) mm(n int) int { return exact.Nearest(quo(mul(l.ppi, rat(10*n)), rat(254))) }
func (l *layout) pt(n int) int { return max(1, exact.Nearest(quo(mul(l.ppi, rat(n)), rat(72)))) }

// letters is how many px a line of a caption is wide.
func (l *layout) letters(text string) int { return ops.LetterPixels(text, l.pt(letterSize)) }

// wrapped breaks a caption between its items, where a line would be wider than w,
// and an item that is wider than the sheet has room between its words.
func (l *layout) wrapped(items []string, w int) (lines []string, wide int) {
	line, room := "", l.w-2*l.mm(sheetMargin)
	for _, it := range items {
		words, sep, most := []string{it}, " · ", w
		if l.letters(it) > room {
			words = strings.Split(it, " ")
		}
		for _, word := range words {
			if next := strings.TrimPrefix(line+sep+word, sep); line != "" && l.letters(next) > most {
				lines, line = append(lines, line), word
			} else {
				line = next
			}
			sep, most = " ", room
		}
	}
	lines = append(lines, line)
	for _, s := range lines {
		wide = max(wide, l.letters(s))
	}
	return lines, wide
}

// add makes a box of parts that take w x h px, with a caption below.
func (l *layout) add(w, h int, caption []string, parts ...boxPart) *box {
	lines, wide := l.wrapped(caption, w)
	b := &box{w: max(w, wide), h: h + l.pt(lineHeight)*len(lines), parts: parts}
	for i, s := range lines {
		b.letter(0, h+l.pt(lineHeight)*i+l.pt(letterSize), s)
	}
	l.boxes = append(l.boxes, b)
	return b
}

func (b *box) letter(x, base int, text string) {
	b.parts = append(b.parts, boxPart{x: x, y: base, node: -1, rest: text, text: true})
}

func (b *box) fill(x, y, w, h int, codes string) {
	b.parts = append(b.parts, boxPart{x: x, y: y, node: -1, rest: fmt.Sprintf("%d %d %s", w, h, codes)})
}

// marks draws cutting marks around a picture at (x, y) of a box.
func (l *layout) marks(b *box, x, y, w, h int) {
	line, off, long := max(1, l.mm(1)/10), l.mm(cutOff), l.mm(cutRoom)-l.mm(cutOff)
	for _, cy := range []int{y, y + h - line} {
		b.fill(x-off-long, cy, long, line, ink)
		b.fill(x+w+off, cy, long, line, ink)
	}
	for _, cx := range []int{x, x + w - line} {
		b.fill(cx, y-off-long, line, long, ink)
		b.fill(cx, y+h+off, line, long, ink)
	}
}

// place finds each box its place. Where there is no room it says how many px are
// missing, in width or else in height.
func (l *layout) place() (lackW, lackH int) {
	margin, gap := l.mm(sheetMargin), l.mm(sheetGap)
	right, foot := l.w-margin, l.h-margin-l.mm(footRoom)
	type row struct{ x, y, h int }
	var rows []row
	next := margin
	order := slices.Clone(l.boxes)
	slices.SortStableFunc(order, func(a, b *box) int { return cmp.Compare(b.h, a.h) })
	for _, b := range order {
		lackW = max(lackW, margin+b.w-right)
		i := slices.IndexFunc(rows, func(r row) bool { return r.x+b.w <= right })
		if i < 0 {
			i = len(rows)
			rows = append(rows, row{margin, next, b.h})
			next += b.h + gap
		}
		b.x, b.y = rows[i].x, rows[i].y
		rows[i].x += b.w + gap
		lackH = max(lackH, b.y+b.h-foot)
	}
	return lackW, lackH
}

// args are the arguments of the operation sheet, and the nodes that it takes.
func (l *layout) args(foot string) (args ops.Args, in []int) {
	n := 0
	part := func(format string, v ...any) {
		n++
		args = append(args, ops.Arg{Name: fmt.Sprintf("part-%d", n), Value: fmt.Sprintf(format, v...)})
	}
	args = argsOf("width", l.w, "height", l.h)
	for _, b := range l.boxes {
		for _, p := range b.parts {
			x, y := b.x+p.x, b.y+p.y
			switch {
			case p.text:
				part("text %d %d %d %s", x, y, l.pt(letterSize), p.rest)
			case p.node >= 0:
				part("picture %d %d", x, y)
				in = append(in, p.node)
			default:
				part("fill %d %d %s", x, y, p.rest)
			}
		}
	}
	// The line of known length.
	margin, line := l.mm(sheetMargin), max(1, l.mm(1)/10)
	y := l.h - margin - line
	for _, long := range []int{100, 50, 20} {
		text := fmt.Sprintf("This line is %d mm long; if it isn't, the printer scaled the sheet.", long)
		x := margin + l.mm(long) + l.mm(3)
		if x+l.letters(text) > l.w-margin && long > 20 {
			continue
		}
		if margin+l.mm(long) <= l.w {
			part("fill %d %d %d %d %s", margin, y, l.mm(long), line, ink)
			for _, x := range []int{margin, margin + l.mm(long) - line} {
				part("fill %d %d %d %d %s", x, y-l.mm(3), line, l.mm(3), ink)
			}
		}
		for _, t := range []string{text, foot} {
			if w := l.letters(t); x+w <= l.w {
				part("text %d %d %d %s", x, y, l.pt(letterSize), t)
				x += w + l.mm(6)
			}
		}
		break
	}
	return args, in
}
