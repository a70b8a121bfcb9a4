package colour

import (
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf16"
)

const (
	// maxProfile is the largest profile that a JPEG can carry, in bytes:
	// 255 segments of 65519.
	maxProfile = 255 * 65519
	maxTags    = 256
)

// Parse reads an ICC profile, version 2 or 4 (ICC.1:2001-04, ICC.1:2010), of
// class display, input, output or colour space: RGB described by three
// colorants and three curves, grey described by one curve, or RGB, grey and
// CMYK described by tables (A2B0 to A2B2, B2A0 to B2A2) from or to XYZ or Lab.
// Floating-point tables (D2B, B2D) are left aside, as the standard allows.
// Anything else is an error that names the reason. The profile keeps its own
// copy of icc.
//
// Before it is accepted, white, mid grey and black go through it, and back
// where it has both ways: white must come back as white and the three must
// stay in order.
//
// Every offset and count is checked against the file; a damaged or hostile
// file costs no more memory than three times its own size.
func Parse(icc []byte) (*Profile, error) {
	tags, note, err := readTags(icc)
	if err != nil {
		return nil, fmt.Errorf("profile refused: %w", err)
	}
	p := &Profile{data: append([]byte(nil), icc...), digest: sha256.Sum256(icc), note: note}
	if err := p.read(icc, tags); err != nil {
		return nil, fmt.Errorf("profile refused: %w", err)
	}
	return p, nil
}

// tagTable gives each tag's data by its signature.
type tagTable map[string][]byte

// readTags reads the table of tags. note is what is wrong with it but does no
// harm.
func readTags(icc []byte) (tags tagTable, note string, err error) {
	switch {
	case len(icc) < 132:
		return nil, "", fmt.Errorf("it has %d bytes, too few for an ICC profile; the file is cut short or is no profile", len(icc))
	case len(icc) > maxProfile:
		return nil, "", fmt.Errorf("it has %d bytes, more than the %d that a print file can carry", len(icc), maxProfile)
	case string(icc[36:40]) != "acsp":
		return nil, "", fmt.Errorf("it lacks the ICC signature at byte 36; the file is damaged or is no profile")
	}
	size := binary.BigEndian.Uint32(icc)
	if uint64(size) > uint64(len(icc)) {
		return nil, "", fmt.Errorf("its header says %d bytes but the file has %d; it is cut short", size, len(icc))
	}
	if rest := icc[size:]; len(rest) > 3 || strings.Trim(string(rest), "\x00") != "" {
		return nil, "", fmt.Errorf("its header says %d bytes but the file has %d; the rest means nothing", size, len(icc))
	}
	if v := icc[8]; v != 2 && v != 4 {
		return nil, "", fmt.Errorf("it is of ICC version %d; versions 2 and 4 are read", v)
	}
	n := binary.BigEndian.Uint32(icc[128:])
	if n > maxTags {
		return nil, "", fmt.Errorf("it claims %d tags, more than the %d allowed", n, maxTags)
	}
	end := 132 + 12*uint64(n)
	if end > uint64(size) {
		return nil, "", fmt.Errorf("its table of %d tags runs past its end", n)
	}
	type place struct {
		off, size uint64
		sig       string
	}
	tags = tagTable{}
	places := make([]place, 0, n)
	for i := range int(n) {
		e := icc[132+12*i:]
		sig := string(e[:4])
		q := place{uint64(binary.BigEndian.Uint32(e[4:])), uint64(binary.BigEndian.Uint32(e[8:])), sig}
		if q.off < end || q.off+q.size > uint64(size) {
			return nil, "", fmt.Errorf("its tag %s claims bytes %d to %d, outside the profile's data (%d to %d)", show(sig), q.off, q.off+q.size, end, size)
		}
		if _, twice := tags[sig]; twice {
			return nil, "", fmt.Errorf("it has the tag %s twice", show(sig))
		}
		tags[sig] = icc[q.off : q.off+q.size]
		places = append(places, q)
	}
	// Tags may share data, but then all of it. Texts say nothing of colours.
	slices.SortFunc(places, func(a, b place) int { return cmp.Or(cmp.Compare(a.off, b.off), cmp.Compare(a.size, b.size)) })
	for i := 1; i < len(places); i++ {
		a, b := places[i-1], places[i]
		if a.off == b.off && a.size == b.size || b.off >= a.off+a.size {
			continue
		}
		if !isText(tags[a.sig]) || !isText(tags[b.sig]) {
			return nil, "", fmt.Errorf("two of its tags overlap in part, at byte %d; it is damaged", b.off)
		}
		note = fmt.Sprintf("two of the profile's texts overlap (tags %s and %s), which no profile should have; its colours aren't touched", show(a.sig), show(b.sig))
		if a.off+a.size > b.off+b.size {
			places[i] = a // what reaches further may overlap the next one too
		}
	}
	return tags, note, nil
}

