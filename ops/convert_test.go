package ops

import (
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
		{Args{{"profile", sum}}, nil, "one picture"},
		{Args{{"profile", sum}}, []Pic{{W: 1, H: 1, C: 1}}, "mask"},
		{Args{{"profile", sum}}, []Pic{{W: 1, H: 1, C: 1, Profile: srgb}}, "1 channels"},
		{nil, []Pic{pic}, "profile is missing"},
		{Args{{"profile", "00"}}, []Pic{pic}, "no profile with the digest"},
		{Args{{"profile", sum}, {"intent", "absolute"}}, []Pic{pic}, "absolute intent"},
		{Args{{"profile", sum}, {"intent", "vivid"}}, []Pic{pic}, "no intent"},
		{Args{{"profile", sum}, {"black-point", "maybe"}}, []Pic{pic}, "on or off"},
	} {
		if _, err := convertV1.New(c.args, c.in, env); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: %v, expected %q", c.args, err, c.want)
		}
	}
}
