package pdf

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"golang.org/x/image/font"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"golang.org/x/text/unicode/norm"
)

// A Font is a TrueType font in a document. The letters that are written go into
// the file, each with what it reads as.
type Font struct {
	n       int // among the document's
	name    string
	face    *sfnt.Font
	buf     sfnt.Buffer
	em      fixed.Int26_6
	tables  map[string][]byte
	used    map[sfnt.GlyphIndex]rune
	missing map[rune]bool
}

// Font takes a TrueType font into the document: one with outlines in glyf.
func (d *Document) Font(ttf []byte) (*Font, error) {
	face, err := sfnt.Parse(ttf)
	if err != nil {
		return nil, fmt.Errorf("the font can't be read: %w", err)
	}
	f := &Font{n: len(d.fonts), face: face, em: fixed.I(int(face.UnitsPerEm())), tables: map[string][]byte{},
		used: map[sfnt.GlyphIndex]rune{0: 0}, missing: map[rune]bool{}}
	if f.name, err = face.Name(&f.buf, sfnt.NameIDPostScript); err != nil {
		return nil, err
	}
	for i := range int(binary.BigEndian.Uint16(ttf[4:])) {
		e := ttf[12+16*i:]
		from, n := binary.BigEndian.Uint32(e[8:]), binary.BigEndian.Uint32(e[12:])
		f.tables[string(e[:4])] = ttf[from : from+n]
	}
	if f.tables["glyf"] == nil || f.tables["loca"] == nil {
		return nil, errors.New("the font has no TrueType outlines")
	}
	d.fonts = append(d.fonts, f)
	return f, nil
}

// glyphs are those of a text, composed, in its order.
func (f *Font) glyphs(text string) []sfnt.GlyphIndex {
	var list []sfnt.GlyphIndex
	for _, r := range norm.NFC.String(text) {
		g, err := f.face.GlyphIndex(&f.buf, r)
		if err != nil || g == 0 {
			f.missing[r] = true
		} else if _, ok := f.used[g]; !ok {
			f.used[g] = r
		}
		list = append(list, g)
	}
	return list
}

// Missing are the letters written so far that the font hasn't; the page has
// room for each, or a box.
func (f *Font) Missing() string { return string(slices.Sorted(maps.Keys(f.missing))) }

// advance is a glyph's width in thousandths of the size.
func (f *Font) advance(g sfnt.GlyphIndex) float64 {
	a, err := f.face.GlyphAdvance(&f.buf, g, f.em, font.HintingNone)
	if err != nil {
		return 0
	}
	return float64(a) * 1000 / float64(f.em)
}

// Width is how long a line is, in points.
func (f *Font) Width(size float64, text string) float64 {
	w := 0.0
	for _, g := range f.glyphs(text) {
		w += f.advance(g)
	}
	return w * size / 1000
}

// Wrap breaks a text between words into lines of a width; a longer word is
// broken where it has to be.
func (f *Font) Wrap(size, width float64, text string) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && f.Width(size, line+" "+word) > width {
			lines, line = append(lines, line), ""
		}
		if line != "" {
			line += " "
		}
		for _, r := range word {
			if line != "" && f.Width(size, line+string(r)) > width {
				lines, line = append(lines, line), ""
			}
			line += string(r)
		}
	}
	return append(lines, line)
}

// write writes the font: a composite one whose codes are glyphs (ISO 32000-1,
// 9.7), with widths, what the codes read as, and the outlines that are used.
func (f *Font) write(o *out) int {
	top, below, about, file, reads := o.number(), o.number(), o.number(), o.number(), o.number()
	name := "PLATEM+" + f.name
	all := slices.Sorted(maps.Keys(f.used))
	var widths, pairs strings.Builder
	for _, g := range all {
		fmt.Fprintf(&widths, "%d [%s] ", g, num(f.advance(g)))
	}
	for part := range slices.Chunk(all[1:], 100) { // at most 100 in a block
		fmt.Fprintf(&pairs, "%d beginbfchar\n", len(part))
		for _, g := range part {
			fmt.Fprintf(&pairs, "<%04X> %s\n", uint16(g), strings.Replace(text(string(f.used[g])), "FEFF", "", 1))
		}
		pairs.WriteString("endbfchar\n")
	}
	o.object(top, "<< /Type /Font /Subtype /Type0 /BaseFont /%s /Encoding /Identity-H /DescendantFonts [%d 0 R] /ToUnicode %d 0 R >>", name, below, reads)
	o.object(below, "<< /Type /Font /Subtype /CIDFontType2 /BaseFont /%s /CIDSystemInfo << /Registry (Adobe) /Ordering (Identity) /Supplement 0 >> /FontDescriptor %d 0 R /CIDToGIDMap /Identity /DW 1000 /W [%s] >>", name, about, widths.String())
	// Bounds, heights and slope as the font's own tables have them; StemV, which
	// no table has, is 80: common practice, no source.
	at := func(table string, i int) float64 {
		return float64(int16(binary.BigEndian.Uint16(f.tables[table][i:]))) * 1000 / float64(f.face.UnitsPerEm())
	}
	flags := 4 // symbolic: codes are glyphs
	if f.face.PostTable().ItalicAngle != 0 {
		flags |= 64
	}
	o.object(about, "<< /Type /FontDescriptor /FontName /%s /Flags %d /FontBBox [%s %s %s %s] /ItalicAngle %s /Ascent %s /Descent %s /CapHeight %s /StemV 80 /FontFile2 %d 0 R >>",
		name, flags, num(at("head", 36)), num(at("head", 38)), num(at("head", 40)), num(at("head", 42)), num(f.face.PostTable().ItalicAngle),
		num(at("hhea", 4)), num(at("hhea", 6)), num(at("hhea", 4)), file)
	part := f.subset()
	o.stream(file, fmt.Sprintf("/Length1 %d", len(part)), false, bytesOf(part))
	o.stream(reads, "", false, func(w io.Writer) error {
		_, err := fmt.Fprintf(w, "/CIDInit /ProcSet findresource begin\n12 dict begin\nbegincmap\n/CIDSystemInfo << /Registry (Adobe) /Ordering (UCS) /Supplement 0 >> def\n/CMapName /Adobe-Identity-UCS def\n/CMapType 2 def\n1 begincodespacerange\n<0000> <FFFF>\nendcodespacerange\n%sendcmap\nCMapName currentdict /CMap defineresource pop\nend\nend\n", pairs.String())
		return err
	})
	return top
}

