package marsh

import "math"

// hash mixes three numbers into 32 even bits.
func hash(x, y int32, seed uint32) uint32 {
	h := uint32(x)*0x9e3779b1 ^ uint32(y)*0x85ebca77 ^ seed*0xc2b2ae3d
	h ^= h >> 15
	h *= 0x2c1b3c6d
	h ^= h >> 12
	h *= 0x297a2d39
	h ^= h >> 15
	return h
}

// unit is the hash as a number from 0 to 1, 1 excluded.
func unit(h uint32) float32 { return float32(float32(h>>8) * (1.0 / (1 << 24))) }

// dice is a sequence of even numbers made from a seed.
type dice struct {
	seed uint32
	n    int32
}

func (d *dice) roll() float32 {
	d.n++
	return unit(hash(d.n, 7, d.seed))
}

// between is an even number from a to b.
func (d *dice) between(a, b float32) float32 { return mix(a, b, d.roll()) }

// side is -1 for a share p of all rolls, else 1.
func (d *dice) side(p float32) float32 {
	if d.roll() < p {
		return -1
	}
	return 1
}

// bell is from -1 to 1, the middle more often.
func (d *dice) bell() float32 { return float32((d.roll() + d.roll() + d.roll() - 1.5) * (1 / 1.5)) }

// cell is a remembered square of the noise lattice: its four corners.
type cell struct {
	x, y       int32
	a, b, c, d float32
}

// field is value noise on a square lattice. It remembers the last cell of
// each octave, since neighbouring pixels mostly share it; what it gives
// depends on the seed and the place alone. A field serves one goroutine.
type field struct {
	seed  uint32
	cells [8]cell
}

func newField(seed uint32) *field {
	f := &field{seed: seed}
	for i := range f.cells {
		f.cells[i].x = math.MinInt32
	}
	return f
}

// at gives octave o's noise at (x, y), 0 to 1.
func (f *field) at(o int, x, y float32) float32 {
	ix, iy := int32(x), int32(y)
	if x < float32(ix) {
		ix--
	}
	if y < float32(iy) {
		iy--
	}
	c := &f.cells[o]
	if c.x != ix || c.y != iy {
		s := f.seed + uint32(o)*101
		*c = cell{ix, iy, unit(hash(ix, iy, s)), unit(hash(ix+1, iy, s)),
			unit(hash(ix, iy+1, s)), unit(hash(ix+1, iy+1, s))}
	}
	u, v := fade(x-float32(ix)), fade(y-float32(iy))
	return mix(mix(c.a, c.b, u), mix(c.c, c.d, u), v)
}

// fade is 6t⁵ − 15t⁴ + 10t³, whose first and second derivatives are 0 at
// both ends.
func fade(t float32) float32 {
	return float32(float32(t*t*t) * mad(t, mad(t, 6, -15), 10))
}

// fractal sums n octaves, each finer by about two and turned, with weights
// falling by gain; 0 to 1 with a mean of one half.
func (f *field) fractal(x, y float32, n int, gain float32) float32 {
	var sum, all float32
	amp := float32(1)
	for o := 0; o < n; o++ {
		sum += float32(amp * f.at(o, x, y))
		all += amp
		amp *= gain
		x, y = float32(1.62*x)-float32(1.21*y)+17.3, float32(1.21*x)+float32(1.62*y)+5.7
	}
	return sum / all
}
