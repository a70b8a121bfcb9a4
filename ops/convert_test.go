package ops

import (
	"os"
	"strings"
	"testing"

	"platemark/ops/colour"
)

// convertRows is a picture of given rows.
type convertRows [][]uint16

func (r convertRows) Row(y int) []uint16 { return r[y] }

func convertSpace(t *testing.T, name string) *colour.Profile {
	t.Helper()
	p, ok := colour.Space(name)
	if !ok {
		t.Fatalf("no space %s", name)
	}
	return p
}

func convertEnv(t *testing.T) Env {
	env := Env{Profiles: map[string]*colour.Profile{}}
	for _, n := range colour.SpaceNames() {
		p := convertSpace(t, n)
		env.Profiles[p.Digest().String()] = p
	}
	return env
}

func TestConvertStep(t *testing.T) {
	env := convertEnv(t)
	for _, from := range colour.SpaceNames() {
		for _, to := range colour.SpaceNames() {
			src, dst := convertSpace(t, from), convertSpace(t, to)
			in := convertRows{}
			for y := range 5 {
				row := make([]uint16, 4*src.Channels())
				for i := range row {
					row[i] = uint16(9973 * (y*len(row) + i + 1))
				}
				in = append(in, row)
			}
			pic := Pic{W: 4, H: 5, C: src.Channels(), Profile: src}
			var results [2][][]uint16
			for k, args := range []Args{
				{{"profile", dst.Digest().String()}},
				{{"profile", dst.Digest().String()}, {"intent", "perceptual"}, {"black-point", "off"}},
			} {
				s, err := convertV1.New(args, []Pic{pic}, env)
				if err != nil {
					t.Fatal(err)
				}
				if got := s.Pic(); got != (Pic{W: 4, H: 5, C: dst.Channels(), Profile: dst}) {
					t.Errorf("%s to %s gives %+v", from, to, got)
				}
				w := s.Worker()
				for y := 4; y >= 0; y-- {
					if lo, hi := s.Window(0, y); lo != y || hi != y+1 {
						t.Errorf("row %d wants rows %d to %d", y, lo, hi)
					}
					out := make([]uint16, s.Pic().Stride())
					w.Row(out, y, []Rows{in})
					results[k] = append(results[k], out)
				}
			}
			for i, row := range results[0] {
				for x, v := range row {
					if results[1][i][x] != v {
						t.Fatalf("%s to %s: the intent changed a sample", from, to)
					}
					if from == to && v != in[4-i][x] {
						t.Fatalf("%s to itself changed a sample", from)
					}
				}
			}
		}
	}
}

func TestConvertRefuses(t *testing.T) {
	env := convertEnv(t)
	srgb := convertSpace(t, "sRGB")
	sum := srgb.Digest().String()
	pic := Pic{W: 1, H: 1, C: 3, Profile: srgb}
	for _, c := range []struct {
		args Args
		in   []Pic
		want string
	}{
		{Args{{"profile", sum}}, nil, "takes 1 picture, got 0"},
		{Args{{"profile", sum}}, []Pic{{W: 1, H: 1, C: 1}}, "mask"},
		{Args{{"profile", sum}}, []Pic{{W: 1, H: 1, C: 1, Profile: srgb}}, "1 channels"},
		{nil, []Pic{pic}, "profile is missing"},
		{Args{{"profile", "00"}}, []Pic{pic}, "no profile with the digest"},
		{Args{{"profile", convertFile(t, &env, "FOGRA39L_coated.icc").Digest().String()}}, []Pic{pic}, "CMYK profile"},
		{Args{{"profile", sum}, {"intent", "vivid"}}, []Pic{pic}, `intent is "vivid", expected relative, perceptual, saturation or absolute`},
		{Args{{"profile", sum}, {"black-point", "maybe"}}, []Pic{pic}, "on or off"},
	} {
		if _, err := convertV1.New(c.args, c.in, env); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: %v, expected %q", c.args, err, c.want)
		}
	}
}

// convertFile reads a stored profile and makes it known.
func convertFile(t *testing.T, env *Env, name string) *colour.Profile {
	t.Helper()
	b, err := os.ReadFile("../testdata/standards/profiles/" + name)
	if err != nil {
		t.Fatal(err)
	}
	p, err := colour.Parse(b)
	if err != nil {
		t.Fatal(err)
	}
	env.Profiles[p.Digest().String()] = p
	return p
}

// To a paper's tables and, as one would from a scanner's, back from them: white
// to white, in order, differently for each intent, and by the absolute intent
// the paper's white comes back as what it is.
func TestConvertThroughTables(t *testing.T) {
	env := convertEnv(t)
	for _, name := range []string{"rgbprint_v2.icc", "rgbprint_v4.icc"} {
		paper, rgb := convertFile(t, &env, name), convertSpace(t, "opRGB")
		seen := map[[3]uint16]string{}
		for _, intent := range []string{"relative", "perceptual", "saturation", "absolute"} {
			run := func(from, to *colour.Profile, in []uint16) []uint16 {
				s, err := convertV1.New(Args{{"profile", to.Digest().String()}, {"intent", intent}, {"black-point", "off"}},
					[]Pic{{W: len(in) / 3, H: 1, C: 3, Profile: from}}, env)
				if err != nil {
					t.Fatal(err)
				}
				out := make([]uint16, len(in))
				s.Worker().Row(out, 0, []Rows{convertRows{in}})
				return out
			}
			in := []uint16{65535, 65535, 65535, 30000, 30000, 30000, 0, 0, 0, 60000, 20000, 30000}
			there := run(rgb, paper, in)
			back := run(paper, rgb, there)
			for i := range 3 {
				// The paper's white is L* 95, some 61500 in opRGB.
				if d := 65535 - int(back[i]); (d > 300) != (intent == "absolute") || d > 5000 {
					t.Errorf("%s %s: white comes back as %d", name, intent, back[:3])
				}
				if !(back[i] > back[3+i] && back[3+i] > back[6+i]) {
					t.Errorf("%s %s: out of order: %d", name, intent, back)
				}
			}
			k := [3]uint16(there[9:])
			if other, twice := seen[k]; twice {
				t.Errorf("%s: %s gives what %s gives", name, intent, other)
			}
			seen[k] = intent
		}
	}
}
