package ops

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"platemark/ops/colour"
)

func inSpace(p *image, space string) *image {
	p.Profile, _ = colour.Space(space)
	return p
}

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
				blur = slowBlur(in.W, in.H, s.taps, func(i int) float64 { return slow.before(light(i)) })
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

// extremes are single parameters at and near the ends of their ranges.
var extremes = []Args{
	{{"exposure", "4"}}, {{"exposure", "-4"}}, {{"exposure", "1/100"}},
	{{"contrast", "1"}}, {{"contrast", "-1/2"}},
	{{"curve", "0 0 49 5 51 95 100 100"}}, {{"curve", "0 30 20 30 100 70"}}, {{"curve", "40 0 60 100"}},
	{{"chroma", "1"}}, {{"chroma", "-1"}}, {{"muted", "1"}}, {{"muted", "-1"}},
	{{"warmth", "50"}}, {{"warmth", "-50"}},
}

func greyRamp(space string) *image {
	channels := 3
	if strings.HasPrefix(space, "grey") {
		channels = 1
	}
	p := inSpace(newImage(4096, 16, channels), space)
	for i := range p.data {
		p.data[i] = uint16(i / channels)
	}
	return p
}

func TestToneGreysStayGreyAndInOrder(t *testing.T) {
	for _, space := range []string{"sRGB", "opRGB", "ROMM-RGB", "Display-P3", "grey-2.2"} {
		in := greyRamp(space)
		grey := map[string][]uint16{}
		for _, a := range extremes {
			name := a[0].Name
			colours := name == "chroma" || name == "muted" || name == "warmth"
			if in.C == 1 && colours {
				continue
			}
			out := apply(t, toneV1, a, in)
			last := [3]int{}
			levels := map[uint16]bool{}
			for i := range in.W * in.H {
				p := out.data[i*in.C : (i+1)*in.C]
				if name != "warmth" && in.C == 3 && (p[0] != p[1] || p[1] != p[2]) {
					t.Fatalf("%s %v: grey %d becomes %v", space, a, i, p)
				}
				if colours && name != "warmth" && p[0] != uint16(i) {
					t.Fatalf("%s %v: grey %d becomes %v", space, a, i, p)
				}
				// With warmth the channel that gives way to the gamut's edge
				// falls back to white's neighbours; green carries the lightness.
				if name != "warmth" && int(p[0]) < last[0] {
					t.Fatalf("%s %v: grey %d becomes %v after %v", space, a, i, p, last)
				}
				last[0] = int(p[0])
				if i > 16384 && i < 49152 {
					levels[p[len(p)/2]] = true
				}
			}
			grey[a[0].Value+name] = out.data
			// No banding: of the 32767 middle codes as many stay apart as the
			// slope allows; one code of two for everything but the harshest.
			least := 16000
			switch {
			case a[0].Value == "4":
				least = 5000 // the shoulder squeezes four stops' range
			case a[0].Value == "-4", a[0].Value == "0 30 20 30 100 70":
				least = 7000
			case strings.HasPrefix(name, "curve"):
				least = 4000 // all but vertical in places
			}
			if len(levels) < least {
				t.Errorf("%s %v: %d levels left of 32767, want %d", space, a, len(levels), least)
			}
		}
	}
	// A grey picture and the same greys in RGB of the same curve agree.
	rgb := greyRamp("opRGB")
	one := &image{Pic{W: 4096, H: 16, C: 1}, greyRamp("grey-2.2").data}
	one = inSpace(one, "grey-2.2")
	for _, a := range extremes[:8] {
		x := apply(t, toneV1, a, rgb)
		y := apply(t, toneV1, a, one)
		for i := range y.data {
			// Their exponents are 563/256 and 11/5.
			v, w := rgb.Profile.Tone(0).Decode64()[x.data[3*i]], one.Profile.Tone(0).Decode64()[y.data[i]]
			if math.Abs(v-w) > 0.02 {
				t.Fatalf("%v: grey %d has light %v in RGB, %v in grey", a, i, v, w)
			}
		}
	}
}

