package colour

import "math"

// Black points, after ISO 18619:2015. All black points here are neutral, so
// that each is one number: luminance as a share of white's.
//
// Simplified: a printer's black is looked for with a* = b* = 0 from the start
// (the standard sets them so for the source's black and takes them over); the
// whole ramp is sent through without rounding.

// perceptualBlack is the black of the perceptual reference medium of version 4
// (ICC.1:2010, table 17: Y 0.0034731).
const perceptualBlack = 0.0034731

// forcesCompensation says that the intent has compensation whether asked for or
// not: perceptual and saturation, where one end is a version 4 table, whose
// black is the reference medium's, and the other isn't.
func forcesCompensation(src, dst *Profile, intent Intent) bool {
	return referenceBlack(src, true, intent) || referenceBlack(dst, false, intent)
}

// referenceBlack says that the black of p's table is the reference medium's.
func referenceBlack(p *Profile, forward bool, intent Intent) bool {
	if p.version != 4 || intent != Perceptual && intent != Saturation {
		return false
	}
	l, err := p.table(forward, intent)
	return err == nil && l != nil
}

// sourceBlack is the luminance of a source's black: the reference medium's for
// perceptual and saturation tables of version 4; for CMYK printers, relative,
// what L* 0 comes to by the perceptual table; else the darkest that the codes
// give (no light, or all inks).
func sourceBlack(p *Profile, intent Intent) float64 {
	if referenceBlack(p, true, intent) {
		return perceptualBlack
	}
	return luminance(darkest(p, intent))
}

// darkest is the L* of p's black, 0..50.
func darkest(p *Profile, intent Intent) float64 {
	l := 0.0
	back, err := p.table(false, Perceptual)
	there, err2 := p.table(true, Relative)
	if p.channels == 4 && p.class == "prtr" && intent.slot() == int(Relative) && err == nil && err2 == nil {
		l = roundTrip(back, there, Lab{}).L
	} else if f, err := newForward(p, intent); err == nil {
		_, _, black := p.deviceGreys()
		l = f.lab(black).L
	}
	return min(max(l, 0), 50)
}

func luminance(l float64) float64 { return Lab{L: l}.light()[1] }

// destinationBlack is the luminance of a destination's black. For tables it is
// read from what comes back of greys of L* 0 to 100: the darkest of the
// codes where that follows the greys but for the shadows (relative); else where
// a parabola through the shadows of that curve meets its floor.
func destinationBlack(p *Profile, intent Intent) float64 {
	if referenceBlack(p, false, intent) {
		return perceptualBlack
	}
	to, err := p.table(false, intent)
	there, err2 := p.table(true, Relative)
	if err != nil || err2 != nil || to == nil || there == nil {
		return luminance(darkest(p, intent))
	}
	const n = 256
	var in, out [n]float64
	for i := range in {
		in[i] = float64(float64(i)*100) / (n - 1)
		out[i] = min(max(roundTrip(to, there, Lab{L: in[i]}).L, 0), 100)
	}
	for i := n - 2; i > 0; i-- { // never falling, but for the floor itself: what L* 0 comes to
		out[i] = min(out[i], out[i+1])
	}
	low, span := out[0], out[n-1]-out[0]
	if !(span > 0) {
		return 0
	}
	from, upto := 0.03, 0.25 // the part of the curve that the parabola is laid through
	if intent.slot() == int(Relative) {
		from, upto = 0.1, 0.5
		straight := true
		for i := range in {
			d := in[i] - out[i]
			if in[i] > low+float64(0.2*span) && !(d < 4 && d > -4) {
				straight = false
			}
		}
		if straight {
			return luminance(darkest(p, intent))
		}
	}
	var x, y []float64
	for i := range in {
		if v := (out[i] - low) / span; v >= from && v < upto {
			x, y = append(x, in[i]), append(y, v)
		}
	}
	return luminance(parabolaRoot(x, y))
}

// parabolaRoot is where the least-squares parabola through the points is 0, on
// its rising side, held to 0..50; 0 where there are fewer than 3 points or no
// root.
func parabolaRoot(x, y []float64) float64 {
	if len(x) < 3 {
		return 0
	}
	// Normal equations of y = a t^2 + b t + c, t = x/50 - 1/2 to keep them well
	// conditioned.
	var s [5]float64 // sums of t^k
	var r [3]float64 // sums of y t^k
	for i := range x {
		t, p := float64(x[i]/50)-0.5, 1.0
		for k := range s {
			s[k] += p
			if k < len(r) {
				r[k] += float64(y[i] * p)
			}
			p = float64(p * t)
		}
	}
	m := [3][3]float64{{s[0], s[1], s[2]}, {s[1], s[2], s[3]}, {s[2], s[3], s[4]}}
	d := det3(m)
	if d == 0 {
		return 0
	}
	var c [3]float64
	for k := range c {
		q := m
		for i := range q {
			q[i][k] = r[i]
		}
		c[k] = det3(q) / d
	}
	t := 0.0
	switch disc := float64(c[1]*c[1]) - float64(float64(4*c[2])*c[0]); {
	case c[2] < 1e-9 && c[2] > -1e-9:
		if c[1] == 0 {
			return 0
		}
		t = -c[0] / c[1]
	case disc <= 0:
		return 0
	default:
		t = (math.Sqrt(disc) - c[1]) / float64(2*c[2])
	}
	return min(max(float64(50*(t+0.5)), 0), 50)
}

func det3(m [3][3]float64) float64 {
	a := float64(m[1][1]*m[2][2]) - float64(m[1][2]*m[2][1])
	b := float64(m[1][0]*m[2][2]) - float64(m[1][2]*m[2][0])
	c := float64(m[1][0]*m[2][1]) - float64(m[1][1]*m[2][0])
	return float64(m[0][0]*a) - float64(m[0][1]*b) + float64(m[0][2]*c)
}
