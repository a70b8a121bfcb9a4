package jpegin

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"math/big"
	"strconv"
	"strings"

	"platemark/ops/codec"
)

// mendProfile is the mend for profiles that don't come together.
const mendProfile = "export the picture again with its profile; without a whole profile its colours aren't known"

// profilePart takes one segment of the profile: its number from 1, how many
// there are, and its bytes.
func (h *head) profilePart(b []byte) error {
	fail := func(format string, a ...any) error {
		return codec.Errorf("ICC_PROFILE", mendProfile, "the embedded profile is refused: "+format, a...)
	}
	if len(b) < 2 {
		return fail("a segment of it has no number")
	}
	n, of := int(b[0]), int(b[1])
	switch {
	case n == 0 || of == 0:
		return fail("a segment of it has the number %d of %d; numbers begin with 1", n, of)
	case n > of:
		return fail("a segment of it has the number %d of %d", n, of)
	case h.partsOf != 0 && of != h.partsOf:
		return fail("one segment says that it has %d of them, another that it has %d", h.partsOf, of)
	}
	h.partsOf = of
	if old := h.parts[n]; old != nil {
		if !bytes.Equal(old, b[2:]) {
			return fail("it has two different segments number %d", n)
		}
		h.twice = true
		return nil
	}
	h.parts[n] = append([]byte{}, b[2:]...)
	return nil
}

// profile puts the segments in order.
func (h *head) profile() error {
	if h.partsOf == 0 {
		return nil
	}
	var icc []byte
	for n := 1; n <= h.partsOf; n++ {
		if h.parts[n] == nil {
			return codec.Errorf("ICC_PROFILE", mendProfile, "the embedded profile is refused: its segment %d of %d is missing", n, h.partsOf)
		}
		icc = append(icc, h.parts[n]...)
	}
	if h.twice {
		h.info.Warn("a segment of the profile stands twice, with the same content")
	}
	if len(icc) == 0 {
		h.info.Warn("the embedded profile is empty; the picture is taken as untagged")
		return nil
	}
	h.info.ICC = icc
	return nil
}

// density reads JFIF's resolution: unit 1 an inch, 2 a centimetre, else none.
func (h *head) density() {
	if len(h.jfif) < 12 {
		return
	}
	unit, x, y := h.jfif[7], int64(be.Uint16(h.jfif[8:])), int64(be.Uint16(h.jfif[10:]))
	if unit != 1 && unit != 2 || x == 0 || y == 0 {
		return
	}
	scale := big.NewRat(1, 1)
	if unit == 2 {
		scale.SetFrac64(254, 100)
	}
	h.info.XPPI = new(big.Rat).Mul(big.NewRat(x, 1), scale)
	h.info.YPPI = new(big.Rat).Mul(big.NewRat(y, 1), scale)
}

// fromXMP takes title and rights, which count before Exif's as they aren't
// bound to ASCII, and looks whether another orientation is said.
func (h *head) fromXMP() {
	if h.xmp == nil {
		return
	}
	title, rights, turned, err := readXMP(h.xmp)
	if err != nil {
		h.info.Warn("the XMP packet can't be read; it isn't used")
		return
	}
	if title != "" {
		h.info.Title = title
	}
	if rights != "" {
		h.info.Rights = rights
	}
	if turned != 0 && turned != h.info.Orientation {
		h.info.Warn("XMP says orientation %d and Exif %d; Exif's counts", turned, h.info.Orientation)
	}
}

const (
	nsDC   = "http://purl.org/dc/elements/1.1/"
	nsTIFF = "http://ns.adobe.com/tiff/1.0/"
	nsRDF  = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
)

// readXMP reads the default title and rights, and the orientation as attribute
// or element, 0 where there is none.
func readXMP(b []byte) (title, rights string, turned int, err error) {
	d := xml.NewDecoder(bytes.NewReader(b))
	var path []xml.Name
	best := map[string]bool{} // found with the language x-default
	lang, text := "", ""
	for {
		t, err := d.Token()
		if err == io.EOF {
			return title, rights, turned, nil
		}
		if err != nil {
			return "", "", 0, err
		}
		switch t := t.(type) {
		case xml.StartElement:
			if len(path) == 64 {
				return "", "", 0, fmt.Errorf("it is nested too deep")
			}
			path = append(path, t.Name)
			text, lang = "", ""
			for _, a := range t.Attr {
				if a.Name.Space == nsTIFF && a.Name.Local == "Orientation" {
					turned, _ = strconv.Atoi(strings.TrimSpace(a.Value))
				}
				if a.Name.Local == "lang" {
					lang = a.Value
				}
			}
		case xml.CharData:
			text += string(t)
		case xml.EndElement:
			path = path[:len(path)-1]
			if t.Name.Space == nsTIFF && t.Name.Local == "Orientation" {
				turned, _ = strconv.Atoi(strings.TrimSpace(text))
			}
			if n := len(path); n >= 2 && t.Name == (xml.Name{Space: nsRDF, Local: "li"}) && path[n-2].Space == nsDC {
				name, s := path[n-2].Local, strings.TrimSpace(text)
				to := map[string]*string{"title": &title, "rights": &rights}[name]
				if to != nil && (*to == "" || lang == "x-default" && !best[name]) {
					*to, best[name] = s, lang == "x-default"
				}
			}
			text = ""
		}
	}
}
