package ops

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"platemark/ops/colour"
	"platemark/testdata/photos"
)

// perception is how a pixel is seen.
type perception struct {
	l, c              float64 // CIELAB's L* and C*
	okChroma, okHue   float64 // OKLab
	iptChroma, iptHue float64 // IPT
	y, edge           float64
}

// perceptions measures every pixel, by plain formulas. Sources: CIE 15:2004;
// Ottosson 2020 (both matrices); F. Ebner and M. Fairchild, "Development and
// testing of a color space (IPT) with improved hue uniformity", 1998.
func perceptions(in *canvas) []perception {
	shares, _, _ := in.Profile.Shares()
	xyz := toD65()
	okPlane := [3][3]float64{{0.2104542553, 0.7936177850, -0.0040720468}, {1.9779984951, -2.4285922050, 0.4505937099}, {0.0259040371, 0.7827717662, -0.8086757660}}
	iptCones := [3][3]float64{{0.4002, 0.7075, -0.0807}, {-0.2280, 1.1500, 0.0612}, {0, 0, 0.9184}}
	iptPlane := [3][3]float64{{0.4, 0.4, 0.2}, {4.4550, -4.8510, 0.3960}, {0.8056, 0.3572, -1.1628}}
	plane := func(cones, plane [3][3]float64, power float64, v triple) (chroma, hue float64) {
		v = apply3(cones, v)
		for i, x := range v {
			v[i] = math.Copysign(math.Pow(math.Abs(x), power), x)
		}
		v = apply3(plane, v)
		return math.Hypot(v[1], v[2]), math.Atan2(v[2], v[1]) * 180 / math.Pi
	}
	out := make([]perception, in.W*in.H)
	var light [3][]float64
	for c := range light {
		light[c] = in.Profile.Tone(c).Decode64()
	}
	for i := range out {
		p := &out[i]
		v := triple{light[0][in.data[3*i]], light[1][in.data[3*i+1]], light[2][in.data[3*i+2]]}
		x := apply3(shares, v)
		f := triple{slowF(x[0]), slowF(x[1]), slowF(x[2])}
		p.l, p.c = 116*f[1]-16, math.Hypot(500*(f[0]-f[1]), 200*(f[1]-f[2]))
		p.y, p.edge = x[1], slowEdge(v, x[1])
		x = apply3(xyz, x)
		p.okChroma, p.okHue = plane(okCones, okPlane, 1.0/3, x)
		p.iptChroma, p.iptHue = plane(iptCones, iptPlane, 0.43, x)
	}
	return out
}

// hueAngle is the angle between two hues, in degrees.
func hueAngle(a, b float64) float64 { return math.Abs(math.Remainder(a-b, 360)) }

// row is a line of the table of quality.
func row(t *testing.T, what, before, wanted string, now float64, ok bool) {
	t.Helper()
	line := fmt.Sprintf("%s | before %s | wanted %s | now %.2f", what, before, wanted, now)
	if !ok {
		t.Error(line)
		return
	}
	t.Log(line)
}

// allHues are colours of every hue at three lightnesses on the faces of the
// space's cube (edge 1), and the same half way to their grey.
func allHues(space string, share float64) *canvas {
	const n = 24
	var data []uint16
	in := inSpace(newImage(1, 1, 3), space)
	tone := in.Profile.Tone(0)
	luma := in.Profile.Luma()
	for face := range 6 {
		for i := range n + 1 {
			for j := range n + 1 {
				for _, level := range []float64{1, 0.3, 0.08} {
					var v triple
					v[face/2] = float64(face%2) * level
					v[(face/2+1)%3] = math.Pow(float64(i)/n, 2.2) * level
					v[(face/2+2)%3] = math.Pow(float64(j)/n, 2.2) * level
					y := v[0]*luma[0] + v[1]*luma[1] + v[2]*luma[2]
					for _, x := range v {
						data = append(data, tone.Encode64(y+share*(x-y)))
					}
				}
			}
		}
	}
	return inSpace(&canvas{Pic{W: len(data) / 3, H: 1, C: 3}, data}, space)
}

