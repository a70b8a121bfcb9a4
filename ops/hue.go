package ops

import (
	"math"
	"sync"

	"platemark/ops/colour"
	"platemark/ops/exact"
)

// hueSpace takes an RGB space's light to luminance and a plane of hue and chroma,
// and back.
//
// The plane is OKLab's (B. Ottosson, "A perceptual color space for image
// processing", 2020): with l, m, s the cube roots of its cones' light, the
// picture's white 1, OKLab's a and b are sums of u = l - m and v = s - m alone,
// so that a hue is a direction of u, v and the chroma its length. Luminance Y is
// CIE's, by the profile: with wl, wm and ws the cones' weights in it,
//
//	Y = wl (m + u)^3 + wm m^3 + ws (m + v)^3
//
// gives the one m that Y, u and v leave (solve). Equal light in all channels has
// u and v of exactly 0, and comes back as equal light.
type hueSpace struct {
	tones [3]*colour.Tone
	y     [3]float64    // luminance of red, green and blue light
	to    [3][3]float64 // light to cones
	from  [3][3]float64 // cones to light
	// Light to X, Y and Z as shares of white's, and back.
	toXYZ, fromXYZ [3][3]float64
	wl, ws         float64
}

// newHueSpace is false for a profile that isn't RGB by colorants and curves.
func newHueSpace(p *colour.Profile) (*hueSpace, bool) {
	if p == nil {
		return nil, false
	}
	makeRoots()
	s := &hueSpace{}
	var cones [3]float64
	var ok bool
	if s.to, s.from, cones, ok = p.Cones(); !ok {
		return nil, false
	}
	s.wl, s.ws = cones[0], cones[2]
	s.toXYZ, s.fromXYZ, _ = p.Shares()
	s.y = s.toXYZ[1]
	for i := range s.tones {
		s.tones[i] = p.Tone(i)
	}
	return s, true
}

func (s *hueSpace) luminance(r, g, b float64) float64 {
	return g + (float64(s.y[0]*(r-g)) + float64(s.y[2]*(b-g)))
}

// black is the luminance of code 0 in all channels.
func (s *hueSpace) black() float64 {
	return s.luminance(s.tones[0].Decode64()[0], s.tones[1].Decode64()[0], s.tones[2].Decode64()[0])
}

// light is the light of X, Y and Z as shares of white's.
func (s *hueSpace) light(x, y, z float64) (r, g, b float64) {
	m := &s.fromXYZ
	x, z = x-y, z-y
	return y + (float64(m[0][0]*x) + float64(m[0][2]*z)),
		y + (float64(m[1][0]*x) + float64(m[1][2]*z)),
		y + (float64(m[2][0]*x) + float64(m[2][2]*z))
}

// split gives m, u and v of a colour.
func (s *hueSpace) split(r, g, b float64) (m, u, v float64) {
	t := &s.to
	r, b = r-g, b-g
	l := cubeRoot(g + (float64(t[0][0]*r) + float64(t[0][2]*b)))
	m = cubeRoot(g + (float64(t[1][0]*r) + float64(t[1][2]*b)))
	c := cubeRoot(g + (float64(t[2][0]*r) + float64(t[2][2]*b)))
	return m, l - m, c - m
}

// join is the inverse of split.
func (s *hueSpace) join(m, u, v float64) (r, g, b float64) {
	l, c := m+u, m+v
	m = float64(float64(m*m) * m)
	l, c = float64(float64(l*l)*l)-m, float64(float64(c*c)*c)-m
	f := &s.from
	return m + (float64(f[0][0]*l) + float64(f[0][2]*c)),
		m + (float64(f[1][0]*l) + float64(f[1][2]*c)),
		m + (float64(f[2][0]*l) + float64(f[2][2]*c))
}

// What turns lines of hue (hueSpace.at), and how near to its luminance the search for
// a colour ends (hueSpace.solve).
const (
	hueTurn, hueTurnU, hueTurnV = 0.2, 0.28, 0.36
	solveRoom                   = 1e-3
)

// hueLine is a colour, from which others of its hue are made.
type hueLine struct {
	y, root float64 // luminance and its cube root
	over    float64 // 1/root
	m, u, v float64
	// What turns the line towards IPT, for u and v: see at.
	du, dv float64
	// m + wl u + ws v less root is near a2 k^2 + a3 k^3 for k times the chroma.
	a2, a3 float64
}

// line is the line of hue of a colour of luminance y, whose cube root is root.
func (s *hueSpace) line(r, g, b, y, root float64) (l hueLine) {
	l.y, l.root = y, root
	l.m, l.u, l.v = s.split(r, g, b)
	if l.root > 0 {
		l.over = 1 / l.root
		q := holdTo1s(float64(l.v * l.over))
		l.du = float64(float64(q*q) * hueTurn)
		l.dv = float64(q * (float64(hueTurnU*l.u) + float64(hueTurnV*l.v)))
		lu, sv := float64(s.wl*l.u), float64(s.ws*l.v)
		s1 := lu + sv
		l.a2 = float64((float64(s1*s1) - (float64(lu*l.u) + float64(sv*l.v))) * l.over)
		l.a3 = ((l.m + s1) - root) - l.a2
	}
	return l
}

