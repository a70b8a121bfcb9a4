package colour

import "math"

// Lab is a colour in CIELAB under the connection space's D50: L* 0..100 (a
// little above for lights brighter than white), a* and b* unbounded.
type Lab struct{ L, A, B float64 }

// PCSWhite is the connection space's D50 as X, Y, Z: the numbers that profiles
// store (63190, 65536 and 54061 of 65536).
var PCSWhite = [3]float64{63190.0 / 65536, 1, 54061.0 / 65536}

// XYZ is the colour's tristimulus values, white at Y = 1 (CIE 15:2004, 8.2.1).
func (c Lab) XYZ() [3]float64 {
	v := c.light()
	for i := range v {
		v[i] = float64(v[i] * PCSWhite[i])
	}
	return v
}

// LabFromXYZ is the inverse of Lab.XYZ.
func LabFromXYZ(xyz [3]float64) Lab {
	for i := range xyz {
		xyz[i] /= PCSWhite[i]
	}
	return labOf(xyz)
}

// Chroma is C*ab, the distance from grey.
func (c Lab) Chroma() float64 {
	return math.Sqrt(float64(c.A*c.A) + float64(c.B*c.B))
}

// DeltaE76 is the distance of two colours in CIELAB (ISO/CIE 11664-4).
func DeltaE76(a, b Lab) float64 {
	l, p, q := a.L-b.L, a.A-b.A, a.B-b.B
	return math.Sqrt(float64(l*l) + float64(p*p) + float64(q*q))
}

// CIELAB's f is the cube root above LabKnee and LabLine below (CIE 15:2004,
// 8.2.1). LabBase is where it begins.
const (
	LabKnee  = 216.0 / 24389 // (6/29)^3
	LabBase  = 16.0 / 116
	LabSlope = 24389.0 / 3132
)

// LabLine is CIELAB's f for t at or below LabKnee.
func LabLine(t float64) float64 { return float64(t*LabSlope) + LabBase }

// LabInv is the inverse of CIELAB's f.
func LabInv(f float64) float64 {
	if f > 6.0/29 {
		return float64(float64(f*f) * f)
	}
	return float64((f - LabBase) / LabSlope)
}

// labOf takes X, Y, Z as shares of white's to Lab.
func labOf(v [3]float64) Lab {
	fx, fy, fz := labF(v[0]), labF(v[1]), labF(v[2])
	return Lab{float64(116*fy) - 16, float64(500 * (fx - fy)), float64(200 * (fy - fz))}
}

// light is the inverse of labOf: X, Y, Z as shares of white's.
func (c Lab) light() [3]float64 {
	fy := float64((c.L + 16) / 116)
	return [3]float64{LabInv(fy + float64(c.A/500)), LabInv(fy), LabInv(fy - float64(c.B/200))}
}

func labF(t float64) float64 {
	if t > LabKnee {
		return cbrt(t)
	}
	return LabLine(t)
}

// cbrt is the cube root of a normal x > 0, within two units in the last place;
// its bits are the same everywhere. A third of the exponent as a first guess,
// two steps of Halley's method (cubic convergence), one of Newton's.
func cbrt(x float64) float64 {
	y := math.Float64frombits(math.Float64bits(x)/3 + 0x2a9f7893<<32)
	for range 2 {
		c := float64(float64(y*y) * y)
		y = float64(y * ((c + float64(2*x)) / (float64(2*c) + x)))
	}
	return y - float64((y-float64(x/float64(y*y)))/3)
}
