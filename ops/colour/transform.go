package colour

import (
	"fmt"
	"math/big"

	"platemark/ops/exact"
)

// forward is the way from a device to the connection space.
type forward struct {
	lut   *lut         // nil: light and m
	light [3][]float64 // each code's light
	m     mixing
	grey  bool
}

// isLab says that at gives Lab; else it gives X, Y, Z as shares of white's.
func (f *forward) isLab() bool { return f.lut != nil && f.lut.pcs != pcsXYZ }

// newForward prepares p's way to the connection space.
//
// Colorants and curves: light by the curves, X, Y, Z by the colorants as
// shares of white's, in exact fractions rounded once. Where the colorants add
// up to D50 within 2^-12 a share is of their own sum, and equal light in all
// channels gives equal shares, exactly.
func newForward(p *Profile, intent Intent) (*forward, error) {
	l, err := p.table(true, intent)
	if err != nil {
		return nil, err
	}
	f := &forward{lut: l, grey: p.channels == 1}
	if l != nil {
		return f, nil
	}
	for i, t := range p.tones {
		f.light[i] = t.Decode64()
	}
	if !f.grey {
		m, even := p.shares()
		f.m = mixing{m.floats(), even}
	}
	return f, nil
}

// shares is RGB light -> X, Y, Z as shares of white's; even says that each row
// adds up to 1.
func (p *Profile) shares() (m matrix3, even bool) {
	sum := p.whiteSum()
	if even = sameWhite(sum, d50); !even {
		sum = d50
	}
	return p.matrixOver(sum), even
}

// matrixOver is RGB light -> X, Y, Z as shares of a white in 65536ths.
func (p *Profile) matrixOver(white [3]int64) matrix3 {
	m := p.matrix()
	for r := range m {
		for c := range m[r] {
			m[r][c].Quo(m[r][c], big.NewRat(white[r], one))
		}
	}
	return m
}

func (m matrix3) floats() (f [3][3]float64) {
	for r := range m {
		for c := range m[r] {
			f[r][c], _ = m[r][c].Float64()
		}
	}
	return f
}

// mixing makes three numbers of three others. Where the rows of its matrix add up
// to 1 (even), three equal numbers stay as they are.
type mixing struct {
	m    [3][3]float64
	even bool
}

func (a *mixing) times(x, y, z float64) (float64, float64, float64) {
	m := &a.m
	if a.even {
		x, z = x-y, z-y
		return y + (float64(m[0][0]*x) + float64(m[0][2]*z)),
			y + (float64(m[1][0]*x) + float64(m[1][2]*z)),
			y + (float64(m[2][0]*x) + float64(m[2][2]*z))
	}
	return float64(m[0][0]*x) + float64(m[0][1]*y) + float64(m[0][2]*z),
		float64(m[1][0]*x) + float64(m[1][1]*y) + float64(m[1][2]*z),
		float64(m[2][0]*x) + float64(m[2][1]*y) + float64(m[2][2]*z)
}

// at takes one pixel of codes to the connection space.
func (f *forward) at(src []uint16, v *[4]float64) {
	if f.lut != nil {
		for i := range f.lut.in {
			v[i] = float64(src[i])
		}
		f.lut.eval(v)
		f.lut.pcs.decode(v)
		return
	}
	r := f.light[0][src[0]]
	if f.grey {
		v[0], v[1], v[2] = r, r, r
		return
	}
	v[0], v[1], v[2] = f.m.times(r, f.light[1][src[1]], f.light[2][src[2]])
}

// lab is the colour of device codes that needn't be whole (a table's only) or
// are the device's white, mid grey or black.
func (f *forward) lab(v [4]float64) Lab {
	if f.lut == nil {
		var src [3]uint16
		for i := range src {
			src[i] = exact.RoundU16(v[i])
		}
		f.at(src[:], &v)
	} else {
		f.lut.eval(&v)
		f.lut.pcs.decode(&v)
	}
	if f.isLab() {
		return Lab{v[0], v[1], v[2]}
	}
	return labOf([3]float64{v[0], v[1], v[2]})
}

// backward is the way from the connection space to a device.
type backward struct {
	lut   *lut // nil: m and tones
	m     mixing
	tones []*Tone
}

