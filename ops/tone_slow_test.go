package ops

import (
	"math"
	"math/big"
	"testing"

	"platemark/ops/colour"
)

// slowTone is the operation's formulas one pixel at a time, written for
// reading: OKLab's published numbers, the profile's shares of X, Y and Z, math's
// own powers and roots, no tables but the profile's curves. around gives the
// surroundings' L*.
type slowTone struct {
	exposure, warmth, contrast, local, chroma, muted float64
	curve                                            func(float64) float64
	warm                                             *[3][3]float64 // on shares
	shares                                           [3][3]float64
	cones, back                                      [3][3]float64
	weights                                          [3]float64 // of the cones in Y
}

type triple = [3]float64

func apply3(m [3][3]float64, v triple) (out triple) {
	for r := range m {
		out[r] = m[r][0]*v[0] + m[r][1]*v[1] + m[r][2]*v[2]
	}
	return out
}

func product(a, b [3][3]float64) (out [3][3]float64) {
	for r := range out {
		for c := range out {
			for k := range out {
				out[r][c] += a[r][k] * b[k][c]
			}
		}
	}
	return out
}

func inverse(m [3][3]float64) (out [3][3]float64) {
	minor := func(r, c int) float64 {
		r1, r2, c1, c2 := (r+1)%3, (r+2)%3, (c+1)%3, (c+2)%3
		return m[r1][c1]*m[r2][c2] - m[r1][c2]*m[r2][c1]
	}
	det := m[0][0]*minor(0, 0) + m[0][1]*minor(0, 1) + m[0][2]*minor(0, 2)
	for r := range out {
		for c := range out {
			out[r][c] = minor(c, r) / det
		}
	}
	return out
}

// Sources: B. Ottosson, "A perceptual color space for image processing" (2020),
// his first matrix; ICC.1:2010, annex E, linear Bradford; D50 of ICC.1 and D65 of
// IEC 61966-2-1.
var (
	okCones  = [3][3]float64{{0.8189330101, 0.3618667424, -0.1288597137}, {0.0329845436, 0.9293118715, 0.0361456387}, {0.0482003018, 0.2643662691, 0.6338517070}}
	bradford = [3][3]float64{{0.8951, 0.2664, -0.1614}, {-0.7502, 1.7135, 0.0367}, {0.0389, -0.0685, 1.0296}}
	d50      = triple{0.9642, 1, 0.8249}
	d65      = triple{0.95047, 1, 1.08883}
)

// toD65 takes shares of white's X, Y and Z to X, Y and Z under D65.
func toD65() [3][3]float64 {
	a, b := apply3(bradford, d50), apply3(bradford, d65)
	var gain, white [3][3]float64
	for i := range 3 {
		gain[i][i], white[i][i] = b[i]/a[i], d50[i]
	}
	return product(product(product(inverse(bradford), gain), bradford), white)
}

func (s *slowTone) in(shares [3][3]float64) {
	s.shares = shares
	s.cones = product(okCones, product(toD65(), shares))
	for r := range s.cones {
		sum := s.cones[r][0] + s.cones[r][1] + s.cones[r][2]
		for c := range 3 {
			s.cones[r][c] /= sum
		}
	}
	s.back = inverse(s.cones)
	for c := range 3 {
		s.weights[c] = shares[1][0]*s.back[0][c] + shares[1][1]*s.back[1][c] + shares[1][2]*s.back[2][c]
	}
}

func slowF(t float64) float64 {
	if t > 216.0/24389 {
		return math.Cbrt(t)
	}
	return (24389.0/27*t + 16) / 116
}

func slowInv(f float64) float64 {
	if f > 6.0/29 {
		return f * f * f
	}
	return (116*f - 16) * 27 / 24389
}

func (s *slowTone) luminance(v triple) float64 { return apply3(s.shares, v)[1] }

func (s *slowTone) expose(v triple) triple {
	y := s.luminance(v)
	k := math.Pow(2, s.exposure)
	top := math.Max(v[0], math.Max(v[1], v[2]))
	n := top - math.Pow(top-y, 3)/(top*top)
	if x := k * n; k > 1 && x > 0.5 {
		u := (x - 0.5) / 0.5
		k = (0.5 + 0.5*u/(1+u*(k-1)/(k-0.5))) / n
	}
	if m := k * top; m > 1 {
		k *= (1 + (1-1/m)/8) / m
	}
	return triple{k * v[0], k * v[1], k * v[2]}
}

func (s *slowTone) lightness(l float64) float64 {
	l = math.Max(0, math.Min(100, l))
	if s.curve != nil {
		l = math.Max(0, math.Min(100, s.curve(l)))
	}
	if c := s.contrast; c != 0 {
		h, u := 0.0, l/50
		if l > 50 {
			h, u = 50, (100-l)/50
		}
		e, d := 1/(1+c), 1+c
		w := 50 * (e*u + (3-2*e-d)*u*u + (e+d-2)*u*u*u)
		if l > 50 {
			w = 50 - w
		}
		l = h + w
	}
	return l
}

