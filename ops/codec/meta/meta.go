// Package meta builds the descriptive blocks that print files carry: an Exif
// block and an XMP packet with resolution, orientation, title and rights.
//
// What it promises: the bytes depend on the arguments alone and are fixed for
// good. No date, no name of a program, no identifier made at random.
//
// What it refuses: text that isn't UTF-8 or holds control characters (Check).
package meta

import (
	"encoding/binary"
	"fmt"
	"math/big"
	"strings"
	"unicode/utf8"

	"platemark/ops/codec/ifd"
	"platemark/ops/exact"
)

// Check says whether text can be written as it stands; what is the text's name
// for the message. Text must be valid UTF-8 without characters that XML 1.0
// can't hold (controls other than tab and line ends).
func Check(what, text string) error {
	if !utf8.ValidString(text) {
		return fmt.Errorf("%s isn't valid UTF-8; write it again in a UTF-8 text", what)
	}
	for _, r := range text {
		if !allowed(r) {
			return fmt.Errorf("%s holds the character U+%04X, which a print file's text can't hold; take it out", what, r)
		}
	}
	return nil
}

// allowed are the characters of XML 1.0 (production 2), less DEL and the C1
// controls, which it discourages.
func allowed(r rune) bool {
	switch {
	case r == '\t' || r == '\n' || r == '\r':
		return true
	case r < 0x20, 0x7f <= r && r < 0xa0, r == 0xfffe, r == 0xffff:
		return false
	}
	return true
}

// XMP is a packet (ISO 16684-1) with dc:title and dc:rights, each as one
// x-default language alternative, in UTF-8; nil where both are "". Characters
// that Check refuses become U+FFFD.
func XMP(title, rights string) []byte {
	if title == "" && rights == "" {
		return nil
	}
	var b strings.Builder
	b.WriteString("<?xpacket begin=\"\uFEFF\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>\n" +
		"<x:xmpmeta xmlns:x=\"adobe:ns:meta/\">\n" +
		"<rdf:RDF xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\">\n" +
		"<rdf:Description rdf:about=\"\" xmlns:dc=\"http://purl.org/dc/elements/1.1/\">\n")
	for _, p := range []struct{ name, text string }{{"title", title}, {"rights", rights}} {
		if p.text != "" {
			b.WriteString("<dc:" + p.name + "><rdf:Alt><rdf:li xml:lang=\"x-default\">" +
				escape(p.text) + "</rdf:li></rdf:Alt></dc:" + p.name + ">\n")
		}
	}
	b.WriteString("</rdf:Description>\n</rdf:RDF>\n</x:xmpmeta>\n<?xpacket end=\"r\"?>")
	return []byte(b.String())
}

// escape writes text as XML character data that reads back the same: line
// ends as references, or a reader would make them all alike.
func escape(text string) string {
	var b strings.Builder
	for _, r := range text { // an invalid byte comes as U+FFFD
		switch {
		case r == '&':
			b.WriteString("&amp;")
		case r == '<':
			b.WriteString("&lt;")
		case r == '>':
			b.WriteString("&gt;")
		case r == '\t' || r == '\n' || r == '\r':
			fmt.Fprintf(&b, "&#x%X;", r)
		case !allowed(r):
			b.WriteRune(utf8.RuneError)
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// Exif is the body of an Exif block: a big-endian TIFF header and one
// directory. Orientation is 1. With a resolution (not nil, above 0):
// X and YResolution as Rational writes it, unit inch. ImageDescription is the
// title and Copyright the rights, each only where it is not empty and printable
// ASCII, which is all that Exif allows there.
func Exif(ppi *big.Rat, title, rights string) []byte {
	w := &ifd.Writer{Order: binary.BigEndian}
	w.Text(ifd.ImageDescription, title)
	w.Shorts(ifd.Orientation, 1)
	if n, d, ok := Rational(ppi); ok {
		w.Resolution(n, d)
		w.Shorts(ifd.ResolutionUnit, 2)
	}
	w.Text(ifd.Copyright, rights)
	return w.Bytes()
}

// Rational is a resolution as two 32-bit numbers: exact where numerator and
// denominator of the reduced fraction fit, else rounded half up to the
// greatest power of ten as denominator, up to 10^6, at which the numerator
// fits. It is false for nil, for 0 and below, and for what rounds to 0 or to
// more than 32 bits.
func Rational(ppi *big.Rat) (n, d uint32, ok bool) {
	if ppi == nil || ppi.Sign() <= 0 {
		return 0, 0, false
	}
	if ppi.Num().BitLen() <= 32 && ppi.Denom().BitLen() <= 32 {
		return uint32(ppi.Num().Uint64()), uint32(ppi.Denom().Uint64()), true
	}
	for d := uint32(1000000); d > 0; d /= 10 {
		x := exact.HalfUp(new(big.Rat).Mul(ppi, new(big.Rat).SetInt64(int64(d))))
		if x.BitLen() <= 32 {
			return uint32(x.Uint64()), d, x.Sign() > 0
		}
	}
	return 0, 0, false
}
