package jpeg

import (
	"encoding/binary"

	"platemark/ops/codec/meta"
)

// Names that open application segments: ITU-T T.871 10.1 (JFIF), CIPA DC-008
// 4.7.2 (Exif), ISO 16684-3 (XMP), ICC.1 Annex B.4 (profile).
const (
	jfifName = "JFIF\x00"
	exifName = "Exif\x00\x00"
	xmpName  = "http://ns.adobe.com/xap/1.0/\x00"
	iccName  = "ICC_PROFILE\x00"
)

// Header is everything before the entropy coded data: SOI, JFIF, Exif, XMP
// (where there is a title or rights), the profile's segments, quantisation
// tables, frame, Huffman tables, restart interval and scan header.
func (e *Encoder) Header() []byte {
	o := &e.o
	b := []byte{0xff, 0xd8}
	unit, density := byte(0), 1
	if e.density > 0 {
		unit, density = 1, e.density
	}
	b = segment(b, 0xe0, []byte(jfifName), []byte{1, 2, unit,
		byte(density >> 8), byte(density), byte(density >> 8), byte(density), 0, 0})
	b = segment(b, 0xe1, []byte(exifName), meta.Exif(o.PPI, o.Title, o.Rights))
	if x := meta.XMP(o.Title, o.Rights); x != nil {
		b = segment(b, 0xe1, []byte(xmpName), x)
	}
	n := (len(o.ICC) + iccPerSegment - 1) / iccPerSegment
	for i := range n {
		part := o.ICC[i*iccPerSegment : min((i+1)*iccPerSegment, len(o.ICC))]
		b = segment(b, 0xe2, []byte(iccName), []byte{byte(i + 1), byte(n)}, part)
	}
	kinds := 2 // luminance alone, or with chrominance
	if o.C == 1 {
		kinds = 1
	}
	for k := range kinds {
		q := make([]byte, 64)
		for z, at := range zigzag {
			q[z] = e.quant[k][at]
		}
		b = segment(b, 0xdb, []byte{byte(k)}, q)
	}
	frame := []byte{8, byte(o.H >> 8), byte(o.H), byte(o.W >> 8), byte(o.W), byte(o.C)}
	scan := []byte{byte(o.C)}
	for c := range o.C {
		kind, sampling := byte(min(c, 1)), byte(0x11)
		if c == 0 && e.half() {
			sampling = 0x22
		}
		frame = append(frame, byte(c+1), sampling, kind)
		scan = append(scan, byte(c+1), kind<<4|kind)
	}
	b = segment(b, 0xc0, frame)
	for k := range kinds {
		b = segment(b, 0xc4, []byte{byte(k)}, huffmanDC[k].counts[:], huffmanDC[k].values)
		b = segment(b, 0xc4, []byte{byte(k) | 0x10}, huffmanAC[k].counts[:], huffmanAC[k].values)
	}
	perRow := e.perRow()
	b = segment(b, 0xdd, []byte{byte(perRow >> 8), byte(perRow)})
	return segment(b, 0xda, append(scan, 0, 63, 0))
}

// Trailer is what follows the last row of blocks: EOI.
func (e *Encoder) Trailer() []byte { return []byte{0xff, 0xd9} }

// perRow is the number of minimum coded units in a row of blocks.
func (e *Encoder) perRow() int {
	w := 8
	if e.half() {
		w = 16
	}
	return (e.o.W + w - 1) / w
}

func segment(b []byte, marker byte, parts ...[]byte) []byte {
	n := 2
	for _, p := range parts {
		n += len(p)
	}
	b = append(b, 0xff, marker)
	b = binary.BigEndian.AppendUint16(b, uint16(n))
	for _, p := range parts {
		b = append(b, p...)
	}
	return b
}
