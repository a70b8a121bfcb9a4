package ops

import (
	"math"
	"testing"
)

// slowTone is the operation's formulas one pixel at a time, written for
// reading: published matrices' numbers from the profile, math's own powers and
// roots, no tables but the profile's curves. blur gives the surroundings' L*.
type slowTone struct {
	exposure, warmth, contrast, local, chroma, muted float64
	curve                                            func(float64) float64
	warm                                             *[3][3]float64
	space                                            *toneSpace
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

func (s *slowTone) expose(v [3]float64) [3]float64 {
	m := math.Max(v[0], math.Max(v[1], v[2]))
	k := math.Pow(2, s.exposure)
	if x := k * m; k > 1 && x > 0.5 {
		u := (x - 0.5) / 0.5
		k = (0.5 + 0.5*u/(1+u*(k-1)/(k-0.5))) / m
	}
	return [3]float64{k * v[0], k * v[1], k * v[2]}
}

func (s *slowTone) lab(v [3]float64) [3]float64 {
	var x [3]float64
	for i := range x {
		x[i] = s.space.to[i][0]*v[0] + s.space.to[i][1]*v[1] + s.space.to[i][2]*v[2]
	}
	if s.warm != nil {
		y := x
		for i := range x {
			x[i] = s.warm[i][0]*y[0] + s.warm[i][1]*y[1] + s.warm[i][2]*y[2]
		}
	}
	fx, fy, fz := slowF(x[0]), slowF(x[1]), slowF(x[2])
	return [3]float64{116*fy - 16, 500 * (fx - fy), 200 * (fy - fz)}
}

func (s *slowTone) light(lab [3]float64) [3]float64 {
	fy := (lab[0] + 16) / 116
	x := [3]float64{slowInv(fy + lab[1]/500), slowInv(fy), slowInv(fy - lab[2]/200)}
	var v [3]float64
	for i := range v {
		v[i] = s.space.from[i][0]*x[0] + s.space.from[i][1]*x[1] + s.space.from[i][2]*x[2]
	}
	return v
}

func (s *slowTone) lightness(l float64) float64 {
	l = math.Max(0, math.Min(100, l))
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
	if s.curve != nil {
		l = math.Max(0, math.Min(100, s.curve(l)))
	}
	return l
}

// before is L* before local contrast.
func (s *slowTone) before(v [3]float64) float64 { return s.lightness(s.lab(s.expose(v))[0]) }

// after is the light after all steps.
func (s *slowTone) after(v [3]float64, blur float64) [3]float64 {
	lab := s.lab(s.expose(v))
	lab[0] = s.lightness(lab[0])
	if d := s.local * (lab[0] - blur); d > 0 && lab[0] < 100 {
		lab[0] += 1 / (1/d + 1.0/12 + 1/(100-lab[0]))
	} else if d < 0 && lab[0] > 0 {
		lab[0] -= 1 / (-1/d + 1.0/12 + 1/lab[0])
	}
	c := math.Hypot(lab[1], lab[2]) * (1 + s.chroma)
	k := (1 + s.chroma) * (1 + s.muted/(1+c*c/900))
	try := func(t float64) [3]float64 { return s.light([3]float64{lab[0], t * k * lab[1], t * k * lab[2]}) }
	fits := func(v [3]float64) bool {
		for _, x := range v {
			if x < -1e-9 || x > 1+1e-9 {
				return false
			}
		}
		return true
	}
	if fits(try(1)) {
		return try(1)
	}
	lo, hi := 0.0, 1.0
	for range 50 {
		if mid := (lo + hi) / 2; fits(try(mid)) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return try(lo)
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
			s := bind(t, toneV1, c.args, in).(*tone)
			slow := c.slow
			slow.space, slow.warm = s.space, s.warmth
			if channels == 1 {
				one := [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}
				slow.space = &toneSpace{to: one, from: one}
			}
			light := func(i int) (v [3]float64) {
				for k := range v {
					ch := k % channels
					v[k] = in.Profile.Tone(ch).Decode64()[in.data[i*channels+ch]]
				}
				return v
			}
			blur := func(x, y int) float64 { return 0 }
			if slow.local != 0 {
				blur = slowBlur(in.W, in.H, s.blur.taps, func(i int) float64 { return slow.before(light(i)) })
			}
			got := apply(t, toneV1, c.args, in)
			worst := 0
			for i := range in.W * in.H {
				want := slow.after(light(i), blur(i%in.W, i/in.W))
				for ch := range channels {
					w := int(in.Profile.Tone(ch).Encode64(want[ch]))
					d := int(got.data[i*channels+ch]) - w
					worst = max(worst, d, -d)
					// Where a channel is all but dark a step of light is many
					// codes: there light is compared.
					lit := in.Profile.Tone(ch).Decode64()
					dl := math.Abs(lit[got.data[i*channels+ch]] - lit[w])
					if (d > 1 || d < -1) && dl > 4e-6 {
						t.Fatalf("%v in %s, pixel %d channel %d: %d, want %d", c.args, space, i, ch, got.data[i*channels+ch], w)
					}
				}
			}
			t.Logf("%v in %s: at most %d codes apart", c.args, space, worst)
		}
	}
}

// slowBlur is the blur of a plane given by its values, without caches.
func slowBlur(w, h int, taps []float32, v func(i int) float64) func(x, y int) float64 {
	r := len(taps) - 1
	plane := make([]float64, w*h)
	for i := range plane {
		plane[i] = v(i)
	}
	weight := func(k int) float64 { return float64(taps[r-max(k, -k)]) }
	return func(x, y int) (sum float64) {
		for j := -r; j <= r; j++ {
			for i := -r; i <= r; i++ {
				sum += weight(i) * weight(j) * plane[max(0, min(h-1, y+j))*w+max(0, min(w-1, x+i))]
			}
		}
		return sum
	}
}