// holdTo1s holds x to -1..1.
func holdTo1s(x float64) float64 {
	switch {
	case x > 1:
		return 1
	case x < -1:
		return -1
	}
	return x
}

// at is the light of the colour with luminance y1, its cube root root1, whose
// chroma is k times that of the line's colour.
//
// Where k is cbrt(y1/y) the light's colour stays and u and v are multiplied by k.
// Otherwise, with e = k / cbrt(y1/y), and q = v / cbrt(y) held to -1..1, they become
//
//	k u (1 - (1 - e^2) q^2 / 5)   and   k (v - (1 - e) q (0.28 u + 0.36 v))
//
// which turns OKLab's straight lines of hue by up to 3 degrees towards those of
// IPT (Ebner and Fairchild 1998): the two differ by over 4 where full yellows and
// greens lose their chroma, and so no hue of sRGB or opRGB is further than 3 from
// either. The two terms are our own, found by search.
func (s *hueSpace) at(l *hueLine, y1, root1, k float64) (r, g, b float64) {
	if l.u == 0 && l.v == 0 || l.root == 0 || root1 == 0 {
		return y1, y1, y1
	}
	c := float64(root1 * l.over)
	e := k / c
	e2 := float64(e * e)
	u := float64(float64(k*l.u) * (1 - float64((1-e2)*l.du)))
	v := float64(k * (l.v - float64((1-e)*l.dv)))
	return s.join(s.solve(y1, u, v, root1+float64(float64(c*e2)*(l.a2+float64(l.a3*e)))), u, v)
}

// solve gives m of the colour with luminance y and the differences u and v, from
// a guess of m + wl u + ws v: Halley's method on the cubic, ended by the first step from where Y is
// within 1e-3 of itself (each triples the digits), eight steps at most. Where u
// and v are too much for y, and there is no such colour, the result's light lies
// outside every space.
func (s *hueSpace) solve(y, u, v, guess float64) float64 {
	lu, sv := float64(s.wl*u), float64(s.ws*v)
	lu2, sv2 := float64(lu*u), float64(sv*v)
	s1, s2 := lu+sv, lu2+sv2
	s3 := float64(lu2*u) + float64(sv2*v)
	s11 := float64(s1 * s1)
	// x = m + s1 has no square: x^3 + p x + q = 0.
	p := float64(3 * (s2 - s11))
	q := ((s3 - y) - float64(float64(3*s1)*s2)) + float64(float64(2*s11)*s1)
	x := guess
	room := float64(y * solveRoom)
	for range 8 {
		x2 := float64(x * x)
		d := float64(3*x2) + p
		if d < x2 { // too near to where the cubic turns
			x = math.Sqrt(-p)
			x2 = -p
			d = float64(-2 * p)
		}
		f := float64((x2+p)*x) + q
		x -= float64(2*float64(f*d)) / (float64(2*float64(d*d)) - float64(6*float64(f*x)))
		if f <= room && f >= -room {
			break
		}
	}
	return x - s1
}

// gamutEdge tells how far a colour of luminance y lies on its way out of the
// space, as seen from the grey of the same luminance: 0 for that grey, 1 on the
// edge, more outside. It is the larger of ((max - y)/(1 - y))^3, by the largest of
// red, green and blue light, and 1 - cbrt(min/y), by the smallest: what keeps a
// channel from full light by little is seen less than what keeps one from dark.
func gamutEdge(r, g, b, y float64) float64 {
	up, down := max(1e-9, 1-y), max(1e-9, y)
	e := (max(r, g, b) - y) / up
	return max(float64(float64(e*e)*e), 1-cubeRoot(1-(y-min(r, g, b))/down))
}

// gamutKnee is how near to the edge a colour may come before it is held back.
const (
	gamutKnee  = 0.8
	kneeLight  = 0.9283 // below its cube root
	kneeShadow = (1 - gamutKnee) * (1 - gamutKnee) * (1 - gamutKnee)
)

// wellInside tells at little cost that gamutEdge is at most gamutKnee.
func wellInside(r, g, b, y float64) bool {
	hi, lo := y+float64(kneeLight*(1-y)), float64(kneeShadow*y)
	return r <= hi && g <= hi && b <= hi && r >= lo && g >= lo && b >= lo
}

