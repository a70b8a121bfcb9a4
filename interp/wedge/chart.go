// Package wedge reads what an instrument measured of a printed wedge and says
// how near it is to what a profile promises, or to what another printer made of
// the same wedge.
//
// It promises that a number is read as it stands or refused by line and column,
// that patches are matched by name and never by order, and that what it says of
// a proof is computed from nothing else than both lists. It knows no recipe.
package wedge

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"sync"

	"platemark/ops"
	"platemark/ops/colour"
)

// Patch is one patch of a wedge and its colour, CIELAB under D50, absolute: paper
// has its own colour.
type Patch struct {
	Name string     `json:"patch"`
	Lab  colour.Lab `json:"lab"`
}

// Chart is what a file says of its patches, in its order, and what had to be
// decided to read it.
type Chart struct {
	Patches []Patch
	Notes   []string
}

// columns are the names that a column may bear, whole and in any case: those of
// ISO 28178 first, then what people write.
var columns = map[string][]string{
	"name": {"SAMPLE_NAME", "patch", "name"},
	"id":   {"SAMPLE_ID", "id"},
	"L":    {"LAB_L", "L*", "L"}, "a": {"LAB_A", "a*", "a"}, "b": {"LAB_B", "b*", "b"},
	"X": {"XYZ_X", "X"}, "Y": {"XYZ_Y", "Y"}, "Z": {"XYZ_Z", "Z"},
}

var spectral = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`(?i)^(nm|spectral_nm|spec_|r_)_?[0-9]{3}`) })

// Read reads a file of measurements: the text form of ISO 28178, or a table with
// a column of names and L*, a*, b* or X, Y, Z.
func Read(data []byte) (*Chart, error) {
	t, err := readTable(data)
	if err != nil {
		return nil, err
	}
	at := map[string]int{}
	for i, c := range t.head {
		for key, names := range columns {
			if slices.ContainsFunc(names, func(n string) bool { return strings.EqualFold(n, c.text) }) {
				if j, twice := at[key]; twice {
					return nil, wrong(c, "%s stands for the same as %s; keep one of both columns", c.text, t.head[j].text)
				}
				at[key] = i
			}
		}
	}
	has := func(keys ...string) bool {
		return !slices.ContainsFunc(keys, func(k string) bool { _, ok := at[k]; return !ok })
	}
	lab, xyz := has("L", "a", "b"), has("X", "Y", "Z")
	switch {
	case !lab && !xyz && slices.ContainsFunc(t.head, func(c cell) bool { return spectral().MatchString(c.text) }):
		return nil, fmt.Errorf("it has spectra only; export L*, a*, b* under D50 (2 degrees) from the measuring program")
	case !lab && !xyz:
		return nil, fmt.Errorf("no columns of colours: LAB_L, LAB_A, LAB_B or XYZ_X, XYZ_Y, XYZ_Z are wanted (also L*, a*, b*)")
	case !has("name") && !has("id"):
		return nil, fmt.Errorf("no column of patches' names: SAMPLE_NAME or SAMPLE_ID is wanted")
	}
	names := at["id"]
	if i, ok := at["name"]; ok {
		names = i
	}
	c := &Chart{}
	var other []colour.Lab
	seen := map[string]cell{}
	triple := func(row []cell, keys ...string) (v [3]float64, err error) {
		for i, k := range keys {
			if v[i], err = row[at[k]].number(); err != nil {
				return v, err
			}
		}
		return v, nil
	}
	for _, row := range t.rows {
		name := row[names]
		key := strings.ToLower(name.text)
		if key == "" {
			return nil, wrong(name, "a patch without a name")
		}
		if first, twice := seen[key]; twice {
			return nil, wrong(name, "%s stands in line %d too; keep one measurement of each patch", name.text, first.line)
		}
		seen[key] = name
		p := Patch{Name: key}
		if lab {
			v, err := triple(row, "L", "a", "b")
			if err != nil {
				return nil, err
			}
			p.Lab = colour.Lab{L: v[0], A: v[1], B: v[2]}
			if !ofPrint(p.Lab) {
				return nil, wrong(row[at["L"]], "L* %g, a* %g, b* %g is no colour of a print", v[0], v[1], v[2])
			}
		}
		if xyz {
			v, err := triple(row, "X", "Y", "Z")
			if err != nil {
				return nil, err
			}
			other = append(other, colour.Lab{L: v[0], A: v[1], B: v[2]}) // not yet to scale
		}
		c.Patches = append(c.Patches, p)
	}
	return c, c.join(lab, other)
}

