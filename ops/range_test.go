package ops

import (
	"math"
	"testing"

	"platemark/ops/colour"
)

func rangeArgs(of, from, to, soft string) Args {
	a := Args{{"of", of}, {"from", from}, {"to", to}}
	if soft != "" {
		a = append(a, Arg{"soft", soft})
	}
	return a
}

// slowRange is the share of a pixel by the formulas: OKLab by its published matrices,
// math's own roots and angles.
func slowRange(s *slowTone, p []uint16, tone [3][]float64, of string, from, to, soft float64) float64 {
	smooth := func(t float64) float64 {
		t = math.Max(0, math.Min(1, t))
		return 3*t*t - 2*t*t*t
	}
	v := triple{tone[0][p[0]], tone[1][p[1]], tone[2][p[2]]}
	c := apply3(s.cones, v)
	for i := range c {
		c[i] = math.Cbrt(c[i])
	}
	// The second matrix of B. Ottosson, "A perceptual color space for image
	// processing" (2020).
	a := 1.9779984951*c[0] - 2.4285922050*c[1] + 0.4505937099*c[2]
	b := 0.0259040371*c[0] + 0.7827717662*c[1] - 0.8086757660*c[2]
	chroma := math.Hypot(a, b)
	line := func(x float64) float64 {
		d := math.Max(0, math.Max(from-x, x-to))
		if d == 0 {
			return 1
		}
		if soft == 0 {
			return 0
		}
		return smooth(1 - d/soft)
	}
	switch of {
	case "lightness":
		return line(116*slowF(math.Floor(65535*s.luminance(v)+0.5)/65535) - 16)
	case "chroma":
		return line(4 * chroma)
	}
	hue := math.Mod(math.Atan2(b, a)*180/math.Pi+720, 360)
	turn := math.Mod(to-from+360, 360)
	if from == 0 && to == 360 {
		turn = 360
	}
	share := 0.0
	if past := math.Mod(hue-from+360, 360); past <= turn {
		share = 1
	} else if d := math.Min(past-turn, 360-past); d < 90 && soft > 0 {
		share = smooth(1 - math.Sin(d*math.Pi/180)/math.Sin(soft*math.Pi/180))
	}
	return smooth(chroma/0.02) * share
}

func TestRangeEqualsSlow(t *testing.T) {
	for _, space := range []string{"sRGB", "ROMM-RGB"} {
		p := newImage(64, 48, 3).noise(5)
		q := newImage(64, 48, 3).scene()
		copy(p.data[:len(p.data)/2], q.data)
		p.Profile, _ = colour.Space(space)
		s := &slowTone{}
		shares, _, _ := p.Profile.Shares()
		s.in(shares)
		var tone [3][]float64
		for c := range tone {
			tone[c] = p.Profile.Tone(c).Decode64()
		}
		for _, r := range [][4]string{
			{"lightness", "0", "30", "6"}, {"lightness", "40", "60", "25"}, {"lightness", "55", "100", ""},
			{"chroma", "1/10", "1/2", "1/5"}, {"chroma", "0", "2/5", ""},
			{"hue", "20", "90", "15"}, {"hue", "340", "20", "30"}, {"hue", "100", "60", "10"}, {"hue", "0", "360", ""}, {"hue", "10", "190", "90"}, {"hue", "30", "30", "20"},
		} {
			got := apply(t, rangeV1, rangeArgs(r[0], r[1], r[2], r[3]), p)
			soft := 0.0
			if r[3] != "" {
				soft = flt(ratOf(r[3]))
			}
			off := 0
			for i, v := range got.data {
				want := 65535 * slowRange(s, p.data[3*i:], tone, r[0], flt(ratOf(r[1])), flt(ratOf(r[2])), soft)
				if d := math.Abs(float64(v) - want); d > 1.5 {
					off++
					if d > 40 && soft > 0 || off > 3 {
						t.Fatalf("%s %v, pixel %d: %d, by the formulas %.1f", space, r, i, v, want)
					}
				}
			}
		}
	}
}

// Greys have no hue, black and white are the ends of lightness, and each range of a
// grey picture is that of the same greys in colour.
func TestRangeOfGreys(t *testing.T) {
	p := newImage(256, 1, 3).fill(func(x, y, c int) uint16 { return uint16(257 * x) })
	p.Profile, _ = colour.Space("sRGB")
	for i, v := range apply(t, rangeV1, rangeArgs("hue", "0", "360", "90"), p).data {
		if v != 0 {
			t.Fatalf("grey %d has a hue: %d", i, v)
		}
	}
	for i, v := range apply(t, rangeV1, rangeArgs("chroma", "0", "0", ""), p).data {
		if v != 65535 {
			t.Fatalf("grey %d has chroma: %d", i, v)
		}
	}
	l := apply(t, rangeV1, rangeArgs("lightness", "0", "0", "100"), p).data
	if l[0] != 65535 || l[255] != 0 {
		t.Errorf("black %d, white %d", l[0], l[255])
	}
	g := newImage(256, 1, 1).fill(func(x, y, c int) uint16 { return uint16(257 * x) })
	g.Profile, _ = colour.Space("grey-2.2")
	l = apply(t, rangeV1, rangeArgs("lightness", "50", "50", "10"), g).data
	// L* 50 is 18.42 % of light (CIE 15), and code 118 or 119 of 255 at gamma 2.2.
	if m := max(l[118], l[119]); m < 65000 || l[90] != 0 || l[150] != 0 {
		t.Errorf("L* 50: %d %d, far from it %d %d", l[118], l[119], l[90], l[150])
	}
}

func TestRangeRefuses(t *testing.T) {
	grey := Pic{W: 9, H: 9, C: 1}
	grey.Profile, _ = colour.Space("grey-2.2")
	p := Pic{W: 9, H: 9, C: 3}
	p.Profile, _ = colour.Space("sRGB")
	for _, c := range []struct {
		a  Args
		in Pic
	}{
		{rangeArgs("hue", "0", "10", ""), grey}, {rangeArgs("chroma", "0", "1", ""), grey}, {rangeArgs("lightness", "30", "0", ""), p},
		{rangeArgs("lightness", "0", "101", ""), p}, {rangeArgs("chroma", "0", "3", ""), p}, {rangeArgs("hue", "0", "10", "91"), p},
		{rangeArgs("light", "0", "10", ""), p}, {rangeArgs("hue", "0", "10", ""), Pic{W: 9, H: 9, C: 3}},
	} {
		if _, err := rangeV1.New(c.a, []Pic{c.in}, Env{}); err == nil {
			t.Errorf("%v of %v is accepted", c.a, c.in)
		}
	}
}

func BenchmarkRange(b *testing.B) {
	p := newImage(4000, 100, 3).scene()
	p.Profile, _ = colour.Space("opRGB")
	for _, r := range [][4]string{{"lightness", "0", "30", "6"}, {"chroma", "0", "1", "1/5"}, {"hue", "20", "90", "15"}} {
		b.Run(r[0], func(b *testing.B) { benchSteps(b, 100, rangeV1, rangeArgs(r[0], r[1], r[2], r[3]), p) })
	}
}
