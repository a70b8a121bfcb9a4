package colour

import (
	"math"
	"math/rand"
	"os"
	"slices"
	"strconv"
	"testing"
)

func load(t testing.TB, path string) *Profile {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	p, err := Parse(b)
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	return p
}

// checkTransforms compares conversions with the exact_* columns of
// icc_transforms.csv (a float64 evaluation of the same profile bytes by an
// independent parser, itself within 1 of 65535 of Little CMS 2.14), clipped and
// rounded to codes, for the rows whose ends profiles has.
func checkTransforms(t *testing.T, profiles map[string]*Profile, near func(dst *Profile, got, want uint16) bool) (rows int) {
	t.Helper()
	for _, row := range readCSV(t, "icc_transforms.csv") {
		src, dst := profiles[row[0]], profiles[row[1]]
		if src == nil || dst == nil || row[2] != "relative" {
			continue
		}
		rows++
		var in, out [3]uint16
		for i := range 3 {
			v, err := strconv.ParseUint(row[3+i], 10, 16)
			if err != nil {
				t.Fatal(err)
			}
			in[i] = uint16(v)
		}
		NewLink(src, dst).Row(out[:], in[:])
		for i := range 3 {
			want := math.Min(math.Max(num(t, row[12+i]), 0), 1) * 65535
			if !near(dst, out[i], uint16(want+0.5)) {
				t.Errorf("%s to %s, %v channel %d: %d, expected %.3f", row[0], row[1], in, i, out[i], want)
			}
		}
	}
	return rows
}

func withinOne(_ *Profile, got, want uint16) bool {
	d := int(got) - int(want)
	return -1 <= d && d <= 1
}

func TestTransformsOfOutsideProfiles(t *testing.T) {
	dir := "../../testdata/standards/profiles/"
	n := checkTransforms(t, map[string]*Profile{
		"sRGB_v4":  load(t, dir+"srgb_v4.icc"),
		"opRGB_v4": load(t, dir+"oprgb_v4.icc"),
		"ROMM_v4":  load(t, dir+"romm_v4.icc"),
	}, withinOne)
	if n != 6*60 {
		t.Errorf("%d rows checked, expected 360", n)
	}
}

// The built-in spaces state the same standards, but a colorant may be rounded
// to the other side: a count in 65536, which the inverse matrix raises up to
// threefold. So the light may differ by 4 such counts (near black that is many
// codes), or the code by one.
func TestTransformsOfBuiltinSpaces(t *testing.T) {
	n := checkTransforms(t, map[string]*Profile{
		"sRGB_v4": space(t, "sRGB"), "opRGB_v4": space(t, "opRGB"), "ROMM_v4": space(t, "ROMM-RGB"),
	}, func(dst *Profile, got, want uint16) bool {
		light := dst.Tone(0).Decode64()
		return withinOne(dst, got, want) || math.Abs(light[got]-light[want]) <= 4.0/65536
	})
	if n != 6*60 {
		t.Errorf("%d rows checked, expected 360", n)
	}
}

// linearOf is an RGB profile with p's colorants and straight curves.
func linearOf(t testing.TB, p *Profile) *Profile {
	t.Helper()
	b := p.Bytes()
	for i := range int(b[131]) {
		e := b[132+12*i:]
		if string(e[1:4]) == "TRC" {
			off := int(e[6])<<8 | int(e[7])
			copy(b[off:], append([]byte("curv"), make([]byte, 8)...))
		}
	}
	q, err := Parse(b)
	if err != nil {
		t.Fatal(err)
	}
	return q
}

