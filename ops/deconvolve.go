package ops

import (
	"image"
	"math/big"

	"platemark/ops/exact"
)

// deconvolveV1 takes back a known blur of luminance, held to what lies around.
//
// t is the kernel of inverseOf, and D = the sum of t times Y around a pixel. V is the
// variance, in the square up to m + 2 px away, of G, the means of Y in squares of 3 px;
// m is radius (of a Gaussian twice that) rounded, at least 1. With q the greater of quiet
// and twice the noise of light at Y, as NoiseLevels measures it and noiseAt reads it,
// x = amount (D - Y) max(0, V - q^2)/V, Lo and Hi the least and the greatest Y up to
// m px away, Op the greatest such Lo and Cl the least such Hi up to m px away,
//
//	x > 0: lone = Y - Op, room = Y (65535 - M)/max(M, 1)
//	else:  lone = Cl - Y, room = Y
//
// |x| stays up to free, the least of Hi - Y, Y - Lo and room. The excess u becomes
// h u/(h + u), h the least of halo, room - free and
// (Hi - Lo)/128 + 4 max(0, lone - max(1/32, 8 quiet)), at least 1/1024. The rest is as
// sharpen has it.
//
// So an edge's two sides part as far as its own height. Op and Cl are the opening and
// the closing of Y: nothing narrower than the square is in them, so that lone is 0
// beside a straight edge, where ripples would be a halo, and the height of what is small
// and loses most to a blur. A point that was never blurred isn't taken for ripples: it
// gets no darker, where D alone would put it out.
var deconvolveV1 = operation(Operation{
	Name:    "deconvolve",
	Version: 1,
	Doc: `Takes back a blur by a disc or a Gaussian (of that radius, or standard deviation):
Y, the profile's luminance weights on encoded values, is convolved with the blur's
regularised inverse (Wiener's filter for pictures whose power falls with the square of
the frequency; N. Wiener, 1949), and amount times the difference scales light as sharpen
does. Ground whose means of 3 x 3 px deviate by no more than quiet, or than twice the
measured noise, is left alone (J.-S. Lee, IEEE Trans. PAMI 2(2), 1980; twice is our own,
found on photographs). Nothing gets lighter or darker than what lies around,
within radius (of a Gaussian twice that), but by 1/128 of the difference there; where
something small stands out from its morphological opening or closing (J. Serra, 1982) it
may, by up to halo. Inputs: picture, perhaps a mask.`,
	Takes:  1,
	Masked: true,
	Nanos:  60,
	Params: Params{
		covers,
		{Name: "blur", Unit: "word", Words: []string{"disc", "gaussian"}, Doc: "what the picture was blurred by"},
		{Name: "radius", Unit: "px", Min: "1/10", Max: "10", Length: true, Doc: "radius of the disc, standard deviation of the Gaussian"},
		{Name: "amount", Unit: "1", Min: "0", Max: "10", Doc: "share of the difference that is added"},
		{Name: "quiet", Unit: "1", Min: "0", Max: "1", Default: "1/250", Doc: "ground that varies by up to this share of full scale is left alone"},
		{Name: "halo", Unit: "1", Min: "0", Max: "1", Default: "1/10", Doc: "what stands out alone may get lighter or darker than all around by nearly this share of full scale"},
		measuredNoise,
	},
	Measure: &NoiseLevels,
	Reduce:  unlessFine,
}, newDeconvolve)

type deconvolveParams struct {
	Blur        string
	Radius      *big.Rat
	Amount      float32
	Quiet, Halo *big.Rat
	Noise       []*big.Rat
	Covers      string
}

type deconvolve struct {
	lightStep
	taps         [][]float32 // a quarter of t: by row, then by column, from the middle
	near         int         // m
	amount, halo float32
	quiet2       [noiseSteps]float32 // q^2, by brightness
	least        float32             // what lone must exceed
}

