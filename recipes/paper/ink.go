package paper

import (
	"math"

	"platemark/ops/colour"
)

// stock is an invented paper with invented inks. Colours are what a
// spectrophotometer would say, absolute, under D50.
type stock struct {
	name, text string
	// solids are paper and full inks: bit 0 is cyan, bit 1 magenta, bit 2 yellow.
	// All three together stand for the printer's black.
	solids [8]colour.Lab
	gain   float64 // how much a half-tone of 50 % grows, as a share of 1
	chroma float64 // how fast the perceptual table weakens strong colours: C/(1 + C/chroma)
}

var stocks = []stock{
	{
		name: "baryta", text: "Harbour Baryta 310 (invented)",
		solids: [8]colour.Lab{{L: 96, A: 0.2, B: -1}, {L: 56, A: -38, B: -52}, {L: 49, A: 76, B: -4}, {L: 25, A: 24, B: -52},
			{L: 90, A: -5, B: 96}, {L: 51, A: -70, B: 30}, {L: 48, A: 70, B: 52}, {L: 8, A: 0, B: -0.5}},
		gain: 0.12, chroma: 420,
	},
	{
		name: "rag", text: "Quarry Cotton Rag 308 (invented)",
		solids: [8]colour.Lab{{L: 96.5, A: 0.3, B: 2}, {L: 58, A: -30, B: -42}, {L: 53, A: 62, B: -2}, {L: 34, A: 15, B: -36},
			{L: 88, A: -3, B: 76}, {L: 56, A: -50, B: 22}, {L: 53, A: 56, B: 37}, {L: 24, A: 0.5, B: 0.5}},
		gain: 0.2, chroma: 260,
	},
}

const (
	toneSteps = 256
	cells     = toneSteps + 1
)

// ink predicts colours from device codes.
//
// The model is the cellular one of Neugebauer (1937) with the correction of
// Yule and Nielsen (1951), n = 2: the square roots of X, Y, Z are the solids'
// own, weighted by the areas that chance overprinting gives (Demichel 1924).
// Codes drive coverages by one curve, so that greys of equal codes are evenly
// spaced in lightness from black to paper.
type ink struct {
	roots [8][3]float64 // square roots of X, Y, Z
	white [3]float64    // paper's X, Y, Z
	cover [cells]float64
}

func newInk(s *stock) *ink {
	k := &ink{white: s.solids[0].XYZ()}
	for i, c := range s.solids {
		for j, v := range c.XYZ() {
			k.roots[i][j] = math.Sqrt(math.Max(v, 0))
		}
	}
	light := func(c float64) float64 { return colour.LabFromXYZ(k.mix([3]float64{c, c, c})).L }
	top, bottom := light(0), light(1)
	for i := range k.cover {
		want := bottom + float64((top-bottom)*(float64(i)/toneSteps))
		lo, hi := 0.0, 1.0 // coverage: more is darker
		for range 60 {
			mid := float64((lo + hi) * 0.5)
			if light(grown(mid, s.gain)) > want {
				lo = mid
			} else {
				hi = mid
			}
		}
		k.cover[i] = grown(float64((lo+hi)*0.5), s.gain)
	}
	k.cover[0], k.cover[toneSteps] = 1, 0
	return k
}

// grown is the coverage that a half-tone prints as.
func grown(c, gain float64) float64 {
	return c + float64(float64(4*gain)*float64(c*(1-c)))
}

// mix is X, Y, Z of three coverages, 0..1.
func (k *ink) mix(c [3]float64) (xyz [3]float64) {
	var w [8]float64
	w[0] = 1
	for j, v := range c {
		n := 1 << j
		for i := range n {
			w[n+i] = float64(w[i] * v)
			w[i] -= w[n+i]
		}
	}
	for i, r := range k.roots {
		for j := range xyz {
			xyz[j] += float64(w[i] * r[j])
		}
	}
	for j, v := range xyz {
		xyz[j] = float64(v * v)
	}
	return xyz
}

// coverage of code d, 0..1.
func (k *ink) coverage(d float64) float64 {
	p := float64(d * toneSteps)
	i := min(int(p), toneSteps-1)
	return k.cover[i] + float64((p-float64(i))*(k.cover[i+1]-k.cover[i]))
}

// lab is the colour of codes, 0..1, with paper white at L* 100.
func (k *ink) lab(d [3]float64) colour.Lab {
	xyz := k.mix([3]float64{k.coverage(d[0]), k.coverage(d[1]), k.coverage(d[2])})
	for i := range xyz {
		xyz[i] = float64(xyz[i]/k.white[i]) * colour.PCSWhite[i]
	}
	return colour.LabFromXYZ(xyz)
}
