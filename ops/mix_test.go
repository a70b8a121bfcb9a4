package ops

import (
	"math"
	"strings"
	"testing"

	"platemark/ops/colour"
)

func shares(r, g, b string) Args { return Args{{"red", r}, {"green", g}, {"blue", b}} }

func tinted(t testing.TB, hue, chroma, space string, in *canvas) *canvas {
	t.Helper()
	p, _ := colour.Space(space)
	sum := p.Digest().String()
	op := tintV1
	op.New = func(a Args, in []Pic, _ Env) (Step, error) {
		return tintV1.New(a, in, Env{Profiles: map[string]*colour.Profile{sum: p}})
	}
	return apply(t, op, Args{{"hue", hue}, {"chroma", chroma}, {"profile", sum}}, in)
}

func TestMixByHand(t *testing.T) {
	// opRGB: light is code/65535 to the power 563/256. grey-2.2's exponent is
	// 11/5 in 65536ths, 144179.
	in := inSpace(newImage(1, 1, 3), "opRGB")
	copy(in.data, []uint16{20000, 40000, 60000})
	light := func(c float64) float64 { return math.Pow(c/65535, 563.0/256) }
	code := func(r, g, b float64) uint16 {
		x := r*light(20000) + g*light(40000) + b*light(60000)
		return uint16(math.Floor(65535*math.Pow(math.Max(0, math.Min(1, x)), 65536.0/144179) + 0.5))
	}
	for _, c := range []struct {
		a       Args
		r, g, b float64
	}{
		{shares("2/5", "2/5", "1/5"), 0.4, 0.4, 0.2}, {shares("1", "0", "0"), 1, 0, 0}, {shares("-1", "1", "1"), -1, 1, 1},
		{shares("3", "-1", "-1"), 3, -1, -1}, {shares("1/3", "1/3", "1/3"), 1.0 / 3, 1.0 / 3, 1.0 / 3},
	} {
		out := apply(t, mixV1, c.a, in)
		if out.C != 1 || out.Profile.Channels() != 1 || out.data[0] != code(c.r, c.g, c.b) {
			t.Errorf("%v: %v, want %d", c.a, out.data, code(c.r, c.g, c.b))
		}
	}
	// Greys keep their light whatever the shares.
	ramp := greyRamp("sRGB")
	lit, grey := ramp.Profile.Tone(0).Decode64(), apply(t, mixV1, shares("1/2", "1/2", "0"), ramp).Profile.Tone(0)
	for _, a := range []Args{shares("1/3", "1/3", "1/3"), shares("-2", "3", "0"), shares("3/10", "59/100", "11/100")} {
		for i, v := range apply(t, mixV1, a, ramp).data {
			if v != grey.Encode64(lit[i]) {
				t.Fatalf("%v: grey %d becomes %d, want %d", a, i, v, grey.Encode64(lit[i]))
			}
		}
	}
	anyOrder(t, mixV1, shares("1/2", "1/4", "1/4"), newImage(31, 22, 3).noise(3))
}