// isLab says that at takes Lab; else X, Y, Z as shares of white's.
func (b *backward) isLab() bool { return b.lut != nil && b.lut.pcs != pcsXYZ }

func newBackward(p *Profile, intent Intent) (*backward, error) {
	l, err := p.table(false, intent)
	if err != nil {
		return nil, err
	}
	b := &backward{lut: l}
	if l != nil {
		return b, nil
	}
	for _, t := range p.tones {
		b.tones = append(b.tones, t.ready())
	}
	if p.channels == 3 {
		m, even := p.shares()
		b.m = mixing{m.inverse().floats(), even}
	}
	return b, nil
}

// at takes one colour to the nearest codes, halves up, clipped.
func (b *backward) at(dst []uint16, v *[4]float64) {
	if b.lut != nil {
		b.lut.pcs.encode(v)
		b.lut.eval(v)
		for i := range b.lut.out {
			dst[i] = exact.RoundU16(v[i])
		}
		return
	}
	if len(b.tones) == 1 {
		dst[0] = b.tones[0].encode(v[1])
		return
	}
	x, y, z := b.m.times(v[0], v[1], v[2])
	dst[0], dst[1], dst[2] = b.tones[0].encode(x), b.tones[1].encode(y), b.tones[2].encode(z)
}

// Transform converts codes of one profile to codes of another, with an intent.
// It is immutable and safe for many goroutines.
//
// Each end takes the table of the intent (Absolute: the relative one), else
// its A2B0 or B2A0, else its colorants and curves. A table indexed by device
// codes is read tetrahedrally (CMYK: in magenta, yellow and black, and linearly
// in cyan between two such); one indexed by Lab trilinearly, by XYZ
// tetrahedrally. Between the two, colours are float64 and aren't rounded;
// device codes are, once, halves up.
//
// Black point compensation scales X, Y and Z linearly so that the source's
// black goes to the destination's and white stays (ISO 18619:2015); blackPoint
// states how the two are found. Absolute multiplies X, Y and Z by the source's
// media white over the destination's, and has no compensation.
//
// Between two profiles of colorants and curves of the same white (Absolute: with
// the same media white) it is Link, with compensation in the source's light;
// between profiles of the same bytes it changes nothing.
type Transform struct {
	in, out int
	link    *Link
	fwd     *forward
	back    *backward
	scaling
}

// scaling changes X, Y, Z as shares of white's.
type scaling struct {
	scale  [3]float64
	offset float64
	plain  bool // scale 1, offset 0
}

// connect carries a scaled colour to Lab (want) or light; lab says that it
// comes as Lab.
func (s *scaling) connect(v *[4]float64, lab, want bool) {
	if !s.plain {
		meet(v, lab, false)
		lab = false
		for i := range s.scale {
			v[i] = float64(s.scale[i]*v[i]) + s.offset
		}
	}
	meet(v, lab, want)
}

// NewTransform prepares the conversion from src to dst; bpc asks for black
// point compensation. The error names the table that a profile lacks for the
// intent.
func NewTransform(src, dst *Profile, intent Intent, bpc bool) (*Transform, error) {
	if intent < Perceptual || intent > Absolute {
		return nil, fmt.Errorf("there is no intent number %d", int(intent))
	}
	t := &Transform{in: src.channels, out: dst.channels}
	from, err := src.whiteFor(intent)
	if err != nil {
		return nil, err
	}
	to, err := dst.whiteFor(intent)
	if err != nil {
		return nil, err
	}
	for i := range t.scale {
		t.scale[i] = from[i] / to[i]
	}
	t.plain = t.scale == [3]float64{1, 1, 1}
	if src.digest == dst.digest {
		t.link = NewLink(src, dst)
		return t, nil
	}
	if t.fwd, err = newForward(src, intent); err != nil {
		return nil, err
	}
	if t.back, err = newBackward(dst, intent); err != nil {
		return nil, err
	}
	if intent != Absolute && (bpc || forcesCompensation(src, dst, intent)) {
		from, to := sourceBlack(src, intent), destinationBlack(dst, intent)
		k := (1 - to) / (1 - from)
		t.scale, t.offset = [3]float64{k, k, k}, 1-k
		t.plain = k == 1
	}
	if t.fwd.lut != nil || t.back.lut != nil {
		return t, nil
	}
	// A black is brought to the other in light, where greys stay greys.
	white := src.whiteSum()
	inLight := intent != Absolute && sameWhite(white, dst.whiteSum()) && sameWhite(white, d50)
	if t.plain || inLight {
		t.link = NewLink(src, dst)
	}
	if t.link != nil && !t.plain {
		t.link.compensate(t.scale[0], t.offset)
	}
	return t, nil
}