func TestToneChromaKeepsLightnessAndHue(t *testing.T) {
	// Lab before and after by colour.ToLab, which is checked against outside
	// values in its own package.
	for _, space := range []string{"sRGB", "opRGB"} {
		in := inSpace(newImage(300, 60, 3), space)
		rng := rand.New(rand.NewPCG(1, 2))
		for i := range in.data {
			in.data[i] = uint16(20000 + rng.IntN(25000))
		}
		lab, err := colour.NewToLab(in.Profile, colour.Relative)
		if err != nil {
			t.Fatal(err)
		}
		a, b := make([]colour.Lab, in.W*in.H), make([]colour.Lab, in.W*in.H)
		lab.Row(a, in.data)
		for _, c := range []struct {
			args Args
			gain func(c float64) float64
		}{
			{Args{{"chroma", "1/5"}}, func(float64) float64 { return 1.2 }},
			{Args{{"chroma", "-1/2"}}, func(float64) float64 { return 0.5 }},
			{Args{{"muted", "3/10"}}, func(c float64) float64 { return 1 + 0.3/(1+c*c/900) }},
		} {
			out := apply(t, toneV1, c.args, in)
			lab.Row(b, out.data)
			inside := 0
			for i := range a {
				ca, cb := a[i].Chroma(), b[i].Chroma()
				if math.Abs(a[i].L-b[i].L) > 0.05 {
					t.Fatalf("%v: L* %v becomes %v", c.args, a[i].L, b[i].L)
				}
				if ca > 3 && cb > 3 {
					h := math.Atan2(a[i].A*b[i].B-a[i].B*b[i].A, a[i].A*b[i].A+a[i].B*b[i].B) * 180 / math.Pi
					if math.Abs(h) > 0.5 {
						t.Fatalf("%v: %v becomes %v, %v degrees of hue", c.args, a[i], b[i], h)
					}
				}
				if math.Abs(cb-ca*c.gain(ca)) < 0.01 {
					inside++
				} else if cb > ca*c.gain(ca) {
					t.Fatalf("%v: C* %v becomes %v", c.args, ca, cb)
				}
			}
			if inside*10 < len(a)*9 {
				t.Errorf("%v in %s: only %d of %d colours got their chroma", c.args, space, inside, len(a))
			}
		}
	}
}

func TestToneExposureDoublesLight(t *testing.T) {
	in := newImage(400, 20, 3).noise(11)
	out := apply(t, toneV1, Args{{"exposure", "1"}}, in)
	tone := in.Profile.Tone(0)
	light := tone.Decode64()
	for i := 0; i < len(in.data); i += 3 {
		m := max(in.data[i], in.data[i+1], in.data[i+2])
		for c := range 3 {
			v := light[in.data[i+c]]
			if got := out.data[i+c]; 2*light[m] <= 0.5 && got != tone.Encode64(2*v) {
				t.Fatalf("light %v becomes code %d, want %d", v, got, tone.Encode64(2*v))
			}
		}
		if m == 65535 && max(out.data[i], out.data[i+1], out.data[i+2]) != 65535 {
			t.Fatalf("full light isn't full any more")
		}
	}
}

func TestToneLabAgainstPublishedNumbers(t *testing.T) {
	// Source: testdata/standards/icc_transforms.csv, the exact_* columns of the
	// LabD50 rows of the v4 profiles. Ours is relative to the profile's own
	// white, which rounding in the profile sets 5e-4 off D50.
	rows, _ := checkValues(t, "icc_transforms.csv")
	n := 0
	for file, name := range map[string]string{"sRGB_v4": "srgb_v4", "opRGB_v4": "oprgb_v4", "ROMM_v4": "romm_v4"} {
		b, err := os.ReadFile("../testdata/standards/profiles/" + name + ".icc")
		if err != nil {
			t.Fatal(err)
		}
		p, err := colour.Parse(b)
		if err != nil {
			t.Fatal(err)
		}
		s, ok := newToneSpace(p)
		if !ok {
			t.Fatal(name)
		}
		for _, r := range rows[1:] {
			if r[0] != file || r[1] != "LabD50" || r[2] != "relative" {
				continue
			}
			n++
			var v, want [3]float64
			for c := range 3 {
				k, _ := strconv.Atoi(r[3+c])
				v[c] = p.Tone(c).Decode64()[k]
				want[c] = num(t, r[12+c])
			}
			x, y, z := s.shares(v[0], v[1], v[2])
			fx, fy, fz := labF(x), labF(y), labF(z)
			got := [3]float64{116*fy - 16, 500 * (fx - fy), 200 * (fy - fz)}
			for c := range 3 {
				if math.Abs(got[c]-want[c]) > 0.002 {
					t.Errorf("%s %v: %v, want %v", file, r[3:6], got, want)
				}
			}
			back := [3]float64{}
			back[0], back[1], back[2] = s.light(fy, fx-fy, fy-fz)
			for c := range 3 {
				if math.Abs(back[c]-v[c]) > 1e-12 {
					t.Errorf("%s %v: light %v comes back as %v", file, r[3:6], v, back)
				}
			}
		}
	}
	if n != 180 {
		t.Errorf("%d rows", n)
	}
}