// hueDrift is the most that the hue turns where there is a hue to be seen (OKLab's
// chroma above 0.03 and L* above 10).
func hueDrift(t *testing.T, in *canvas, a Args) (ok, ipt float64) {
	was, got := perceptions(in), perceptions(apply(t, toneV1, a, in))
	for i, p := range was {
		if p.okChroma < 0.03 || p.l < 10 || got[i].okChroma < 0.005 {
			continue
		}
		ok, ipt = max(ok, hueAngle(p.okHue, got[i].okHue)), max(ipt, hueAngle(p.iptHue, got[i].iptHue))
	}
	return ok, ipt
}

func TestQualityOfHue(t *testing.T) {
	for _, c := range []struct {
		name, value, before string
	}{
		{"chroma", "-1/4", "13 (blue)"}, {"chroma", "-1/2", "25 (blue)"}, {"chroma", "-3/4", "33 (blue)"},
		{"chroma", "1/4", "-"}, {"muted", "-1/2", "-"}, {"muted", "1/2", "-"},
		{"contrast", "3/10", "-"}, {"curve", "0 4 50 40 100 98", "-"}, {"curve", "0 0 30 15 100 100", "-"},
		{"exposure", "1", "-"}, {"exposure", "-1", "-"},
	} {
		for _, in := range []struct {
			space string
			share float64
		}{{"sRGB", 1}, {"sRGB", 0.5}, {"opRGB", 1}} {
			ok, ipt := hueDrift(t, allHues(in.space, in.share), Args{{c.name, c.value}})
			what := fmt.Sprintf("hue, %s %s in %s at %v of the edge", c.name, c.value, in.space, in.share)
			row(t, what+", OKLab, degrees", c.before, "< 3", ok, ok < 3)
			row(t, what+", IPT, degrees", "-", "< 3", ipt, ipt < 3)
		}
	}
}

// patch is what becomes of one colour of sRGB, given as light.
func patch(t *testing.T, v triple, a Args) perception {
	t.Helper()
	in := inSpace(newImage(1, 1, 3), "sRGB")
	for c, x := range v {
		in.data[c] = in.Profile.Tone(c).Encode64(x)
	}
	return perceptions(apply(t, toneV1, a, in))[0]
}

func TestQualityOfSaturation(t *testing.T) {
	// C*/L* of colours in the middle of the space, darkened and lightened by
	// curves: L* 30 to 15, 15 to 30, 60 to 40 and 50 to 75.
	for _, c := range []struct {
		curve    string
		from     float64
		before   string
		wantMost float64
	}{
		{"0 0 30 15 100 100", 30, "100 %", 10}, {"0 0 15 30 100 100", 15, "50 %", 10},
		{"0 0 60 40 100 100", 60, "50 %", 10}, {"0 0 50 75 100 100", 50, "33 %", 10},
	} {
		most := 0.0
		for angle := 0.0; angle < 360; angle += 5 {
			for _, reach := range []float64{0.15, 0.3} {
				// A colour of that lightness, reach of the way to the edge.
				y := slowInv((c.from + 16) / 116)
				s, _ := newHueSpace(inSpace(newImage(1, 1, 3), "sRGB").Profile)
				u, v := 0.2*math.Cos(angle*math.Pi/180), 0.4*math.Sin(angle*math.Pi/180)
				r, g, b := s.join(s.solve(y, u*0.3, v*0.3, math.Cbrt(y)), u*0.3, v*0.3)
				e := reach / gamutEdge(r, g, b, y)
				p := triple{y + e*(r-y), y + e*(g-y), y + e*(b-y)}
				was, got := patch(t, p, nil), patch(t, p, Args{{"curve", c.curve}})
				if got.edge > gamutKnee {
					continue
				}
				most = max(most, 100*math.Abs(got.c/got.l/(was.c/was.l)-1))
			}
		}
		row(t, "C*/L*, curve "+c.curve+", per cent", c.before, "within 10", most, most <= c.wantMost)
	}
}

