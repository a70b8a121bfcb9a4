package view

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"math/big"
	"slices"
	"sync"
	"time"

	"github.com/go-fonts/liberation/liberationserifitalic"
	"github.com/go-fonts/liberation/liberationserifregular"
	"golang.org/x/image/font/gofont/gomono"

	"platemark/interp"
	"platemark/interp/pdf"
	"platemark/interp/plan"
	"platemark/interp/register"
	"platemark/ops/codec/jpeg"
	"platemark/ops/colour"
	"platemark/ops/exact"
)

var certificatePage = sync.OnceValue(func() *template.Template { return template.Must(template.ParseFS(files, "certificate.html")) })

// certificate is what the page says, in words.
type certificate struct {
	Title, Number string
	Facts         []fact
	Bordered      bool // the picture has a border, as white as the page
	Words         []string
	W, H          int
	URL           template.URL
}

type fact struct {
	Name, Text string
	Digest     bool // a long number
}

// WriteCertificate is a certificate as a page of HTML and as a PDF. missing are
// the letters that the PDF's face hasn't.
func WriteCertificate(c *register.Certificate) (page, file []byte, missing string, err error) {
	w := wordsOf(c)
	icc, _ := colour.Space("sRGB")
	picture, err := jpegOf(c.Picture, icc.Bytes())
	if err != nil {
		return nil, nil, "", err
	}
	w.W, w.H = c.Picture.W, c.Picture.H
	w.URL = template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(picture))
	var html bytes.Buffer
	if err := certificatePage().Execute(&html, w); err != nil {
		return nil, nil, "", err
	}
	file, missing, err = w.pdf(&pdf.Picture{W: w.W, H: w.H, Channels: 3, Bits: 8, ICC: icc.Bytes(), JPEG: true,
		Data: func(o io.Writer) error { _, err := o.Write(picture); return err }})
	return html.Bytes(), file, missing, err
}

// jpegOf is a screen's picture as a JPEG file.
func jpegOf(m *interp.ViewPicture, icc []byte) ([]byte, error) {
	e, err := jpeg.New(jpeg.Options{W: m.W, H: m.H, C: 3, Quality: 92, ICC: icc})
	if err != nil {
		return nil, err
	}
	wide := make([]uint16, len(m.RGB))
	for i, v := range m.RGB {
		wide[i] = 257 * uint16(v)
	}
	b, w := e.Header(), e.Worker()
	n := 0
	for rows := range slices.Chunk(slices.Collect(slices.Chunk(wide, 3*m.W)), e.RowHeight()) {
		b = w.Encode(b, n, rows)
		n++
	}
	return append(b, e.Trailer()...), nil
}

// Extent is a size as buyers know it.
func Extent(e plan.Extent) string {
	side := func(px int, scale *big.Rat, digits int) string {
		in := new(big.Rat).Quo(big.NewRat(int64(px), 1), e.PPI)
		return exact.Decimals(in.Mul(in, scale), digits)
	}
	one, cm := big.NewRat(1, 1), big.NewRat(254, 100)
	return fmt.Sprintf("%s × %s in (%s × %s cm)", side(e.W, one, 2), side(e.H, one, 2), side(e.W, cm, 1), side(e.H, cm, 1))
}

// day is a day of a record in words.
func day(at string) string {
	t, err := time.Parse(time.RFC3339, at)
	if err != nil {
		return at
	}
	return t.UTC().Format("2 January 2006")
}

// wordsOf says a certificate in a buyer's words.
func wordsOf(c *register.Certificate) *certificate {
	l, e := c.Log, c.Entry
	w := &certificate{Title: c.Title, Number: "Copies of this print are not numbered"}
	say := func(name, text string) { w.Facts = append(w.Facts, fact{Name: name, Text: text}) }
	say("Picture", Extent(c.Sizes.Picture))
	if c.Sizes.Face != c.Sizes.Picture && Extent(c.Sizes.Face) != Extent(c.Sizes.Picture) {
		say("With its border", Extent(c.Sizes.Face))
		w.Bordered = true
	}
	if c.Paper != "" {
		say("Paper", c.Paper)
	}
	if e != nil {
		w.Number = fmt.Sprintf("Copy %d of %d", e.Copy, e.Copies)
		if e.Copy == 0 {
			w.Number = fmt.Sprintf("Proof %d of %d, beside an edition of %d", e.Proof, e.Proofs, e.Copies)
		} else if e.Proofs > 0 {
			w.Number += fmt.Sprintf(", beside %d proofs", e.Proofs)
			if e.Proofs == 1 {
				w.Number = fmt.Sprintf("Copy %d of %d, beside one proof", e.Copy, e.Copies)
			}
		}
		if e.State != "I" {
			w.Number += ", state " + e.State
		}
		say("Registered", day(e.At))
	}
	say("Print file made", day(l.Run.Began))
	w.Facts = append(w.Facts, fact{"Mark", l.File.Mark, true}, fact{"Digest", l.File.SHA256, true})
	if e != nil {
		w.Facts = append(w.Facts, fact{"Register’s head", c.Head, true})
	}
	if c.Key != "" {
		w.Facts = append(w.Facts, fact{"Signed with key", c.Key, true})
	}
	w.Words = []string{
		"The print was made from one file. The digest (SHA-256) is that file’s fingerprint: if a single dot of it were another, so would be the digest. Whoever has the file can work it out with any program for SHA-256; it must be the one above.",
		"The mark names the recipe: all that was done to the picture, written down. From the recipe and the master the same file can be made again, to the last byte, in decades too. The command platemark reprint does that, from the log that was kept with the file, and says whether it is the same.",
	}
	if e != nil {
		n := "the entry"
		if at := c.Entries(); at != 1 {
			n = fmt.Sprintf("the %d entries", at)
		}
		w.Words = append(w.Words, "Each number of the edition is given once; a register says which were, from which file and when. Its head stands for "+n+
			" that it had when this page was made: platemark register verify, given this head, says whether any of them was changed or taken away since.")
	}
	if c.Key != "" {
		w.Words = append(w.Words, "The log is signed. Ask the studio which key it signs with: it must be the one above. The command platemark verify says whether the log is as it was signed.")
	}
	w.Words = append(w.Words, "A page like this can be printed by anybody. It is worth what the file, the log and the register say: ask for them when the print changes hands, and keep the page with it.")
	return w
}