// within holds a colour of luminance y, 0..1, back from the edge of the space:
// chroma is led towards 0 at the same luminance and hue. was is the gamutEdge of
// the colour before the step that moved it; 1 holds back only what lies outside.
// With limit the larger of gamutKnee and was, was up to 1, a colour whose
// gamutEdge x is up to limit stays; above, it comes to
//
//	limit + (1 - limit) (x - limit) / (1 + 8 x - 9 limit)
//
// which is at most an eighth of the way that was left, so that no colour is driven onto
// the edge, and one that doesn't move outward isn't touched. Its chroma is searched
// between 0 and what it was, in ten steps at most: by the secants of both bounds
// through the last two tries, or half way where these leave what is between, until
// they ask for less than gamutNear. The rest goes in light, to the aim exactly, on
// the straight line through the grey.
func (s *hueSpace) within(r, g, b, y, was float64) (float64, float64, float64) {
	var t gamutSearch
	if !t.start(r, g, b, y, was) {
		return r, g, b
	}
	root := cubeRoot(y)
	l := s.line(r, g, b, y, root)
	for z, more := t.next(); more; z, more = t.next() {
		r, g, b = s.at(&l, y, root, z)
		t.tried(r, g, b, z)
	}
	return t.end(r, g, b)
}

// gamutSearch is a colour's search for its chroma: see hueSpace.within.
type gamutSearch struct {
	y, up, down float64 // 1 over the room from grey to the aim, upwards and downwards
	in, out     float64 // shares of the chroma that stay below the aim, and that don't
	last, try   gamutTry
	tries       int
}

// start is false for a colour that stays.
func (t *gamutSearch) start(r, g, b, y, was float64) bool {
	now := gamutEdge(r, g, b, y)
	limit := max(gamutKnee, min(1, was))
	if !(now > limit) {
		return false
	}
	aim := limit + float64((1-limit)*(now-limit))/((1-limit)+float64(8*(now-limit)))
	rest := 1 - aim
	*t = gamutSearch{y: y, out: 1, try: gamutTry{0, -1, -1},
		up: 1 / max(1e-12, float64(cubeRoot(aim)*(1-y))), down: 1 / max(1e-12, float64(y*(1-float64(float64(rest*rest)*rest))))}
	t.tried(r, g, b, 1)
	return true
}

// tried notes what the share z of the chroma gives.
func (t *gamutSearch) tried(r, g, b, z float64) {
	hi, lo := extremes3(r, g, b)
	t.last, t.try = t.try, gamutTry{z, float64((hi-t.y)*t.up) - 1, float64((t.y-lo)*t.down) - 1}
}

// next is the share to try next, or false once the last is near enough.
func (t *gamutSearch) next() (z float64, more bool) {
	if t.tries == 10 {
		return 0, false
	}
	t.tries++
	try := &t.try
	if try.over > 0 || try.under > 0 {
		t.out = try.z
	} else {
		t.in = try.z
	}
	step := try.z - t.last.z
	step = max(float64(try.over*step)/(try.over-t.last.over), float64(try.under*step)/(try.under-t.last.under))
	if step < gamutNear && step > -gamutNear {
		return 0, false
	}
	z = try.z - step
	if !(z > t.in && z < t.out) {
		z = (t.in + t.out) * 0.5
	}
	return z, true
}

// end brings the last colour tried to the aim.
func (t *gamutSearch) end(r, g, b float64) (float64, float64, float64) {
	hi, lo := extremes3(r, g, b)
	y, z := t.y, min(2, 1/max(float64((hi-t.y)*t.up), float64((t.y-lo)*t.down)))
	return y + float64(z*(r-y)), y + float64(z*(g-y)), y + float64(z*(b-y))
}

// nearest is what the light of a colour of luminance y, 0..1, is multiplied by
// before it is brought into the space by less chroma, so that it comes near to the
// colour of the space that differs least from it at its hue (hue-preserving minimum
// difference, CIE 156:2004), in cbrt(y) and twice OKLab's chroma: lightness counts
// half, as in CMC(2:1) (ISO 105-J03), so that full colours stay full. A colour no
// channel of which is above 1 once its darkest is brought to 0 keeps its luminance;
// for another it is the point nearest on the straight line between the two colours
// that reach 1 by less light alone and by less chroma alone, that taken in light. The
// approximation is our own.
func (s *hueSpace) nearest(r, g, b, y float64) float64 {
	hi, lo := extremes3(r, g, b)
	up, held := hi-y, 1.0
	if lo < 0 {
		held = y / (y - lo)
		up = float64(held * up)
	}
	if up <= 1-y || y >= 1 {
		return 1
	}
	root := cubeRoot(y)
	_, u, v := s.split(r, g, b)
	c := float64(2 * float64(held*math.Sqrt(okChroma2(u, v))))
	less := 1 - 1/cubeRoot(y+up) // what either loses by less light, as a share
	l := float64(less * root)
	d := float64(((1 - (1-y)/up) - less) * c) // what less chroma alone loses more
	t := (float64(l*l) - float64(float64(less*c)*d)) / (float64(l*l) + float64(d*d))
	k := 1 - float64((1-max(0, min(1, t)))*less)
	return float64(float64(k*k) * k)
}