// isText says that a tag's data is a text of any kind.
func isText(d []byte) bool {
	return len(d) >= 4 && slices.Contains([]string{"text", "desc", "mluc"}, string(d[:4]))
}

// Classes and device spaces that are read, and names of others.
var (
	readClasses  = []string{"mntr", "scnr", "prtr", "spac"}
	otherClasses = map[string]string{"link": "a device link", "abst": "an abstract profile", "nmcl": "a named-colour profile"}
	channelsOf   = map[string]int{"RGB ": 3, "GRAY": 1, "CMYK": 4}
	otherSpaces  = map[string]string{
		"Lab ": "Lab", "XYZ ": "XYZ", "YCbr": "YCbCr", "HSV ": "HSV", "HLS ": "HLS", "CMY ": "CMY", "Luv ": "Luv", "Yxy ": "Yxy",
	}
)

func (p *Profile) read(icc []byte, tags tagTable) error {
	class, space, pcs := string(icc[12:16]), string(icc[16:20]), string(icc[20:24])
	if !slices.Contains(readClasses, class) {
		if n, ok := otherClasses[class]; ok {
			return fmt.Errorf("it is %s; profiles of displays, inputs, outputs and colour spaces are read", n)
		}
		return fmt.Errorf("its class %s is unknown", show(class))
	}
	if p.channels = channelsOf[space]; p.channels == 0 {
		if n, ok := otherSpaces[space]; ok {
			return fmt.Errorf("it describes %s; RGB, grey and CMYK are read", n)
		}
		return fmt.Errorf("it describes the colour space %s; RGB, grey and CMYK are read", show(space))
	}
	p.class, p.version = class, int(icc[8])
	p.description = description(tags["desc"])
	p.readWhite(tags)
	if hasTables(tags) {
		return p.readLUTs(tags, pcs)
	}
	if space == "CMYK" {
		return fmt.Errorf("it describes CMYK but has no table from inks to colours (tag A2B0)")
	}
	if pcs != "XYZ " {
		return fmt.Errorf("its connection space is %s; profiles of colorants and curves connect by XYZ", show(pcs))
	}
	return p.readShape(tags)
}

// readShape reads colorants and curves.
func (p *Profile) readShape(tags tagTable) error {
	read := p.readRGB
	if p.channels == 1 {
		read = p.readGrey
	}
	if err := read(tags); err != nil {
		return err
	}
	p.shaped = true
	p.setLuma()
	return nil
}

func (p *Profile) readGrey(tags tagTable) error {
	c, err := readCurve(tags, "kTRC", "grey")
	if err != nil {
		return err
	}
	if w := c.eval(steps).Hi; w < 1-whiteTolerance {
		return fmt.Errorf("its white gives only %.3f of the light; such a profile can't bring white back", w)
	}
	p.tones = []*Tone{newTone(c)}
	return nil
}

var channelNames = [3]string{"red", "green", "blue"}

func (p *Profile) readRGB(tags tagTable) error {
	curves := make([]curve, 3)
	for i, l := range [3]string{"r", "g", "b"} {
		xyz, err := readXYZ(tags, l+"XYZ", channelNames[i])
		if err != nil {
			return err
		}
		p.colorant[i] = xyz
		if curves[i], err = readCurve(tags, l+"TRC", channelNames[i]); err != nil {
			return err
		}
		if k := slices.Index(curves, curves[i]); k < i {
			p.tones = append(p.tones, p.tones[k])
		} else {
			p.tones = append(p.tones, newTone(curves[i]))
		}
	}
	return p.checkMatrix(curves)
}

// whiteTolerance is how far white may lie from the connection space's, in X, Y
// and Z.
const whiteTolerance = 0.05

// checkMatrix sends white, mid grey and black to XYZ, and asks that the way
// back exists.
func (p *Profile) checkMatrix(curves []curve) error {
	m := p.matrix()
	det, _ := m.det().Float64()
	if det < 0 {
		det = -det
	}
	if det < 1.0/1024 {
		return fmt.Errorf("its colorants lie (nearly) in one plane (determinant %.2g), so that colours can't be told apart on the way back", det)
	}
	var y [3]float64
	for k, j := range [3]int{0, 65535, steps} {
		var xyz [3]float64
		for i := range curves {
			v := curves[i].eval(j).Hi
			for r := range xyz {
				xyz[r] += float64(v * float64(p.colorant[i][r]) / 65536)
			}
		}
		y[k] = xyz[1]
		if j != steps {
			continue
		}
		for r, w := range D50 {
			if d := xyz[r] - float64(float64(w)/65536); d > whiteTolerance || d < -whiteTolerance {
				return fmt.Errorf("its white is X %.4f Y %.4f Z %.4f, too far from the 0.9642 1 0.8249 that colorants have to add up to", xyz[0], xyz[1], xyz[2])
			}
		}
	}
	if !(y[0] < y[1] && y[1] < y[2]) || y[0] > 0.25 {
		return fmt.Errorf("it doesn't keep black, mid grey and white apart (luminance %.3g, %.3g, %.3g)", y[0], y[1], y[2])
	}
	return nil
}

