package ops

import (
	"math"
	"math/rand/v2"
	"testing"

	"platemark/ops/colour"
)

func fringeArgs(radius string, more ...Arg) Args { return append(Args{{"radius", radius}}, more...) }

// drawnFringe is a picture of a grey step with a purple rim, in the left half, and of
// even orange on the right.
func drawnFringe(w, h int) *canvas {
	p := newImage(w, h, 3)
	p.Profile, _ = colour.Space("sRGB")
	return p.fill(func(x, y, c int) uint16 {
		switch {
		case x > 3*w/4:
			return []uint16{50000, 33000, 9000}[c]
		case x == w/4 || x == w/4+1:
			return []uint16{30000, 15000, 34000}[c]
		case x < w/4:
			return 9000
		}
		return 52000
	})
}

// slowFringe is the operation by its formulas, each block's sums taken anew.
func slowFringe(p *canvas, radius float64) *canvas {
	w, h := p.W, p.H
	luma := p.Profile.Luma()
	f := 2*int(math.Floor(radius/6)) + 1
	half := func(x float64) int { return int(math.Floor(x + 0.5)) }
	near, far := max(1, half(radius/2/float64(f))), max(1, half(1.4*radius/float64(f)))
	grid := func(n int) (count, lack int) {
		for count = (n + f - 1) / f; (count*f-n)%2 != 0; count++ {
		}
		return count, (count*f - n) / 2
	}
	bw, ex := grid(w)
	bh, ey := grid(h)
	yOf := func(i int) float64 {
		return luma[0]*float64(p.data[3*i]) + luma[1]*float64(p.data[3*i+1]) + luma[2]*float64(p.data[3*i+2])
	}
	block := make([][3]float64, bw*bh)
	for j := range block {
		var sum [3]float64
		n := 0.0
		for y := max(0, j/bw*f-ey); y < min(h, (j/bw+1)*f-ey); y++ {
			for x := max(0, j%bw*f-ex); x < min(w, (j%bw+1)*f-ex); x++ {
				i := y*w + x
				n++
				sum[0] += math.Floor(yOf(i) + 0.5)
				sum[1] += float64(p.data[3*i])
				sum[2] += float64(p.data[3*i+2])
			}
		}
		for k := range sum {
			sum[k] = math.Floor(sum[k]/n + 0.5)
		}
		block[j] = [3]float64{sum[0], sum[1] - sum[0], sum[2] - sum[0]}
	}
	window := func(j, r int, each func(k int)) (n float64) {
		for y := max(0, j/bw-r); y <= min(bh-1, j/bw+r); y++ {
			for x := max(0, j%bw-r); x <= min(bw-1, j%bw+r); x++ {
				each(y*bw + x)
				n++
			}
		}
		return n
	}
	trust := make([]float64, bw*bh)
	for j := range trust {
		var s, q float64
		n := window(j, near, func(k int) { s, q = s+block[k][0], q+block[k][0]*block[k][0] })
		trust[j] = math.Floor(256/(1+math.Pow((q/n-s/n*s/n)/math.Pow(0.02*65535, 2), 2)) + 0.5)
	}
	fits := make([][8]float64, bw*bh)
	for j := range fits {
		var t, y, pp, q, yy, yyy, yp, yq float64
		n := window(j, far, func(k int) {
			b, w := block[k], trust[k]
			t, y, pp, q = t+w, y+w*b[0], pp+w*b[1], q+w*b[2]
			yy, yp, yq = yy+w*b[0]*b[0], yp+w*b[0]*b[1], yq+w*b[0]*b[2]
			yyy += w * b[0] * b[0] * b[0]
		})
		if t == 0 {
			continue
		}
		y, pp, q = y/t, pp/t, q/t
		v := math.Max(0, yy/t-y*y)
		e := 0.01 * 65535
		l := (yyy/t - 3*y*yy/t + 2*y*y*y) / (2*v + 2)
		fits[j] = [8]float64{y, pp, q, (yp/t - y*pp) / (v + e*e), (yq/t - y*q) / (v + e*e),
			l - math.Sqrt(l*l+v), l + math.Sqrt(l*l+v), math.Min(1, 4*(1-trust[j]/256)) * t / (t + 256*n/100)}
	}
	out := newImage(w, h, 3)
	place := func(i, lack, n int) (int, int, float64) {
		at := math.Max(0, math.Min(float64(n-1), (float64(i+lack)+0.5)/float64(f)-0.5))
		k := int(at)
		return k, min(k+1, n-1), at - float64(k)
	}
	for i := range w * h {
		x0, x1, sx := place(i%w, ex, bw)
		y0, y1, sy := place(i/w, ey, bh)
		var a [8]float64
		for k := range a {
			l := fits[y0*bw+x0][k]*(1-sy) + fits[y1*bw+x0][k]*sy
			r := fits[y0*bw+x1][k]*(1-sy) + fits[y1*bw+x1][k]*sy
			a[k] = l*(1-sx) + r*sx
		}
		y := yOf(i)
		z := math.Max(a[5], math.Min(a[6], y-a[0]))
		g := 1.0
		if a[0]+z > y {
			g = y / (a[0] + z)
		}
		v := [3]float64{float64(p.data[3*i]) - y, 0, float64(p.data[3*i+2]) - y}
		dp, dq := (a[1]+a[3]*z)*g-v[0], (a[2]+a[4]*z)*g-v[2]
		n := dp*dp + dq*dq
		if sa, sc := a[3]*g, a[4]*g; sa != 0 || sc != 0 {
			at := math.Max(a[5], math.Min(a[6], z-(dp*sa+dq*sc)/(sa*sa+sc*sc)))
			n = math.Pow(dp-sa*(z-at), 2) + math.Pow(dq-sc*(z-at), 2)
		}
		o := (y - a[0] - z) / (0.015 * 65535)
		n /= 0.015 * 65535 * 0.015 * 65535
		k := a[7] * n * n / (n*n + 1 + o*o)
		v[0], v[2] = v[0]+k*dp, v[2]+k*dq
		v[1] = -(luma[0]*v[0] + luma[2]*v[2]) / luma[1]
		room := 1.0
		for _, x := range v {
			if x > 0 {
				room = math.Min(room, (65535-y)/x)
			} else if x < 0 {
				room = math.Min(room, y/-x)
			}
		}
		for c := range v {
			out.data[3*i+c] = uint16(math.Max(0, math.Min(65535, math.Floor(y+room*v[c]+0.5))))
		}
	}
	return out
}