func TestQualityOfExposure(t *testing.T) {
	grey := triple{0.1789, 0.1789, 0.1789}
	red := triple{0.55, 0.078, 0.078} // L* 49.4 too
	for _, c := range []struct {
		stops string
		most  float64
	}{{"1/2", 3}, {"1", 3}} {
		a := Args{{"exposure", c.stops}}
		g, r := patch(t, grey, a), patch(t, red, a)
		row(t, fmt.Sprintf("exposure +%s: grey of L* 49.4 comes to %.1f, red to %.1f; difference", c.stops, g.l, r.l), "11.1 at 1", "within 3", math.Abs(g.l-r.l), math.Abs(g.l-r.l) <= c.most)
	}
	// Where a full colour at the edge of the space runs into a dull one, as blur
	// does, there is no pale ring: between the two it hardly gets lighter than both
	// or duller than on the straight way, and lightness turns nowhere sharply. Before:
	// a shoulder on luminance alone.
	for _, c := range []struct {
		full, dull        triple
		over, pale, sharp string
	}{
		{triple{1, 0.6, 0.02}, triple{0.25, 0.35, 0.1}, "5.0", "9.0", "0.24"},
		{triple{1, 0.45, 0.01}, triple{0.2, 0.28, 0.1}, "6.4", "8.5", "0.44"},
		{triple{1, 0.9, 0.02}, triple{0.25, 0.35, 0.1}, "1.1", "8.0", "0.20"},
		{triple{0.9, 0.02, 0.02}, triple{0.25, 0.35, 0.1}, "0", "16.0", "0.51"},
	} {
		in := inSpace(newImage(65, 1, 3), "sRGB")
		in.fill(func(x, _, ch int) uint16 {
			return in.Profile.Tone(ch).Encode64(c.full[ch] + float64(x)/64*(c.dull[ch]-c.full[ch]))
		})
		p := perceptions(apply(t, toneV1, Args{{"exposure", "1"}}, in))
		var over, pale, sharp float64
		for x := 1; x < 64; x++ {
			over = max(over, p[x].l-max(p[0].l, p[64].l))
			pale = max(pale, p[0].c+float64(x)/64*(p[64].c-p[0].c)-p[x].c)
			sharp = max(sharp, math.Abs(p[x-1].l+p[x+1].l-2*p[x].l))
		}
		what := fmt.Sprintf("exposure +1, from %v to %v, ", c.full, c.dull)
		row(t, what+"L* above both", c.over, "< 2.5", over, over < 2.5)
		row(t, what+"C* below the straight way", c.pale, "< 12", pale, pale < 12)
		row(t, what+"L* turns in a 64th", c.sharp, "< 0.3", sharp, sharp < 0.3)
	}
	// Towards white: a red's chroma falls from where it meets the edge on.
	last := math.Inf(1)
	for _, stops := range []string{"3/2", "2", "3", "4", "5"} {
		p := patch(t, red, Args{{"exposure", stops}})
		if p.c >= last {
			t.Errorf("exposure +%s: red has C* %.1f after %.1f", stops, p.c, last)
		}
		last = p.c
	}
}

func TestQualityOfWarmth(t *testing.T) {
	for _, space := range []string{"sRGB", "opRGB"} {
		for _, mired := range []string{"50", "10", "-10", "-20", "-50"} {
			p := perceptions(apply(t, toneV1, Args{{"warmth", mired}}, greyRamp(space)))
			top, rise := 0.0, 0.0
			least := math.Inf(1)
			for _, q := range p {
				if q.l < 85 {
					continue
				}
				rise = max(rise, q.c-least)
				least = min(least, q.c)
				top = max(top, q.c)
			}
			at := func(l float64) float64 {
				for _, q := range p {
					if q.l >= l {
						return q.c
					}
				}
				return 0
			}
			row(t, fmt.Sprintf("warmth %s in %s: greys' C* %.1f %.1f %.1f %.1f %.1f at L* 85 90 94 98 100; most that it rises from L* 85 up", mired, space, at(85), at(90), at(94), at(98), p[65535].c), "8, 3, 0 at 94, 98, 100", "0", rise, rise < 0.03)
		}
	}
}