func readXYZ(tags tagTable, sig, channel string) (v [3]int32, err error) {
	d, ok := tags[sig]
	if !ok {
		return v, fmt.Errorf("it has no %s colorant (tag %s)", channel, sig)
	}
	if len(d) < 20 || string(d[:4]) != "XYZ " {
		return v, fmt.Errorf("its %s colorant (tag %s) isn't an XYZ number", channel, sig)
	}
	for r := range v {
		v[r] = fixedAt(d[8:], r)
	}
	return v, nil
}

// fixedAt is the i-th of the numbers of 65536ths at the head of d.
func fixedAt(d []byte, i int) int32 { return int32(binary.BigEndian.Uint32(d[4*i:])) }

func readCurve(tags tagTable, sig, channel string) (curve, error) {
	d, ok := tags[sig]
	if !ok {
		return curve{}, fmt.Errorf("it has no %s curve (tag %s)", channel, sig)
	}
	c, err := parseCurve(d)
	if err == nil {
		err = c.check()
	}
	if err != nil {
		return curve{}, fmt.Errorf("%s channel (tag %s): %w", channel, sig, err)
	}
	return c, nil
}

// paraCount is the number of parameters of each parametric type
// (ICC.1:2010, table 65).
var paraCount = [5]int{1, 3, 4, 5, 7}

func parseCurve(d []byte) (curve, error) {
	if len(d) < 12 {
		return curve{}, fmt.Errorf("its curve has %d bytes, too few", len(d))
	}
	switch kind := string(d[:4]); kind {
	case "curv":
		n := binary.BigEndian.Uint32(d[8:])
		if uint64(n)*2 > uint64(len(d)-12) {
			return curve{}, fmt.Errorf("its curve claims %d entries but has room for %d", n, (len(d)-12)/2)
		}
		switch n {
		case 0:
			return gammaCurve(one), nil
		case 1:
			return gammaCurve(int64(binary.BigEndian.Uint16(d[12:])) << 8), nil
		}
		return curve{table: string(d[12 : 12+2*n])}, nil
	case "para":
		t := binary.BigEndian.Uint16(d[8:])
		if int(t) >= len(paraCount) {
			return curve{}, fmt.Errorf("its curve is of the parametric type %d; 0 to 4 exist", t)
		}
		n := paraCount[t]
		if len(d) < 12+4*n {
			return curve{}, fmt.Errorf("its parametric curve is cut short")
		}
		var v [7]int64
		for i := range n {
			v[i] = int64(fixedAt(d[12:], i))
		}
		switch t {
		case 0:
			return gammaCurve(v[0]), nil
		case 1:
			return curve{g: v[0], a: v[1], b: v[2], clip: true}, nil
		case 2:
			return curve{g: v[0], a: v[1], b: v[2], e: v[3], f: v[3], clip: true}, nil
		}
		return curve{g: v[0], a: v[1], b: v[2], c: v[3], d: v[4], e: v[5], f: v[6]}, nil
	default:
		return curve{}, fmt.Errorf("its curve is of the kind %s; curv and para are read", show(kind))
	}
}

// description reads the name in a v2 text description or in the English (else
// the first) text of a v4 list; "" where there is none or it is damaged.
func description(d []byte) string {
	if len(d) < 12 {
		return ""
	}
	n := uint64(binary.BigEndian.Uint32(d[8:]))
	switch string(d[:4]) {
	case "desc":
		if n > uint64(len(d)-12) {
			return ""
		}
		s, _, _ := strings.Cut(string(d[12:12+n]), "\x00")
		return printable([]rune(s))
	case "mluc":
		if len(d) < 16 || binary.BigEndian.Uint32(d[12:]) != 12 || n > uint64(len(d)-16)/12 {
			return ""
		}
		best := ""
		for i := range int(n) {
			r := d[16+12*i:]
			size, off := uint64(binary.BigEndian.Uint32(r[4:])), uint64(binary.BigEndian.Uint32(r[8:]))
			if off+size > uint64(len(d)) {
				continue
			}
			size = min(size, 1000)
			u := make([]uint16, size/2)
			for k := range u {
				u[k] = binary.BigEndian.Uint16(d[off+2*uint64(k):])
			}
			s := printable(utf16.Decode(u))
			if string(r[:2]) == "en" {
				return s
			}
			if best == "" {
				best = s
			}
		}
		return best
	}
	return ""
}

// printable keeps what can be shown on one line, at most 200 characters.
func printable(in []rune) string {
	var out []rune
	for _, r := range in {
		if r == 0 || len(out) == 200 {
			break
		}
		if unicode.IsPrint(r) && r != unicode.ReplacementChar {
			out = append(out, r)
		}
	}
	return strings.TrimSpace(string(out))
}

// show prints a four-letter signature, which may be anything.
func show(sig string) string { return fmt.Sprintf("%q", sig) }
