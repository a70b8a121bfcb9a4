package colour

import (
	"math"

	"platemark/ops/exact"
)

// lut is a table transform of a profile (lut8, lut16, lutAToB, lutBToA;
// ICC.1:2010, 10.10 to 10.13), all in one form. Values run in codes, 0..65535
// for the 0..1 of the standard, as float64 without rounding between the parts.
//
//	forward:  a, table, m, matrix, b
//	backward: b, matrix, m, table, a
//
// Absent parts leave values as they are. Every curve and the table hold what
// comes in to 0..65535, and the result is held so too.
type lut struct {
	in, out int
	forward bool
	a, m, b []lutCurve
	matrix  *[12]float64 // rows of 3, then the 3 offsets in codes
	grid    [4]int
	step    [4]float64 // grid points a code; tableSize sets them
	table   []uint16   // the first input varies slowest, outputs interleaved
	linear  bool       // read multilinearly; else tetrahedrally
	pcs     pcsCode
}

// pcsCode is how a connection space's colours are written as codes.
type pcsCode int

const (
	pcsXYZ  pcsCode = iota // 32768 is 1
	pcsLab                 // 65535 is L* 100; 257 a step of a*, b* (v4, and lut8)
	pcsLab2                // 65280 (FF00) is L* 100; 256 a step (lut16, in v4 too)
)

// pcsNumbers are the codes a unit, and what is added first.
var pcsNumbers = [...]struct{ scale, add [3]float64 }{
	pcsXYZ:  {scale: [3]float64{31595, 32768, 27030.5}},
	pcsLab:  {[3]float64{655.35, 257, 257}, [3]float64{0, 128, 128}},
	pcsLab2: {[3]float64{652.8, 256, 256}, [3]float64{0, 128, 128}},
}

// encode turns X, Y, Z as shares of white's, or Lab, into codes.
func (c pcsCode) encode(v *[4]float64) {
	n := &pcsNumbers[c]
	for i := range n.scale {
		v[i] = float64((v[i] + n.add[i]) * n.scale[i])
	}
}

func (c pcsCode) decode(v *[4]float64) {
	n := &pcsNumbers[c]
	for i := range n.scale {
		v[i] = float64(v[i]/n.scale[i]) - n.add[i]
	}
}

// hold16 clips to 0..65535; NaN gives 0.
func hold16(x float64) float64 {
	if !(x > 0) {
		return 0
	}
	if x > 65535 {
		return 65535
	}
	return x
}

// lutCurve is one channel's curve: entries evenly spaced with straight lines
// between, or a formula.
type lutCurve struct {
	entries []uint16
	step    float64 // entries a code
	formula *curve  // where entries is nil
}

// at is the curve at code x, 0..65535.
func (c *lutCurve) at(x float64) float64 {
	x = hold16(x)
	if c.entries == nil {
		if c.formula == nil {
			return x
		}
		return float64(65535 * c.formula.at(float64(x/65535)))
	}
	p := float64(x * c.step)
	i := min(int(p), len(c.entries)-2)
	lo, hi := float64(c.entries[i]), float64(c.entries[i+1])
	return lo + float64((p-float64(i))*(hi-lo))
}

// at evaluates a formula at any 0 <= x <= 1, held to 0..1.
func (c *curve) at(x float64) float64 {
	const unit = 1.0 / one
	base := float64(float64(c.a)*unit*x) + float64(float64(c.b)*unit)
	straight := x < float64(float64(c.d)*unit)
	if c.clip {
		straight = base < 0
	}
	var y float64
	if straight {
		y = float64(float64(c.c)*unit*x) + float64(float64(c.f)*unit)
	} else {
		y = power64(base, float64(float64(c.g)*unit)) + float64(float64(c.e)*unit)
	}
	if !(y > 0) {
		return 0
	}
	return math.Min(y, 1)
}

// power64 is the float64 nearest to x^g; 0 for x at or below 0 (infinite where g
// is below 0 too, then held).
func power64(x, g float64) float64 {
	switch {
	case g == 1:
		return math.Max(x, 0)
	case !(x > 0):
		return 0
	case x > 1e-200 && g > 0 && g <= maxQuick:
		if y, ok := quickPow(x, 1, g); ok && certain(y, float64(y.Hi*powerError)) {
			return y.Hi
		}
	}
	y := exact.Pow(exact.Float(x), exact.Float(g)).Hi
	if y != y {
		return 0
	}
	return math.Min(y, 1e6)
}

