// Package pdf writes PDF files (ISO 32000-1) at true size: pages of exact boxes,
// pictures with their own profile placed at an exact size, text by embedded
// TrueType, lines. It knows nothing of prints.
//
// It lies beside the print path and not under ops, since it packs with
// compress/zlib, whose output may change from one release of Go to the next; by
// one program the same document is the same file, whenever and wherever. A file
// says no date, and its identifier is the digest of its content. Viewers are
// asked to leave the size alone when they print (PrintScaling None), which their
// users can overrule.
package pdf

import (
	"bufio"
	"bytes"
	"compress/zlib"
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"io"
	"strconv"
	"strings"
	"unicode/utf16"
)

// A Document is pages in the making.
type Document struct {
	Title    string
	pages    []*Page
	fonts    []*Font
	pictures []*Picture
}

// A Page is drawn on in points (1/72 in) from its left upper corner.
type Page struct {
	w, h     float64
	content  bytes.Buffer
	fonts    map[*Font]bool
	pictures map[*Picture]bool
}

// A Picture is what pages show. It may be placed more than once.
type Picture struct {
	W, H     int // px
	Channels int // 1 or 3
	Bits     int // of a sample: 8, or 16 with the high byte first
	ICC      []byte
	// Data writes the picture: its samples row by row, or with JPEG the bytes of
	// a JPEG file, which stay as they are.
	Data func(w io.Writer) error
	JPEG bool
	n    int // among the document's
}

// largest is the most points that a side of a page may have in a file (ISO
// 32000-1, annex C); beyond it UserUnit says that points are larger.
const largest = 14400

// Page adds a page of w by h points.
func (d *Document) Page(w, h float64) *Page {
	p := &Page{w: w, h: h, fonts: map[*Font]bool{}, pictures: map[*Picture]bool{}}
	d.pages = append(d.pages, p)
	return p
}

// Picture takes a picture into the document. It fails where the profile isn't
// one of the picture's channels.
func (d *Document) Picture(p *Picture) error {
	kind := map[int]string{1: "GRAY", 3: "RGB "}[p.Channels]
	if len(p.ICC) < 128 || kind == "" || string(p.ICC[16:20]) != kind {
		return fmt.Errorf("a picture of %d channels needs a profile of as many", p.Channels)
	}
	if p.W < 1 || p.H < 1 || p.Bits != 8 && p.Bits != 16 || p.JPEG && p.Bits != 8 {
		return errors.New("a picture in a PDF has 8 bits or, if it isn't a JPEG, 16")
	}
	p.n = len(d.pictures)
	d.pictures = append(d.pictures, p)
	return nil
}

// num writes a number of points, to a ten-thousandth.
func num(v float64) string {
	s := strconv.FormatFloat(v, 'f', 4, 64)
	s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	if s == "-0" {
		return "0"
	}
	return s
}

// draw adds operators: numbers before each.
func (p *Page) draw(op string, v ...float64) {
	for _, x := range v {
		p.content.WriteString(num(x) + " ")
	}
	p.content.WriteString(op + "\n")
}

// Grey sets what follows is drawn with: 0 black, 1 white.
func (p *Page) Grey(v float64) {
	p.draw("g", v)
	p.draw("G", v)
}

// Line draws a line of a width.
func (p *Page) Line(x0, y0, x1, y1, width float64) {
	p.draw("w", width)
	p.draw("m", x0, p.h-y0)
	p.draw("l", x1, p.h-y1)
	p.draw("S")
}

// Place shows a picture of the document at x, y, exactly w by h points large.
func (p *Page) Place(pic *Picture, x, y, w, h float64) {
	p.pictures[pic] = true
	p.draw("q")
	p.draw("cm", w, 0, 0, h, x, p.h-y-h)
	p.draw(fmt.Sprintf("/P%d Do", pic.n))
	p.draw("Q")
}

// Text writes a line with its baseline at y.
func (p *Page) Text(f *Font, size, x, y float64, text string) {
	p.fonts[f] = true
	fmt.Fprintf(&p.content, "BT\n/F%d %s Tf\n", f.n, num(size))
	p.draw("Td", x, p.h-y)
	p.content.WriteByte('<')
	for _, g := range f.glyphs(text) {
		fmt.Fprintf(&p.content, "%04X", uint16(g))
	}
	p.content.WriteString("> Tj\n")
	p.draw("ET")
}

// An out writes objects and knows where they begin.
type out struct {
	w   *bufio.Writer
	n   int64
	at  []int64 // by the object's number; 0 isn't used
	sum hash.Hash
	err error
}

func (o *out) Write(b []byte) (int, error) {
	if o.err != nil {
		return 0, o.err
	}
	n, err := o.w.Write(b)
	o.sum.Write(b[:n])
	o.n, o.err = o.n+int64(n), err
	return n, err
}

// number is that of a new object.
func (o *out) number() int {
	o.at = append(o.at, 0)
	return len(o.at) - 1
}

// begin begins an object; end ends it.
func (o *out) begin(n int) {
	o.at[n] = o.n
	fmt.Fprintf(o, "%d 0 obj\n", n)
}

func (o *out) end() { io.WriteString(o, "\nendobj\n") }