// before is L* before local contrast.
func (s *slowTone) before(v triple) float64 {
	return s.lightness(116*slowF(s.luminance(s.expose(v))) - 16)
}

// chromaTimes is the light of luminance y whose chroma is k times that of v.
func (s *slowTone) chromaTimes(v triple, y, k float64) triple {
	var cone triple
	for i, x := range apply3(s.cones, v) {
		cone[i] = math.Cbrt(x)
	}
	u, w := cone[0]-cone[1], cone[2]-cone[1]
	root, root1 := math.Cbrt(s.luminance(v)), math.Cbrt(y)
	if root <= 0 || root1 == 0 || u == 0 && w == 0 {
		return triple{y, y, y}
	}
	e := k * root / root1
	hold := func(x float64) float64 { return math.Max(-1, math.Min(1, x)) }
	q := hold(w / root)
	u, w = k*u*(1-(1-e*e)*q*q/5), k*(w-(1-e)*q*(0.28*u+0.36*w))
	lum := func(m float64) float64 {
		return s.weights[0]*math.Pow(m+u, 3) + s.weights[1]*m*m*m + s.weights[2]*math.Pow(m+w, 3)
	}
	// Bisection, from where the largest of the three roots lies.
	lo, hi := 0.0, 3.0
	for range 80 {
		if m := (lo + hi) / 2; lum(m) < y {
			lo = m
		} else {
			hi = m
		}
	}
	return apply3(s.back, triple{math.Pow(lo+u, 3), lo * lo * lo, math.Pow(lo+w, 3)})
}

func slowEdge(v triple, y float64) float64 {
	hi, lo := math.Max(v[0], math.Max(v[1], v[2])), math.Min(v[0], math.Min(v[1], v[2]))
	return math.Max(math.Pow((hi-y)/math.Max(1e-9, 1-y), 3), 1-math.Cbrt(1-(y-lo)/math.Max(1e-9, y)))
}

func (s *slowTone) hold(v triple, y, was float64) triple {
	now, limit := slowEdge(v, y), math.Max(0.8, math.Min(1, was))
	if now <= limit {
		return v
	}
	aim := limit + (1-limit)*(now-limit)/(1+8*now-9*limit)
	past := func(v triple) float64 {
		hi, lo := math.Max(v[0], math.Max(v[1], v[2])), math.Min(v[0], math.Min(v[1], v[2]))
		return math.Max((hi-y)/math.Max(1e-12, math.Cbrt(aim)*(1-y)), (y-lo)/math.Max(1e-12, y*(1-math.Pow(1-aim, 3)))) - 1
	}
	// Plain bisection.
	in, out := 0.0, 1.0
	for range 60 {
		if z := (in + out) / 2; past(s.chromaTimes(v, y, z)) > 0 {
			out = z
		} else {
			in = z
		}
	}
	return s.chromaTimes(v, y, in)
}

// after is the light after all steps.
func (s *slowTone) after(v triple, around float64) triple {
	was := slowEdge(v, s.luminance(v))
	v = s.expose(v)
	y := math.Max(0, math.Min(1, s.luminance(v)))
	l := 116*slowF(y) - 16
	m := s.lightness(l)
	if d := s.local * (m - around); d > 0 && m < 100 {
		m += 1 / (1/d + 1.0/12 + 1/(100-m))
	} else if d < 0 && m > 0 {
		m -= 1 / (-1/d + 1.0/12 + 1/m)
	}
	y1, k := y, 1.0
	if s.curve != nil || s.contrast != 0 || s.local != 0 {
		y1, k = slowInv((m+16)/116), (m+1)/(l+1)
	}
	if s.warm != nil {
		v = s.chromaTimes(v, y1, k)
		w := 1.0
		if m > 85 {
			t := (m - 85) / 15
			w = (1 - t) * (1 + t/2)
		}
		to := apply3(inverse(s.shares), apply3(*s.warm, apply3(s.shares, v)))
		for i := range v {
			v[i] += w * (to[i] - v[i])
		}
		y = math.Max(0, math.Min(1, s.luminance(v)))
		y1, k = y, 1
	}
	// All that multiplies the chroma is one factor.
	k *= 1 + s.chroma
	var cone triple
	for i, x := range apply3(s.cones, v) {
		cone[i] = math.Cbrt(x)
	}
	// The second and third rows of Ottosson's second matrix.
	a := k * (1.9779984951*cone[0] - 2.4285922050*cone[1] + 0.4505937099*cone[2])
	b := k * (0.0259040371*cone[0] + 0.7827717662*cone[1] - 0.8086757660*cone[2])
	if k *= 1 + s.muted/(1+(a*a+b*b)/(0.08*0.08)); k != 1 || y1 != y {
		v, y = s.chromaTimes(v, y1, k), y1
	}
	return s.hold(v, y, was)
}

