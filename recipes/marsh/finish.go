package marsh

import (
	"math"
	"slices"
)

// Speck is one blotch of dust: its centre as shares of the picture's width
// and height, and its radius as a share of the longer side. Outside the
// radius it leaves no trace.
type Speck struct {
	X, Y, R float64
	light   bool // dust on the film's other side prints light
}

var specks = []Speck{
	{0.071, 0.094, 0.0011, false},
	{0.447, 0.063, 0.0016, false},
	{0.583, 0.182, 0.0009, true},
	{0.692, 0.118, 0.0021, false},
	{0.768, 0.284, 0.0012, false},
	{0.866, 0.071, 0.0010, true},
	{0.913, 0.219, 0.0018, false},
	{0.588, 0.448, 0.0008, false},
	{0.951, 0.402, 0.0013, false},
}

// Specks lists the dust planted in the sky, none of it over twigs or reeds.
func Specks() []Speck { return slices.Clone(specks) }

// Hot is a hot pixel's place as shares of the picture's width and height: it
// is the pixel that holds that place.
type Hot struct{ X, Y float64 }

// hotSeed and hotCount make the list of hot pixels.
const (
	hotSeed  = 7001
	hotCount = 48
)

// HotPixels lists the planted hot pixels. They stand at least 1 % of the
// picture apart, and clear of the brightest sky, where none would show.
func HotPixels() []Hot {
	var list []Hot
	d := dice{seed: hotSeed}
	for len(list) < hotCount {
		h := Hot{float64(d.between(0.01, 0.99)), float64(d.between(0.02, 0.98))}
		near := func(x, y float64) bool { return math.Abs(x-h.X) < 0.01 && math.Abs(y-h.Y) < 0.01 }
		if h.Y > 0.32 && h.Y < 0.64 ||
			slices.ContainsFunc(list, func(g Hot) bool { return near(g.X, g.Y) }) ||
			slices.ContainsFunc(specks, func(s Speck) bool { return near(s.X, s.Y) }) {
			continue
		}
		list = append(list, h)
	}
	return list
}

type hotPixel struct {
	x    int
	gain [3]float32 // added code value, by channel
}

func (w *world) heatPixels() {
	w.hot = map[int][]hotPixel{}
	for i, h := range HotPixels() {
		y := int(h.Y * float64(w.h))
		gain := [3]float32{0.50, 0.50, 0.50}
		if c := i % 4; c < 3 {
			gain = [3]float32{0.10, 0.10, 0.10}
			gain[c] = 0.55
		}
		w.hot[y] = append(w.hot[y], hotPixel{int(h.X * float64(w.w)), gain})
	}
}

// The lens draws red and blue larger than green. fringeShare is how much, as
// a share of the distance from the centre: 1.9 px for red and 1.2 px for
// blue at the left and right edges of a picture 6144 px wide.
var fringeShare = [3]float32{1.9 / 3072, 0, 1.2 / 3072}

// lens is how a column reads a plane: four neighbours from x on, weighted.
type lens struct {
	x [3]int32
	k [3][4]float32
	v float32 // square of the distance from the middle, for the vignette
}

// weights gives the first of four neighbours and their weights for reading
// at pixel centre i, moved towards the middle by share (Catmull and Rom's
// cubic).
func weights(i, n int, share float32) (int32, [4]float32) {
	mid := float32(float32(n) * 0.5)
	at := float32(i) + 0.5
	at -= float32((at - mid) * share)
	at -= 0.5
	k := int32(at)
	if at < float32(k) {
		k--
	}
	t := at - float32(k)
	return k - 1, curve(t)
}

func (w *world) grindLens() {
	w.column = make([]lens, w.w)
	for x := range w.column {
		l := &w.column[x]
		for c := range 3 {
			l.x[c], l.k[c] = weights(x, w.w, fringeShare[c])
		}
		d := (float32(x)+0.5)/float32(w.w)*2 - 1
		l.v = d * d
	}
}

