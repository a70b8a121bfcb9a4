package ops

import (
	"math"

	"platemark/ops/colour"
	"platemark/ops/exact"
)

// CIELAB by its own root scale: with f the function of CIE 15:2004, 8.2.1, and
// X, Y, Z as shares of white's,
//
//	L* = 116 f(Y) - 16,  a* = 500 (f(X) - f(Y)),  b* = 200 (f(Y) - f(Z)).
//
// Work is done on f(Y) and the two differences. Equal light in all channels has
// equal X, Y and Z, differences of exactly 0, and so comes back as equal light.

// The root table has rootPieces straight pieces to an octave from 2^-7 to 4.
const (
	rootShift  = 52 - 6
	rootPieces = 1 << 6
	rootFirst  = (1023 - 7) << 6
	rootCount  = 9 * rootPieces
	rootMost   = 4 - 1.0/(1<<50)
)

// rootGuess is the cube root at the start of a piece and its mean slope.
type rootGuess struct{ at, slope float64 }

var rootTable = makeRootTable()

func makeRootTable() *[rootCount]rootGuess {
	t := new([rootCount]rootGuess)
	for i := range t {
		lo := math.Float64frombits(uint64(rootFirst+i) << rootShift)
		hi := math.Float64frombits(uint64(rootFirst+i+1) << rootShift)
		a, b := exact.Cbrt(exact.Float(lo)), exact.Cbrt(exact.Float(hi))
		t[i] = rootGuess{a.Float64(), b.Sub(a).Quo(exact.Float(hi - lo)).Float64()}
	}
	return t
}

// labF is CIELAB's f: the cube root above (6/29)^3, a line below. The root is a
// straight piece of the table (relative error below 7e-6) and one step of
// Halley's method, which triples the digits. x is held to below 4.
func labF(x float64) float64 {
	if !(x > colour.LabKnee) {
		return colour.LabLine(x)
	}
	x = min(x, rootMost)
	b := math.Float64bits(x) >> rootShift
	g := &rootTable[(b-rootFirst)%rootCount]
	y := g.at + float64(g.slope*(x-math.Float64frombits(b<<rootShift)))
	c := float64(float64(y*y) * y)
	x2 := x + x
	return float64(y * ((c + x2) / ((c + c) + x)))
}

// labOfLight is L* of the light of a grey, 0..1.
func labOfLight(v float64) float64 { return float64(116*labF(v)) - 16 }

// lightOfLab is the inverse of labOfLight.
func lightOfLab(l float64) float64 { return colour.LabInv((l + 16) / 116) }

// toneSpace takes an RGB space's light to CIELAB and back.
type toneSpace struct {
	tones    [3]*colour.Tone
	to, from [3][3]float64
}

// newToneSpace is false for a profile that isn't RGB by colorants and curves.
func newToneSpace(p *colour.Profile) (*toneSpace, bool) {
	if p == nil {
		return nil, false
	}
	s := &toneSpace{}
	var ok bool
	if s.to, s.from, ok = p.Shares(); !ok {
		return nil, false
	}
	for i := range s.tones {
		s.tones[i] = p.Tone(i)
	}
	return s, true
}

// gamutRoom is how far below 0 or above 1 light may be without being brought
// back; encoding clips it.
const gamutRoom = 1e-9

// gamutSteps is how often the gamut's edge is halved: chroma is found to within
// 2^-20 of itself.
const gamutSteps = 20

// light returns red, green and blue light of the colour with f(Y) = y and the
// differences dx = f(X) - f(Y), dz = f(Y) - f(Z). What lies outside 0..1 is
// brought back by less chroma at the same lightness and hue: of the share of
// dx and dz, the larger end that was found to lie inside after gamutSteps
// halvings of 0..1.
func (s *toneSpace) light(y, dx, dz float64) (r, g, b float64) {
	ly := colour.LabInv(y)
	r, g, b = s.colour(ly, y, dx, dz)
	if inGamut(r, g, b) {
		return r, g, b
	}
	in, out := 0.0, 1.0
	for range gamutSteps {
		k := (in + out) * 0.5
		r, g, b = s.colour(ly, y, float64(k*dx), float64(k*dz))
		if inGamut(r, g, b) {
			in = k
		} else {
			out = k
		}
	}
	return s.colour(ly, y, float64(in*dx), float64(in*dz))
}

func (s *toneSpace) colour(ly, y, dx, dz float64) (r, g, b float64) {
	x := colour.LabInv(y+dx) - ly
	z := colour.LabInv(y-dz) - ly
	m := &s.from
	return ly + (float64(m[0][0]*x) + float64(m[0][2]*z)),
		ly + (float64(m[1][0]*x) + float64(m[1][2]*z)),
		ly + (float64(m[2][0]*x) + float64(m[2][2]*z))
}

func inGamut(r, g, b float64) bool {
	return min(r, g, b) >= -gamutRoom && max(r, g, b) <= 1+gamutRoom
}

// shares returns X, Y and Z as shares of white's. Rows add up to 1.
func (s *toneSpace) shares(r, g, b float64) (x, y, z float64) {
	m := &s.to
	r, b = r-g, b-g
	return g + (float64(m[0][0]*r) + float64(m[0][2]*b)),
		g + (float64(m[1][0]*r) + float64(m[1][2]*b)),
		g + (float64(m[2][0]*r) + float64(m[2][2]*b))
}
