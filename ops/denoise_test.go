package ops

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"platemark/ops/colour"
)

// noiseOf is the argument of a noise that is the same in all classes, of light and of
// colour.
func noiseOf(light, colour string) Arg {
	return Arg{"noise", strings.TrimSpace(strings.Repeat(light+" ", noiseClasses) + strings.Repeat(colour+" ", noiseClasses))}
}

func denoiseArgs(lightness, chroma string, noise Arg) Args {
	return Args{{"lightness", lightness}, {"chroma", chroma}, noise}
}

// slowDenoise is the operation by its formulas, in float64.
func slowDenoise(t *testing.T, p *canvas, a Args) *canvas {
	noise := make([]float64, 0, 2*noiseClasses)
	text, _ := a.Get("noise")
	for _, f := range strings.Fields(text) {
		noise = append(noise, num(t, f))
	}
	strength := func(name string) float64 { s, _ := a.Get(name); return num(t, s) }
	gain := [5]float64{0.80039, 0.27288, 0.11978, 0.05777, 0.02862}
	type plane struct {
		w, h int
		v    []float64
	}
	at := func(q plane, x, y int) float64 {
		return q.v[max(0, min(q.h-1, y))*q.w+max(0, min(q.w-1, x))]
	}
	each := func(w, h int, f func(x, y int) float64) plane {
		q := plane{w, h, make([]float64, w*h)}
		for i := range q.v {
			q.v[i] = f(i%w, i/w)
		}
		return q
	}
	code := func(x, y, c int) float64 { return float64(p.data[(y*p.W+x)*p.C+min(c, p.C-1)]) }
	light := func(x, y int) float64 { return (code(x, y, 0) + 2*code(x, y, 1) + code(x, y, 2)) / 4 }
	c := []plane{each(p.W, p.H, light)}
	if p.C == 3 {
		c = append(c, each(p.W, p.H, func(x, y int) float64 { return code(x, y, 0) - light(x, y) }),
			each(p.W, p.H, func(x, y int) float64 { return code(x, y, 2) - light(x, y) }))
	}
	var levels [5][]plane
	for j := range levels {
		s := min(j+1, 2)
		var n, d []plane
		for _, q := range c {
			across := each(q.w, q.h, func(x, y int) float64 { return at(q, x-s, y)/4 + at(q, x, y)/2 + at(q, x+s, y)/4 })
			down := each(q.w, q.h, func(x, y int) float64 {
				return at(across, x, y-s)/4 + at(across, x, y)/2 + at(across, x, y+s)/4
			})
			n, d = append(n, down), append(d, each(q.w, q.h, func(x, y int) float64 { return at(q, x, y) - at(down, x, y) }))
		}
		for k, q := range d {
			group, of := d[:1], 0
			if k > 0 {
				group, of = d[1:], 1
			}
			a := strength([]string{"lightness", "chroma"}[of])
			levels[j] = append(levels[j], each(q.w, q.h, func(x, y int) float64 {
				e := 0.0
				for i := range 49 {
					for _, g := range group {
						v := at(g, max(0, min(q.w-1, x))+i%7-3, y+i/7-3)
						e += v * v / 49 / float64(len(group))
					}
				}
				at := math.Max(0, math.Min(7, (math.Floor(math.Floor(at(n[0], x, y))/256)+0.5-16)/32))
				i := min(int(at), 6)
				lo, hi := noise[8*of+i], noise[8*of+i+1]
				v := a * gain[j] * (lo + (hi-lo)*(at-float64(i)))
				t := 1.5 * v * v
				if t == 0 {
					return 0
				}
				r := t / math.Max(e, t)
				return q.v[y*q.w+x] * r * r
			}))
		}
		c = n
		if j > 0 {
			for k, q := range n {
				c[k] = each((q.w+1)/2, (q.h+1)/2, func(x, y int) float64 { return at(q, 2*x, 2*y) })
			}
		}
	}
	sum := levels[4]
	for j := 3; j >= 0; j-- {
		for k, q := range levels[j] {
			s := sum[k]
			sum[k] = each(q.w, q.h, func(x, y int) float64 {
				if j == 0 {
					return at(q, x, y) + at(s, x, y)
				}
				return at(q, x, y) + (at(s, x/2, y/2)+at(s, (x+1)/2, y/2)+at(s, x/2, (y+1)/2)+at(s, (x+1)/2, (y+1)/2))/4
			})
		}
	}
	out := newImage(p.W, p.H, p.C)
	out.Pic = p.Pic
	for i, v := range p.data {
		x, y := i/p.C%p.W, i/p.C/p.W
		less := at(sum[0], x, y)
		if p.C == 3 {
			a, b := at(sum[1], x, y), at(sum[2], x, y)
			less += []float64{a, -(a + b) / 2, b}[i%3]
		}
		out.data[i] = uint16(math.Max(0, math.Min(65535, math.Floor(float64(v)-less+0.5))))
	}
	return out
}

