package colour

import "math"

// outsideDeltaE is the CIELAB difference beyond which a colour counts as
// outside what a paper can show.
const outsideDeltaE = 5

// Proof says what a paper will show of codes of a source. It is immutable and
// safe for many goroutines.
//
// The print's codes come by the print's own intent and compensation, rounded to
// 16 bits as in the file; what they look like comes back by the paper's
// colorimetric table (A2B1). A colour is outside the paper's gamut where it
// comes back more than outsideDeltaE away by the relative intent without
// compensation, whatever the print's intent: so the verdict is one of the
// paper, not of the way to print on it.
type Proof struct {
	src      *Profile
	print    *Transform
	relative *Transform // for the verdict
	meant    *ToLab
	shown    *ToLab
	bare     *ToLab
	inks     int
}

// NewProof prepares the proof of codes of src printed on paper. The paper needs
// both directions; CMYK is fine.
func NewProof(src, paper *Profile, intent Intent, bpc bool) (*Proof, error) {
	p := &Proof{src: src, inks: paper.channels}
	var err error
	if p.print, err = NewTransform(src, paper, intent, bpc); err != nil {
		return nil, err
	}
	if p.relative, err = NewTransform(src, paper, Relative, false); err != nil {
		return nil, err
	}
	if p.meant, err = NewToLab(src, Relative); err != nil {
		return nil, err
	}
	if p.shown, err = NewToLab(paper, Relative); err != nil {
		return nil, err
	}
	p.bare, err = NewToLab(paper, Absolute)
	return p, err
}

// Inks is the paper's number of channels.
func (p *Proof) Inks() int { return p.inks }

// Print gives the paper's codes of a row of the source's: Inks() a pixel.
func (p *Proof) Print(dst, src []uint16) { p.print.Row(dst, src) }

// Meant gives the colours of a row of the source's codes, white at L* 100.
func (p *Proof) Meant(dst []Lab, src []uint16) { p.meant.Row(dst, src) }

// Relative gives the colours of a row of the paper's codes as the eye adapted
// to the paper sees them: paper white at L* 100. They compare with Meant.
func (p *Proof) Relative(dst []Lab, printed []uint16) { p.shown.Row(dst, printed) }

// Paper gives the colours of a row of the paper's codes beside D50: paper
// white and black as they are.
func (p *Proof) Paper(dst []Lab, printed []uint16) { p.bare.Row(dst, printed) }

// Verdict says whether a paper can show a colour, and else what stands in the
// way.
type Verdict uint8

const (
	Within Verdict = iota
	// TooDark: the paper's nearest is lighter, by more in L* than in a* and b*.
	TooDark
	// TooColourful is what else lies outside.
	TooColourful
)

// Outside gives the verdict on each pixel of the source's codes.
func (p *Proof) Outside(dst []Verdict, src []uint16) {
	var codes [4]uint16
	n := p.src.channels
	for i := range dst {
		if len(src) < n {
			return
		}
		p.relative.Row(codes[:p.inks], src[:n])
		meant, shown := p.meant.at(src), p.shown.at(codes[:])
		switch {
		case DeltaE76(meant, shown) <= outsideDeltaE:
			dst[i] = Within
		case shown.L-meant.L > math.Hypot(shown.A-meant.A, shown.B-meant.B):
			dst[i] = TooDark
		default:
			dst[i] = TooColourful
		}
		src = src[n:]
	}
}