func newDeconvolve(a deconvolveParams, in []Pic, _ Env) (Step, error) {
	l, err := newLightStep("deconvolve", a.Covers, in)
	if err != nil {
		return nil, err
	}
	s := &deconvolve{lightStep: l, taps: inverseOf(a.Blur, a.Radius), amount: a.Amount}
	m := a.Radius
	if a.Blur == "gaussian" {
		m = times(m, big.NewRat(2, 1))
	}
	s.near = max(1, halfUp(m))
	s.far = max(s.reach(), 2*s.near, s.near+3)
	full := big.NewRat(65535, 1)
	quiet := times(a.Quiet, full)
	quiet2, _ := times(quiet, quiet).Float32()
	if err := noiseGiven("deconvolve", a.Noise); err != nil {
		return nil, err
	}
	for k := range s.quiet2 {
		s.quiet2[k] = quiet2
		if a.Noise != nil {
			n := noiseAt(a.Noise[:noiseClasses], k)
			s.quiet2[k] = max(quiet2, float32(float64(4*n)*n))
		}
	}
	s.halo, _ = times(a.Halo, full).Float32()
	least := times(quiet, big.NewRat(8, 1))
	if floor := big.NewRat(65535, 32); least.Cmp(floor) < 0 {
		least = floor
	}
	s.least, _ = least.Float32()
	return s, nil
}

// inverseOf is the kernel t that takes back a blur, without its mirrored parts: row j of
// it from the middle, its columns from the middle as far as t isn't 0. With
// R = ceil(6 radius), N = 2R + 8 and H(u, v) the blur's transfer at u/N, v/N cycles a
// pixel,
//
//	W = H / (H^2 + (4 - 2 cos(2 pi u/N) - 2 cos(2 pi v/N)) / 128)
//	t(x, y) = (1 - (x^2 + y^2)/(R + 1)^2) sum of W cos(2 pi u x/N) cos(2 pi v y/N)
//
// over all u and v of a period where x^2 + y^2 < (R + 1)^2, else 0, divided by the sum of
// t, each rounded once. The blur is the disc's share of each pixel, counted at 16 x 16
// places in it, or gaussian's taps across and down.
func inverseOf(blur string, radius *big.Rat) [][]float32 {
	reach := ceilRat(times(radius, big.NewRat(6, 1)))
	n := 2*reach + 8
	half := n/2 + 1
	cos := make([]exact.DD, n)
	for k := range cos {
		cos[k] = exact.Sinpi(exact.Frac(int64(4*k+n), int64(2*n)))
	}
	// transform sets out[a][b] to the sum over i of in[i][b] cos(2 pi a i/n), where in
	// stands for a whole that mirrors at 0 and, if it is a period, at n/2.
	transform := func(in [][]exact.DD, count int, period bool) (out [][]exact.DD) {
		for a := range count {
			row := make([]exact.DD, len(in[0]))
			for i, line := range in {
				c := cos[a*i%n]
				if i > 0 && !(period && i == n/2) {
					c = c.Add(c)
				}
				for b, v := range line {
					row[b] = row[b].Add(v.Mul(c))
				}
			}
			out = append(out, row)
		}
		return out
	}
	w := transform(transposed(transform(blurOf(blur, radius), half, false)), half, false)
	for u, row := range w {
		for v, h := range row {
			g := exact.Whole(4).Sub(cos[u].Add(cos[u])).Sub(cos[v].Add(cos[v]))
			row[v] = h.Quo(h.Mul(h).Add(g.Quo(exact.Whole(128))))
		}
	}
	t := transform(transposed(transform(w, reach+1, true)), reach+1, true)
	sum, edge := exact.DD{}, int64(reach+1)*int64(reach+1)
	for j, row := range t {
		for i, v := range row {
			far := int64(i*i + j*j)
			if far >= edge {
				t[j] = row[:i]
				break
			}
			row[i] = v.Mul(exact.Frac(edge-far, edge))
			alike := int64(4)
			if i == 0 {
				alike /= 2
			}
			if j == 0 {
				alike /= 2
			}
			sum = sum.Add(row[i].Mul(exact.Whole(alike)))
		}
	}
	out := make([][]float32, len(t))
	for j, row := range t {
		for _, v := range row {
			out[j] = append(out[j], v.Quo(sum).Float32())
		}
	}
	return out
}

// transposed exchanges rows and columns.
func transposed(in [][]exact.DD) [][]exact.DD {
	out := make([][]exact.DD, len(in[0]))
	for i := range out {
		for _, row := range in {
			out[i] = append(out[i], row[i])
		}
	}
	return out
}

