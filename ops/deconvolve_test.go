package ops

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

func unblur(blur, radius, amount string, more ...Arg) Args {
	return append(Args{{"blur", blur}, {"radius", radius}, {"amount", amount}}, more...)
}

// The kernel against its definition in float64 with the standard library's functions
// and no symmetry used.
func TestInverseAgainstDefinition(t *testing.T) {
	for _, c := range []struct {
		blur   string
		radius float64
	}{{"disc", 0.1}, {"disc", 2}, {"disc", 3.3}, {"gaussian", 1}, {"gaussian", 2.2}} {
		reach := int(math.Ceil(6 * c.radius))
		n := 2*reach + 8
		// The blur at every place of a period, from the middle of pixel 0.
		h := make([]float64, n*n)
		sum := 0.0
		at := func(i int) int { return (i%n + n) % n }
		if far := int(c.radius*4 + 0.5); c.blur == "gaussian" {
			for j := -far; j <= far; j++ {
				for i := -far; i <= far; i++ {
					v := math.Exp(-float64(i*i+j*j) / (2 * c.radius * c.radius))
					h[at(j)*n+at(i)] += v
					sum += v
				}
			}
		} else {
			for j := -reach * 16; j < reach*16; j++ {
				for i := -reach * 16; i < reach*16; i++ {
					x, y := (float64(i)+0.5)/16, (float64(j)+0.5)/16
					if x*x+y*y <= c.radius*c.radius {
						h[at(int(math.Floor(y+0.5)))*n+at(int(math.Floor(x+0.5)))]++
						sum++
					}
				}
			}
		}
		cos := func(k int) float64 { return math.Cos(2 * math.Pi * float64(k) / float64(n)) }
		// All planes are even, so that both transforms are sums of cosines.
		transform := func(in []float64) []float64 {
			half, out := make([]float64, n*n), make([]float64, n*n)
			for b := range n {
				for a := range n {
					for i := range n {
						half[b*n+a] += in[b*n+i] * cos(a*i)
					}
				}
			}
			for b := range n {
				for a := range n {
					for j := range n {
						out[b*n+a] += half[j*n+a] * cos(b*j)
					}
				}
			}
			return out
		}
		w := transform(h)
		for v := range n {
			for u := range n {
				f := w[v*n+u] / sum
				w[v*n+u] = f / (f*f + (4-2*cos(u)-2*cos(v))/128)
			}
		}
		k, edge := transform(w), float64((reach+1)*(reach+1))
		sum = 0
		want := func(i, j int) float64 {
			return max(0, 1-float64(i*i+j*j)/edge) * k[at(j)*n+at(i)]
		}
		for j := -reach; j <= reach; j++ {
			for i := -reach; i <= reach; i++ {
				sum += want(i, j)
			}
		}
		got := inverseOf(c.blur, ratOf(fmt.Sprint(c.radius)))
		if len(got) != reach+1 {
			t.Fatalf("%v reaches %d, not %d", c, len(got)-1, reach)
		}
		for j := range reach + 1 {
			for i := range reach + 1 {
				v := 0.0
				if i < len(got[j]) {
					v = float64(got[j][i])
				}
				if d := math.Abs(v - want(i, j)/sum); d > 1e-6 {
					t.Fatalf("%v at %d, %d: %v, not %v", c, i, j, v, want(i, j)/sum)
				}
			}
		}
	}
}