func TestToneAgainstPlainFormulas(t *testing.T) {
	// Source of the curve's values: slopes worked by hand for (0, 4), (50, 40),
	// (100, 98): secants 0.72 and 1.16, middle slope 0.94.
	curve := func(l float64) float64 {
		h := func(y0, d, m0, m1, u float64) float64 {
			return y0 + 50*(m0*u+(3*d-2*m0-m1)*u*u+(m0+m1-2*d)*u*u*u)
		}
		if l < 50 {
			return h(4, 0.72, 0.72, 0.94, l/50)
		}
		return h(40, 1.16, 0.94, 1.16, (l-50)/50)
	}
	for _, c := range []struct {
		args Args
		slow slowTone
	}{
		{Args{{"exposure", "3/20"}}, slowTone{exposure: 0.15}},
		{Args{{"exposure", "4"}}, slowTone{exposure: 4}},
		{Args{{"exposure", "-4"}}, slowTone{exposure: -4}},
		{Args{{"warmth", "-2"}}, slowTone{warmth: -2}},
		{Args{{"warmth", "50"}}, slowTone{warmth: 50}},
		{Args{{"warmth", "-50"}}, slowTone{warmth: -50}},
		{Args{{"contrast", "1"}}, slowTone{contrast: 1}},
		{Args{{"contrast", "-1/2"}}, slowTone{contrast: -0.5}},
		{Args{{"curve", "0 4 50 40 100 98"}}, slowTone{curve: curve}},
		{Args{{"chroma", "3/100"}}, slowTone{chroma: 0.03}},
		{Args{{"chroma", "1"}}, slowTone{chroma: 1}},
		{Args{{"chroma", "-1"}}, slowTone{chroma: -1}},
		{Args{{"muted", "1"}}, slowTone{muted: 1}},
		{Args{{"muted", "-1"}}, slowTone{muted: -1}},
		{Args{{"local", "1/2"}, {"local-radius", "3"}}, slowTone{local: 0.5}},
		{Args{{"local", "-1"}, {"local-radius", "2"}}, slowTone{local: -1}},
		{Args{{"chroma", "1/5"}, {"curve", "0 4 50 40 100 98"}, {"local-radius", "5/2"}, {"local", "2"}, {"warmth", "7"}, {"exposure", "1/2"}, {"muted", "1/4"}, {"contrast", "1/5"}},
			slowTone{exposure: 0.5, warmth: 7, contrast: 0.2, curve: curve, local: 2, chroma: 0.2, muted: 0.25}},
	} {
		for _, space := range []string{"sRGB", "ROMM-RGB", "grey-2.2"} {
			channels := 3
			if space == "grey-2.2" {
				channels = 1
				if c.slow.warmth != 0 || c.slow.chroma != 0 || c.slow.muted != 0 {
					continue
				}
			}
			in := inSpace(newImage(61, 40, channels).noise(3), space)
			if space == "ROMM-RGB" { // keep away from its primaries, which are no colours
				for i, v := range in.data {
					in.data[i] = 20000 + v/2
				}
			}
			s := bind(t, toneV1, c.args, in).(*tone)
			slow := c.slow
			shares, _, ok := in.Profile.Shares()
			if !ok { // grey
				srgb, _ := colour.Space("sRGB")
				shares, _, _ = srgb.Shares()
			}
			slow.in(shares)
			if slow.warmth != 0 {
				slow.warm = toneWarmth(big.NewRat(int64(slow.warmth), 1))
			}
			light := func(i int) (v [3]float64) {
				for k := range v {
					ch := k % channels
					v[k] = in.Profile.Tone(ch).Decode64()[in.data[i*channels+ch]]
				}
				return v
			}
			around := func(x, y int) float64 { return 0 }
			if slow.local != 0 {
				around = slowAround(in.W, in.H, s.around.f, s.around.r, func(i int) float64 { return slow.before(light(i)) })
			}
			got := apply(t, toneV1, c.args, in)
			worst, off := 0, 0
			for i := range in.W * in.H {
				want := slow.after(light(i), around(i%in.W, i/in.W))
				room := 4e-6
				if slowEdge(want, slow.luminance(want)) > 0.79 {
					room = 0.02 // held back: dark channels hardly move as the chroma does
				}
				for ch := range channels {
					w := int(in.Profile.Tone(ch).Encode64(want[ch]))
					d := int(got.data[i*channels+ch]) - w
					worst = max(worst, d, -d)
					// Where a channel is all but dark a step of light is many
					// codes: there light is compared.
					lit := in.Profile.Tone(ch).Decode64()
					dl := math.Abs(lit[got.data[i*channels+ch]] - lit[w])
					if (d > 1 || d < -1) && dl > room && room > 1e-3 && off < 5 {
						off++ // full blues: red stays near 0 over a long way
					} else if (d > 1 || d < -1) && dl > room {
						t.Fatalf("%v in %s, pixel %d channel %d: %d, want %d", c.args, space, i, ch, got.data[i*channels+ch], w)
					}
				}
			}
			t.Logf("%v in %s: at most %d codes apart", c.args, space, worst)
		}
	}
}
