package ops

import (
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"platemark/ops/colour"
)

func inSpace(p *canvas, space string) *canvas {
	p.Profile, _ = colour.Space(space)
	return p
}

func TestToneExposureDoublesLight(t *testing.T) {
	in := newImage(400, 20, 3).noise(11)
	out := apply(t, toneV1, Args{{"exposure", "1"}}, in)
	tone := in.Profile.Tone(0)
	light, luma := tone.Decode64(), in.Profile.Luma()
	doubled := 0
	for i := 0; i < len(in.data); i += 3 {
		var v triple
		for c := range v {
			v[c] = 2 * light[in.data[i+c]]
		}
		y := v[0]*luma[0] + v[1]*luma[1] + v[2]*luma[2]
		top := max(v[0], v[1], v[2])
		if top-math.Pow(top-y, 3)/(top*top) > 0.5 || slowEdge(v, y) > gamutKnee {
			continue
		}
		doubled++
		for c := range v {
			if got := out.data[i+c]; got != tone.Encode64(v[c]) {
				t.Fatalf("light %v becomes code %d, want %d", v[c]/2, got, tone.Encode64(v[c]))
			}
		}
	}
	if doubled < 500 {
		t.Errorf("only %d pixels", doubled)
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
		in   []*canvas
		want string
	}{
		{nil, nil, "1 picture"},
		{nil, []*canvas{bare}, "needs the picture's profile"},
		{nil, []*canvas{paper}, "convert to a space such as opRGB first"},
		{nil, []*canvas{rgb, rgb}, "a mask has 1 channel"},
		{Args{{"warmth", "2"}}, []*canvas{grey}, "this picture is grey, and warmth changes colours"},
		{Args{{"chroma", "0"}}, []*canvas{grey}, "tint the picture first"},
		{Args{{"muted", "1"}}, []*canvas{grey}, "grey"},
		{Args{{"exposure", "6"}}, []*canvas{rgb}, "exposure is 6, expected -5 to 5"},
		{Args{{"exposure", "0.5"}}, []*canvas{rgb}, "isn't a reduced fraction"},
		{Args{{"warmth", "-51"}}, []*canvas{rgb}, "expected -50 to 50"},
		{Args{{"contrast", "2"}}, []*canvas{rgb}, "expected -0.5 to 1"},
		{Args{{"chroma", "-2"}}, []*canvas{rgb}, "expected -1 to 1"},
		{Args{{"local", "1"}}, []*canvas{rgb}, "local needs local radius"},
		{Args{{"local", "1"}, {"local-radius", "0"}}, []*canvas{rgb}, "local radius is 0, expected above 0 to 6000 px"},
		{Args{{"curve", "0 0"}}, []*canvas{rgb}, "2 to 32 points"},
		{Args{{"curve", "0 0 50 60 100"}}, []*canvas{rgb}, "pairs"},
		{Args{{"curve", "0 0 50 160"}}, []*canvas{rgb}, "curve is 160, expected 0 to 100"},
		{Args{{"curve", "0 0 50 60 50 70"}}, []*canvas{rgb}, "point 3 doesn't lie to the right"},
		{Args{{"curve", "0 0 50 60 70 50"}}, []*canvas{rgb}, "falls at point 3"},
		{Args{{"curve", "0 x"}}, []*canvas{rgb}, "reduced fraction"},
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

// Rows give what tone.point gives pixel by pixel, whatever stands in them and however
// long they are.
func TestToneRowsEqualPoints(t *testing.T) {
	wide := newImage(6011, 12, 3).fill(func(x, y, c int) uint16 {
		switch y {
		case 0: // every grey, black and white among them
			return uint16(x * 65535 / 6010)
		case 1: // one full channel or two
			return uint16(65535 * (x >> c & 1))
		case 2: // near black
			return uint16(x * (c + 1) >> 6)
		}
		return uint16(20000 + 3000*c + x*7%9000 + y*1500)
	})
	noise := newImage(6011, 12, 3).noise(5)
	for _, a := range []Args{
		{{"exposure", "3/20"}},
		{{"exposure", "-1"}, {"chroma", "1/10"}},
		{{"contrast", "1/25"}},
		{{"contrast", "-1/2"}, {"curve", "20 0 50 60 80 100"}},
		{{"chroma", "-1"}},
		{{"muted", "1/2"}},
		{{"warmth", "7"}},
		{{"warmth", "-7"}, {"contrast", "1/5"}, {"chroma", "1/50"}},
		{{"local", "2"}, {"local-radius", "2"}},
		{{"exposure", "5"}, {"warmth", "5"}, {"curve", "0 4 25 22 60 63 100 98"}, {"contrast", "1/5"}, {"local", "-1"}, {"local-radius", "20"}, {"chroma", "1/5"}, {"muted", "-1/4"}},
	} {
		for _, space := range []string{"sRGB", "ROMM-RGB"} {
			for _, in := range []*canvas{wide, noise} {
				s := bind(t, toneV1, a, inSpace(in, space)).(*tone)
				rows := []Rows{&rowsOf{t: t, pic: in.Pic, data: in.data, hi: in.H}}
				block, point := s.Worker().(*toneWorker), s.Worker().(*toneWorker)
				point.fast = nil
				for y := range in.H {
					got, want := make([]uint16, len(in.data)/in.H), make([]uint16, len(in.data)/in.H)
					block.Row(got, y, rows)
					point.Row(want, y, rows)
					if !slices.Equal(got, want) {
						i := 0
						for got[i] == want[i] {
							i++
						}
						t.Fatalf("%v in %s, row %d, pixel %d: %v, alone %v", a, space, y, i/3, got[i/3*3:][:3], want[i/3*3:][:3])
					}
				}
				for n := range 300 {
					got, want := make([]uint16, 3*n), make([]uint16, 3*n)
					block.block(got, in.data[3*n:6*n], 0)
					point.block(want, in.data[3*n:6*n], 0)
					if !slices.Equal(got, want) {
						t.Fatalf("%v in %s: a row of %d pixels differs", a, space, n)
					}
				}
			}
		}
	}
}

func BenchmarkTone(b *testing.B) {
	rgb := inSpace(newImage(6000, 64, 3).scene(), "opRGB")
	wild := inSpace(newImage(6000, 64, 3).noise(1), "sRGB")
	grey := inSpace(newImage(6000, 64, 1).scene(), "grey-2.2")
	for _, c := range []struct {
		name string
		in   *canvas
		args Args
	}{
		{"exposure", rgb, Args{{"exposure", "1/2"}}},
		{"exposure-contrast-chroma", rgb, Args{{"exposure", "1/2"}, {"contrast", "1/5"}, {"chroma", "1/5"}}},
		{"everything-but-local", rgb, Args{{"exposure", "1/2"}, {"warmth", "-3"}, {"contrast", "1/5"}, {"curve", "0 4 25 22 60 63 100 98"}, {"chroma", "1/5"}, {"muted", "1/5"}}},
		{"nearly-all-out-of-gamut", wild, Args{{"chroma", "1"}}},
		{"local-8", rgb, Args{{"local", "1/2"}, {"local-radius", "8"}}},
		{"local-60", rgb, Args{{"local", "1/2"}, {"local-radius", "60"}}},
		{"usual", inSpace(newImage(6000, 64, 3).scene(), "ROMM-RGB"), Args{{"exposure", "3/20"}, {"contrast", "1/25"}, {"local", "3/50"}, {"local-radius", "60"}, {"chroma", "3/100"}}},
		{"grey", grey, Args{{"exposure", "1/2"}, {"contrast", "1/5"}}},
	} {
		b.Run(c.name, func(b *testing.B) {
			benchSteps(b, 64, toneV1, c.args, c.in)
		})
	}
}
