// Package colour reads ICC profiles, holds the built-in spaces, converts
// between encodings, tells what a paper will show, and measures differences.
//
// What it promises: a profile means what its numbers say. Curves are evaluated
// as written, at every 16-bit code, with one rounding at the end; tables are
// read by one stated rule; a conversion is the same integer for the same codes
// and the same profile bytes on every machine, for good. The bytes of the
// built-in spaces never change.
//
// What it refuses, in plain words: devices other than RGB, grey and CMYK,
// damaged files, and profiles that can't carry a picture there and back
// (falling or constant curves, a matrix without an inverse, a white far from
// the connection space's, tables that lose white or the order of greys).
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

var d50 = [3]int64{int64(D50[0]), int64(D50[1]), int64(D50[2])}

// Profile is a picture's encoding: what the codes 0..65535 of each channel
// mean as light. It is immutable and safe for use by many goroutines.
//
// It is described by colorants and curves (HasTables is false), or by tables,
// or by both; where it has a table for an intent and direction, the table
// counts.
type Profile struct {
	data        []byte
	digest      raster.Sum
	description string
	note        string // see Note
	class       string // "mntr", "scnr", "prtr" or "spac"
	version     int    // 2 or 4
	channels    int
	// colorant holds the columns of RGB -> XYZ (D50) in 65536ths:
	// colorant[i] is channel i's X, Y, Z. Zero for grey, and where shaped is
	// false.
	colorant [3][3]int32
	shaped   bool    // it has curves (and colorants) of its own
	tones    []*Tone // one a channel; channels with one curve share one Tone
	luma     [3]float64
	white    [3]float64 // media white as shares of D50's X, Y, Z
	whiteErr error      // why white can't be used
	// Tables by intent, perceptual, relative and saturation; nil where absent.
	toPCS, fromPCS [3]*lut
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

// Note is a sentence about what is wrong with the file but does no harm, "" for
// nothing.
func (p *Profile) Note() string { return p.note }

// Channels is 1 for grey, 3 for RGB and 4 for CMYK. CMYK is for looking only:
// no picture is made in it.
func (p *Profile) Channels() int { return p.channels }

// Device names what the codes drive: "grey", "RGB" or "CMYK".
func (p *Profile) Device() string {
	switch p.channels {
	case 1:
		return "grey"
	case 4:
		return "CMYK"
	}
	return "RGB"
}

// Class is the profile's kind: "display", "input", "output" or "space".
func (p *Profile) Class() string {
	switch p.class {
	case "mntr":
		return "display"
	case "scnr":
		return "input"
	case "prtr":
		return "output"
	}
	return "space"
}

// HasTables says that the profile has at least one table, so that its codes
// aren't light through one curve a channel.
func (p *Profile) HasTables() bool { return p.toPCS != [3]*lut{} || p.fromPCS != [3]*lut{} }

// Luma returns the luminance weights of red, green and blue light: the Y row
// of the profile's RGB -> XYZ matrix divided by its sum, each rounded once to
// float64. For grey it is {1, 0, 0}. For a profile of tables alone the weights
// are those of its full red, green and blue above its black; for CMYK zero.
func (p *Profile) Luma() [3]float64 { return p.luma }

// Tone returns the curve of channel ch, 0 <= ch < Channels(). A profile of
// tables alone has no such curve: its Tone is the luminance of its greys of
// equal codes (1025 of them, straight lines between, never falling), the same
// for all channels. For CMYK it is nil.
func (p *Profile) Tone(ch int) *Tone {
	if ch >= len(p.tones) {
		return nil
	}
	return p.tones[ch]
}

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
	if p.channels == 1 {
		return d50
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
	if p.channels == 1 {
		p.luma = [3]float64{1, 0, 0}
		return
	}
	sum := p.whiteSum()[1]
	for i, c := range p.colorant {
		p.luma[i] = float64(c[1]) / float64(sum) // both exact: one rounding
	}
}
