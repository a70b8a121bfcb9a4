package view

import (
	"bytes"
	"encoding/base64"
	"html/template"
	"io"
	"time"

	"github.com/go-fonts/liberation/liberationserifitalic"
	"github.com/go-fonts/liberation/liberationserifregular"

	"platemark/interp"
	"platemark/interp/pdf"
	"platemark/ops/colour"
)

var orderPage = pageOf("order.html")

// Order is what goes with an order's files, for the lab or for the client.
type Order struct {
	Title  string
	Words  []string // above the prints
	Made   time.Time
	Prints []OrderPrint
}

// What the titles of an order's papers begin with.
const (
	LabTitle    = "Order: "
	ClientTitle = "The prints"
)

// IsOrder says whether a file that begins so is a page of an order, or a PDF of
// ours.
func IsOrder(head []byte) bool {
	has := func(s string) bool { return bytes.Contains(head, []byte(s)) }
	return has("<title>"+LabTitle) || has("<title>"+ClientTitle) || bytes.HasPrefix(head, []byte("%PDF-")) && has("/Producer (platemark)")
}

// OrderPrint is one print of an order.
type OrderPrint struct {
	Title   string
	Facts   []fact
	Warn    []string
	Picture *interp.ViewPicture // nil where it wasn't made

	URL template.URL
}

// Say adds a fact; digest says that it is a long number.
func (p *OrderPrint) Say(name, text string, digest bool) {
	if text != "" {
		p.Facts = append(p.Facts, fact{name, text, digest})
	}
}

// WriteOrder is an order's page as HTML and as PDF.
func WriteOrder(o *Order) (page, file []byte, err error) {
	icc, _ := colour.Space("sRGB")
	jpegs := make([][]byte, len(o.Prints))
	for i := range o.Prints {
		p := &o.Prints[i]
		if p.Picture == nil {
			continue
		}
		if jpegs[i], err = jpegOf(p.Picture, icc.Bytes()); err != nil {
			return nil, nil, err
		}
		p.URL = template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(jpegs[i]))
	}
	var html bytes.Buffer
	if err := orderPage().Execute(&html, struct {
		*Order
		Style template.CSS
	}{o, style()}); err != nil {
		return nil, nil, err
	}
	file, err = o.pdf(jpegs, icc.Bytes())
	return html.Bytes(), file, err
}

// orderSheet draws an order's PDF, page after page.
type orderSheet struct {
	d    *pdf.Document
	p    *pdf.Page
	y    float64
	face [2]*pdf.Font // upright, italic
}

const (
	orderEdge    = 48.0
	orderPicture = 150.0 // the pictures' column, points
	orderGap     = 18.0
)

// room begins a page where fewer than h points are left.
func (s *orderSheet) room(h float64) {
	if s.p == nil || s.y+h > pageH-orderEdge {
		s.p, s.y = s.d.Page(pageW, pageH), orderEdge
	}
}

func (s *orderSheet) text(f *pdf.Font, size, x, wide float64, text string) {
	for _, line := range f.Wrap(size, wide, text) {
		s.y += size * 1.3
		s.p.Text(f, size, x, s.y-size*0.3, line)
	}
}

func (o *Order) pdf(jpegs [][]byte, icc []byte) ([]byte, error) {
	s := &orderSheet{d: &pdf.Document{Title: o.Title}}
	for i, ttf := range [][]byte{liberationserifregular.TTF, liberationserifitalic.TTF} {
		var err error
		if s.face[i], err = s.d.Font(ttf); err != nil {
			return nil, err
		}
	}
	upright, italic := s.face[0], s.face[1]
	wide := pageW - 2*orderEdge
	s.room(0)
	s.text(upright, 20, orderEdge, wide, o.Title)
	s.text(italic, 10, orderEdge, wide, o.Made.Format("2 January 2006"))
	for _, w := range o.Words {
		s.y += 4
		s.text(upright, 10.5, orderEdge, wide, w)
	}
	x := orderEdge + orderPicture + orderGap
	for i, p := range o.Prints {
		w, h := 0.0, 0.0
		if p.Picture != nil {
			scale := min(orderPicture/float64(p.Picture.W), orderPicture/float64(p.Picture.H))
			w, h = scale*float64(p.Picture.W), scale*float64(p.Picture.H)
		}
		high := 9 + 17*float64(len(upright.Wrap(13, wide-orderPicture-orderGap, p.Title)))
		for _, f := range p.Facts {
			high += 13 * float64(len(upright.Wrap(9.5, wide-orderPicture-orderGap-70, f.Text)))
		}
		for _, v := range p.Warn {
			high += 13 * float64(len(italic.Wrap(9.5, wide-orderPicture-orderGap, v)))
		}
		s.room(max(high, h) + 24)
		s.y += 16
		s.p.Grey(0.6)
		s.p.Line(orderEdge, s.y, pageW-orderEdge, s.y, 0.4)
		s.p.Grey(0)
		s.y += 8
		top := s.y
		if p.Picture != nil {
			data := jpegs[i]
			m := &pdf.Picture{W: p.Picture.W, H: p.Picture.H, Channels: 3, Bits: 8, ICC: icc, JPEG: true, Data: func(w io.Writer) error { _, err := w.Write(data); return err }}
			if err := s.d.Picture(m); err != nil {
				return nil, err
			}
			s.p.Place(m, orderEdge, top, w, h)
		}
		s.text(upright, 13, x, wide-orderPicture-orderGap, p.Title)
		for _, f := range p.Facts {
			at := s.y
			s.p.Grey(0.35)
			s.text(italic, 9.5, x, 66, f.Name)
			s.p.Grey(0)
			next := s.y
			s.y = at
			size := 9.5
			if f.Digest {
				size = 8
			}
			s.text(upright, size, x+70, wide-orderPicture-orderGap-70, f.Text)
			s.y = max(s.y, next)
		}
		for _, v := range p.Warn {
			s.text(italic, 9.5, x, wide-orderPicture-orderGap, v)
		}
		s.y = max(s.y, top+h)
	}
	var b bytes.Buffer
	if err := s.d.Write(&b); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}