// blurOf is a quarter of a blur of sum 1, from its middle.
func blurOf(blur string, radius *big.Rat) [][]exact.DD {
	if blur == "gaussian" {
		taps := gaussian(radius)
		n := len(taps)
		out := make([][]exact.DD, n)
		for j := range out {
			for i := range n {
				out[j] = append(out[j], exact.Float(float64(taps[n-1-j])).Mul(exact.Float(float64(taps[n-1-i]))))
			}
		}
		return out
	}
	// In 32nds of a pixel, places lie at odd numbers.
	n := ceilRat(radius) + 1
	square := floorRat(times(times(radius, radius), big.NewRat(32*32, 1)))
	count := func(i, j int) (c int64) {
		for a := 32*i - 15; a < 32*i+16; a += 2 {
			for b := 32*j - 15; b < 32*j+16; b += 2 {
				if a*a+b*b <= square {
					c++
				}
			}
		}
		return c
	}
	total := int64(0)
	for j := 1 - n; j < n; j++ {
		for i := 1 - n; i < n; i++ {
			total += count(i, j)
		}
	}
	out := make([][]exact.DD, n)
	for j := range out {
		for i := range n {
			out[j] = append(out[j], exact.Frac(count(i, j), total))
		}
	}
	return out
}

// reach is how far t reads.
func (s *deconvolve) reach() int { return len(s.taps) - 1 }

func (s *deconvolve) Memory() (worker, shared int64) {
	rows := int64(2*s.far + 16*s.near + 32)
	return 4*(rows*int64(s.pic.W)+int64(s.reach()+1)*int64(pixelBlock+2*s.reach())) + s.mask.memory(), 0
}

func (s *deconvolve) Part(r image.Rectangle) (Step, int) {
	p := *s
	var left int
	p.reaching, left = s.part(r)
	return &p, left
}

func (s *deconvolve) Worker() Worker {
	w, h, m, r := s.pic.W, s.pic.H, s.near, s.reach()
	k := &deconvolveWorker{deconvolve: s, lightWorker: s.worker(), lines: newRowCache[float32](2*s.far+1, w+2*r)}
	light := func(dst []float32, y int, in Rows) { copy(dst, k.line(y, in)[r:]) }
	k.low, k.high = newWindow(m, m, w, h, lowRows, light), newWindow(m, m, w, h, highRows, light)
	k.opened, k.closed = newWindow(m, 0, w, h, highRows, k.low.plane), newWindow(m, 0, w, h, lowRows, k.high.plane)
	smooth := newWindow(1, 0, w, h, meanRows(1), light)
	k.mean = newWindow(m+2, 0, w, h, meanRows(m+2), smooth.plane)
	k.square = newWindow(m+2, 0, w, h, meanRows(m+2), func(dst []float32, y int, in Rows) {
		row := smooth.row(y, in)
		mulRow(dst, row, row)
	})
	// The two rows that lie alike above and below are added before they are weighted.
	k.sums = make([][]float32, r+1)
	for j := range k.sums {
		k.sums[j] = make([]float32, pixelBlock+2*r)
	}
	var mirrored [][]float32
	for j := r; j >= 0; j-- {
		for i := len(s.taps[j]) - 1; i >= 0 && i+j > 0; i-- {
			t := s.taps[j][i]
			if i == 0 {
				t *= 0.5 // it meets twice the same
			}
			k.weights = append(k.weights, t)
			k.around, mirrored = append(k.around, k.sums[j][r-i:]), append(mirrored, k.sums[j][r+i:])
		}
	}
	k.weights = append(k.weights, s.taps[0][0])
	k.around = append(k.around, k.sums[0][r:])
	for i := range mirrored {
		k.around = append(k.around, mirrored[len(mirrored)-1-i])
	}
	return k
}

// meanRows makes means of 2 reach + 1 rows.
func meanRows(reach int) func(dst []float32, rows [][]float32, from int) {
	taps := make([]float32, reach+1)
	for i := range taps {
		taps[i] = 1 / float32(2*reach+1)
	}
	return func(dst []float32, rows [][]float32, from int) { symRows(dst, rows, from, taps) }
}