// slowDeconvolve is the operation pixel by pixel in the same float32.
func slowDeconvolve(s *deconvolve, in *canvas, mask func(x, y int) float32) *canvas {
	w, h := in.W, in.H
	type plane []float32
	get := func(p plane, x, y int) float32 { return p[max(0, min(h-1, y))*w+max(0, min(w-1, x))] }
	each := func(f func(x, y int) float32) plane {
		p := make(plane, w*h)
		for i := range p {
			p[i] = f(i%w, i/w)
		}
		return p
	}
	luma := each(func(x, y int) float32 {
		p := in.data[(y*w+x)*in.C:]
		if in.C == 1 {
			return float32(p[0])
		}
		l := float32(s.luma[0]*float32(p[0])) + float32(s.luma[1]*float32(p[1]))
		return l + float32(s.luma[2]*float32(p[2]))
	})
	means := func(p plane, r int) plane {
		share := 1 / float32(2*r+1)
		fold := func(v func(int) float32) float32 {
			sum := float32(share * (v(-r) + v(r)))
			for k := r - 1; k > 0; k-- {
				sum += float32(share * (v(-k) + v(k)))
			}
			return sum + float32(share*v(0))
		}
		across := each(func(x, y int) float32 { return fold(func(k int) float32 { return get(p, x+k, y) }) })
		return each(func(x, y int) float32 { return fold(func(k int) float32 { return get(across, x, y+k) }) })
	}
	most := func(p plane, sign float32) plane {
		return each(func(x, y int) float32 {
			v := get(p, x, y)
			for j := -s.near; j <= s.near; j++ {
				for i := -s.near; i <= s.near; i++ {
					if q := get(p, x+i, y+j); sign*q > sign*v {
						v = q
					}
				}
			}
			return v
		})
	}
	smooth := means(luma, 1)
	mean, square := means(smooth, s.near+2), means(each(func(x, y int) float32 { return get(smooth, x, y) * get(smooth, x, y) }), s.near+2)
	low, high := most(luma, -1), most(luma, 1)
	opened, closed := most(low, 1), most(high, -1)
	share := func(x, y int) float32 {
		v := get(luma, x, y)
		spread := get(square, x, y) - float32(get(mean, x, y)*get(mean, x, y))
		q := s.quiet2[int(v/256)]
		if !(spread > q) {
			return 0
		}
		sum := float32(0)
		for j := len(s.taps) - 1; j >= 0; j-- {
			two := func(i int) float32 {
				if j == 0 {
					return get(luma, x+i, y)
				}
				return get(luma, x+i, y-j) + get(luma, x+i, y+j)
			}
			for i := len(s.taps[j]) - 1; i >= 0; i-- {
				tap := s.taps[j][i]
				if i == 0 {
					sum += float32(tap * two(0))
				} else {
					sum += float32(tap * (two(-i) + two(i)))
				}
			}
		}
		d := float32(s.amount * float32((sum-v)*((spread-q)/spread)))
		lone, room, sign := get(closed, x, y)-v, v, float32(-1)
		if d > 0 {
			m := v
			if in.C == 3 {
				p := in.data[(y*w+x)*3:]
				m = float32(max(p[0], p[1], p[2]))
			}
			lone, room, sign = v-get(opened, x, y), float32(v*(65535-m))/max(m, 1), 1
		}
		free := min(get(high, x, y)-v, v-get(low, x, y), room)
		limit := float32((get(high, x, y)-get(low, x, y))/128) + float32(4*max(0, lone-s.least))
		limit = max(min(limit, s.halo, room-free), 1.0/1024)
		a := sign * d
		if u := a - free; u > 0 {
			a = free + float32(u*limit)/(u+limit)
		}
		a = sign * (a / max(v, 1))
		if mask != nil {
			a *= mask(x, y)
		}
		return a
	}
	out := &canvas{in.Pic, make([]uint16, len(in.data))}
	return out.fill(func(x, y, c int) uint16 {
		v := float32(in.data[(y*w+x)*in.C+c])
		return uint16(max(0, min(65535, math.Floor(float64(v+float32(v*share(x, y))+0.5)))))
	})
}