func TestCurvesAsWritten(t *testing.T) {
	srgb := space(t, "sRGB")
	linear := linearOf(t, srgb)
	link := NewLink(linear, srgb)
	last := uint16(0)
	for c := range 1025 {
		in, out := [3]uint16{uint16(c), uint16(c), uint16(c)}, [3]uint16{}
		link.Row(out[:], in[:])
		if c == 65 && out != [3]uint16{840, 840, 840} {
			t.Errorf("linear 65 gives %v, expected 840", out)
		}
		// IEC 61966-2-1
		x := float64(c) / 65535
		y := 12.92 * x
		if x > 0.0031308 {
			y = 1.055*math.Pow(x, 1/2.4) - 0.055
		}
		if d := float64(out[0]) - y*65535; d > 1 || d < -1 {
			t.Errorf("linear %d gives %d, formula %.3f", c, out[0], y*65535)
		}
		if out[0] < last {
			t.Errorf("not monotone at %d", c)
		}
		last = out[0]
	}
}

// One step equals two within 1 where the step between adds no more than its own
// rounding: greys from linear light through ROMM RGB, and colours through a
// smaller space into a larger.
func TestOneStepEqualsTwo(t *testing.T) {
	rng := rand.New(rand.NewSource(4))
	srgb, p3, romm := space(t, "sRGB"), space(t, "Display-P3"), space(t, "ROMM-RGB")
	check := func(src, mid, dst *Profile, pixel func(i int) [3]uint16) {
		t.Helper()
		direct, first, second := NewLink(src, dst), NewLink(src, mid), NewLink(mid, dst)
		for i := range 65536 {
			in := pixel(i)
			var a, m, b [3]uint16
			direct.Row(a[:], in[:])
			first.Row(m[:], in[:])
			second.Row(b[:], m[:])
			for i := range 3 {
				if !withinOne(nil, a[i], b[i]) {
					t.Fatalf("%v: %v in one step, %v in two", in, a, b)
				}
			}
		}
	}
	check(linearOf(t, srgb), romm, srgb, func(i int) [3]uint16 { return [3]uint16{uint16(i), uint16(i), uint16(i)} })
	check(linearOf(t, srgb), srgb, p3, func(int) [3]uint16 {
		return [3]uint16{uint16(9000 + rng.Intn(56536)), uint16(9000 + rng.Intn(56536)), uint16(9000 + rng.Intn(56536))}
	})
}

// Greys of equal codes stay greys of equal codes, between all the built-in
// spaces and between them and profiles from outside; white stays white, black
// black.
func TestGreysStayGrey(t *testing.T) {
	dir := "../../testdata/standards/profiles/"
	profiles := []*Profile{load(t, dir+"srgb_v4.icc"), load(t, dir+"oprgb_v4.icc"), load(t, dir+"romm_v4.icc")}
	for _, n := range SpaceNames() {
		profiles = append(profiles, space(t, n))
	}
	for _, src := range profiles {
		for _, dst := range profiles {
			ns, nd := src.Channels(), dst.Channels()
			in, out := make([]uint16, 65536*ns), make([]uint16, 65536*nd)
			for i := range in {
				in[i] = uint16(i / ns)
			}
			l := NewLink(src, dst)
			l.Row(out, in)
			if out[0] != 0 || out[len(out)-1] != 65535 {
				t.Errorf("%s to %s: black %d, white %d", src.Description(), dst.Description(), out[0], out[len(out)-1])
			}
			for i, v := range out {
				want := dst.Tone(0).Encode64(src.Tone(0).Decode64()[i/nd])
				if v != want {
					t.Fatalf("%s to %s: grey %d gives %v", src.Description(), dst.Description(), i/nd, out[i/nd*nd:i/nd*nd+nd])
				}
			}
		}
	}
}

// Each fast row against the matrix as it stands, for random colours.
func TestRowsAgainstPlainMatrix(t *testing.T) {
	rng := rand.New(rand.NewSource(5))
	src, dst := space(t, "ROMM-RGB"), space(t, "sRGB")
	l := NewLink(src, dst)
	plain := *l
	plain.balanced = false
	m := dst.matrix().inverse().times(src.matrix())
	for r := range 3 {
		for c := range 3 {
			plain.m[r][c], _ = m[r][c].Float64()
		}
	}
	in := make([]uint16, 3*5000)
	for i := range in {
		in[i] = uint16(rng.Intn(65536))
	}
	a, b := make([]uint16, len(in)), make([]uint16, len(in))
	l.Row(a, in)
	plain.Row(b, in)
	differ := 0
	for i := range a {
		if d := int(a[i]) - int(b[i]); d > 1 || d < -1 {
			t.Fatalf("sample %d: %d and %d", i, a[i], b[i])
		} else if d != 0 {
			differ++
		}
	}
	if differ > 2 { // the same numbers but for the last bit of a sum
		t.Errorf("%d of %d samples differ", differ, len(a))
	}
}

