package ops

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// wild is text that is nearly, exactly or not at all an argument; mostly
// exactly where tame.
func wild(t *rapid.T, forms []string, tame bool) string {
	numbers := []string{"1", "5/2", "3/10", "0", "1", "9", "1/3", "7"}
	if !tame {
		numbers = append(numbers, "-1", "-7/3", "100", "9999999", "-10000000", "1/100", "10000001", "1/0", "0.5", "1e9", "-0", "2/4",
			"99999999999999999999999", "1/99999999999999999999999", "x", "")
	}
	f := strings.Split(rapid.SampledFrom(forms).Draw(t, "form"), " ")
	for i := range f {
		switch {
		case f[i] == "S":
			f[i] = rapid.SampledFrom([]string{"0", "1/10", "1"}).Draw(t, "soft")
		case f[i] == "N":
			f[i] = rapid.SampledFrom(numbers).Draw(t, "number")
		case !tame && rapid.IntRange(0, 30).Draw(t, "other word") == 0:
			f[i] = rapid.SampledFrom([]string{"add", "polygon", "file", "mask", "invert", "soften", "at", "from", "radius", "soft"}).Draw(t, "word")
		}
	}
	if !tame && rapid.IntRange(0, 9).Draw(t, "cut") == 0 {
		f = f[:rapid.IntRange(0, len(f)).Draw(t, "length")]
	}
	return strings.Join(f, " ")
}

var (
	maskForms = []string{"add ellipse at N N size N N soft S", "less rectangle at N N size N N soft S", "within polygon N N N N N N soft S",
		"add stroke along N N N N N N width N soft S", "add gradient from N N to N N", "add file", "less mask", "invert", "soften N"}
	spotForms  = []string{"at N N radius N soft S", "at N N radius N soft S from N N", "at N N radius 1 soft N"}
	otherForms = []string{"N", "N N N N", ""}
)

func TestWildArgumentsNeverPanic(t *testing.T) {
	ops := []Operation{CropV1, TurnV1, MaskV1, SpotsV1, SpotPixelsV1}
	built := map[string]int{}
	rapid.Check(t, func(t *rapid.T) {
		for i := range 10 * len(ops) {
			op := ops[i%len(ops)]
			if s := wildStep(t, op); s != nil {
				built[op.Name]++
			}
		}
	})
	for _, op := range ops {
		if built[op.Name] == 0 {
			t.Errorf("%s was never built: the test shows little", op.Name)
		}
	}
}

// wildStep offers New arguments and draws every row of what it accepts.
func wildStep(t *rapid.T, op Operation) Step {
	tame := rapid.Bool().Draw(t, "tame")
	var a Args
	takes := 1
	if op.Name == "mask" {
		takes = 0
	}
	for _, p := range op.Params {
		switch {
		case p.Name == "shape-1" || p.Name == "spot-1":
			forms := spotForms
			if op.Name == "mask" {
				forms = maskForms
			}
			for i := range rapid.IntRange(1, 4).Draw(t, "lines") {
				v := wild(t, forms, tame)
				if strings.HasSuffix(v, "file") || strings.HasSuffix(v, "mask") {
					takes++
				}
				a = append(a, Arg{strings.TrimSuffix(p.Name, "1") + string(rune('1'+i)), v})
			}
		case p.Name == "covers" && (tame || rapid.Bool().Draw(t, "no covers")):
		case p.Name == "over" && tame:
			a = append(a, Arg{p.Name, "1/10"})
		case !tame && rapid.IntRange(0, 5).Draw(t, "wild") == 0:
			a = append(a, Arg{p.Name, wild(t, otherForms, false)})
		case tame && op.Name == "mask":
			a = append(a, Arg{p.Name, "20"})
		default:
			a = append(a, Arg{p.Name, rapid.SampledFrom([]string{"1", "2", "3", "6", "8", "20", "0", "-1"}).Draw(t, "small")})
		}
	}
	var in []Pic
	if !tame {
		takes = rapid.IntRange(0, 2).Draw(t, "inputs")
	}
	for range takes {
		p := Pic{W: 20, H: 20, C: 1}
		if !tame {
			side := rapid.SampledFrom([]int{20, 3, 1, 0})
			p = Pic{W: side.Draw(t, "w"), H: side.Draw(t, "h"), C: rapid.SampledFrom([]int{1, 3, 0}).Draw(t, "c")}
		}
		in = append(in, p)
	}
	s, err := op.New(a, in, Env{})
	if err != nil {
		if err.Error() == "" || s != nil {
			t.Fatalf("%s %v: error %q with a step", op.Name, a, err)
		}
		return nil
	}
	planes := make([]*plane, len(in))
	for i, p := range in {
		planes[i] = flat(p.W*p.C, p.H, 40000)
		planes[i].pic = p
	}
	out := build(t, s, nil, planes...)
	if op.Name != "mask" {
		for i, v := range out {
			if v != 40000 {
				t.Fatalf("%s %v: an even picture has %d at sample %d", op.Name, a, v, i)
			}
		}
	}
	return s
}
