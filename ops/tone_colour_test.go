package ops

import (
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"platemark/ops/colour"
)

// extremes are single parameters at and near the ends of their ranges.
var extremes = []Args{
	{{"exposure", "5"}}, {{"exposure", "-5"}}, {{"exposure", "1/100"}},
	{{"contrast", "1"}}, {{"contrast", "-1/2"}},
	{{"curve", "0 0 49 5 51 95 100 100"}}, {{"curve", "0 30 20 30 100 70"}}, {{"curve", "40 0 60 100"}},
	{{"chroma", "1"}}, {{"chroma", "-1"}}, {{"muted", "1"}}, {{"muted", "-1"}},
	{{"warmth", "50"}}, {{"warmth", "-50"}},
}

func greyRamp(space string) *canvas {
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
		for _, a := range extremes {
			name := a[0].Name
			colours := name == "chroma" || name == "muted" || name == "warmth"
			if in.C == 1 && colours {
				continue
			}
			out := apply(t, toneV1, a, in)
			last := [3]int{}
			earlier, before := 0, 0
			for i := range in.W * in.H {
				p := out.data[i*in.C : (i+1)*in.C]
				if name != "warmth" && in.C == 3 && (p[0] != p[1] || p[1] != p[2]) {
					t.Fatalf("%s %v: grey %d becomes %v", space, a, i, p)
				}
				if colours && name != "warmth" && p[0] != uint16(i) {
					t.Fatalf("%s %v: grey %d becomes %v", space, a, i, p)
				}
				if name != "warmth" && int(p[0]) < last[0] {
					t.Fatalf("%s %v: grey %d becomes %v after %v", space, a, i, p, last)
				}
				last[0] = int(p[0])
				// No banding: slopes change gradually, so that nowhere does a
				// value stand twice beside a jump of more than 2.
				v := int(p[len(p)/2])
				if i > 1 && name != "warmth" {
					was, is := before-earlier, v-before
					if a[0].Value != "40 0 60 100" && (was == 0 && is > 2 || is == 0 && was > 2) { // that curve clips
						t.Fatalf("%s %v: codes %d to %d become %d, %d and %d", space, a, i-2, i, earlier, before, v)
					}
				}
				earlier, before = before, v
			}
		}
	}
	// A grey picture and the same greys in RGB of the same curve agree.
	rgb := greyRamp("opRGB")
	one := &canvas{Pic{W: 4096, H: 16, C: 1}, greyRamp("grey-2.2").data}
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

func TestToneWarmthKeepsGreysInOrder(t *testing.T) {
	// L* by colour.ToLab. What rounding to codes does to it is below 0.004.
	for _, space := range []string{"sRGB", "opRGB", "ROMM-RGB"} {
		in := greyRamp(space)
		way, err := colour.NewToLab(in.Profile, colour.Relative)
		if err != nil {
			t.Fatal(err)
		}
		was, lab := make([]colour.Lab, 65536), make([]colour.Lab, 65536)
		way.Row(was, in.data)
		for _, mired := range []string{"50", "-50", "10", "-2"} {
			out := apply(t, toneV1, Args{{"warmth", mired}}, in)
			way.Row(lab, out.data)
			top := 0.0
			for i, c := range lab {
				if math.Abs(c.L-was[i].L) > 0.004 || c.L < top-0.004 {
					t.Fatalf("%s %s mired: grey %d goes from L* %v to %v after %v", space, mired, i, was[i].L, c.L, top)
				}
				top = max(top, c.L)
				if warmer := c.B > was[i].B; i > 2000 && i < 63000 && warmer == (mired[0] == '-') {
					t.Fatalf("%s %s mired: grey %d goes to %v", space, mired, i, c)
				}
			}
			if w := out.data[3*65535:]; w[0] != 65535 || w[1] != 65535 || w[2] != 65535 {
				t.Errorf("%s %s mired: white becomes %v", space, mired, w)
			}
			back := apply(t, toneV1, Args{{"warmth", strings.TrimPrefix("-"+mired, "--")}}, out)
			for i := 2000; i < 44000; i++ { // below L* 85 in every space
				for c := range 3 {
					// Two roundings, and 2.5e-6 mired^2 of the light.
					m, _ := strconv.Atoi(mired)
					room := 3 + int(65535*2.5e-6*float64(m*m))
					if d := int(back.data[3*i+c]) - i; d > room || d < -room {
						t.Fatalf("%s %s mired and back: grey %d comes back as %v", space, mired, i, back.data[3*i:3*i+3])
					}
				}
			}
		}
	}
}