// face is what a fact is written in.
func (f fact) face(upright, mono *pdf.Font) (*pdf.Font, float64) {
	if f.Digest {
		return mono, 7.4
	}
	return upright, 10.5
}

// The page of the PDF: A4, in points.
const (
	pageW, pageH = 210 / 25.4 * 72, 297 / 25.4 * 72
	pageEdge     = 76.0
	pageColumn   = pageW - 2*pageEdge
	factColumn   = 92.0
)

// pdf lays the certificate out on one page.
func (w *certificate) pdf(m *pdf.Picture) (file []byte, missing string, err error) {
	d := &pdf.Document{Title: w.Title + ": " + w.Number}
	var faces [3]*pdf.Font
	for i, ttf := range [][]byte{liberationserifregular.TTF, liberationserifitalic.TTF, gomono.TTF} {
		if faces[i], err = d.Font(ttf); err != nil {
			return nil, "", err
		}
	}
	upright, italic, mono := faces[0], faces[1], faces[2]
	if err := d.Picture(m); err != nil {
		return nil, "", err
	}
	p := d.Page(pageW, pageH)
	// The picture has what the words leave it, 250 points at most.
	room := pageH - 62 - 34 - 10 - 30 - 90 - 24*float64(len(upright.Wrap(21, pageColumn, w.Title))) - 15*float64(len(italic.Wrap(12.5, pageColumn, w.Number)))
	for _, f := range w.Facts {
		face, size := f.face(upright, mono)
		room -= 15 * float64(len(face.Wrap(size, pageColumn-factColumn, f.Text)))
	}
	for _, words := range w.Words {
		room -= 12.5*float64(len(upright.Wrap(9.5, pageColumn, words))) + 4
	}
	scale := min(pageColumn/float64(m.W), max(40, min(250, room))/float64(m.H), 0.5) // 144 pixels an inch at least
	pw, ph := scale*float64(m.W), scale*float64(m.H)
	x, y := (pageW-pw)/2, 62.0
	p.Place(m, x, y, pw, ph)
	if w.Bordered {
		p.Grey(0.7)
		for _, l := range [][4]float64{{x, y, x + pw, y}, {x, y + ph, x + pw, y + ph}, {x, y, x, y + ph}, {x + pw, y, x + pw, y + ph}} {
			p.Line(l[0], l[1], l[2], l[3], 0.4)
		}
		p.Grey(0)
	}
	y += ph + 34
	middle := func(f *pdf.Font, size, lead float64, text string) {
		for _, line := range f.Wrap(size, pageColumn, text) {
			p.Text(f, size, (pageW-f.Width(size, line))/2, y, line)
			y += lead
		}
	}
	middle(upright, 21, 24, w.Title)
	y -= 4
	middle(italic, 12.5, 15, w.Number)
	y += 14
	for _, f := range w.Facts {
		face, size := f.face(upright, mono)
		p.Grey(0.33)
		p.Text(italic, 10.5, pageEdge, y, f.Name)
		p.Grey(0.1)
		for _, line := range face.Wrap(size, pageColumn-factColumn, f.Text) {
			p.Text(face, size, pageEdge+factColumn, y, line)
			y += 15
		}
	}
	y += 13
	p.Text(italic, 13, pageEdge, y, "How to check it")
	y += 17
	for _, words := range w.Words {
		for _, line := range upright.Wrap(9.5, pageColumn, words) {
			p.Text(upright, 9.5, pageEdge, y, line)
			y += 12.5
		}
		y += 4
	}
	p.Line(pageW/2, pageH-70, pageW-pageEdge, pageH-70, 0.6)
	p.Grey(0.33)
	p.Text(italic, 9, pageW/2, pageH-58, "By hand, if it is signed")
	var b bytes.Buffer
	if err := d.Write(&b); err != nil {
		return nil, "", err
	}
	return b.Bytes(), upright.Missing() + mono.Missing(), nil
}