// eval runs the whole transform on codes, in place.
func (l *lut) eval(v *[4]float64) {
	if l.forward {
		applyCurves(l.a, v)
		l.lookup(v)
		applyCurves(l.m, v)
		l.applyMatrix(v)
		applyCurves(l.b, v)
	} else {
		applyCurves(l.b, v)
		l.applyMatrix(v)
		applyCurves(l.m, v)
		l.lookup(v)
		applyCurves(l.a, v)
	}
	for i := range l.out {
		v[i] = hold16(v[i])
	}
}

func applyCurves(c []lutCurve, v *[4]float64) {
	for i := range c {
		v[i&3] = c[i].at(v[i&3])
	}
}

func (l *lut) applyMatrix(v *[4]float64) {
	m := l.matrix
	if m == nil {
		return
	}
	x, y, z := v[0], v[1], v[2]
	for r := range 3 {
		v[r] = float64(m[3*r]*x) + float64(m[3*r+1]*y) + float64(m[3*r+2]*z) + m[9+r]
	}
}

// lookup reads the table.
func (l *lut) lookup(v *[4]float64) {
	if l.table == nil {
		return
	}
	var at [4]int
	var f [4]float64
	for i := range l.in {
		p := float64(hold16(v[i]) * l.step[i])
		at[i] = min(int(p), l.grid[i]-2)
		f[i] = p - float64(at[i])
	}
	switch l.in {
	case 1:
		t := l.table[at[0]*l.out:]
		for k := range l.out {
			v[k] = lerp(t[k], t[k+l.out], f[0])
		}
	case 3:
		base := ((at[0]*l.grid[1]+at[1])*l.grid[2] + at[2]) * l.out
		if l.linear {
			l.trilinear(v, base, f[0], f[1], f[2])
		} else {
			l.tetrahedral(v, base, l.grid[1], l.grid[2], f[0], f[1], f[2])
		}
	case 4:
		size := l.grid[1] * l.grid[2] * l.grid[3]
		base := (at[0]*size + (at[1]*l.grid[2]+at[2])*l.grid[3] + at[3]) * l.out
		var w [4]float64
		l.tetrahedral(v, base, l.grid[2], l.grid[3], f[1], f[2], f[3])
		l.tetrahedral(&w, base+size*l.out, l.grid[2], l.grid[3], f[1], f[2], f[3])
		for k := range l.out {
			v[k] += float64(f[0] * (w[k] - v[k]))
		}
	}
}

func lerp(a, b uint16, f float64) float64 {
	lo := float64(a)
	return lo + float64(f*(float64(b)-lo))
}

// tetrahedral reads a cell of a table of three inputs: the six tetrahedra
// along the cell's diagonal, each step in the order of falling fractions.
func (l *lut) tetrahedral(v *[4]float64, base, g1, g2 int, f0, f1, f2 float64) {
	s2 := l.out
	s1 := g2 * s2
	s0 := g1 * s1
	all := s0 + s1 + s2
	// p, q: offsets after the first and the second step; x >= y >= z.
	var p, q int
	x, y, z := f0, f1, f2
	switch {
	case f0 >= f1 && f1 >= f2:
		p, q = s0, s0+s1
	case f0 >= f2 && f2 >= f1:
		p, q, y, z = s0, s0+s2, f2, f1
	case f2 >= f0 && f0 >= f1:
		p, q, x, y, z = s2, s0+s2, f2, f0, f1
	case f1 >= f0 && f0 >= f2:
		p, q, x, y = s1, s0+s1, f1, f0
	case f1 >= f2 && f2 >= f0:
		p, q, x, y, z = s1, s1+s2, f1, f2, f0
	default:
		p, q, x, z = s2, s1+s2, f2, f0
	}
	t := l.table[base : base+all+l.out]
	for k := range min(l.out, 4) {
		c0, c1, c2, c3 := float64(t[k]), float64(t[k+p]), float64(t[k+q]), float64(t[k+all])
		v[k] = c0 + float64(x*(c1-c0)) + float64(y*(c2-c1)) + float64(z*(c3-c2))
	}
}

// trilinear reads a cell along the third input, then the second, then the
// first.
func (l *lut) trilinear(v *[4]float64, base int, f0, f1, f2 float64) {
	s2 := l.out
	s1 := l.grid[2] * s2
	s0 := l.grid[1] * s1
	t := l.table[base : base+s0+s1+s2+l.out]
	t1, u0, u1 := t[s1:], t[s0:], t[s0+s1:]
	for k := range min(l.out, 4) {
		a := lerp(t[k], t[k+s2], f2)
		b := lerp(t1[k], t1[k+s2], f2)
		a += float64(f1 * (b - a))
		c := lerp(u0[k], u0[k+s2], f2)
		d := lerp(u1[k], u1[k+s2], f2)
		c += float64(f1 * (d - c))
		v[k] = a + float64(f0*(c-a))
	}
}