func TestToneChromaKeepsLightnessAndScalesChroma(t *testing.T) {
	// L* and OKLab's chroma by plain formulas (perceptions, in the test of
	// quality). The turn towards IPT's hues moves up to 4 % of the chroma.
	for _, space := range []string{"sRGB", "opRGB"} {
		in := inSpace(newImage(300, 60, 3), space)
		rng := rand.New(rand.NewPCG(1, 2))
		for i := range in.data {
			in.data[i] = uint16(20000 + rng.IntN(25000))
		}
		was := perceptions(in)
		for _, c := range []struct {
			args Args
			gain func(c float64) float64
		}{
			{Args{{"chroma", "1/5"}}, func(float64) float64 { return 1.2 }},
			{Args{{"chroma", "-1/2"}}, func(float64) float64 { return 0.5 }},
			{Args{{"muted", "3/10"}}, func(c float64) float64 { return 1 + 0.3/(1+c*c/(0.08*0.08)) }},
		} {
			got := perceptions(apply(t, toneV1, c.args, in))
			full := 0
			for i, p := range got {
				want := was[i].okChroma * c.gain(was[i].okChroma)
				if math.Abs(p.l-was[i].l) > 0.01 || p.okChroma > want*1.04+1e-4 {
					t.Fatalf("%v: %v becomes %v", c.args, was[i], p)
				}
				if p.okChroma > want*0.96-1e-4 {
					full++
				}
			}
			if full*10 < len(got)*9 {
				t.Errorf("%v in %s: only %d of %d colours got their chroma", c.args, space, full, len(got))
			}
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
		s, ok := newHueSpace(p)
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
			y := s.luminance(v[0], v[1], v[2])
			x, z := apply3(s.toXYZ, v)[0], apply3(s.toXYZ, v)[2]
			fx, fy, fz := labF(x), labF(y), labF(z)
			got := [3]float64{116*fy - 16, 500 * (fx - fy), 200 * (fy - fz)}
			for c := range 3 {
				if math.Abs(got[c]-want[c]) > 0.002 {
					t.Errorf("%s %v: %v, want %v", file, r[3:6], got, want)
				}
			}
			back := [3]float64{}
			back[0], back[1], back[2] = s.light(x, y, z)
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
	makeRoots()
	// Source: math.Cbrt.
	rng := rand.New(rand.NewPCG(3, 1))
	for i := range 200000 {
		x := colour.LabKnee + rng.Float64()*3.98
		if i < 4000 {
			x = colour.LabKnee + float64(i)*1e-5
		}
		if got, want := labF(x), math.Cbrt(x); x > colour.LabKnee && math.Abs(got/want-1) > 1e-15 {
			t.Fatalf("f(%v) = %v, want %v", x, got, want)
		}
	}
	if d := labF(math.Nextafter(colour.LabKnee, 1)) - labF(colour.LabKnee); d < -1e-16 || d > 1e-15 {
		t.Errorf("f jumps by %v at its knee", d)
	}
	for _, x := range []float64{-1, -1e-300, 5e-324, 0, 1, 9, 1e300, math.MaxFloat64, math.Inf(1), math.Inf(-1), math.NaN()} {
		if got, want := cubeRoot(x), math.Cbrt(x); math.Abs(got-want) > 1e-15*math.Abs(want)+1e-100 && !math.IsInf(x, 0) {
			t.Errorf("the root of %v is %v, want %v", x, got, want)
		}
	}
	for range 20000 {
		x := math.Exp2(-14 - 14*rng.Float64())
		if got, want := cubeRoot(x), cubeRoot(x*0x1p12)*0x1p-4; got != want {
			t.Fatalf("the root of %v is %v, want a 16th of that of 4096 times as much, %v", x, got, want)
		}
	}
	if labF(1) != 1 || colour.LabInv(1) != 1 || colour.LabInv(labF(0)) != 0 {
		t.Errorf("white is %v, black %v", labF(1), colour.LabInv(labF(0)))
	}
}