// gamutNear is the share of the chroma at which the search ends.
const gamutNear = 0.0005

// gamutTry is a share of the chroma, and how far the colour then lies past the
// aim, upwards and downwards, in shares of the room from grey to it.
type gamutTry struct{ z, over, under float64 }

// extremes3 is the largest and the smallest of three numbers.
func extremes3(a, b, c float64) (hi, lo float64) {
	if a < b {
		a, b = b, a
	}
	switch {
	case c > a:
		return c, b
	case c < b:
		return a, c
	}
	return a, b
}

// The rows of OKLab's second matrix for a and b, less the middle cone.
const (
	okAU, okAV = 1.9779984951, 0.4505937099
	okBU, okBV = 0.0259040371, 0.8086757660
)

// okPlane is OKLab's a and b.
func okPlane(u, v float64) (a, b float64) {
	return float64(okAU*u) + float64(okAV*v), float64(okBU*u) - float64(okBV*v)
}

// okChroma2 is the square of OKLab's chroma.
func okChroma2(u, v float64) float64 {
	a, b := okPlane(u, v)
	return float64(a*a) + float64(b*b)
}

// The root table has rootPieces straight pieces to an octave from 2^-26 to 2. Those
// of the first rootDown octaves are those of as many more, at 16 times less.
const (
	rootShift  = 52 - 6
	rootPieces = 1 << 6
	rootFirst  = (1023 - 26) << 6
	rootCount  = 27 * rootPieces
	rootDown   = 12
)

// rootGuess is the cube root at the start of a piece and its mean slope.
type rootGuess struct{ at, slope float64 }

// rootTable is there once makeRoots was called, as all do whose steps take roots.
var rootTable *[rootCount + 1]rootGuess

// makeRoots makes it; the last entry, after the table, is for what lies beyond it.
var makeRoots = sync.OnceFunc(func() {
	t := new([rootCount + 1]rootGuess)
	t[rootCount] = rootGuess{math.NaN(), math.NaN()}
	for i := rootDown * rootPieces; i < rootCount; i++ {
		lo := math.Float64frombits(uint64(rootFirst+i) << rootShift)
		hi := math.Float64frombits(uint64(rootFirst+i+1) << rootShift)
		a, b := exact.Cbrt(exact.Float(lo)), exact.Cbrt(exact.Float(hi))
		t[i] = rootGuess{a.Float64(), b.Sub(a).Quo(exact.Float(hi - lo)).Float64()}
	}
	for i := range rootDown * rootPieces {
		g := t[i+rootDown*rootPieces]
		t[i] = rootGuess{float64(g.at * 0x1p-4), float64(g.slope * 0x1p8)}
	}
	rootTable = t
})

// cubeRoot is odd, and 0 for what is below 2^-1000 in size. The root is a straight
// piece of the table (relative error below 7e-6) and one step of Halley's method,
// which triples the digits; beyond the table, that of x times a power of 8. It
// divides once for every four times that the root of CIELAB's in package colour
// does, on whose last bits frozen transforms depend; so there are two.
func cubeRoot(x float64) float64 {
	b := math.Float64bits(x) >> rootShift
	i := b - rootFirst
	if i >= rootCount {
		return farRoot(x)
	}
	g := &rootTable[i]
	y := g.at + float64(g.slope*(x-math.Float64frombits(b<<rootShift)))
	c := float64(float64(y*y) * y)
	x2 := x + x
	return float64(y * ((c + x2) / ((c + c) + x)))
}

func farRoot(x float64) float64 {
	switch {
	case x <= -0x1p-1000:
		return -cubeRoot(-x)
	case !(x >= 0x1p-1000):
		return 0
	case x < 1:
		return cubeRoot(x*0x1p12) * 0x1p-4
	}
	return cubeRoot(min(x, math.MaxFloat64)*0x1p-12) * 0x1p4
}

// labF is CIELAB's f (CIE 15:2004, 8.2.1): the cube root above (6/29)^3, a line
// below.
func labF(x float64) float64 {
	if !(x > colour.LabKnee) {
		return colour.LabLine(x)
	}
	return cubeRoot(x)
}

// labOfLight is L* of the light of a grey, 0..1.
func labOfLight(v float64) float64 { return float64(116*labF(v)) - 16 }

// rootOf is the cube root of a luminance whose labF is f.
func rootOf(y, f float64) float64 {
	if y > colour.LabKnee {
		return f
	}
	return cubeRoot(y)
}

// lightOfLab is the inverse of labOfLight.
func lightOfLab(l float64) float64 { return colour.LabInv((l + 16) / 116) }