// lowRows takes the least of rows, highRows the greatest.
func lowRows(dst []float32, rows [][]float32, from int) {
	copy(dst, rows[0][from:])
	for _, r := range rows[1:] {
		lowRow(dst, dst, r[from:][:len(dst)])
	}
}

func highRows(dst []float32, rows [][]float32, from int) {
	copy(dst, rows[0][from:])
	for _, r := range rows[1:] {
		highRow(dst, dst, r[from:][:len(dst)])
	}
}

type deconvolveWorker struct {
	*deconvolve
	lightWorker
	lines                     rowCache[float32] // Y, its ends repeated as far as t reaches
	low, high, opened, closed *window
	mean, square              *window     // of G, and of its squares
	sums                      [][]float32 // of a block of pixels of two lines, by how far these lie
	around                    [][]float32 // what weights are for, and from the centre on mirrored
	weights                   []float32
}

// line is row y of Y, held inside the picture; column x is at reach + x.
func (k *deconvolveWorker) line(y int, in Rows) []float32 {
	y = max(0, min(k.pic.H-1, y))
	row, there := k.lines.row(y)
	if !there {
		r := k.reach()
		k.level(row[r:r+k.pic.W], in.Row(y)[:k.pic.Stride()])
		repeatEnds(row, r)
	}
	return row
}

func (k *deconvolveWorker) Row(dst []uint16, y int, in []Rows) {
	var f deconvolveRows
	k.scale(dst, y, in, func() {
		f = deconvolveRows{
			opened: k.opened.row(y, in[0]), closed: k.closed.row(y, in[0]),
			mean: k.mean.row(y, in[0]), square: k.square.row(y, in[0]),
		}
		f.low, f.high = k.low.row(y, in[0])[k.near:], k.high.row(y, in[0])[k.near:]
	}, func(e, luma, most []float32, x int) {
		k.invert(e, x, y, in[0])
		k.limit(e, luma, most, f.from(x, len(e)))
	})
}

// invert sets d to D of row y from column x on.
func (k *deconvolveWorker) invert(d []float32, x, y int, in Rows) {
	n := len(d) + 2*k.reach()
	copy(k.sums[0][:n], k.line(y, in)[x:])
	for j := 1; j < len(k.sums); j++ {
		a, b := k.line(y-j, in), k.line(y+j, in)
		symRows(k.sums[j][:n], [][]float32{a, a, b}, x, []float32{1, 0})
	}
	symRows(d, k.around, 0, k.weights)
}

// deconvolveRows are what a row is limited by.
type deconvolveRows struct{ low, high, opened, closed, mean, square []float32 }

// from are n places from x on.
func (f deconvolveRows) from(x, n int) deconvolveRows {
	return deconvolveRows{f.low[x:][:n], f.high[x:][:n], f.opened[x:][:n], f.closed[x:][:n], f.mean[x:][:n], f.square[x:][:n]}
}

// limit turns D into the share of luminance y that a pixel gets or loses.
func (s *deconvolve) limit(e, y, most []float32, f deconvolveRows) {
	y, most = y[:len(e)], most[:len(e)]
	for i, d := range e {
		v := f.square[i] - float32(f.mean[i]*f.mean[i])
		q := s.quiet2[int(y[i])>>8]
		if v <= q {
			e[i] = 0
			continue
		}
		x := float32(s.amount * float32((d-y[i])*((v-q)/v)))
		lo, hi := f.low[i], f.high[i]
		lone, room := f.closed[i]-y[i], y[i]
		if x > 0 {
			lone, room = y[i]-f.opened[i], float32(y[i]*(65535-most[i]))/max(most[i], 1)
		}
		free := min(hi-y[i], y[i]-lo, room)
		h := float32((hi-lo)*(1.0/128)) + float32(4*max(0, lone-s.least))
		h = max(min(h, s.halo, room-free), 1.0/1024)
		a := max(x, -x)
		u := max(a-free, 0)
		a = (min(a, free) + float32(u*h)/(u+h)) / max(y[i], 1)
		if x < 0 {
			a = -a
		}
		e[i] = a
	}
}
