package jpegin

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"slices"

	"platemark/ops/codec"
	"platemark/ops/codec/exif"
)

var be = binary.BigEndian

// forwards reads a file from its beginning.
type forwards struct {
	r  *bufio.Reader
	at int64 // where the next byte stands
}

func (f *forwards) byte() (byte, error) {
	c, err := f.r.ReadByte()
	if err == nil {
		f.at++
	}
	return c, err
}

func (f *forwards) read(p []byte) error {
	n, err := io.ReadFull(f.r, p)
	f.at += int64(n)
	return err
}

// head is a file being read.
type head struct {
	r    forwards
	size int64
	info Info

	jfif, exif, xmp   []byte
	hasAdobe          bool
	parts             [256][]byte // the profile's segments by number
	partsOf           int         // their number as the first one says, 0 where there is none
	twice             bool        // a segment of the profile stands twice
	exifs             int         // Exif segments
	multi, moreBehind bool        // further pictures
	end               int64       // where the picture ends

	channels []channel // of the frame
	tables   [4]bool   // the quantisation tables that stand so far
	restart  bool      // restart markers stand in the scans to come
}

type channel struct{ id, across, down, table byte }

// ended says in an error where the file ended.
func (h *head) ended(err error, what string) error {
	var e *codec.Error
	switch {
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return codec.Errorf("size", mendDamaged, "the file ends at byte %d, in %s", h.size, what)
	case errors.As(err, &e):
		return err
	}
	return fmt.Errorf("reading the JPEG file: %w", err)
}

// walk reads all segments and passes over the scans.
func (h *head) walk() error {
	var b [2]byte
	if err := h.r.read(b[:]); err != nil {
		return h.ended(err, "its first bytes")
	}
	if b != [2]byte{0xff, 0xd8} {
		return codec.Errorf("signature", "", "not a JPEG file (it begins with the bytes % X)", b)
	}
	buf := make([]byte, 65533)
	marker, err := h.marker()
	for n := 0; ; n++ {
		if err != nil {
			return h.ended(err, "the picture")
		}
		if n == maxSegments {
			return codec.Errorf("segment", mendDamaged, "the file has more than %d segments", maxSegments)
		}
		if marker == 0xd9 { // EOI
			h.end = h.r.at
			break
		}
		if marker == 0xd8 || marker == 0x01 || marker >= 0xd0 && marker <= 0xd7 || marker == 0 {
			return codec.Errorf("marker", mendDamaged, "the marker %02X stands at byte %d, where none may", marker, h.r.at-2)
		}
		at := h.r.at - 2
		if err := h.r.read(b[:]); err != nil {
			return h.ended(err, fmt.Sprintf("the segment %02X at byte %d", marker, at))
		}
		size := int(be.Uint16(b[:]))
		if size < 2 {
			return codec.Errorf("segment", mendDamaged, "the segment %02X at byte %d claims %d bytes; it has 2 at least", marker, at, size)
		}
		body := buf[:size-2]
		if err := h.r.read(body); err != nil {
			return h.ended(err, fmt.Sprintf("the segment %02X at byte %d, which claims %d bytes", marker, at, size))
		}
		if err := h.segment(marker, body); err != nil {
			return err
		}
		if marker == 0xda { // SOS
			if h.info.Scans++; h.info.Scans > maxScans {
				return codec.Errorf("SOS", mendDamaged, "the picture has more than %d scans", maxScans)
			}
			marker, err = h.scan()
			continue
		}
		marker, err = h.marker()
	}
	// Further pictures may follow the first one.
	if b[0], err = h.r.byte(); err == nil {
		h.moreBehind = true
	} else if err != io.EOF {
		return h.ended(err, "")
	}
	return nil
}

// marker reads the next marker; fill bytes FF may stand before it.
func (h *head) marker() (byte, error) {
	at := h.r.at
	c, err := h.r.byte()
	if err != nil {
		return 0, err
	}
	if c != 0xff {
		return 0, codec.Errorf("marker", mendDamaged, "at byte %d a segment should begin with FF, but there stands %02X", at, c)
	}
	for c == 0xff && err == nil {
		c, err = h.r.byte()
	}
	return c, err
}