func TestDenoiseEqualsSlow(t *testing.T) {
	byClass := Arg{"noise", "900 800 700 600 500 400 300 200 100 300 500 700 900 1100 1300 1500"}
	for n, p := range []*canvas{newImage(90, 61, 3).scene(), newImage(57, 44, 1).scene(), newImage(40, 133, 3).noise(3),
		newImage(1, 1, 3).noise(1), newImage(2, 50, 1).noise(2), newImage(33, 1, 3).noise(2), newImage(3, 3, 3).noise(5)} {
		for _, a := range []Args{denoiseArgs("1", "1", byClass), denoiseArgs("2", "0", noiseOf("9000", "3")), denoiseArgs("0", "1", noiseOf("1", "65535"))} {
			got, want := apply(t, denoiseV1, a, p), slowDenoise(t, p, a)
			for i := range got.data {
				if d := int(got.data[i]) - int(want.data[i]); d > 1 || d < -1 {
					t.Fatalf("%v, picture %d, sample %d: %d, by the formulas %d", a, n, i, got.data[i], want.data[i])
				}
			}
		}
	}
}

func TestDenoiseAnyOrder(t *testing.T) {
	anyOrder(t, denoiseV1, denoiseArgs("1", "1", noiseOf("500", "700")), newImage(70, 150, 3).scene())
	anyOrder(t, denoiseV1, denoiseArgs("1", "1", noiseOf("500", "700")), newImage(35, 90, 1).noise(4))
}

// What is even stays to the bit, at every strength, up to the border and at the ends of
// the range.
func TestDenoiseFlatStaysFlat(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range 12 {
		v := [3]uint16{uint16(rng.IntN(65536)), uint16(rng.IntN(65536)), uint16(rng.IntN(65536))}
		if i < 2 {
			v = [3]uint16{uint16(65535 * i), uint16(65535 * i), uint16(65535 * i)}
		}
		p := newImage(30, 20, 3).fill(func(x, y, c int) uint16 { return v[c] })
		p.Profile, _ = colour.Space("opRGB")
		same(t, "flat", apply(t, denoiseV1, denoiseArgs("2", "2", noiseOf("2000", "2000")), p), p)
	}
}

// The numbers g are what smoothing makes of noise: by the sums of squares of what one
// pixel gives.
func TestDenoiseGains(t *testing.T) {
	smoothed := []float64{1}
	for level, gain := range denoiseGain {
		step := 1 << level
		wider := make([]float64, len(smoothed)+2*step)
		before := make([]float64, len(wider))
		for i, v := range smoothed {
			before[i+step] = v
			wider[i], wider[i+step], wider[i+2*step] = wider[i]+v/4, wider[i+step]+v/2, wider[i+2*step]+v/4
		}
		var aa, ab, bb float64
		for i, v := range wider {
			aa, ab, bb = aa+before[i]*before[i], ab+before[i]*v, bb+v*v
		}
		if g := math.Sqrt(aa*aa - 2*ab*ab + bb*bb); math.Abs(g-gain) > 0.000006 {
			t.Errorf("level %d: %v, expected %v", level, gain, g)
		}
		smoothed = wider
	}
}