func TestDeconvolveEqualsSlow(t *testing.T) {
	for _, size := range [][2]int{{1, 1}, {40, 31}, {5, 60}, {1100, 3}} {
		for _, c := range []int{1, 3} {
			for i, a := range []Args{
				unblur("disc", "3/2", "1"), unblur("gaussian", "9/10", "3/2", Arg{"quiet", "1/20"}, Arg{"halo", "1"}),
				unblur("disc", "1/10", "10", Arg{"quiet", "0"}), unblur("gaussian", "2", "1/2", Arg{"halo", "0"}),
				unblur("disc", "1", "1", Arg{"noise", strings.Repeat("9000 1 ", noiseClasses)}),
			} {
				if size[0] > 1000 && i >= 3 {
					continue // the slow form takes long
				}
				in := newImage(size[0], size[1], c).noise(uint64(i))
				for j := range in.data { // less than noise of the whole range, which little limits
					if j/c%size[0] < size[0]/2 {
						in.data[j] = in.data[j]/4 + 9000
					}
				}
				s := bind(t, deconvolveV1, a, in).(*deconvolve)
				same(t, fmt.Sprint(size, c, a), apply(t, deconvolveV1, a, in), slowDeconvolve(s, in, nil))
				if size[0] > 50 {
					continue
				}
				m := newImage(max(1, size[0]/2), max(1, size[1]/3), 1).noise(5)
				ms, err := newSampler("", m.Pic, in.Pic)
				if err != nil {
					t.Fatal(err)
				}
				k := ms.worker()
				got := apply(t, deconvolveV1, a, in, m)
				same(t, fmt.Sprint("mask ", size, c, a), got, slowDeconvolve(s, in, func(x, y int) float32 { return maskAt(k, m, x, y) }))
			}
		}
	}
}

func TestDeconvolveAnyOrder(t *testing.T) {
	in, m := newImage(33, 41, 3).noise(1), newImage(11, 9, 1).noise(2)
	anyOrder(t, deconvolveV1, unblur("disc", "2", "1"), in)
	anyOrder(t, deconvolveV1, unblur("gaussian", "13/10", "2", Arg{"covers", "1/2 1 10 9"}), in, m)
}

func TestDeconvolveMirrors(t *testing.T) {
	for _, c := range []int{1, 3} {
		in := newImage(53, 37, c).noise(8)
		a := unblur("disc", "9/5", "1")
		same(t, "mirror", apply(t, deconvolveV1, a, in.mirrored(true)), apply(t, deconvolveV1, a, in).mirrored(true))
	}
}

func TestDeconvolveNothing(t *testing.T) {
	in := newImage(40, 30, 3).noise(3)
	same(t, "amount 0", in, apply(t, deconvolveV1, unblur("disc", "2", "0"), in))
	same(t, "mask 0", in, apply(t, deconvolveV1, unblur("disc", "2", "1"), in, newImage(8, 8, 1)))
	same(t, "quiet 100%", in, apply(t, deconvolveV1, unblur("disc", "2", "1", Arg{"quiet", "1"}), in))
	for _, v := range []uint16{0, 1, 777, 37777, 65534, 65535} {
		flat := newImage(40, 30, 3).fill(func(x, y, c int) uint16 { return v })
		for _, quiet := range []string{"0", "1/250"} {
			same(t, "flat", flat, apply(t, deconvolveV1, unblur("gaussian", "3/2", "10", Arg{"quiet", quiet}), flat))
		}
	}
}

// discOf is a disc's share of each pixel, at 32 x 32 places; gaussianOf a Gaussian.
func discOf(radius float64) (k []float64, reach int) {
	reach = int(radius + 1)
	return weightsOf(reach, func(i, j int) (v float64) {
		for n := range 32 * 32 {
			if x, y := float64(i)+(float64(n%32)-15.5)/32, float64(j)+(float64(n/32)-15.5)/32; x*x+y*y <= radius*radius {
				v++
			}
		}
		return v
	}), reach
}

func gaussianOf(radius float64) (k []float64, reach int) {
	reach = int(4*radius + 0.5)
	return weightsOf(reach, func(i, j int) float64 { return math.Exp(-float64(i*i+j*j) / (2 * radius * radius)) }), reach
}