// join brings X, Y, Z to scale, takes them where no Lab stands, and looks at the
// paper's white.
func (c *Chart) join(lab bool, xyz []colour.Lab) error {
	white := slices.IndexFunc(c.Patches, func(p Patch) bool { return isWhite(p.Name) })
	if xyz != nil {
		scale := 0.0
		if white >= 0 {
			switch y := xyz[white].A; {
			case y > 30 && y <= 130:
				scale = 1.0 / 100
			case y > 0.3 && y <= 1.3:
				scale = 1
			}
		}
		if scale == 0 && !lab {
			if white < 0 {
				return fmt.Errorf("X, Y, Z without the paper's white (patch grey-100): whether they run to 1 or to 100 can't be told; measure it too, or export L*, a*, b*")
			}
			return fmt.Errorf("the paper's white, %s, has Y %g; X, Y, Z run to 1 or to 100", c.Patches[white].Name, xyz[white].A)
		}
		most := 0.0
		for i, v := range xyz {
			if scale == 0 {
				break
			}
			got := colour.LabFromXYZ([3]float64{v.L * scale, v.A * scale, v.B * scale})
			if lab {
				most = max(most, colour.DeltaE2000(got, c.Patches[i].Lab))
			} else {
				if c.Patches[i].Lab = got; !ofPrint(got) {
					return fmt.Errorf("X %g, Y %g, Z %g of %s is no colour of a print", v.L, v.A, v.B, c.Patches[i].Name)
				}
			}
		}
		switch {
		case !lab:
			c.Notes = append(c.Notes, fmt.Sprintf("X, Y, Z were read as running to %g, since paper white has Y %g.", 1/scale, xyz[white].A))
		case most > 0.5:
			c.Notes = append(c.Notes, fmt.Sprintf("L*, a*, b* and X, Y, Z of the file differ by up to CIEDE2000 %.1f: another white than D50, or another scale. L*, a*, b* are taken.", most))
		}
	}
	if white < 0 {
		c.Notes = append(c.Notes, "The paper's white (patch grey-100) wasn't measured.")
		return nil
	}
	if l := c.Patches[white].Lab.L; l < 80 || l > 101 {
		return fmt.Errorf("the paper's white, %s, has L* %.1f, where papers have 80 to 100: another scale, another patch, or a measurement through something", c.Patches[white].Name, l)
	}
	return nil
}

// ofPrint says whether a print can have this colour, with room for any ink.
func ofPrint(c colour.Lab) bool {
	return c.L >= -1 && c.L <= 120 && math.Abs(c.A) <= 200 && math.Abs(c.B) <= 200
}

func isWhite(name string) bool {
	percent, ok := neutral(name)
	return ok && percent == 100
}

// Expect is what a profile of an RGB device promises of the patches, on its paper
// as it looks beside D50. Names that are none of our wedges' are an error.
func Expect(p *colour.Profile, names []string) (*Chart, error) {
	if p.Channels() != 3 {
		return nil, fmt.Errorf("its profile isn't one of red, green and blue; give the sheet that was printed, or its paper's profile")
	}
	look, err := colour.NewToLab(p, colour.Absolute)
	if err != nil {
		return nil, err
	}
	c := &Chart{}
	for _, name := range names {
		rgb, ok := ops.Patch(name)
		if !ok {
			return nil, fmt.Errorf("patch %q is none of a wedge of ours: they are named like grey-50 and rgb-100-50-0, red, green and blue in per cent", name)
		}
		px, lab := make([]uint16, 3), make([]colour.Lab, 1)
		for i, v := range rgb {
			px[i] = ops.PatchCode(v)
		}
		look.Row(lab, px)
		c.Patches = append(c.Patches, Patch{name, lab[0]})
	}
	return c, nil
}

// Whole lists the patches of the wedges of ours that were printed, as far as the
// names of some of their patches tell: all mixtures where one of them is named,
// and beside greys that are whole wedges the smallest wedge that has all others.
// Names of no such wedge stand there alone.
func Whole(names []string) []string {
	all := slices.Clone(names)
	slices.Sort(all)
	all = slices.Compact(all)
	has := func(list []string) func(string) bool {
		return func(n string) bool { return slices.Contains(list, n) }
	}
	add := func(wedge []string) { all = append(all, slices.DeleteFunc(wedge, has(all))...) }
	if slices.ContainsFunc(all, has(ops.Mixtures())) {
		add(ops.Mixtures())
	}
	greys := slices.DeleteFunc(slices.Clone(all), func(n string) bool { return !strings.HasPrefix(n, "grey-") })
	rest := slices.Clone(greys)
	missing := func(of, in []string) bool {
		return slices.ContainsFunc(of, func(n string) bool { return !slices.Contains(in, n) })
	}
	for n := 3; n <= mostGreys; n++ {
		if w := ops.Greys(n); !missing(w, greys) {
			rest = slices.DeleteFunc(rest, has(w))
		}
	}
	for n := 3; n <= mostGreys && len(rest) > 0; n++ {
		if w := ops.Greys(n); !missing(rest, w) {
			add(w)
			break
		}
	}
	return all
}

// mostGreys are the most that a wedge has (SPEC, wedge).
const mostGreys = 51

// Names are the patches' names.
func (c *Chart) Names() []string {
	var names []string
	for _, p := range c.Patches {
		names = append(names, p.Name)
	}
	return names
}