// scan passes over compressed data to the marker behind them.
func (h *head) scan() (byte, error) {
	for {
		c, err := h.r.byte()
		if err != nil {
			return 0, err
		}
		if c != 0xff {
			continue
		}
		for c == 0xff && err == nil {
			c, err = h.r.byte()
		}
		if err != nil || c != 0 && (c < 0xd0 || c > 0xd7) {
			return c, err
		}
	}
}

var kindsOfFrame = map[byte]string{
	0xc0: baseline, 0xc1: extended, 0xc2: progressive, 0xc3: lossless, 0xc5: layered, 0xc6: layered, 0xc7: layered,
	0xc9: arithmetic, 0xca: arithmetic, 0xcb: arithmetic, 0xcd: layered, 0xce: layered, 0xcf: layered,
}

func starts(b []byte, with string) bool { return len(b) >= len(with) && string(b[:len(with)]) == with }

func (h *head) segment(marker byte, b []byte) error {
	early := h.info.Scans == 0 // what describes the picture stands before its data
	switch {
	case kindsOfFrame[marker] != "":
		return h.frame(kindsOfFrame[marker], b)
	case marker == 0xda:
		return h.scanHead(b)
	case marker == 0xdb:
		return h.quantisation(b)
	case marker == 0xdd && len(b) >= 2:
		h.restart = be.Uint16(b) != 0
	case !early:
	case marker == 0xe0 && starts(b, "JFIF\x00") && h.jfif == nil:
		h.jfif = append([]byte{}, b...)
	case marker == 0xe1 && starts(b, "Exif\x00"):
		if h.exifs++; h.exifs == 1 && len(b) >= 6 {
			h.exif = append([]byte{}, b[6:]...)
		}
	case marker == 0xe1 && starts(b, xmpMark) && h.xmp == nil:
		h.xmp = append([]byte{}, b[len(xmpMark):]...)
	case marker == 0xe2 && starts(b, "MPF\x00"):
		h.multi = true
	case marker == 0xe2 && starts(b, iccMark):
		return h.profilePart(b[len(iccMark):])
	case marker == 0xee && starts(b, "Adobe") && len(b) >= 12:
		t := int(b[11])
		if h.hasAdobe && t != h.info.Adobe {
			return codec.Errorf("APP14", mendExport, "the segment APP14 stands twice, with transform %d and %d", h.info.Adobe, t)
		}
		h.hasAdobe, h.info.Adobe = true, t
	}
	return nil
}

const (
	iccMark = "ICC_PROFILE\x00"
	xmpMark = "http://ns.adobe.com/xap/1.0/\x00"
)

// frame reads the frame's header (T.81 B.2.2).
func (h *head) frame(kind string, b []byte) error {
	in := &h.info
	if in.W != 0 {
		return codec.Errorf("SOF", mendDamaged, "the picture's size is said twice")
	}
	if len(b) < 6 || len(b) != 6+3*int(b[5]) {
		return codec.Errorf("SOF", mendDamaged, "the frame's header has %d bytes, which don't fit its channels", len(b))
	}
	in.Kind, in.Bits, in.H, in.W, in.Channels = kind, int(b[0]), int(be.Uint16(b[1:])), int(be.Uint16(b[3:])), int(b[5])
	if in.W == 0 || in.H == 0 {
		return codec.Errorf("SOF", mendDamaged, "the picture is %d x %d pixels", in.W, in.H)
	}
	pixels := int64(in.W) * int64(in.H)
	if pixels > maxPixels {
		return codec.Errorf("SOF", mendExport, "the picture claims %d x %d pixels; up to %d in all are read", in.W, in.H, maxPixels)
	}
	// Each 8 x 8 block of the first channel takes a bit at least.
	if blocks := pixels / 64; kind != lossless && kind != arithmetic && blocks > 8*h.size {
		return codec.Errorf("SOF", mendDamaged, "the picture claims %d x %d pixels; the file has %d bytes, too few to hold them", in.W, in.H, h.size)
	}
	for c := b[6:]; len(c) > 0; c = c[3:] {
		h.channels = append(h.channels, channel{c[0], c[1] >> 4, c[1] & 15, c[2]})
	}
	if in.Channels == 3 {
		f := [3]byte{b[7], b[10], b[13]}
		in.Sampling = "other"
		if f[1] == f[2] && f[1] == 0x11 {
			in.Sampling = map[byte]string{0x11: "full", 0x22: "half", 0x21: "half across", 0x12: "half down"}[f[0]]
			if in.Sampling == "" {
				in.Sampling = "other"
			}
		} else if f[0] == f[1] && f[1] == f[2] {
			in.Sampling = "full"
		}
	}
	return nil
}

