package view

import (
	"encoding/base64"
	"fmt"
	"html/template"
	"image"
	"image/color"
	"io"
	"math"
	"strings"

	_ "embed"

	"platemark/interp"
	"platemark/ops/colour"
)

//go:embed proof.html
var proofText string

//go:embed proof.css
var proofStyle string

var proofPage = template.Must(template.New("proof.html").Funcs(template.FuncMap{
	"percent": percent,
	"number":  func(v float64) string { return fmt.Sprintf("%.2f", v) },
	"lab":     func(c colour.Lab) string { return fmt.Sprintf("L* %.0f, a* %.1f, b* %.1f", c.L, c.A, c.B) },
}).Parse(proofText))

// ProofPage is what a proof's page shows.
type ProofPage struct {
	Recipe string // its file name
	Title  string // the recipe's, "" where it has none
	Proof  *interp.Proof
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
	Section bool
	Shape   template.CSS // width over height
	Meant   template.URL
	Papers  []proofPaper
	Several bool
}

type proofPaper struct {
	*interp.PaperProof
	N              int // from 1
	Shown, Outside template.URL
	White          template.CSS // paper white on an sRGB screen
	Places         []proofPlace
	Light, Chroma  template.HTML
	// Lowest says which figures no other paper has lower.
	Lowest map[string]bool
}

type proofPlace struct {
	interp.ProofPlace
	A, B template.URL
}

// WriteProof writes the page, which holds every picture itself, and returns
// the pictures as files.
func WriteProof(w io.Writer, p ProofPage) ([]File, error) {
	css, err := files.ReadFile("page.css")
	if err != nil {
		return nil, err
	}
	s := &proofSheet{ProofPage: p, Section: p.Proof.Section[2] != 0,
		Shape: template.CSS(fmt.Sprintf("%.4f", float64(p.Proof.Meant.W)/float64(p.Proof.Meant.H))), Several: len(p.Proof.Papers) > 1}
	var out []File
	add := func(name string, m image.Image, icc []byte) (template.URL, error) {
		b, err := tagged(m, icc)
		if err != nil {
			return "", err
		}
		out = append(out, File{p.Name + "-" + name + ".png", b})
		return template.URL("data:image/png;base64," + base64.StdEncoding.EncodeToString(b)), nil
	}
	if s.Meant, err = add("meant", opaque(p.Proof.Meant), p.ICC); err != nil {
		return nil, err
	}
	rules := ""
	for i := range p.Proof.Papers {
		q := &p.Proof.Papers[i]
		v := proofPaper{PaperProof: q, N: i + 1, White: cssColour(q.White), Lowest: map[string]bool{}}
		if v.Shown, err = add(q.Paper, opaque(q.Shown), p.ICC); err != nil {
			return nil, err
		}
		if v.Outside, err = add(q.Paper+"-outside", hatch(q.Outside, q.Shown.W, q.Shown.H), nil); err != nil {
			return nil, err
		}
		for n, pl := range q.Places {
			r := proofPlace{ProofPlace: pl}
			if r.A, err = add(fmt.Sprintf("%s-place-%d-meant", q.Paper, n+1), opaque(pl.Meant), p.ICC); err != nil {
				return nil, err
			}
			if r.B, err = add(fmt.Sprintf("%s-place-%d-shown", q.Paper, n+1), opaque(pl.Shown), p.ICC); err != nil {
				return nil, err
			}
			v.Places = append(v.Places, r)
		}
		v.Light = plot("L* as meant", "L* on the paper", q.Lightness, 100)
		v.Chroma = plot("C* as meant", "C* on the paper", q.Chrom, 120)
		s.Papers = append(s.Papers, v)
		rules += fmt.Sprintf(".p%d:checked ~ .stage .f%d { display: block; }\n", i+1, i+1)
	}
	if s.Several {
		lowest(s.Papers)
	}
	s.Style = template.CSS(string(css) + proofStyle + rules)
	return out, proofPage.Execute(w, s)
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

// opaque is a picture without transparency.
func opaque(p interp.ViewPicture) image.Image {
	m := image.NewNRGBA(image.Rect(0, 0, p.W, p.H))
	for i := range p.W * p.H {
		copy(m.Pix[4*i:], []uint8{p.RGB[3*i], p.RGB[3*i+1], p.RGB[3*i+2], 255})
	}
	return m
}

// hatch marks pixels by slanted lines, dark magenta beside white, with the
// picture showing between: shape tells as much as colour, and on dark and light
// ground alike.
func hatch(outside []colour.Verdict, w, h int) image.Image {
	m := image.NewPaletted(image.Rect(0, 0, w, h), color.Palette{color.NRGBA{}, color.NRGBA{170, 0, 110, 255}, color.NRGBA{255, 255, 255, 255}})
	for i, o := range outside {
		if o == colour.Within {
			continue
		}
		switch k := (i%w + i/w) % 12; {
		case k < 3:
			m.Pix[i] = 1
		case k < 5:
			m.Pix[i] = 2
		}
	}
	return m
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

// plot draws what becomes of values as SVG: a slanted dashed line where nothing
// changes, a band that holds eight tenths of the pixels, and their middle.
func plot(x, y string, bands []interp.Band, top float64) template.HTML {
	const left, size, foot = 46, 240, 46
	for _, b := range bands {
		for top < b.High || top < b.Till-1 {
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