// finish turns the light in the band that starts at row top into code
// values of row y: fringes, vignette, dust, tone, grain and hot pixels.
func (p *painter) finish(y, top int, out []uint16) {
	for c := range 3 {
		// Rows first, then columns: the shift across depends on x alone.
		y0, k := weights(y, p.h, fringeShare[c])
		at := (int(y0) - top) * p.w
		a, b := p.plane[c][at:at+p.w], p.plane[c][at+p.w:at+2*p.w]
		d, e := p.plane[c][at+2*p.w:at+3*p.w], p.plane[c][at+3*p.w:at+4*p.w]
		row := p.read[c]
		for x := range row {
			row[x] = dot(&k, a[x], b[x], d[x], e[x])
		}
	}
	down := (float32(y)+0.5)/float32(p.h)*2 - 1
	down = float32(down * down)
	dust := p.dustIn(y)
	last := int32(p.w - 1)
	for x := 0; x < p.w; x++ {
		l := &p.column[x]
		shade := 1 / mad(l.v+float32(down*0.6), 0.17, 0.96)
		var v [3]float32
		for c := range 3 {
			var s float32
			row, k, i := p.read[c], &l.k[c], l.x[c]
			if i >= 0 && i+3 <= last {
				r := row[i : i+4 : i+4]
				s = dot(k, r[0], r[1], r[2], r[3])
			} else {
				for j := int32(0); j < 4; j++ {
					s += float32(k[j] * row[min(max(i+j, 0), last)])
				}
			}
			v[c] = s * shade
		}
		for _, d := range dust {
			d.mark(&v, x, y)
		}
		var n [3]float32
		if !p.noGrain {
			n = grain(x, y)
		}
		o := out[3*x : 3*x+3 : 3*x+3]
		for c := range 3 {
			e := p.enc.of(tone(v[c]))
			// Grain is strongest in the middle greys and leaves white alone.
			e += float32(n[c] * mad(float32(e*(1-e)), 0.030, 0.0035))
			o[c] = level(e)
		}
	}
	if p.noHot {
		return
	}
	for _, h := range p.hot[y] {
		for c := range 3 {
			o := &out[3*h.x+c]
			*o = level(float32(*o)/65535 + h.gain[c])
		}
	}
}

func level(e float32) uint16 { return uint16(mad(clamp01(e), 65535, 0.5)) }

// tone takes linear light to 0 to 1: a little black is cut off, and a
// shoulder rolls the brightest into white.
func tone(x float32) float32 {
	x -= 0.0042
	if x <= 0 {
		return 0
	}
	const knee = 0.55
	if x <= knee {
		return x
	}
	t := (x - knee) / (1 - knee)
	return knee + float32((1-knee)*t/(1+float32(t*0.995)))
}

// grain is fine and mostly without colour; of about unit spread.
func grain(x, y int) [3]float32 {
	a := hash(int32(x), int32(y), 0x51ed)
	b := hash(int32(x), int32(y), 0xa3c7)
	// Neighbours share some of it, so that it is softer than noise.
	s := hash(int32(x)>>1, int32(y)>>1, 0x77)
	sum := func(h uint32) float32 {
		return (float32(h&255) + float32(h>>8&255) + float32(h>>16&255) + float32(h>>24) - 510) * (1 / 148.0)
	}
	all := float32(0.80*sum(a)) + float32(0.45*sum(s))
	one := func(k uint32) float32 { return float32((float32(b>>k&1023) - 511.5) * (0.42 / 295.0)) }
	return [3]float32{all + one(0), all + one(10), all + one(20)}
}

// dust is a speck in pixels.
type dust struct {
	x, y, r float32
	light   bool
	seed    float32
}

func (p *painter) dustIn(y int) []dust {
	if p.noSpecks {
		return nil
	}
	var list []dust
	for i, s := range specks {
		d := dust{float32(s.X * float64(p.w)), float32(s.Y * float64(p.h)), float32(s.R * float64(max(p.w, p.h))), s.light, float32(i)}
		if abs(float32(y)+0.5-d.y) < d.r {
			list = append(list, d)
		}
	}
	return list
}

// mark darkens or lightens v where the speck lies over pixel (x, y). It is a
// little longer than wide, and soft at its rim.
func (d *dust) mark(v *[3]float32, x, y int) {
	dx, dy := (float32(x)+0.5-d.x)/d.r, (float32(y)+0.5-d.y)/d.r
	if dx <= -1 || dx >= 1 {
		return
	}
	s, c := sincos(d.seed * 1.3)
	u, w := float32(dx*c)+float32(dy*s), float32(dy*c)-float32(dx*s)
	q := sqrt(float32(u*u) + float32(w*w*1.6) + float32(0.25*u*w))
	k := ease(1, 0.45, max(q, sqrt(float32(dx*dx)+float32(dy*dy))))
	for i := range v {
		if d.light {
			v[i] = mix(v[i], 0.85, k*0.45)
		} else {
			v[i] *= 1 - float32(0.52*k)
		}
	}
}