// quantisation takes quantisation tables (T.81 B.2.4.1).
func (h *head) quantisation(b []byte) error {
	for len(b) > 0 {
		n, id := 1+64*(1+int(b[0]>>4)), b[0]&15
		if len(b) < n || b[0]>>4 > 1 || id > 3 {
			return codec.Errorf("DQT", mendDamaged, "the quantisation tables are cut short or of an unknown kind")
		}
		h.tables[id] = true
		b = b[n:]
	}
	return nil
}

// scanHead reads the head of a scan (T.81 B.2.3): each of its channels needs
// its quantisation table by now.
func (h *head) scanHead(b []byte) error {
	if h.info.W == 0 {
		return codec.Errorf("SOS", mendDamaged, "the picture's data begin before its size is said")
	}
	if len(b) < 1 || len(b) != 4+2*int(b[0]) {
		return codec.Errorf("SOS", mendDamaged, "the head of a scan has %d bytes, which don't fit its channels", len(b))
	}
	for i := range int(b[0]) {
		at := slices.IndexFunc(h.channels, func(c channel) bool { return c.id == b[1+2*i] })
		if at < 0 {
			return codec.Errorf("SOS", mendDamaged, "a scan is of the channel %d, which the picture hasn't", b[1+2*i])
		}
		c := h.channels[at]
		if h.info.Kind != lossless && (c.table > 3 || !h.tables[c.table]) {
			h.info.NoTable = true
		}
		if h.restart && b[0] == 1 && len(h.channels) > 1 && c.across*c.down > 1 {
			h.info.LoneRestarts = true
		}
	}
	return nil
}

// finish puts together what the segments said.
func (h *head) finish() error {
	in := &h.info
	if in.W == 0 || in.Scans == 0 {
		return codec.Errorf("SOF", mendDamaged, "the file holds no picture")
	}
	if err := h.profile(); err != nil {
		return err
	}
	h.density()
	var x exif.Info
	if h.exif != nil {
		var err error
		if x, err = exif.Read(h.exif); err != nil {
			return codec.Errorf("Exif", mendExport, "the Exif block can't be read, so that it isn't known which way up the picture stands: %v", err)
		}
		in.Orientation, in.Space = x.Orientation, x.Space
		in.Title, in.Rights = x.Title, x.Rights
		in.Warnings = append(in.Warnings, x.Warnings...)
		if x.Preview {
			in.Others = append(in.Others, "a preview in Exif")
		}
		if h.exifs > 1 {
			h.info.Warn("the file has %d Exif blocks; the first one counts", h.exifs)
		}
		switch {
		case in.XPPI == nil:
			in.XPPI, in.YPPI = x.XPPI, x.YPPI
		case x.XPPI != nil && (x.XPPI.Cmp(in.XPPI) != 0 || x.YPPI.Cmp(in.YPPI) != 0):
			h.info.Warn("JFIF says %s pixels an inch and Exif says %s; JFIF counts", in.XPPI.FloatString(0), x.XPPI.FloatString(0))
		}
	}
	h.fromXMP()
	if h.multi || h.moreBehind {
		in.Others = append(in.Others, map[bool]string{true: "further pictures behind the first", false: "bytes behind the end of the picture"}[h.multi])
	}
	return nil
}