func TestFringeEqualsSlow(t *testing.T) {
	for _, radius := range []string{"2", "5", "7", "13"} {
		for n, p := range []*canvas{drawnFringe(90, 61), newImage(57, 44, 3).scene(), newImage(40, 33, 3).noise(3), newImage(1, 1, 3).noise(1), newImage(2, 50, 3).noise(2)} {
			p.Profile, _ = colour.Space("sRGB")
			got, want := apply(t, fringeV1, fringeArgs(radius), p), slowFringe(p, num(t, radius))
			for i := range got.data {
				if d := int(got.data[i]) - int(want.data[i]); d > 2 || d < -2 {
					t.Fatalf("radius %s, picture %d, pixel %d: %d, by the formulas %d", radius, n, i/3, got.data[i], want.data[i])
				}
			}
		}
	}
}

func TestFringeAnyOrder(t *testing.T) {
	for _, radius := range []string{"3", "7", "20"} {
		anyOrder(t, fringeV1, fringeArgs(radius), drawnFringe(90, 61))
	}
}

// The rim loses its purple, what is even stays to the bit, and Y' stays within a code.
func TestFringeTakesTheRimAway(t *testing.T) {
	p := drawnFringe(160, 40)
	q := apply(t, fringeV1, fringeArgs("7"), p)
	luma := p.Profile.Luma()
	for i := range p.W * p.H {
		a, b := p.data[3*i:3*i+3], q.data[3*i:3*i+3]
		d := 0.0
		for c := range 3 {
			d += luma[c] * (float64(b[c]) - float64(a[c]))
		}
		if math.Abs(d) > 1 {
			t.Fatalf("pixel %d: Y' changed by %v", i, d)
		}
		if x := i % p.W; (x < 10 || x > 70 && x < 95 || x > 145) && (a[0] != b[0] || a[1] != b[1] || a[2] != b[2]) {
			t.Fatalf("even ground at column %d changed: %v to %v", x, a, b)
		}
	}
	i := 3 * (20*p.W + p.W/4)
	if a, b := p.data[i:i+3], q.data[i:i+3]; float64(b[2])-float64(b[1]) > 0.1*(float64(a[2])-float64(a[1])) {
		t.Errorf("the rim was %v and is %v", a, b)
	}
	i = 3 * (20*p.W + 3*p.W/4 + 1) // an orange edge keeps its orange
	for c := range 3 {
		if d := math.Abs(float64(p.data[i+c]) - float64(q.data[i+c])); d > 655 {
			t.Errorf("orange beside the edge: channel %d changed by %v", c, d)
		}
	}
}