func TestToneRoot(t *testing.T) {
	// Source: math.Cbrt.
	rng := rand.New(rand.NewPCG(3, 1))
	for i := range 200000 {
		x := labKnee + rng.Float64()*3.98
		if i < 4000 {
			x = labKnee + float64(i)*1e-5
		}
		if got, want := labF(x), math.Cbrt(x); x > labKnee && math.Abs(got/want-1) > 1e-15 {
			t.Fatalf("f(%v) = %v, want %v", x, got, want)
		}
	}
	if d := labF(math.Nextafter(labKnee, 1)) - labF(labKnee); d < -1e-16 || d > 1e-15 {
		t.Errorf("f jumps by %v at its knee", d)
	}
	for _, x := range []float64{-1, 0, 1, 9, math.Inf(1), math.Inf(-1), math.NaN()} {
		labF(x) // no index runs out
	}
	if labF(1) != 1 || labInv(1) != 1 || labInv(labF(0)) != 0 {
		t.Errorf("white is %v, black %v", labF(1), labInv(labF(0)))
	}
}

func TestToneIdentity(t *testing.T) {
	in := newImage(300, 9, 3).noise(6)
	for _, a := range []Args{nil, {{"exposure", "0"}, {"warmth", "0"}, {"contrast", "0"}, {"chroma", "0"}, {"muted", "0"}, {"local", "0"}, {"curve", "0 0 30 30 100 100"}}} {
		same(t, fmt.Sprint(a), in, apply(t, toneV1, a, in))
	}
	same(t, "empty mask", in, apply(t, toneV1, Args{{"exposure", "2"}}, in, newImage(7, 5, 1)))
	full := newImage(7, 5, 1).fill(func(int, int, int) uint16 { return 65535 })
	a := Args{{"contrast", "1/5"}, {"chroma", "1/5"}}
	same(t, "full mask", apply(t, toneV1, a, in), apply(t, toneV1, a, in, full))
	// Flat parts have no surroundings to differ from.
	for _, c := range []int{1, 3} {
		f := newImage(50, 40, c).fill(func(x, y, c int) uint16 { return uint16(9000 + 17000*c) })
		if c == 1 {
			f = inSpace(f, "grey-2.2")
		}
		same(t, "flat", f, apply(t, toneV1, Args{{"local", "2"}, {"local-radius", "5"}}, f))
	}
}

func TestToneThroughAMask(t *testing.T) {
	// By hand: opRGB white to a quarter of its light, through 40 % (26214 of
	// 65535): a quarter's code is 65535 (1/4)^(256/563) = 34890.9, so
	// 65535 - 0.4 (65535 - 34891) = 53277.4.
	in := inSpace(newImage(4, 4, 3).fill(func(int, int, int) uint16 { return 65535 }), "opRGB")
	m := newImage(4, 4, 1).fill(func(int, int, int) uint16 { return 26214 })
	for i, v := range apply(t, toneV1, Args{{"exposure", "-2"}}, in, m).data {
		if v != 53277 {
			t.Fatalf("sample %d is %d, want 53277", i, v)
		}
	}
	// The rule itself, on noise.
	for _, c := range []int{1, 3} {
		in := newImage(1100, 6, c).noise(2)
		if c == 1 {
			in = inSpace(in, "grey-2.2")
		}
		m := newImage(1100, 6, 1).noise(9)
		for x := range 1100 / 2 {
			m.data[x], m.data[2*1100+x] = 0, 65535
		}
		a := Args{{"exposure", "1/2"}, {"contrast", "1/3"}, {"local", "1"}, {"local-radius", "2"}}
		top := apply(t, toneV1, a, in)
		got := apply(t, toneV1, a, in, m)
		for i, v := range got.data {
			p := float32(m.data[i/c]) / 65535
			b, a := float32(in.data[i]), float32(top.data[i])
			d := float32(p * (a - b))
			want := uint16(math.Floor(float64(b+d) + 0.5))
			if max(v, want)-min(v, want) > 1 || p == 0 && v != in.data[i] || p == 1 && v != top.data[i] {
				t.Fatalf("%d channels, sample %d: %d, want %d", c, i, v, want)
			}
		}
	}
}