// eveningSky is a synthetic sunset: from deep blue to yellow and red, over dark
// land.
func eveningSky() *canvas {
	stops := []triple{{0.05, 0.1, 0.32}, {0.12, 0.2, 0.4}, {0.45, 0.32, 0.3}, {0.9, 0.42, 0.1}, {1, 0.7, 0.2}, {0.6, 0.1, 0.03}, {0.02, 0.012, 0.01}}
	in := inSpace(newImage(240, 240, 3), "sRGB")
	tone := in.Profile.Tone(0)
	return in.fill(func(x, y, c int) uint16 {
		at := float64(y) / 240 * float64(len(stops)-1)
		k := int(at)
		v := stops[k][c] + (at-float64(k))*(stops[k+1][c]-stops[k][c])
		glow := 1 + 0.5*math.Exp(-math.Pow(float64(x-120)/50, 2))*math.Exp(-math.Pow(float64(y-150)/40, 2))
		return tone.Encode64(v * glow)
	})
}

func TestQualityAtTheEdge(t *testing.T) {
	in := eveningSky()
	for _, a := range []Args{{{"contrast", "3/10"}}, {{"curve", "0 0 25 18 75 82 100 100"}}, {{"chroma", "1/4"}}, {{"muted", "1/2"}}, {{"exposure", "1/2"}}} {
		share := photos.Compare(in.data, apply(t, toneV1, a, in).data).Clipped
		row(t, fmt.Sprintf("sunset, %s %s: newly at the edge, per cent", a[0].Name, a[0].Value), "10.8 (contrast)", "< 3", share, share < 3)
	}
}

// slowKeep is convert keeping hue one pixel at a time, by math's own roots and plain
// bisection.
type slowKeep struct {
	slowTone
	matrix [3][3]float64 // the source's light to the destination's
}

func newSlowKeep(from, to *colour.Profile) (s slowKeep) {
	a, _, _ := from.Shares()
	b, _, _ := to.Shares()
	s.in(b)
	s.matrix = product(inverse(b), a)
	return s
}

// seen is a colour's cube root of luminance and twice its chroma in OKLab.
func (s *slowKeep) seen(v triple) (root, chroma float64) {
	cone := apply3(s.cones, v)
	for i, x := range cone {
		cone[i] = math.Cbrt(x)
	}
	a := apply3([3][3]float64{{}, {1.9779984951, -2.4285922050, 0.4505937099}, {0.0259040371, 0.7827717662, -0.8086757660}}, cone)
	return math.Cbrt(s.luminance(v)), 2 * math.Hypot(a[1], a[2])
}

// keep is what becomes of light outside, how far that is from it, how far the colour
// of its lightness is, and the least that any of its hue is, found by trying.
func (s *slowKeep) keep(v triple) (got triple, is, same, least float64) {
	root, chroma := s.seen(v)
	y := s.luminance(v)
	by := func(k float64) (triple, float64) {
		w := s.hold(triple{k * v[0], k * v[1], k * v[2]}, k*y, 1)
		r, c := s.seen(w)
		return w, math.Hypot(r-root, c-chroma)
	}
	k, lo := 1.0, min(v[0], v[1], v[2])
	held := 1.0
	if lo < 0 {
		held = y / (y - lo)
	}
	if hi := y + held*(max(v[0], v[1], v[2])-y); hi > 1 {
		// By less light alone, and by less chroma alone.
		lightRoot, lightChroma := root/math.Cbrt(hi), held*chroma/math.Cbrt(hi)
		lessChroma := held * chroma * (1 - y) / (hi - y)
		// The nearest point of the line between them.
		dx, dy := root-lightRoot, lessChroma-lightChroma
		t := ((root-lightRoot)*dx + (held*chroma-lightChroma)*dy) / (dx*dx + dy*dy)
		k = math.Pow((lightRoot+max(0, min(1, t))*dx)/root, 3)
	}
	got, is = by(k)
	_, same = by(1)
	least = min(is, same)
	for q := 0.5; q <= 1.5 && q*y < 1; q += 0.02 {
		_, d := by(q)
		least = min(least, d)
	}
	return got, is, same, least
}