func TestSameProfileChangesNothing(t *testing.T) {
	p := space(t, "opRGB")
	q, err := Parse(p.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	l := NewLink(p, q)
	in, out := []uint16{1, 2, 3, 65535, 0, 7}, make([]uint16, 6)
	l.Row(out, in)
	for i := range in {
		if in[i] != out[i] {
			t.Fatal(out)
		}
	}
}

// RGB to grey is luminance: sRGB green is 0.7169 of white's light over D50.
func TestRGBToGreyIsLuminance(t *testing.T) {
	src, dst := space(t, "sRGB"), space(t, "grey-2.2")
	out := make([]uint16, 1)
	NewLink(src, dst).Row(out, []uint16{0, 65535, 0})
	want := math.Pow(46983.0/65536, 1/2.2) * 65535
	if d := float64(out[0]) - want; d > 1 || d < -1 {
		t.Errorf("green gives %d, expected %.1f", out[0], want)
	}
}

// Rows of light of every length, against the formulas a pixel at a time, and what
// lies behind them stays.
func TestRowsOfLight(t *testing.T) {
	rng := rand.New(rand.NewSource(7))
	var tables [3][]float64
	for c := range tables {
		tables[c] = make([]float64, 65536)
		for i := range tables[c] {
			tables[c][i] = rng.NormFloat64()
		}
		tables[c][65535] = math.Inf(1 - 2*(c%2))
	}
	var m [3][3]float64
	for r := range m {
		m[r] = [3]float64{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}
	}
	for n := range 301 {
		src := make([]uint16, 3*n)
		for i := range src {
			src[i] = uint16(rng.Intn(65536) | -rng.Intn(2))
		}
		var light, was [3][]float64
		for c := range light {
			light[c] = make([]float64, n+1)
			light[c][n] = 5
		}
		DecodeRow(light[0][:n], light[1][:n], light[2][:n], &tables, src)
		for c := range light {
			for i := range n {
				if v := tables[c][src[3*i+c]]; light[c][i] != v {
					t.Fatalf("pixel %d of %d, channel %d: light %v, expected %v", i, n, c, light[c][i], v)
				}
			}
			was[c] = slices.Clone(light[c])
		}
		mixRow(light[0][:n], light[1][:n], light[2][:n], &m)
		for c := range light {
			for i := range n {
				r, g, b := was[0][i], was[1][i], was[2][i]
				v := g + (float64(m[c][0]*(r-g)) + float64(m[c][2]*(b-g)))
				if got := light[c][i]; got != v && (got == got || v == v) {
					t.Fatalf("pixel %d of %d, channel %d: mixed %v, expected %v", i, n, c, got, v)
				}
			}
			if light[c][n] != 5 {
				t.Fatalf("what lies behind a row of %d was changed", n)
			}
		}
	}
}

func BenchmarkConvertRow(b *testing.B) {
	src, dst := space(b, "ROMM-RGB"), space(b, "sRGB")
	l := NewLink(src, dst)
	in, out := make([]uint16, 3*6000), make([]uint16, 3*6000)
	rng := rand.New(rand.NewSource(3))
	v := [3]float64{20000, 25000, 30000}
	for i := range in { // a smooth picture with grain
		v[i%3] = math.Min(math.Max(v[i%3]+rng.NormFloat64()*400, 0), 65535)
		in[i] = uint16(v[i%3])
	}
	for b.Loop() {
		l.Row(out, in)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/6000, "ns/px")
}
