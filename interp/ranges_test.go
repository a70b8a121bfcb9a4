package interp

import (
	"cmp"
	"fmt"
	"math/big"
	"slices"
	"strings"
	"testing"

	"platemark/lang"
	"platemark/ops"
)

// bound says which parameter of an operation a slot of a statement becomes, where
// their names differ. Positions (at, from, to of crop and spot) and lines of masks
// have no range of their own in an operation; they are built below.
var bound = map[string]string{
	"spot over":  "spot-pixels over",
	"fringe hue": "fringe hue-from", "fringe to": "fringe hue-to",
	"exposure exposure": "tone exposure", "warmth warmth": "tone warmth", "contrast contrast": "tone contrast", "curve points": "tone curve",
	"local contrast": "tone local", "local radius": "tone local-radius", "chroma chroma": "tone chroma", "muted chroma": "tone muted",
}

// asArgument is a value of a unit in a parameter's own: shares of the longest
// side, inches at the finest resolution.
func asArgument(v string, unit string, p ops.Param) *big.Rat {
	r, _ := new(big.Rat).SetString(v)
	switch unit {
	case "%":
		if p.Unit == "px" {
			return r.Mul(r, big.NewRat(3000, 1))
		}
		if p.Unit == "1" {
			return r.Quo(r, big.NewRat(100, 1))
		}
	case "in", "cm", "mm":
		in, _ := lang.Measure{Value: r, Unit: unit}.Inches()
		return in.Mul(in, big.NewRat(10000, 1))
	}
	return r
}

func TestRangesOfStatementsLieInsideTheOperations(t *testing.T) {
	stepsOf := []string{"prepare", "steps", "print", "tone"}
	seen := map[string]bool{}
	for _, f := range lang.Statements() {
		if f.Word == "size" || f.Word == "edition" || f.Word == "save" || !slices.ContainsFunc(f.Blocks, func(b string) bool { return slices.Contains(stepsOf, b) }) {
			continue
		}
		for _, s := range f.Params {
			key := f.Word + " " + s.Word + s.Label
			if len(s.Ranges) == 0 || s.Place || key == "spot radius" || key == "spot soft" { // built below
				continue
			}
			is := cmp.Or(bound[key], key)
			if bound[key] != "" {
				seen[key] = true
			}
			op, name, _ := strings.Cut(is, " ")
			o, _ := ops.Lookup(op, 1)
			k := slices.IndexFunc(o.Params, func(p ops.Param) bool { return p.Name == name })
			if k < 0 {
				t.Errorf("%s: there is no %s", key, is)
				continue
			}
			p := o.Params[k]
			for _, r := range s.Ranges {
				least := asArgument(r.Min, r.Unit, p)
				if r.Above {
					// Numbers have four decimals; the smallest share is of a pixel.
					if least.Add(least, asArgument("0.000001", "px", p)); p.Unit == "px" && s.Whole {
						continue // less than a pixel is the planner's matter
					}
				}
				for _, v := range []*big.Rat{least, asArgument(r.Max, r.Unit, p)} {
					if !p.Holds(v) {
						t.Errorf("%s: %s to %s %s comes to %s, and %s takes %s to %s", key, r.Min, r.Max, r.Unit, v.RatString(), is, p.Min, p.Max)
					}
				}
			}
		}
	}
	if len(seen) != len(bound) {
		t.Errorf("%d of %d rows name a slot", len(seen), len(bound))
	}
	// Radii of spots and of softening, and sizes on a mask, are in the text of a
	// line: 1 % and 10 % of 300000 px, and the smallest share of a pixel.
	for _, r := range []string{"1/1000000", "3000"} {
		if _, err := ops.ParseSpot("at 0 0 radius " + r + " soft 0"); err != nil {
			t.Error(err)
		}
	}
	for _, s := range []string{"soften 1/1000000", "soften 30000", "add ellipse at -600000 600000 size 1/1000000 1200000 soft 1", "add stroke along 0 0 1 1 width 1/1000000 soft 0"} {
		if _, err := ops.ParseShape(s); err != nil {
			t.Error(err)
		}
	}
}

// Lines at both ends of their ranges, which no operation may refuse. A tone's
// stand in its block.
func TestLinesAtTheEndsOfTheirRangesAreBuilt(t *testing.T) {
	_, file := smallJob(t, "")
	lines := map[string][]string{
		"spot pixels over %":                     {"0.0001%", "100%"},
		"fringe radius %":                        {"1 px", "60 px"},
		"fringe radius 9 px hue % to 20 deg":     {"0 deg", "360 deg"},
		"denoise lightness % chroma 9%%":         {"0%", "200%"},
		"denoise lightness 9%% chroma %":         {"0%", "200%"},
		"sharpen radius % amount 50%%":           {"0.1 px", "100 px", "0.01 mm", "1 mm", "0.0001%", "0.1%"},
		"sharpen radius 1 px amount %":           {"0%", "500%"},
		"sharpen radius 1 px amount 9%% quiet %": {"0%", "100%"},
		"sharpen radius 1 px amount 9%% halo %":  {"0%", "100%"},
		"exposure %":                             {"-5 stops", "5 stops"},
		"warmth %":                               {"-50 mired", "50 mired"},
		"contrast %":                             {"-50%", "100%"},
		"curve %":                                {"(0, 0), (100, 100)", "(0, 100), (100, 100)"},
		"local contrast % radius 3 px":           {"-100%", "100%"},
		"local contrast 9%% radius %":            {"0.0001%", "2%", "0.5 px", "100 px"},
		"chroma %":                               {"-100%", "100%"},
		"muted chroma %":                         {"-100%", "100%"},
		"mix red % green 50%% blue 50%%":         {"0%"},
		"mix red % green -100%% blue -100%%":     {"300%"},
		"spot at (50%%, 50%%) radius %":          {"1%"},
		"border %":                               {"1 px", "10000 px", "20 in"},
		"wrap % colour black":                    {"1 px", "10000 px", "20 in"},

		"sharpen radius % amount 50%% method deconvolve blur disc": {"0.1 px", "10 px", "0.01 mm", "0.8 mm"},
	}
	for form, values := range lines {
		for _, v := range values {
			line := strings.ReplaceAll(strings.Replace(strings.ReplaceAll(form, "%%", "\x00"), "%", v, 1), "\x00", "%")
			if w := strings.Fields(line)[0]; slices.Contains([]string{"exposure", "warmth", "contrast", "curve", "local", "chroma", "muted"}, w) {
				line = "tone {\n        " + line + "\n    }"
			}
			write(t, file, fmt.Sprintf("recipe 1 draft\nmaster \"m.tif\"\n\nprint p {\n    size 96 px x 64 px at 300 ppi\n    %s\n    save tiff \"p.tif\"\n}\n", line))
			mustLoad(t, file, LoadOptions{})
		}
	}
	for _, shape := range []string{"range lightness 0 to 100 soft 100", "range lightness 0 to 0", "range chroma 0% to 200% soft 200%", "range chroma 200% to 200%",
		"range hue 0 deg to 360 deg soft 90 deg", "range hue 360 deg to 0 deg", "edges radius 0.25 px over 1%", "edges radius 50 px over 100%", "edges radius 0.0001% over 50%", "edges radius 0.2% over 50%"} {
		write(t, file, fmt.Sprintf("recipe 1 draft\nmaster \"m.tif\"\n\nmask a {\n    %s\n}\n\nprint p {\n    size 96 px x 64 px at 300 ppi\n    sharpen radius 1 px amount 9%% through a\n    save tiff \"p.tif\"\n}\n", shape))
		mustLoad(t, file, LoadOptions{})
	}
}