func TestQualityOfConvertKeepingHue(t *testing.T) {
	// Full colours of opRGB, and the sunset taken as opRGB, into sRGB.
	srgb, _ := colour.Space("sRGB")
	env := Env{Profiles: map[string]*colour.Profile{fmt.Sprintf("%x", srgb.Digest()): srgb}}
	convert := func(in *canvas, hue string) *canvas {
		s, err := convertV1.New(Args{{"profile", fmt.Sprintf("%x", srgb.Digest())}, {"hue", hue}}, []Pic{in.Pic}, env)
		if err != nil {
			t.Fatal(err)
		}
		out := inSpace(newImage(in.W, in.H, 3), "sRGB")
		k := s.Worker()
		for y := range in.H {
			k.Row(out.data[y*3*in.W:][:3*in.W], y, []Rows{&rowsOf{t: t, pic: in.Pic, data: in.data, lo: y, hi: y + 1}})
		}
		return out
	}
	sunset := eveningSky()
	sunset.Profile = allHues("opRGB", 1).Profile
	slow, light := newSlowKeep(sunset.Profile, srgb), srgb.Tone(0)
	for _, in := range []*canvas{allHues("opRGB", 1), sunset} {
		clip, keep := convert(in, "clip"), convert(in, "keep")
		was, clipped, kept := perceptions(in), perceptions(clip), perceptions(keep)
		var before, now []float64
		var ours, level, least float64
		for i, p := range was {
			if p.okChroma < 0.03 || p.l < 10 || kept[i].okChroma < 0.005 {
				continue
			}
			if hueAngle(p.okHue, clipped[i].okHue) < 0.01 && clip.data[3*i] == keep.data[3*i] {
				continue // inside
			}
			before, now = append(before, hueAngle(p.okHue, clipped[i].okHue)), append(now, hueAngle(p.okHue, kept[i].okHue))
			if i%97 != 0 {
				continue
			}
			p, of := in.data[3*i:], in.Profile.Tone(0).Decode64()
			v := apply3(slow.matrix, triple{of[p[0]], of[p[1]], of[p[2]]})
			want, d, same, best := slow.keep(v)
			ours, level, least = ours+d, level+same, least+best
			for c, x := range want {
				got := keep.data[3*i+c]
				if d := int(got) - int(light.Encode64(x)); (d > 1 || d < -1) && math.Abs(light.Decode64()[got]-x) > 2e-3 {
					t.Fatalf("light %v becomes %v, want %v", v, keep.data[3*i:3*i+3], want)
				}
			}
		}
		row(t, "keeping hue, difference from the source as a share of the least at that hue", fmt.Sprintf("%.2f (at its lightness)", level/least), "< 1.1", ours/least, ours/least < 1.1)
		slices.Sort(before)
		slices.Sort(now)
		median, most := now[len(now)/2], now[len(now)-1]
		row(t, fmt.Sprintf("opRGB to sRGB keeping hue, OKLab, degrees, median (most %.1f)", most), fmt.Sprintf("%.1f (most %.1f)", before[len(before)/2], before[len(before)-1]), "< 3", median, most < 3)
		for i := range in.data {
			in.data[i] = 20000 + in.data[i]/8 // well inside
		}
		same(t, "inside", convert(in, "clip"), convert(in, "keep"))
	}
	grey, _ := colour.Space("grey-2.2")
	for _, c := range []struct {
		pic  Pic
		args Args
		want string
	}{
		{Pic{W: 4, H: 4, C: 1, Profile: grey}, Args{{"hue", "keep"}}, "only between RGB spaces of curves"},
		{Pic{W: 4, H: 4, C: 3, Profile: sunset.Profile}, Args{{"hue", "keep"}, {"intent", "absolute"}}, "absolute intent"},
		{Pic{W: 4, H: 4, C: 3, Profile: sunset.Profile}, Args{{"hue", "turn"}}, "expected clip or keep"},
	} {
		if _, err := convertV1.New(append(c.args, Arg{"profile", fmt.Sprintf("%x", srgb.Digest())}), []Pic{c.pic}, env); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: %v, want %q", c.args, err, c.want)
		}
	}
}