func weightsOf(reach int, f func(i, j int) float64) (k []float64) {
	sum := 0.0
	for j := -reach; j <= reach; j++ {
		for i := -reach; i <= reach; i++ {
			k = append(k, f(i, j))
			sum += k[len(k)-1]
		}
	}
	for i := range k {
		k[i] /= sum
	}
	return k
}

// blurred is a grey picture blurred by k, with noise of a deviation of sigma, both of
// 255, and rounded to 8 bits.
func blurred(p *canvas, k []float64, reach int, sigma float64) *canvas {
	rng, n := rand.New(rand.NewPCG(1, 2)), 2*reach+1
	return newImage(p.W, p.H, 1).fill(func(x, y, _ int) uint16 {
		sum := 0.0
		for i, w := range k {
			sum += w * float64(p.data[max(0, min(p.H-1, y+i/n-reach))*p.W+max(0, min(p.W-1, x+i%n-reach))])
		}
		return 257 * uint16(max(0, min(255, math.Floor(sum/257+sigma*rng.NormFloat64()+0.5))))
	})
}

// A step from 0.25 to 0.75, blurred by what is taken back, must not overshoot by more
// than 4 % of its height at any amount, with and without noise of 2 of 255; ground that
// is even but for such noise gets at most 10 % more of it; and results change with
// amount as little as it does. Plain Richardson-Lucy overshoots the step of radius 3 by
// 10.6 % after 20 iterations and by 48 % after 200 (scikit-image 0.19).
func TestDeconvolveRingsAndNoise(t *testing.T) {
	step := newImage(64, 90, 1).fill(func(x, y, _ int) uint16 { return uint16(65535 / 4 * (1 + x/32*2)) })
	even := newImage(90, 90, 1).fill(func(x, y, _ int) uint16 { return 32896 })
	overshoot := func(p *canvas) (most float64) {
		for x := range p.W { // the mean of a column, so that it isn't noise that is measured
			mean := 0.0
			for y := range p.H {
				mean += float64(p.data[y*p.W+x]) / float64(p.H)
			}
			most = max(most, mean/65535-0.75, 0.25-mean/65535)
		}
		return most / 0.5
	}
	deviation := func(p *canvas) float64 {
		var s, q float64
		for _, v := range p.data {
			s, q = s+float64(v), q+float64(v)*float64(v)
		}
		n := float64(len(p.data))
		return math.Sqrt(q/n - s/n*s/n)
	}
	for _, c := range []struct {
		blur   string
		radius string
	}{{"disc", "3/2"}, {"disc", "3"}, {"gaussian", "1"}, {"gaussian", "2"}} {
		r, _ := ratOf(c.radius).Float64()
		k, reach := discOf(r)
		if c.blur == "gaussian" {
			k, reach = gaussianOf(r)
		}
		clean, noisy, ground := blurred(step, k, reach, 0), blurred(step, k, reach, 2), blurred(even, []float64{1}, 0, 2)
		var before *canvas
		for _, amount := range []string{"1/4", "1/2", "1", "101/100", "2", "5", "10"} {
			a := unblur(c.blur, c.radius, amount)
			now := apply(t, deconvolveV1, a, clean)
			if o := overshoot(now); o > 0.02 {
				t.Errorf("%v, amount %s: a step overshoots by %.1f %%", c, amount, 100*o)
			}
			if o := overshoot(apply(t, deconvolveV1, a, noisy)); o > 0.04 {
				t.Errorf("%v, amount %s: a noisy step overshoots by %.1f %%", c, amount, 100*o)
			}
			for _, more := range []Args{nil, {{"quiet", "0"}, {"noise", strings.Repeat("514 ", 2*noiseClasses)}}} {
				if g := deviation(apply(t, deconvolveV1, append(a, more...), ground)) / deviation(ground); g > 1.1 {
					t.Errorf("%v, amount %s, %v: noise grows %.2f times", c, amount, more, g)
				}
			}
			if amount == "101/100" {
				for i, v := range now.data {
					if d := int(v) - int(before.data[i]); d > 200 || d < -200 {
						t.Fatalf("%v: a hundredth of amount changes a sample by %d", c, d)
					}
				}
			}
			before = now
		}
	}
}

