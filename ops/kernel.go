package ops

import (
	"slices"

	"platemark/ops/exact"
)

// kernel is a resampling kernel: h(d), 0 from support onwards.
type kernel struct {
	name    string
	support int64
	cubic   *[2][4]int64 // numerators of the two pieces, highest power first
	over    int64        // their common denominator
}

// The kernels by their published definitions. The cubic pieces are
// Mitchell and Netravali's, "Reconstruction Filters in Computer Graphics",
// Computer Graphics 22(4), 1988, equation 8, for (B, C) = (0, 1/2), which is
// R. G. Keys' kernel with a = -1/2 (IEEE Trans. ASSP 29(6), 1981), (1/3, 1/3)
// and (1, 0), the cubic B-spline. Lanczos n is sinc(d) sinc(d/n) for |d| < n
// (K. Turkowski, "Filters for Common Resampling Tasks", Graphics Gems, 1990).
// Linear is 1 - |d|.
var kernels = []kernel{
	{name: "nearest"},
	{name: "linear", support: 1},
	{name: "cubic", support: 2, cubic: &[2][4]int64{{9, -15, 0, 6}, {-3, 15, -24, 12}}, over: 6},
	{name: "mitchell", support: 2, cubic: &[2][4]int64{{21, -36, 0, 16}, {-7, 36, -60, 32}}, over: 18},
	{name: "b-spline", support: 2, cubic: &[2][4]int64{{3, -6, 0, 4}, {-1, 6, -12, 8}}, over: 6},
	{name: "lanczos2", support: 2},
	{name: "lanczos3", support: 3},
	{name: "lanczos4", support: 4},
}

// kernelNamed is a kernel of the operation's parameter.
func kernelNamed(name string) kernel {
	return kernels[slices.IndexFunc(kernels, func(k kernel) bool { return k.name == name })]
}

// at is h(num/den) for num >= 0, den > 0, to about 100 bits of h(0).
func (k *kernel) at(num, den int64) exact.DD {
	if num >= k.support*den {
		return exact.DD{}
	}
	x := exact.Frac(num, den)
	one := exact.Whole(1)
	switch {
	case k.cubic != nil:
		c := k.cubic[0]
		if num >= den {
			c = k.cubic[1]
		}
		y := exact.Whole(c[0])
		for _, v := range c[1:] {
			y = y.Mul(x).Add(exact.Whole(v))
		}
		return y.Quo(exact.Whole(k.over))
	case k.name == "linear":
		return one.Sub(x)
	case num == 0:
		return one
	}
	// n sin(pi x) sin(pi x/n) / (pi x)^2
	n := k.support
	y := exact.Sinpi(x).Mul(exact.Sinpi(exact.Frac(num, n*den))).Mul(exact.Whole(n))
	px := x.Mul(exact.Pi)
	return y.Quo(px.Mul(px))
}

// axis makes the weights that bring m samples to n. Output i has its centre
// at ((2i+1)m - n) / 2n in input index coordinates; the kernel is widened by
// m/n where that is above 1; taps outside the picture are dropped and the rest
// are divided by their sum. Each weight is rounded once to float32.
func (k *kernel) axis(m, n int) *axis {
	ax := newAxis(n)
	if k.support == 0 {
		o := ax.add([]float32{1})
		for i := range n {
			ax.start[i], ax.off[i], ax.count[i] = int32(nearest(m, n, i)), o, 1
		}
		return ax.done()
	}
	den := 2 * int64(n)
	scale := 2 * int64(max(m, n)) // a distance of d/den input samples is d/scale of the kernel
	phases := n / gcd(m, n)
	type seen struct {
		skip, off, count int32
		ok               bool
	}
	cache := make([]seen, phases)
	var w []float32
	var h []exact.DD
	for i := range n {
		num := int64(2*i+1)*int64(m) - int64(n)
		first := floorDiv(num-k.support*scale, den) + 1
		last := ceilDiv(num+k.support*scale, den) // exclusive
		inside := first >= 0 && last <= int64(m)
		c := &cache[i%phases]
		if inside && c.ok {
			ax.start[i], ax.off[i], ax.count[i] = int32(first)+c.skip, c.off, c.count
			continue
		}
		lo, hi := max(first, 0), min(last, int64(m))
		h = h[:0]
		for j := lo; j < hi; j++ {
			d := j*den - num
			if d < 0 {
				d = -d
			}
			h = append(h, k.at(d, scale))
		}
		w = unit(w[:0], h)
		// Taps of weight 0 at the ends are no taps.
		for len(w) > 1 && w[0] == 0 {
			w, lo = w[1:], lo+1
		}
		for len(w) > 1 && w[len(w)-1] == 0 {
			w = w[:len(w)-1]
		}
		ax.start[i], ax.off[i], ax.count[i] = int32(lo), ax.add(w), int32(len(w))
		if inside {
			*c = seen{int32(lo - first), ax.off[i], ax.count[i], true}
		}
	}
	return ax.done()
}

// unit appends the values divided by their sum, each rounded once.
func unit(w []float32, h []exact.DD) []float32 {
	sum := exact.DD{}
	for a, b := 0, len(h)-1; a <= b; a, b = a+1, b-1 {
		if a == b {
			sum = sum.Add(h[a])
		} else {
			sum = sum.Add(h[a].Add(h[b]))
		}
	}
	for _, v := range h {
		w = append(w, v.Quo(sum).Float32())
	}
	return w
}

// nearest is the input sample whose centre is nearest to that of output i of
// n; of two equally near ones the one nearer to the picture's middle, and in
// the very middle the first.
func nearest(m, n, i int) int {
	num := int64(2*i+1) * int64(m) // twice n times the centre's distance from the left edge
	den := 2 * int64(n)
	j := num / den
	if num%den == 0 && 2*i+1 >= n {
		j--
	}
	return int(j)
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
