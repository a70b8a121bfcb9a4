// Package colour reads ICC profiles, holds the built-in spaces and converts
// between them.
//
// What it promises: a profile means what its numbers say. Curves are evaluated
// as written, at every 16-bit code, with one rounding at the end; a conversion
// is the same integer for the same codes and the same profile bytes on every
// machine, for good. The bytes of the built-in spaces never change.
//
// What it refuses, in plain words: profiles with tables (A2B, B2A and the
// like), devices other than RGB and grey, damaged files, and profiles that
// can't carry a picture there and back (falling or constant curves, a matrix
// without an inverse, a white far from the connection space's).
//
// It opens no file, starts no goroutine and holds no global state but the
// built-in spaces.
package colour

import (
	"math/big"

	"platemark/ops/raster"
)

// D50 is the white of the ICC profile connection space as profiles store it,
// in 65536ths: X, Y, Z (ICC.1:2010, 7.2.16).
var D50 = [3]int32{63190, 65536, 54061}

// Profile is a picture's encoding: what the codes 0..65535 of each channel
// mean as light. It is immutable and safe for use by many goroutines.
type Profile struct {
	data        []byte
	digest      raster.Sum
	description string
	// colorant holds the columns of RGB -> XYZ (D50) in 65536ths:
	// colorant[i] is channel i's X, Y, Z. Zero for grey.
	colorant [3][3]int32
	tones    []*Tone // one a channel; channels with one curve share one Tone
	luma     [3]float64
}

// Bytes returns the profile file, to be embedded in print files. The caller
// gets a copy.
func (p *Profile) Bytes() []byte { return append([]byte(nil), p.data...) }

// Digest is the SHA-256 of the profile's bytes; it names the encoding in
// picture digests and in the log.
func (p *Profile) Digest() raster.Sum { return p.digest }

// Description is the profile's own name for people, in English where it has
// one, of at most 200 characters; "" where it has none. It decides nothing.
func (p *Profile) Description() string { return p.description }

// Channels is 1 for grey and 3 for RGB.
func (p *Profile) Channels() int { return len(p.tones) }

// Luma returns the luminance weights of red, green and blue light: the Y row
// of the profile's RGB -> XYZ matrix divided by its sum, each rounded once to
// float64. For grey it is {1, 0, 0}.
func (p *Profile) Luma() [3]float64 { return p.luma }

// Tone returns the curve of channel ch, 0 <= ch < Channels().
func (p *Profile) Tone(ch int) *Tone { return p.tones[ch] }

// matrix returns RGB -> XYZ (D50), exactly: m[row][column].
func (p *Profile) matrix() (m matrix3) {
	for r := range 3 {
		for c := range 3 {
			m[r][c] = big.NewRat(int64(p.colorant[c][r]), 65536)
		}
	}
	return m
}

// whiteSum is what the colorants add up to, X, Y, Z in 65536ths; for grey it
// is the connection space's white.
func (p *Profile) whiteSum() [3]int64 {
	if len(p.tones) == 1 {
		return [3]int64{int64(D50[0]), int64(D50[1]), int64(D50[2])}
	}
	var w [3]int64
	for _, c := range p.colorant {
		for r, v := range c {
			w[r] += int64(v)
		}
	}
	return w
}

func (p *Profile) setLuma() {
	if len(p.tones) == 1 {
		p.luma = [3]float64{1, 0, 0}
		return
	}
	sum := p.whiteSum()[1]
	for i, c := range p.colorant {
		p.luma[i] = float64(c[1]) / float64(sum) // both exact: one rounding
	}
}