func TestDeconvolveLimits(t *testing.T) {
	// A point's neighbours are darkened no further than the ground; the point itself may
	// be lightened beyond all around, by up to halo.
	k, reach := discOf(1.5)
	point := blurred(newImage(41, 41, 1).fill(func(x, y, _ int) uint16 {
		if x == 20 && y == 20 {
			return 65535
		}
		return 9000
	}), k, reach, 0)
	for _, c := range []struct {
		halo        string
		least, most int
	}{{"0", 0, 1}, {"1/20", 2000, 3277}, {"1/10", 3000, 6554}} {
		out := apply(t, deconvolveV1, unblur("disc", "3/2", "3", Arg{"halo", c.halo}), point)
		if d := int(out.data[20*41+20]) - int(point.data[20*41+20]); d < c.least || d > c.most {
			t.Errorf("halo %s: a point gets lighter by %d", c.halo, d)
		}
		for i, v := range out.data {
			if v < 8900 {
				t.Fatalf("halo %s: a hole of %d at %d", c.halo, v, i)
			}
		}
	}
	// A point that was never blurred stays, but for a 128th, whatever is taken back.
	sharp := newImage(31, 31, 1).fill(func(x, y, _ int) uint16 { return 9000 })
	sharp.data[15*31+15] = 50000
	out := apply(t, deconvolveV1, unblur("disc", "2", "1"), sharp)
	if got := out.data[15*31+15]; got < 50000-41000/128-1 {
		t.Errorf("a sharp point of 50000 becomes %d", got)
	}
	// Colours keep their ratios, and a channel at its bound stays.
	in := newImage(40, 40, 3).fill(func(x, y, c int) uint16 { return []uint16{20000, 65535, 9000}[(c+x/20*2)%3] })
	out = apply(t, deconvolveV1, unblur("disc", "2", "1"), in)
	for i := 0; i < len(out.data); i += 3 {
		for c := 1; c < 3; c++ {
			a, b, x, y := int(in.data[i]), int(in.data[i+c]), int(out.data[i]), int(out.data[i+c])
			if d := a*y - b*x; d > a+b || d < -a-b {
				t.Fatalf("colour shifts at %d: %v to %v", i, in.data[i:i+3], out.data[i:i+3])
			}
		}
	}
}

func TestDeconvolveRefuses(t *testing.T) {
	p := newImage(5, 5, 3).Pic
	for _, c := range []struct {
		a    Args
		in   []Pic
		part string
	}{
		{unblur("disc", "0", "1"), []Pic{p}, "radius is 0, expected 0.1 to 10 px"},
		{unblur("disc", "11", "1"), []Pic{p}, "radius is 11"},
		{unblur("box", "1", "1"), []Pic{p}, `blur is "box", expected disc or gaussian`},
		{unblur("disc", "1", "11"), []Pic{p}, "amount is 11, expected 0 to 10"},
		{unblur("disc", "1", "1"), []Pic{{W: 5, H: 5, C: 3}}, "profile"},
		{unblur("disc", "1", "1"), []Pic{p, p}, "1 channel"},
		{unblur("disc", "1", "1"), nil, "1 picture"},
	} {
		if _, err := deconvolveV1.New(c.a, c.in, Env{}); err == nil || !strings.Contains(err.Error(), c.part) {
			t.Errorf("%v: %v, want %q", c.a, err, c.part)
		}
	}
}

func BenchmarkDeconvolve(b *testing.B) {
	in := newImage(18000, 200, 3)
	in.scene()
	for _, r := range []string{"2", "4"} {
		b.Run("disc "+r, func(b *testing.B) { benchSteps(b, 180, deconvolveV1, unblur("disc", r, "1"), in) })
	}
}