// subset is the font with the outlines of the used glyphs only, under their old
// numbers (OpenType 1.9: loca, glyf, head).
func (f *Font) subset() []byte {
	be := binary.BigEndian
	loca, glyf, head := f.tables["loca"], f.tables["glyf"], slices.Clone(f.tables["head"])
	glyph := func(i int) []byte {
		if be.Uint16(head[50:]) == 0 {
			return glyf[2*int(be.Uint16(loca[2*i:])) : 2*int(be.Uint16(loca[2*i+2:]))]
		}
		return glyf[be.Uint32(loca[4*i:]):be.Uint32(loca[4*i+4:])]
	}
	keep := map[int]bool{}
	var take func(i int)
	take = func(i int) {
		if keep[i] {
			return
		}
		keep[i] = true
		for _, part := range components(glyph(i)) {
			take(part)
		}
	}
	for g := range f.used {
		take(int(g))
	}
	var outlines, places []byte
	for i := range f.face.NumGlyphs() {
		places = be.AppendUint32(places, uint32(len(outlines)))
		if keep[i] {
			outlines = append(outlines, glyph(i)...)
			outlines = append(outlines, make([]byte, -len(outlines)&3)...)
		}
	}
	places = be.AppendUint32(places, uint32(len(outlines)))
	be.PutUint16(head[50:], 1) // places have 32 bits now
	be.PutUint32(head[8:], 0)
	tables := map[string][]byte{"glyf": outlines, "loca": places, "head": head}
	for _, name := range []string{"hhea", "hmtx", "maxp", "cvt ", "fpgm", "prep"} {
		if t := f.tables[name]; t != nil {
			tables[name] = t
		}
	}
	return fontFile(tables)
}

// components are the glyphs that a composite glyph is made of.
func components(glyph []byte) (list []int) {
	be := binary.BigEndian
	if len(glyph) == 0 || int16(be.Uint16(glyph)) >= 0 {
		return nil
	}
	for at := 10; ; {
		flags := be.Uint16(glyph[at:])
		list = append(list, int(be.Uint16(glyph[at+2:])))
		at += 6
		if flags&1 != 0 { // arguments are words
			at += 2
		}
		switch {
		case flags&8 != 0: // a scale
			at += 2
		case flags&0x40 != 0: // two
			at += 4
		case flags&0x80 != 0: // a matrix
			at += 8
		}
		if flags&0x20 == 0 { // no more
			return list
		}
	}
}

// fontFile puts tables together to a font.
func fontFile(tables map[string][]byte) []byte {
	be := binary.BigEndian
	names := slices.Sorted(maps.Keys(tables))
	log := 0
	for 2<<log <= len(names) {
		log++
	}
	b := be.AppendUint32(nil, 0x00010000)
	b = be.AppendUint16(b, uint16(len(names)))
	b = be.AppendUint16(b, 16<<log)
	b = be.AppendUint16(b, uint16(log))
	b = be.AppendUint16(b, uint16(16*len(names)-16<<log))
	at := 12 + 16*len(names)
	var body []byte
	for _, name := range names {
		t := tables[name]
		padded := append(slices.Clone(t), make([]byte, -len(t)&3)...)
		sum := uint32(0)
		for i := 0; i < len(padded); i += 4 {
			sum += be.Uint32(padded[i:])
		}
		b = append(b, name...)
		b = be.AppendUint32(b, sum)
		b = be.AppendUint32(b, uint32(at+len(body)))
		b = be.AppendUint32(b, uint32(len(t)))
		body = append(body, padded...)
	}
	return append(b, body...)
}
