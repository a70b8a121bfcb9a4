package view

import (
	"fmt"
	"html/template"
	"io"
	"math"
	"strings"
	"time"

	"platemark/interp/wedge"
	"platemark/ops/colour"
)

var wedgePage = pageOf("wedge.html")

type wedgeRow struct {
	wedge.Row
	Left, Right template.CSS
	Bar         template.CSS // of the widest
}

type wedgeStage struct {
	*wedge.Result
	Style         template.CSS
	Read, Beside  string
	Names         [2]string // of the sides
	Patches       []wedgeRow
	Light, Tint   template.HTML
	Made          time.Time
	NeutralsDrawn bool
}

// WriteWedge writes the page of a measured wedge: what was judged, drawings of
// the greys, each patch as both sides have it. The names are the sides'.
func WriteWedge(w io.Writer, r *wedge.Result, read, beside string, names [2]string) error {
	s := wedgeStage{Result: r, Style: style(), Read: read, Beside: beside, Names: names, Made: time.Now()}
	for _, row := range r.Sorted() {
		s.Patches = append(s.Patches, wedgeRow{row, cssColour(row.Expected), cssColour(row.Measured),
			template.CSS(fmt.Sprintf("%.0f%%", 100*row.Delta/max(r.Worst.Delta, 1)))})
	}
	greys := r.Neutrals()
	if s.NeutralsDrawn = len(greys) > 1; s.NeutralsDrawn {
		by := func(of func(colour.Lab) float64) (v []float64) {
			for _, g := range greys {
				v = append(v, of(g.Measured)-of(g.Expected))
			}
			return v
		}
		var at []float64
		for _, g := range greys {
			at = append(at, g.Expected.L)
		}
		l := func(c colour.Lab) float64 { return c.L }
		s.Light = differences("L* "+names[0], "L* lighter by", at, drawn{"mid", by(l)})
		s.Tint = differences("L* "+names[0], "redder (dashed), warmer (solid) by", at,
			drawn{"same", by(func(c colour.Lab) float64 { return c.A })}, drawn{"mid", by(func(c colour.Lab) float64 { return c.B })})
	}
	return wedgePage().Execute(w, s)
}

// drawn is one line of a drawing: its style and its values.
type drawn struct {
	class string
	by    []float64
}

// differences draws values around nought over lightness, as SVG.
func differences(x, y string, at []float64, lines ...drawn) template.HTML {
	const left, wide, half, foot = 46, 240, 100, 46
	most := 4.0
	for _, l := range lines {
		for _, v := range l.by {
			most = max(most, 2*math.Ceil(math.Abs(v)/2))
		}
	}
	var s strings.Builder
	fmt.Fprintf(&s, `<svg viewBox="0 0 %d %d" role="img" aria-label="%s over %s"><g transform="translate(%d 10)">`, left+wide+12, 2*half+foot+10, y, x, left)
	for _, v := range []float64{-most, -most / 2, 0, most / 2, most} {
		p := half - v/most*half
		fmt.Fprintf(&s, `<path class="grid" d="M0 %.1fH%d"/><text x="-7" y="%.1f" text-anchor="end">%g</text>`, p, wide, p+4, v)
	}
	for v := 0; v <= 100; v += 20 {
		fmt.Fprintf(&s, `<path class="grid" d="M%.1f 0V%d"/><text x="%.1f" y="%d" text-anchor="middle">%d</text>`, 2.4*float64(v), 2*half, 2.4*float64(v), 2*half+17, v)
	}
	for _, l := range lines {
		word := "M"
		fmt.Fprintf(&s, `<path class="%s" d="`, l.class)
		for i, v := range l.by {
			fmt.Fprintf(&s, "%s%.1f %.1f", word, 2.4*at[i], half-v/most*half)
			word = "L"
		}
		s.WriteString(`"/>`)
	}
	fmt.Fprintf(&s, `<text x="%d" y="%d" text-anchor="middle">%s</text><text transform="translate(-34 %d) rotate(-90)" text-anchor="middle">%s</text></g></svg>`, wide/2, 2*half+38, x, half, y)
	return template.HTML(s.String())
}