func (o *out) object(n int, format string, v ...any) {
	o.begin(n)
	fmt.Fprintf(o, format, v...)
	o.end()
}

// stream writes an object of entries and data, packed unless raw. How long it is
// stands in an object behind it, so that data needn't be held.
func (o *out) stream(n int, entries string, raw bool, data func(io.Writer) error) {
	length := o.number()
	filter := ""
	if !raw {
		filter = " /Filter /FlateDecode"
	}
	o.begin(n)
	fmt.Fprintf(o, "<< %s%s /Length %d 0 R >>\nstream\n", entries, filter, length)
	from := o.n
	var err error
	if raw {
		err = data(o)
	} else {
		z := zlib.NewWriter(o)
		if err = data(z); err == nil {
			err = z.Close()
		}
	}
	if o.err == nil {
		o.err = err
	}
	size := o.n - from
	io.WriteString(o, "\nendstream")
	o.end()
	o.object(length, "%d", size)
}

// bytesOf is data that is there already.
func bytesOf(b []byte) func(io.Writer) error {
	return func(w io.Writer) error { _, err := w.Write(b); return err }
}

// text is a text string: UTF-16 with its mark, in hexadecimal digits.
func text(s string) string {
	b := []byte("<FEFF")
	for _, u := range utf16.Encode([]rune(s)) {
		b = fmt.Appendf(b, "%04X", u)
	}
	return string(append(b, '>'))
}

// Write writes the document.
func (d *Document) Write(w io.Writer) error {
	o := &out{w: bufio.NewWriter(w), at: make([]int64, 1), sum: sha256.New()}
	io.WriteString(o, "%PDF-1.7\n%\xe2\xe3\xcf\xd3\n")
	catalog, pages, info := o.number(), o.number(), o.number()
	var kids []int
	for range d.pages {
		kids = append(kids, o.number())
	}
	o.object(catalog, "<< /Type /Catalog /Pages %d 0 R /ViewerPreferences << /PrintScaling /None /DisplayDocTitle true >> >>", pages)
	o.object(info, "<< /Title %s /Producer (platemark) >>", text(d.Title))
	o.object(pages, "<< /Type /Pages /Count %d /Kids [%s] >>", len(kids), refs(kids))
	fonts, pics := map[*Font]int{}, map[*Picture]int{}
	for _, f := range d.fonts {
		fonts[f] = f.write(o)
	}
	d.writePictures(o, pics)
	for i, p := range d.pages {
		used := ""
		for n, f := range d.fonts {
			if p.fonts[f] {
				used += fmt.Sprintf("/F%d %d 0 R ", n, fonts[f])
			}
		}
		shown := ""
		for n, q := range d.pictures {
			if p.pictures[q] {
				shown += fmt.Sprintf("/P%d %d 0 R ", n, pics[q])
			}
		}
		unit, content := "", p.content.Bytes()
		w, h := p.w, p.h
		if most := max(w, h); most > largest {
			u := float64(int(most/largest) + 1)
			w, h, unit = w/u, h/u, " /UserUnit "+num(u)
			content = append([]byte(fmt.Sprintf("%.12f 0 0 %.12f 0 0 cm\n", 1/u, 1/u)), content...)
		}
		stream := o.number()
		o.object(kids[i], "<< /Type /Page /Parent %d 0 R /MediaBox [0 0 %s %s]%s /Contents %d 0 R /Resources << /Font << %s>> /XObject << %s>> >> >>",
			pages, num(w), num(h), unit, stream, used, shown)
		o.stream(stream, "", false, bytesOf(content))
	}
	at := o.n
	id := o.sum.Sum(nil)[:16]
	fmt.Fprintf(o, "xref\n0 %d\n0000000000 65535 f \n", len(o.at))
	for _, n := range o.at[1:] {
		fmt.Fprintf(o, "%010d 00000 n \n", n)
	}
	fmt.Fprintf(o, "trailer\n<< /Size %d /Root %d 0 R /Info %d 0 R /ID [<%X> <%X>] >>\nstartxref\n%d\n%%%%EOF\n", len(o.at), catalog, info, id, id, at)
	if o.err != nil {
		return o.err
	}
	return o.w.Flush()
}

func refs(list []int) string {
	var s []string
	for _, n := range list {
		s = append(s, fmt.Sprintf("%d 0 R", n))
	}
	return strings.Join(s, " ")
}

// writePictures writes the pictures that are shown, equal profiles once.
func (d *Document) writePictures(o *out, at map[*Picture]int) {
	profiles := map[string]int{}
	for _, p := range d.pictures {
		profile, ok := profiles[string(p.ICC)]
		if !ok {
			profile = o.number()
			profiles[string(p.ICC)] = profile
			o.stream(profile, fmt.Sprintf("/N %d", p.Channels), false, bytesOf(p.ICC))
		}
		at[p] = o.number()
		entries := fmt.Sprintf("/Type /XObject /Subtype /Image /Width %d /Height %d /BitsPerComponent %d /ColorSpace [/ICCBased %d 0 R]", p.W, p.H, p.Bits, profile)
		if p.JPEG {
			entries += " /Filter /DCTDecode"
		}
		o.stream(at[p], entries, p.JPEG, p.Data)
	}
}