func TestTint(t *testing.T) {
	ramp := greyRamp("grey-2.2")
	lit := ramp.Profile.Tone(0).Decode64()
	for _, space := range []string{"sRGB", "opRGB", "ROMM-RGB"} {
		for _, c := range []struct {
			hue, chroma string
			h, c        float64
		}{{"70", "6", 70, 6}, {"0", "40", 0, 40}, {"285", "40", 285, 40}, {"360", "17/2", 360, 8.5}, {"100", "0", 100, 0}} {
			out := tinted(t, c.hue, c.chroma, space, ramp)
			if out.data[0] != 0 || out.data[1] != 0 || out.data[2] != 0 {
				t.Errorf("%s %v: black is %v", space, c, out.data[:3])
			}
			if w := out.data[len(out.data)-3:]; w[0] != 65535 || w[1] != 65535 || w[2] != 65535 {
				t.Errorf("%s %v: white is %v", space, c, w)
			}
			way, err := colour.NewToLab(out.Profile, colour.Relative)
			if err != nil {
				t.Fatal(err)
			}
			lab := make([]colour.Lab, 65536)
			way.Row(lab, out.data)
			for i, got := range lab {
				// Lightness by math.Cbrt, chroma by the stated parabola.
				l := 116*slowF(lit[i]) - 16
				if math.Abs(got.L-l) > 0.01 {
					t.Fatalf("%s %v: code %d has L* %v, want %v", space, c, i, got.L, l)
				}
				want := 4 * l / 100 * (1 - l/100) * c.c
				a, b := want*math.Cos(c.h*math.Pi/180), want*math.Sin(c.h*math.Pi/180)
				d := math.Hypot(got.A-a, got.B-b)
				if l > 20 && l < 80 && c.c < 10 && d > 0.02 || got.Chroma() > want+0.1 {
					t.Fatalf("%s %v: code %d is %v, want a* %v b* %v", space, c, i, got, a, b)
				}
				if c.c == 0 && (out.data[3*i] != out.data[3*i+1] || out.data[3*i] != out.data[3*i+2]) {
					t.Fatalf("%s: without chroma code %d is %v", space, i, out.data[3*i:3*i+3])
				}
			}
		}
	}
	p, _ := colour.Space("sRGB")
	env := Env{Profiles: map[string]*colour.Profile{"x": p}}
	op := tintV1
	op.New = func(a Args, in []Pic, _ Env) (Step, error) { return tintV1.New(a, in, env) }
	anyOrder(t, op, Args{{"hue", "70"}, {"chroma", "6"}, {"profile", "x"}}, inSpace(newImage(31, 22, 1).noise(3), "grey-2.2"))
}

func TestMixAndTintRefuse(t *testing.T) {
	rgb, grey := newImage(5, 5, 3), inSpace(newImage(5, 5, 1), "grey-2.2")
	s, _ := colour.Space("sRGB")
	g, _ := colour.Space("grey-2.2")
	env := Env{Profiles: map[string]*colour.Profile{"s": s, "g": g}}
	tint := func(hue, chroma, profile string) Args {
		return Args{{"hue", hue}, {"chroma", chroma}, {"profile", profile}}
	}
	for _, c := range []struct {
		o    Operation
		a    Args
		in   []*canvas
		want string
	}{
		{mixV1, shares("1", "0", "0"), nil, "1 picture"},
		{mixV1, shares("1", "0", "0"), []*canvas{grey}, "grey already"},
		{mixV1, shares("1/2", "1/2", "1/100"), []*canvas{rgb}, "add up to 101/100, expected 1"},
		{mixV1, shares("4", "-2", "-1"), []*canvas{rgb}, "red is 4, expected -2 to 3"},
		{mixV1, shares("0.3", "1", "0"), []*canvas{rgb}, "reduced fraction"},
		{mixV1, shares("1", "0", "0")[:2], []*canvas{rgb}, "blue is missing"},
		{tintV1, tint("70", "6", "s"), []*canvas{rgb}, "grey with mix first"},
		{tintV1, tint("70", "6", "s"), []*canvas{newImage(5, 5, 1)}, "needs the picture's profile"},
		{tintV1, tint("361", "6", "s"), []*canvas{grey}, "hue is 361, expected 0 to 360"},
		{tintV1, tint("70", "41", "s"), []*canvas{grey}, "chroma is 41, expected 0 to 40"},
		{tintV1, tint("70", "6", "q"), []*canvas{grey}, "no profile with the digest"},
		{tintV1, tint("70", "6", "g"), []*canvas{grey}, "isn't RGB"},
		{tintV1, tint("70", "6", "s")[:2], []*canvas{grey}, "profile is missing"},
		{tintV1, tint("70", "6", "s")[1:], []*canvas{grey}, "hue is missing"},
	} {
		var pics []Pic
		for _, p := range c.in {
			pics = append(pics, p.Pic)
		}
		if _, err := c.o.New(c.a, pics, env); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s %v: %v, want %q", c.o.Name, c.a, err, c.want)
		}
	}
}