func BenchmarkDenoise(b *testing.B) {
	p := newImage(4000, 1600, 3).scene()
	benchSteps(b, 1500, denoiseV1, denoiseArgs("1", "1", noiseOf("200", "300")), p)
}

// A step keeps its place and its height beside noise, which goes.
func TestDenoiseKeepsAStep(t *testing.T) {
	const low, high, sigma = 12000.0, 45000.0, 5 * 257.0
	p := newImage(96, 400, 3).fill(func(x, y, c int) uint16 { return uint16([]float64{low, high}[x/48]) })
	clean := &canvas{p.Pic, p.data}
	p = &canvas{p.Pic, added(p.data, sigma, 1)}
	q := apply(t, denoiseV1, denoiseArgs("1", "1", noiseOf("787", "1202")), p)
	column := func(p *canvas, x int) (mean, spread float64) {
		var s, ss float64
		for y := range p.H {
			v := float64(p.data[3*(y*p.W+x)+1])
			s, ss = s+v/float64(p.H), ss+v*v/float64(p.H)
		}
		return s, math.Sqrt(max(0, ss-s*s))
	}
	for x := range p.W {
		want, _ := column(clean, x)
		mean, spread := column(q, x)
		if math.Abs(mean-want) > 0.01*(high-low) {
			t.Errorf("column %d has a mean of %.0f, expected %.0f", x, mean, want)
		}
		if far := x < 30 || x >= 66; far && spread > 0.25*sigma {
			t.Errorf("column %d has a noise of %.0f of %.0f left", x, spread, sigma)
		}
	}
}

func TestDenoiseRefuses(t *testing.T) {
	p := Pic{W: 9, H: 9, C: 3}
	for _, c := range []struct {
		a  Args
		in []Pic
	}{
		{denoiseArgs("3", "1", noiseOf("1", "1")), []Pic{p}}, {denoiseArgs("1", "-1", noiseOf("1", "1")), []Pic{p}},
		{denoiseArgs("1", "1", Arg{"noise", "1 2 3"}), []Pic{p}}, {denoiseArgs("1", "1", noiseOf("0", "1")), []Pic{p}},
		{denoiseArgs("1", "1", noiseOf("1", "65536")), []Pic{p}}, {Args{{"lightness", "1"}}, []Pic{p}},
		{denoiseArgs("1", "1", noiseOf("1", "1")), []Pic{{W: 9, H: 9, C: 2}}}, {denoiseArgs("1", "1", noiseOf("1", "1")), nil},
	} {
		if _, err := denoiseV1.New(c.a, c.in, Env{}); err == nil {
			t.Errorf("%v of %v is accepted", c.a, c.in)
		}
	}
}

// Inside a mask noise goes, outside all stays.
func TestDenoiseThroughAMask(t *testing.T) {
	p := newImage(60, 40, 3).scene()
	m := newImage(60, 40, 1)
	m.Profile = nil
	m.fill(func(x, y, c int) uint16 { return []uint16{0, 30000, 65535}[x/20] })
	a := denoiseArgs("1", "1", noiseOf("300", "500"))
	all, part := apply(t, denoiseV1, a, p), apply(t, denoiseV1, a, p, m)
	same(t, "each row twice", rowsIn(t, bind(t, denoiseV1, a, p, m), []int{0, 0, 1, 1, 0}, 1, p, m), rowsIn(t, bind(t, denoiseV1, a, p, m), []int{0, 1}, 1, p, m))
	for i := range p.data {
		want := float64(p.data[i])
		want += []float64{0, 30000. / 65535, 1}[i/3%60/20] * (float64(all.data[i]) - want)
		if math.Abs(float64(part.data[i])-want) > 1 {
			t.Fatalf("sample %d: %d, expected %.1f", i, part.data[i], want)
		}
	}
}