// whiteFor is the white, as shares of D50's X, Y, Z, that an intent counts from.
func (p *Profile) whiteFor(intent Intent) ([3]float64, error) {
	if intent != Absolute {
		return [3]float64{1, 1, 1}, nil
	}
	if p.whiteErr != nil {
		return p.white, fmt.Errorf("the absolute intent can't be used with the profile %q: %w", p.description, p.whiteErr)
	}
	return p.white, nil
}

// Row converts n pixels: src holds n times the source's channels, interleaved,
// dst n times the destination's.
func (t *Transform) Row(dst, src []uint16) {
	if t.link != nil {
		t.link.Row(dst, src)
		return
	}
	var v [4]float64
	for len(src) >= t.in && len(dst) >= t.out {
		t.fwd.at(src, &v)
		t.connect(&v, t.fwd.isLab(), t.back.isLab())
		t.back.at(dst, &v)
		src, dst = src[t.in:], dst[t.out:]
	}
}

// meet turns Lab into light, or light into Lab, where one is there and the other
// wanted.
func meet(v *[4]float64, lab, want bool) {
	switch {
	case lab && !want:
		toLight(v)
	case want && !lab:
		toLab(v)
	}
}

func toLight(v *[4]float64) {
	l := Lab{v[0], v[1], v[2]}.light()
	v[0], v[1], v[2] = l[0], l[1], l[2]
}

func toLab(v *[4]float64) {
	l := labOf([3]float64{v[0], v[1], v[2]})
	v[0], v[1], v[2] = l.L, l.A, l.B
}

// ToLab takes a profile's codes to Lab. It is immutable and safe for many
// goroutines.
type ToLab struct {
	fwd *forward
	in  int
	scaling
}

// NewToLab prepares the way from p's codes to Lab. With Absolute, paper white
// has its own colour; with the other intents it is L* 100.
func NewToLab(p *Profile, intent Intent) (*ToLab, error) {
	f, err := newForward(p, intent)
	if err != nil {
		return nil, err
	}
	white, err := p.whiteFor(intent)
	return &ToLab{f, p.channels, scaling{scale: white, plain: white == [3]float64{1, 1, 1}}}, err
}

// Row converts len(dst) pixels of interleaved codes.
func (t *ToLab) Row(dst []Lab, src []uint16) {
	for i := range dst {
		if len(src) < t.in {
			return
		}
		dst[i] = t.at(src)
		src = src[t.in:]
	}
}

func (t *ToLab) at(src []uint16) Lab {
	var v [4]float64
	t.fwd.at(src, &v)
	t.connect(&v, t.fwd.isLab(), true)
	return Lab{v[0], v[1], v[2]}
}

// FromLab takes Lab to a profile's codes. It is immutable and safe for many
// goroutines.
type FromLab struct {
	back  *backward
	out   int
	white [3]float64
}

// NewFromLab prepares the way from Lab to p's codes. With Absolute, Lab says
// how a colour looks beside D50; with the other intents L* 100 is p's white.
func NewFromLab(p *Profile, intent Intent) (*FromLab, error) {
	b, err := newBackward(p, intent)
	if err != nil {
		return nil, err
	}
	white, err := p.whiteFor(intent)
	return &FromLab{back: b, out: p.channels, white: white}, err
}

// Row converts len(src) colours to interleaved codes, clipped to what the
// device's numbers can say.
func (t *FromLab) Row(dst []uint16, src []Lab) {
	absolute := t.white != [3]float64{1, 1, 1}
	for _, c := range src {
		if len(dst) < t.out {
			return
		}
		v := [4]float64{c.L, c.A, c.B}
		if absolute {
			toLight(&v)
			for i := range t.white {
				v[i] /= t.white[i]
			}
		}
		meet(&v, !absolute, t.back.isLab())
		t.back.at(dst, &v)
		dst = dst[t.out:]
	}
}
