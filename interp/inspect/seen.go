package inspect

import (
	"cmp"
	"math"
	"slices"
	"sync"

	"platemark/ops/exact"
)

// How visible a find is follows the standard observer of A. B. Watson and
// A. J. Ahumada, "A standard model for foveal detection of spatial contrast",
// Journal of Vision 5(9), 2005, fitted to the ModelFest thresholds: contrast is
// filtered by the sensitivity
//
//	S(f) = 373.08 (sech((f/4.1726)^0.7786) - 0.8493 sech(f/1.3625))
//
// f in cycles a degree, and summed over the picture. The numbers are from memory.
// The paper sums the power 2.4081 of the filtered contrast; here it is the square,
// so that the sum can be taken over frequencies (Parseval), and directions count
// alike. A speck is a Gaussian as wide at half its height; a hair is one across,
// and along it no more counts than the paper's window on the fovea, a Gaussian of
// sigma 0.6273 degrees, holds. Above 1 it is seen.
const (
	seenStep  = 0.25 // cycles a degree
	seenSteps = 240
	fovea     = 0.6273
)

// sensitivity is S at seenStep, 2 seenStep, ...
var sensitivity = sync.OnceValue(func() (s [seenSteps]float64) {
	one := exact.Whole(1)
	sech := func(x exact.DD) exact.DD {
		e := exact.Exp(x)
		return exact.Whole(2).Quo(e.Add(one.Quo(e)))
	}
	for i := range s {
		f := exact.Frac(int64(i+1), 4)
		high := sech(exact.Pow(f.Quo(exact.Frac(41726, 10000)), exact.Frac(7786, 10000)))
		low := sech(f.Quo(exact.Frac(13625, 10000))).Mul(exact.Frac(8493, 10000))
		s[i] = max(0, exact.Frac(37308, 100).Mul(high.Add(low.Neg())).Float64())
	}
	return s
})

// sharpContrast is the contrast of the finest lines that SharpFrom asks for, our own
// choice: what pictures have there is seldom more.
const sharpContrast = 0.2

// SharpFrom is the distance in mm from which a print looks sharp whose picture had
// perMM pixels a millimetre before it was enlarged, above 0: from there the finest
// lines that these can hold, two pixels wide, aren't seen at a contrast of 20 %.
func SharpFrom(perMM float64) float64 {
	s := sensitivity()
	last := 0
	for i, v := range s {
		if v > 1/sharpContrast {
			last = i
		}
	}
	f := seenStep * float64(last+2) // the first that isn't seen
	return f * 180 / math.Pi / (perMM / 2)
}

// Rank sets how visible each find is on such a print, among others alike, and puts the most visible
// first; of equals that come first which lie higher, then further left.
func (r *Report) Rank(v Viewing) {
	from := v.From
	if from == 0 {
		from = math.Sqrt(float64(v.W*v.W) + float64(v.H*v.H))
	}
	pixel := v.W / float64(r.W) / from * 180 / math.Pi // degrees
	for i := range r.Finds {
		r.Finds[i].Seen = r.Finds[i].seen(pixel)
	}
	near := r.alike(fovea / pixel)
	for i := range r.Finds {
		r.Finds[i].Seen = rounded(r.Finds[i].Seen / float64(near[i]))
	}
	slices.SortStableFunc(r.Finds, func(a, b Find) int {
		if c := cmp.Compare(b.Seen, a.Seen); c != 0 {
			return c
		}
		return byPlace(a, b)
	})
}

// alike is for each find how many of its kind that are half as visible or more lie
// around it, itself among them: in the squares of side px that touch its own. Among
// many alike each is seen less, since the eye answers to one in relation to all around
// it (D. J. Heeger, Visual Neuroscience 9, 1992): twigs are no hairs. That it is divided
// by their number is our own choice.
func (r *Report) alike(side float64) []int {
	type square struct {
		kind Kind
		x, y int
	}
	side = max(side, 1)
	at := func(f *Find) square { return square{f.Kind, int(f.At.X / side), int(f.At.Y / side)} }
	in := map[square][]float64{}
	for i := range r.Finds {
		q := at(&r.Finds[i])
		in[q] = append(in[q], r.Finds[i].Seen)
	}
	near := make([]int, len(r.Finds))
	for i := range r.Finds {
		q := at(&r.Finds[i])
		for k := range 9 {
			for _, seen := range in[square{q.kind, q.x + k%3 - 1, q.y + k/3 - 1}] {
				if 2*seen >= r.Finds[i].Seen {
					near[i]++
				}
			}
		}
	}
	return near
}

// seen is how visible a find is where a pixel has so many degrees.
func (f *Find) seen(pixel float64) float64 {
	sigma := f.Width * pixel / 2.3548 // of a Gaussian so wide at half its height
	switch f.Kind {
	case Fringe:
		return fringeSeen(f.Contrast, sigma)
	case Hair:
		long := min(apart(f.Ends[0], f.Ends[1])*pixel, fovea*math.Sqrt(math.Pi))
		return rounded(math.Abs(f.Contrast) * sigma * math.Sqrt(2*math.Pi) * math.Sqrt(2*long*energy(sigma, false)))
	}
	return rounded(math.Abs(f.Contrast) * 2 * math.Pi * sigma * sigma * math.Sqrt(2*math.Pi*energy(sigma, true)))
}

// energy is the integral over f of S^2 exp(-4 pi^2 sigma^2 f^2), times f for what is
// round.
func energy(sigma float64, round bool) float64 {
	s := sensitivity()
	// exp(-e n^2) is led on from n to n + 1 by exp(-e (2n + 1)).
	e := 4 * math.Pi * math.Pi * sigma * sigma * seenStep * seenStep
	q := exact.Exp(exact.Float(-min(e, 600))).Float64()
	g, lead, qq := q, float64(q*q)*q, q*q
	sum := 0.0
	for i, v := range s {
		w := float64(float64(v*v) * g)
		if round {
			w = float64(w * (seenStep * float64(i+1)))
		}
		sum += w
		g, lead = float64(g*lead), float64(lead*qq)
	}
	return sum * seenStep
}

// fringeSeen is by how many just noticeable differences, 2.3 in CIELAB (M. Mahy, L.
// Van Eycken, A. Oosterlinck, Color Research and Application 19(2), 1994), a line's
// colour differs once the eye has blurred it: by the red and green filter of
// X. Zhang and B. Wandell, "A spatial extension of CIELAB", SID Journal 5(1), 1997,
// Gaussians exp(-x^2/s^2) of s 0.0392 and 0.494 degrees with the weights 0.531 and
// 0.330, which here add up to 1. All from memory.
func fringeSeen(apart, sigma float64) float64 {
	left := func(s float64) float64 {
		return sigma / math.Sqrt(float64(sigma*sigma)+float64(s*s)/2)
	}
	return rounded(apart / 2.3 * (float64(0.531*left(0.0392)) + float64(0.330*left(0.494))) / 0.861)
}

// rounded is a number in hundredths.
func rounded(v float64) float64 { return math.Floor(float64(v*100)+0.5) / 100 }
