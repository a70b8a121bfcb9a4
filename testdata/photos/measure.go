package photos

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// light is that of a code of sRGB (IEC 61966-2-1).
func light(code uint16) float64 {
	x := float64(code) / 65535
	if x <= 0.04045 {
		return x / 12.92
	}
	return math.Pow((x+0.055)/1.055, 2.4)
}

// okLab is OKLab (B. Ottosson, 2020) of sRGB's codes.
func okLab(rgb []uint16) (l, a, b float64) {
	v := [3]float64{light(rgb[0]), light(rgb[1]), light(rgb[2])}
	p := math.Cbrt(0.4122214708*v[0] + 0.5363325363*v[1] + 0.0514459929*v[2])
	q := math.Cbrt(0.2119034982*v[0] + 0.6806995451*v[1] + 0.1073969566*v[2])
	r := math.Cbrt(0.0883024619*v[0] + 0.2817188376*v[1] + 0.6299787005*v[2])
	return 0.2104542553*p + 0.7936177850*q - 0.0040720468*r,
		1.9779984951*p - 2.4285922050*q + 0.4505937099*r,
		0.0259040371*p + 0.7827717662*q - 0.8086757660*r
}

// Change is what became of a picture's colours, see Compare.
type Change struct{ Clipped, Hue, Less, More float64 }

func (c Change) String() string {
	return fmt.Sprintf("newly clipped %.2f %%, hue %.1f deg, saturation %+.0f..%+.0f %%", c.Clipped, c.Hue, c.Less, c.More)
}

// Compare compares a picture in sRGB before and after: the share of pixels that have
// a channel at 0 or 255 of 8 bits and hadn't, in %; the 99th percentile of the turn
// of OKLab hue, in degrees, and the 1st and 99th of the change of its saturation C/L,
// in %, of pixels with L and C enough to be seen (both 0.15, before 0.03).
func Compare(in, out []uint16) (c Change) {
	at := func(d []uint16) bool {
		return min(d[0], d[1], d[2]) < 129 || max(d[0], d[1], d[2]) > 65535-129
	}
	var hues, sats []float64
	clipped := 0
	for i := 0; i < len(in); i += 3 {
		a, b := in[i:i+3], out[i:i+3]
		if at(b) && !at(a) {
			clipped++
		}
		l, x, y := okLab(a)
		m, u, v := okLab(b)
		c, d := math.Hypot(x, y), math.Hypot(u, v)
		if min(l, m) < 0.15 || c < 0.03 {
			continue
		}
		h := math.Abs(math.Atan2(v, u)-math.Atan2(y, x)) * 180 / math.Pi
		hues = append(hues, min(h, 360-h))
		sats = append(sats, 100*(d/m)/(c/l)-100)
	}
	c.Clipped = 300 * float64(clipped) / float64(len(in))
	if n := len(hues); n > 0 {
		slices.Sort(hues)
		slices.Sort(sats)
		c.Hue, c.Less, c.More = hues[n*99/100], sats[n/100], sats[n*99/100]
	}
	return c
}

// Apart is the mean distance in OKLab, times 100, between two pictures in sRGB, of
// the pixels in which a third differs from the first.
func Apart(a, b, where []uint16) float64 {
	sum, n := 0.0, 0.0
	for i := 0; i < len(a); i += 3 {
		if slices.Equal(a[i:i+3], where[i:i+3]) {
			continue
		}
		l, x, y := okLab(a[i : i+3])
		m, u, v := okLab(b[i : i+3])
		sum, n = sum+100*math.Sqrt((l-m)*(l-m)+(x-u)*(x-u)+(y-v)*(y-v)), n+1
	}
	return sum / max(1, n)
}

// Noise is the deviation from a plane, of 255, of each of the 24 flattest squares
// of 40 pixels of a picture w pixels wide that aren't quite even, and of the same
// in others.
func Noise(w int, pix []uint16, others ...[]uint16) (noise [][]float64) {
	const n = 40
	deviation := func(pix []uint16, x0, y0 int) float64 {
		var s, sx, sy, ss float64
		for y := range n {
			for x := range n {
				v := float64(pix[3*((y0+y)*w+x0+x)+1])
				s, ss = s+v, ss+v*v
				sx, sy = sx+v*(float64(x)-19.5), sy+v*(float64(y)-19.5)
			}
		}
		const m, q = n * n, n * n * (n*n - 1) / 12.0 // q is the sum of (x - 19.5)^2
		return math.Sqrt(max(0, ss-s*s/m-sx*sx/q-sy*sy/q)/m) / 257
	}
	for y := n; y <= len(pix)/3/w-2*n; y += n {
		for x := n; x <= w-2*n; x += n {
			if d := deviation(pix, x, y); d > 0.3 {
				f := []float64{d}
				for _, o := range others {
					f = append(f, deviation(o, x, y))
				}
				noise = append(noise, f)
			}
		}
	}
	slices.SortFunc(noise, func(a, b []float64) int { return cmp.Compare(a[0], b[0]) })
	return noise[:min(24, len(noise))]
}

// WidestBand is the longest run of columns of one colour from top to bottom of a
// picture in red, green and blue, in pixels.
func WidestBand[T byte | uint16](rows [][]T) int {
	run, most := 0, 0
	for x := 0; x < len(rows[0]); x += 3 {
		same := !slices.ContainsFunc(rows, func(r []T) bool { return !slices.Equal(r[x:x+3], rows[0][x:x+3]) })
		if same && x > 0 && slices.Equal(rows[0][x:x+3], rows[0][x-3:x]) {
			run++
		} else {
			run = 1
		}
		most = max(most, run)
	}
	return most
}

// Halo is by how much greys of sRGB come to lie outside the range of those there
// were, in L* (CIE 15) of 9 and more.
func Halo(in, out []uint16) float64 {
	l := func(code uint16) float64 { return 116*math.Cbrt(light(code)) - 16 }
	return max(l(slices.Max(out))-l(slices.Max(in)), l(slices.Min(in))-l(slices.Min(out)))
}