func TestToneAnyOrder(t *testing.T) {
	all := Args{{"exposure", "1/2"}, {"contrast", "1/5"}, {"curve", "0 4 50 40 100 98"}, {"local", "1/2"}, {"local-radius", "3"}}
	rgb := append(Args{{"warmth", "5"}, {"chroma", "1/5"}, {"muted", "1/4"}}, all...)
	m := newImage(11, 9, 1).noise(2)
	grey := inSpace(newImage(33, 41, 1).noise(1), "grey-2.2")
	anyOrder(t, toneV1, all, grey)
	anyOrder(t, toneV1, rgb, newImage(33, 41, 3).noise(1), m)
	anyOrder(t, toneV1, append(rgb, Arg{"covers", "1/2 1 10 9"}), newImage(33, 41, 3).noise(1), m)
	in := newImage(53, 37, 3).noise(8)
	same(t, "mirror", apply(t, toneV1, rgb, in.mirrored(true)), apply(t, toneV1, rgb, in).mirrored(true))
	// What is written first changes nothing.
	back := Args{}
	for i := range rgb {
		back = append(back, rgb[len(rgb)-1-i])
	}
	same(t, "order of arguments", apply(t, toneV1, rgb, in), apply(t, toneV1, back, in))
}

func TestToneRefuses(t *testing.T) {
	rgb, grey := newImage(5, 5, 3), inSpace(newImage(5, 5, 1), "grey-2.2")
	bare := newImage(5, 5, 1)
	b, err := os.ReadFile("../testdata/standards/profiles/rgbprint_v4.icc")
	if err != nil {
		t.Fatal(err)
	}
	printer, err := colour.Parse(b)
	if err != nil {
		t.Fatal(err)
	}
	paper := newImage(5, 5, 3)
	paper.Profile = printer
	for _, c := range []struct {
		args Args
		in   []*image
		want string
	}{
		{nil, nil, "1 picture"},
		{nil, []*image{bare}, "needs the picture's profile"},
		{nil, []*image{paper}, "convert to a space such as opRGB first"},
		{nil, []*image{rgb, rgb}, "a mask has 1 channel"},
		{Args{{"warmth", "2"}}, []*image{grey}, "this picture is grey, and warmth changes colours"},
		{Args{{"chroma", "0"}}, []*image{grey}, "tint the picture first"},
		{Args{{"muted", "1"}}, []*image{grey}, "grey"},
		{Args{{"exposure", "5"}}, []*image{rgb}, "exposure is 5, expected -4 to 4"},
		{Args{{"exposure", "0.5"}}, []*image{rgb}, "isn't a reduced fraction"},
		{Args{{"warmth", "-51"}}, []*image{rgb}, "expected -50 to 50"},
		{Args{{"contrast", "2"}}, []*image{rgb}, "expected -1/2 to 1"},
		{Args{{"chroma", "-2"}}, []*image{rgb}, "expected -1 to 1"},
		{Args{{"local", "1"}}, []*image{rgb}, "local needs local-radius"},
		{Args{{"local", "1"}, {"local-radius", "0"}}, []*image{rgb}, "expected 1 to 200"},
		{Args{{"curve", "0 0"}}, []*image{rgb}, "2 to 32 points"},
		{Args{{"curve", "0 0 50 60 100"}}, []*image{rgb}, "pairs"},
		{Args{{"curve", "0 0 50 160"}}, []*image{rgb}, "lightness 160"},
		{Args{{"curve", "0 0 50 60 50 70"}}, []*image{rgb}, "point 3 doesn't lie to the right"},
		{Args{{"curve", "0 0 50 60 70 50"}}, []*image{rgb}, "falls at point 3"},
		{Args{{"curve", "0 x"}}, []*image{rgb}, "reduced fraction"},
	} {
		var pics []Pic
		for _, p := range c.in {
			pics = append(pics, p.Pic)
		}
		if _, err := toneV1.New(c.args, pics, Env{}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: %v, want %q", c.args, err, c.want)
		}
	}
}

func BenchmarkTone(b *testing.B) {
	rgb := inSpace(newImage(6000, 64, 3).scene(), "opRGB")
	grey := inSpace(newImage(6000, 64, 1).scene(), "grey-2.2")
	for _, c := range []struct {
		name string
		in   *image
		args Args
	}{
		{"exposure", rgb, Args{{"exposure", "1/2"}}},
		{"exposure-contrast-chroma", rgb, Args{{"exposure", "1/2"}, {"contrast", "1/5"}, {"chroma", "1/5"}}},
		{"everything-but-local", rgb, Args{{"exposure", "1/2"}, {"warmth", "-3"}, {"contrast", "1/5"}, {"curve", "0 4 25 22 60 63 100 98"}, {"chroma", "1/5"}, {"muted", "1/5"}}},
		{"chroma-out-of-gamut", rgb, Args{{"chroma", "1"}}},
		{"local-8", rgb, Args{{"local", "1/2"}, {"local-radius", "8"}}},
		{"grey", grey, Args{{"exposure", "1/2"}, {"contrast", "1/5"}}},
	} {
		b.Run(c.name, func(b *testing.B) {
			benchSteps(b, 64, toneV1, c.args, c.in)
		})
	}
}
