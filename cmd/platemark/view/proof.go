package view

import (
	"fmt"
	"html/template"
	"image"
	"image/color"
	"io"
	"math"
	"strings"
	"time"

	"platemark/interp"
	"platemark/interp/proof"
	"platemark/ops/colour"
)

var proofPage = pageOf("proof.html")

// ProofPage is what a proof's page shows.
type ProofPage struct {
	Recipe string // its file name
	Title  string // the recipe's, "" where it has none
	Proof  *proof.Proof
	Made   time.Time
	Screen string // the display's name, "" for sRGB
	// ICC is the display's profile, nil for sRGB.
	ICC []byte
	// Name begins the names of the files beside the page.
	Name string
}

// File is a picture beside the page.
type File struct {
	Name string
	Data []byte
}

// proofSheet is what the template reads.
type proofSheet struct {
	Style template.CSS
	ProofPage
	Stage   stage
	Papers  []proofPaper
	Several bool
}

type proofPaper struct {
	*proof.OnPaper
	Outside            template.URL
	OutsideW, OutsideH int
	White, Black       template.CSS // on an sRGB screen
	Places             []proofPlace
	Light, Chroma      template.HTML
	// Lowest says which figures no other paper has lower.
	Lowest map[string]bool
}

type proofPlace struct {
	proof.Place
	A, B template.URL
}

// Told is what can't be printed, and why, all with the decimals of the whole: it is the
// sum of its parts on the page, too.
func (p proofPaper) Told() map[string]string {
	n := 1
	if p.Share < 0.1 {
		n = 2
	}
	share, dark, colourful := p.Parts(n)
	return map[string]string{"share": percentTo(n, p.Share, share), "dark": percentTo(n, p.TooDark, dark), "colourful": percentTo(n, p.TooColourful, colourful)}
}

// WriteProof writes the page, which holds every picture itself, and returns
// the pictures as files.
func WriteProof(w io.Writer, p ProofPage) ([]File, error) {
	s := &proofSheet{Style: style(), ProofPage: p, Stage: stage{Exact: p.Proof.Section[2] != 0}, Several: len(p.Proof.Papers) > 1}
	var out []File
	add := func(name string, m image.Image, icc []byte) (template.URL, error) {
		b, err := tagged(m, icc)
		if err != nil {
			return "", err
		}
		out = append(out, File{p.Name + "-" + name + ".png", b})
		return inPage(b), nil
	}
	figure := func(id, name, text string, v interp.ViewPicture, white template.CSS) error {
		url, err := add(name, Opaque(v), p.ICC)
		s.Stage.Figures = append(s.Stage.Figures, stageFigure{id, name, text, url, v.W, v.H, white})
		return err
	}
	if err := figure("as-meant", "meant", "as meant: the print without what is for a paper", p.Proof.Meant, ""); err != nil {
		return nil, err
	}
	for i := range p.Proof.Papers {
		q := &p.Proof.Papers[i]
		v := proofPaper{OnPaper: q, White: cssColour(q.White), Black: cssColour(q.Black), Lowest: map[string]bool{}}
		err := figure("on-"+q.Paper, q.Paper, "as "+q.Paper+" will show it, its white and its black as they are", q.Shown, v.White)
		if err != nil {
			return nil, err
		}
		m := outside(q, s.Stage.Exact)
		v.OutsideW, v.OutsideH = m.Bounds().Dx(), m.Bounds().Dy()
		if v.Outside, err = add(q.Paper+"-outside", m, nil); err != nil {
			return nil, err
		}
		for n, pl := range q.Places {
			r := proofPlace{Place: pl}
			if r.A, err = add(fmt.Sprintf("%s-place-%d-meant", q.Paper, n+1), Opaque(pl.Meant), p.ICC); err != nil {
				return nil, err
			}
			if r.B, err = add(fmt.Sprintf("%s-place-%d-shown", q.Paper, n+1), Opaque(pl.Shown), p.ICC); err != nil {
				return nil, err
			}
			v.Places = append(v.Places, r)
		}
		v.Light = plot("L* as meant", "L* on the paper", q.Lightness, 100, 100)
		v.Chroma = plot("C* as meant", "C* on the paper", q.Chrom, 60, 180)
		s.Papers = append(s.Papers, v)
	}
	if s.Several {
		lowest(s.Papers)
	}
	s.Stage.lay()
	return out, proofPage().Execute(w, s)
}

