package view

import (
	"fmt"
	"html/template"
	"image"
	"image/color"
	"io"
	"math"
	"path/filepath"
	"strings"
	"time"

	"platemark/interp"
	"platemark/interp/compare"
	"platemark/interp/rounds"
)

var diffPage = pageOf("diff.html")

// sheet is what the page's template reads.
type sheet struct {
	Style        template.CSS
	Diff         *compare.Diff
	View         *compare.View
	NameA, NameB string // in a few words
	MarkA, MarkB string
	Made         time.Time
	Stage        stage
	Delta        template.URL
	Alike        bool // at this size
	Scale        template.URL
	Ticks        []tick
	Groups       []group
	Sections     []section
}

type tick struct {
	Text string
	At   string // share of the scale, CSS
}

// group is the changes of one statement.
type group struct {
	Head, Prints string
	Share        string // in words
	Bar          string // CSS width
	Rows         []row
}

type row struct{ Kind, Param, Old, New, Delta, Text string }

type section struct {
	Place       string
	A, B, Delta template.URL
	Figures     *interp.Figures
	W, H        int
}

// sideName names a side of a comparison in a few words.
func sideName(arg string) string {
	if file, n, ok := rounds.Cut(arg); ok && file != "" {
		return fmt.Sprintf("round %d", n)
	}
	base := filepath.Base(arg)
	if s, ok := strings.CutSuffix(base, ".audit.jsonl"); ok {
		return s + " as built"
	}
	return base
}

// WriteDiff writes the page of a comparison.
func WriteDiff(w io.Writer, d *compare.Diff, v *compare.View) error {
	s := &sheet{Style: style(), Diff: d, View: v, NameA: sideName(d.A), NameB: sideName(d.B), Made: time.Now()}
	if s.NameA == s.NameB {
		s.NameA, s.NameB = d.A, d.B
	}
	for _, p := range d.Prints {
		if p.A == v.A.Print && p.B == v.B.Print {
			s.MarkA, s.MarkB = p.MarkA[:min(12, len(p.MarkA))], p.MarkB[:min(12, len(p.MarkB))]
		}
	}
	top := scaleTop(v)
	for i, p := range []interp.ViewPicture{v.A, v.B} {
		url, err := picture(p)
		if err != nil {
			return err
		}
		name := []string{s.NameA, s.NameB}[i]
		s.Stage.Figures = append(s.Stage.Figures, stageFigure{[]string{"a", "b"}[i], name, name, url, p.W, p.H, ""})
	}
	var err error
	if v.Aligned {
		if s.Delta, err = heat(v.Delta, v.W, v.H, top); err != nil {
			return err
		}
		if s.Alike = v.Whole.Largest == 0; !s.Alike {
			s.Stage.Figures = append(s.Stage.Figures, stageFigure{"difference", "their difference", "their difference: blue where they are alike, yellow where they differ most", s.Delta, v.W, v.H, ""})
		}
		if s.Scale, err = ramp(); err != nil {
			return err
		}
		for _, t := range []float64{0, 1, 3, top} {
			if t < top || t == top {
				s.Ticks = append(s.Ticks, tick{fmt.Sprintf("%g", t), fmt.Sprintf("%.1f%%", 100*t/top)})
			}
		}
	}
	s.Stage.lay()
	s.groups(d, v)
	for _, c := range v.Sections {
		k := section{Place: fmt.Sprintf("%d x %d px from %d, %d", c.A.W, c.A.H, c.AX, c.AY), W: c.A.W, H: c.A.H}
		if c.AX != c.BX || c.AY != c.BY {
			k.Place += fmt.Sprintf(" (in %s: %d, %d)", s.NameB, c.BX, c.BY)
		}
		if k.A, err = picture(c.A); err != nil {
			return err
		}
		if k.B, err = picture(c.B); err != nil {
			return err
		}
		if c.Aligned {
			if k.Delta, err = heat(c.Delta, c.A.W, c.A.H, top); err != nil {
				return err
			}
			f := c.Figures
			k.Figures = &f
		}
		s.Sections = append(s.Sections, k)
	}
	return diffPage().Execute(w, s)
}

func (s *sheet) groups(d *compare.Diff, v *compare.View) {
	for i, c := range d.Changes {
		head := c.Where
		if c.Step != "" && c.Step != c.Where {
			head += ": " + c.Step
		}
		switch {
		case c.LineA > 0 && c.LineB > 0 && c.LineA != c.LineB:
			head += fmt.Sprintf(", line %d, now %d", c.LineA, c.LineB)
		case c.LineA > 0 || c.LineB > 0:
			head += fmt.Sprintf(", line %d", max(c.LineA, c.LineB))
		}
		g := group{Head: head, Share: "the whole file"}
		if i < len(v.Shares) && v.Shares[i] >= 0 {
			g.Share, g.Bar = percent(v.Shares[i])+" of the picture", fmt.Sprintf("%.2f%%", 100*math.Max(v.Shares[i], 0.002))
		}
		r := row{Kind: c.Kind, Param: c.Param, Old: c.Old, New: c.New, Delta: c.Delta, Text: c.Text}
		if n := len(s.Groups); n > 0 && s.Groups[n-1].Head == g.Head && s.Groups[n-1].Share == g.Share {
			s.Groups[n-1].Rows = append(s.Groups[n-1].Rows, r)
			continue
		}
		g.Rows = []row{r}
		s.Groups = append(s.Groups, g)
	}
}

// scaleTop is the end of the map's scale: a round number at or above what all
// but one pixel in a thousand reach.
func scaleTop(v *compare.View) float64 {
	most := v.Whole.P95 * 2
	for _, s := range v.Sections {
		most = math.Max(most, s.P95*1.5)
	}
	for _, t := range []float64{5, 10, 20, 50} {
		if most <= t {
			return t
		}
	}
	return 100
}

// stops are the map's colours, from no difference to the largest: lightness
// rises all the way and the hue goes from blue to yellow, so that those who
// don't tell red from green, and a grey printer, read the same order.
var stops = [][3]float64{{12, 20, 38}, {28, 62, 110}, {84, 104, 128}, {150, 138, 110}, {214, 178, 72}, {255, 236, 150}}

// HeatColour is the colour of a share 0 to 1 of the scale.
func HeatColour(t float64) color.NRGBA {
	t = math.Min(math.Max(t, 0), 1) * float64(len(stops)-1)
	i := min(int(t), len(stops)-2)
	f := t - float64(i)
	var c [3]uint8
	for k := range c {
		c[k] = uint8(math.Floor(stops[i][k]*(1-f) + stops[i+1][k]*f + 0.5))
	}
	return color.NRGBA{c[0], c[1], c[2], 255}
}

// tone is the colour of a mean difference, for a figure's mark.
func tone(v *compare.View, d float64) template.CSS {
	c := HeatColour(d / scaleTop(v))
	return template.CSS(fmt.Sprintf("rgb(%d, %d, %d)", c.R, c.G, c.B))
}

func heat(d []float32, w, h int, top float64) (template.URL, error) {
	m := image.NewNRGBA(image.Rect(0, 0, w, h))
	for i, v := range d {
		c := HeatColour(float64(v) / top)
		copy(m.Pix[4*i:], []uint8{c.R, c.G, c.B, 255})
	}
	return encode(m)
}

func ramp() (template.URL, error) {
	m := image.NewNRGBA(image.Rect(0, 0, 256, 1))
	for x := range 256 {
		m.SetNRGBA(x, 0, HeatColour(float64(x)/255))
	}
	return encode(m)
}

func picture(p interp.ViewPicture) (template.URL, error) { return encode(Opaque(p)) }