// Worked by hand. Columns of grey 12000 and, from the sixth on, 52000; the fifth has
// P = R - Y' = 3000 and Q = B - Y' = -2000 at Y' = 12000. At radius 2 px blocks are
// pixels, near is 1 and far is 3. The windows up to 1 px away of columns 5 and 6 hold
// the step: a third of 52000 or of 12000, s = 40000 root(2)/3 = 18856, (s/E)^4 = 42835,
// and t = floor(256/42836 + 1/2) = 0; all others are even, t = 256. So all that is
// trusted is grey, P* = Q* = 0 whatever Y', and of 7 columns 5 are trusted:
// k = 5/(5 + 7/100) = 0.986193. Trusted are three columns of 12000 and two of 52000,
// mean 28000: V = 384000000, l = 3072000000000/768000002 = 4000, and the root of
// l^2 + V is 20000. So the sides are at Lo = -16000 and Hi = 24000, where they are, and
// o = 0. N = 3000^2 + 2000^2 = 13000000, r = N/983.025^2 = 13.45285,
// K = 0.986193 * 180.979/181.979 = 0.980774: P becomes 57.68 and Q -38.45.
// Green is Y' - (0.2225 P + 0.0606 Q)/0.7169 by sRGB's weights (IEC 61966-2-1, adapted
// to D50): 12000 - 14.65.
func TestFringeHandWorked(t *testing.T) {
	p := newImage(12, 9, 3).fill(func(x, y, c int) uint16 {
		switch {
		case x == 4:
			return []uint16{15000, 11238, 10000}[c] // 11238 = 12000 - (0.2225*3000 - 0.0606*2000)/0.7169
		case x < 5:
			return 12000
		}
		return 52000
	})
	p.Profile, _ = colour.Space("sRGB")
	q := apply(t, fringeV1, fringeArgs("2"), p)
	for c, want := range []float64{12058, 11985, 11962} {
		if got := float64(q.data[3*(4*12+4)+c]); math.Abs(got-want) > 1 {
			t.Errorf("channel %d: %v, by hand %v", c, got, want)
		}
	}
}

// Hues that aren't named stay, and so does what the mask leaves out.
func TestFringeHueAndMask(t *testing.T) {
	p := drawnFringe(160, 40)
	same(t, "green alone", apply(t, fringeV1, fringeArgs("7", Arg{"hue-from", "100"}, Arg{"hue-to", "160"}), p), p)
	if q := apply(t, fringeV1, fringeArgs("7", Arg{"hue-from", "270"}, Arg{"hue-to", "340"}), p); q.data[3*(20*p.W+p.W/4)] == p.data[3*(20*p.W+p.W/4)] {
		t.Error("purple stayed")
	}
	m := newImage(160, 40, 1)
	m.Profile = nil
	m.fill(func(x, y, c int) uint16 { return uint16(65535 * (y / 20)) })
	all, part := apply(t, fringeV1, fringeArgs("7"), p), apply(t, fringeV1, fringeArgs("7"), p, m)
	for i := range p.data {
		want := all.data[i]
		if i < 3*20*p.W {
			want = p.data[i]
		}
		if part.data[i] != want {
			t.Fatalf("sample %d: %d, expected %d", i, part.data[i], want)
		}
	}
}

func TestFringeFlatStaysFlat(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 20 {
		v := [3]uint16{uint16(rng.IntN(65536)), uint16(rng.IntN(65536)), uint16(rng.IntN(65536))}
		p := newImage(30, 20, 3).fill(func(x, y, c int) uint16 { return v[c] })
		p.Profile, _ = colour.Space("opRGB")
		same(t, "flat", apply(t, fringeV1, fringeArgs("7"), p), p)
	}
}

func TestFringeRefuses(t *testing.T) {
	p := Pic{W: 9, H: 9, C: 3}
	p.Profile, _ = colour.Space("sRGB")
	grey := Pic{W: 9, H: 9, C: 1}
	grey.Profile, _ = colour.Space("grey-2.2")
	for _, c := range []struct {
		a  Args
		in []Pic
	}{
		{fringeArgs("0"), []Pic{p}}, {fringeArgs("101"), []Pic{p}}, {nil, []Pic{p}}, {fringeArgs("7"), []Pic{grey}},
		{fringeArgs("7"), []Pic{{W: 9, H: 9, C: 3}}}, {fringeArgs("7", Arg{"hue-from", "10"}), []Pic{p}}, {fringeArgs("7"), nil},
	} {
		if _, err := fringeV1.New(c.a, c.in, Env{}); err == nil {
			t.Errorf("%v of %v is accepted", c.a, c.in)
		}
	}
}

func BenchmarkFringe(b *testing.B) {
	p := newImage(4000, 400, 3).scene()
	p.Profile, _ = colour.Space("sRGB")
	benchSteps(b, 400, fringeV1, fringeArgs("7"), p)
}