// lowest marks the figures by which one paper is better than all others.
func lowest(papers []proofPaper) {
	for name, of := range map[string]func(proofPaper) float64{
		"share": func(p proofPaper) float64 { return p.Share },
		"mean":  func(p proofPaper) float64 { return p.Mean },
		"p95":   func(p proofPaper) float64 { return p.P95 },
		"most":  func(p proofPaper) float64 { return p.Largest },
		"steps": func(p proofPaper) float64 { return float64(p.Highlights.Lost + p.Shadows.Lost) },
	} {
		best, only := 0, true
		for i := range papers[1:] {
			switch a, b := of(papers[i+1]), of(papers[best]); {
			case a < b:
				best, only = i+1, true
			case a == b:
				only = false
			}
		}
		papers[best].Lowest[name] = only
	}
}

// outsideLong is the longest side of the drawing of what can't be printed, px.
const outsideLong = 480

// outside draws a picture in pale greys, and over it what the paper can't show:
// level lines where it is too dark, slanted ones where it is too colourful, each
// black beside white, so that shape tells. A whole picture is drawn small.
func outside(q *proof.OnPaper, exact bool) image.Image {
	w, h := q.Shown.W, q.Shown.H
	if long := max(w, h); !exact && long > outsideLong {
		w, h = max(1, w*outsideLong/long), max(1, h*outsideLong/long)
	}
	pal := color.Palette{color.Gray{0}, color.Gray{0xd8}}
	const greys = 30
	for i := range greys {
		pal = append(pal, color.Gray{uint8(0x80 + 2*i)})
	}
	m := image.NewPaletted(image.Rect(0, 0, w, h), pal)
	for y := range h {
		for x := range w {
			at := (2*y+1)*q.Shown.H/(2*h)*q.Shown.W + (2*x+1)*q.Shown.W/(2*w)
			rgb := q.Shown.RGB[3*at : 3*at+3]
			light := (2*int(rgb[0]) + 5*int(rgb[1]) + int(rgb[2])) / 8
			ink := uint8(2 + light*(greys-1)/255)
			line := 6
			switch q.Outside[at] {
			case colour.TooDark:
				line = y % 6
			case colour.TooColourful:
				line = (x + y) % 8
			}
			switch line {
			case 0, 1:
				ink = 0
			case 2:
				ink = 1
			}
			m.Pix[y*m.Stride+x] = ink
		}
	}
	return m
}

// plot draws what becomes of values as SVG: a slanted dashed line where nothing
// changes, a band that holds eight tenths of the pixels, and their middle. The
// axes end at top, or further on, at most at end.
func plot(x, y string, bands []proof.Band, top, end float64) template.HTML {
	const left, size, foot = 46, 240, 46
	for _, b := range bands {
		for top < end && (top < b.High || top < b.Till-1) {
			top += 20
		}
	}
	at := func(v float64) float64 { return math.Min(math.Max(v, 0), top) / top * size }
	var s strings.Builder
	fmt.Fprintf(&s, `<svg viewBox="0 0 %d %d" role="img" aria-label="%s against %s">`, left+size+12, size+foot+10, template.HTMLEscapeString(y), template.HTMLEscapeString(x))
	fmt.Fprintf(&s, `<g transform="translate(%d 10)">`, left)
	for v := 0.0; v <= top+0.1; v += 20 {
		p := at(v)
		fmt.Fprintf(&s, `<path class="grid" d="M0 %.1fH%d M%.1f 0V%d"/><text x="-7" y="%.1f" text-anchor="end">%.0f</text><text x="%.1f" y="%d" text-anchor="middle">%.0f</text>`,
			size-p, size, p, size, size-p+4, v, p, size+17, v)
	}
	fmt.Fprintf(&s, `<path class="same" d="M0 %dL%d 0"/>`, size, size)
	if len(bands) > 0 {
		var up, down, mid strings.Builder
		for i, b := range bands {
			c := at((b.From + b.Till) / 2)
			word := "L"
			if i == 0 {
				word = "M"
			}
			fmt.Fprintf(&up, "%s%.1f %.1f", word, c, size-at(b.High))
			fmt.Fprintf(&mid, "%s%.1f %.1f", word, c, size-at(b.Mid))
		}
		for i := len(bands) - 1; i >= 0; i-- {
			fmt.Fprintf(&down, "L%.1f %.1f", at((bands[i].From+bands[i].Till)/2), size-at(bands[i].Low))
		}
		fmt.Fprintf(&s, `<path class="band" d="%s%sZ"/><path class="mid" d="%s"/>`, up.String(), down.String(), mid.String())
	}
	fmt.Fprintf(&s, `<text x="%d" y="%d" text-anchor="middle">%s</text><text transform="translate(-34 %d) rotate(-90)" text-anchor="middle">%s</text></g></svg>`,
		size/2, size+38, template.HTMLEscapeString(x), size/2, template.HTMLEscapeString(y))
	return template.HTML(s.String())
}
