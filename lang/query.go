package lang

import (
	"math/big"
	"path"
	"slices"
)

// Files returns every path that the recipe reads, in the order of the file's
// meaning: the master, pictures made elsewhere, mask files, profiles; each path once (paths that are
// the same after cleaning count as one).
func (r *Recipe) Files() []Text {
	var out []Text
	seen := map[string]bool{}
	add := func(t Text) {
		if c := path.Clean(t.Value); !seen[c] {
			seen[c] = true
			out = append(out, t)
		}
	}
	if r.Master != nil {
		add(r.Master.Path)
	}
	for _, p := range r.Pictures {
		add(p.Path)
	}
	for _, m := range r.Masks {
		for _, e := range m.Elements {
			if e.Path != nil {
				add(*e.Path)
			}
		}
	}
	for _, p := range r.Papers {
		if p.Profile != nil {
			add(*p.Profile)
		}
	}
	steps := func(ss []Step) {
		for _, s := range ss {
			if c, ok := s.(*Convert); ok && c.Profile != nil {
				add(*c.Profile)
			}
		}
	}
	if r.Prepare != nil {
		steps(r.Prepare.Steps)
	}
	for _, b := range r.Steps {
		steps(b.Steps)
	}
	for _, p := range r.Prints {
		steps(p.Steps)
	}
	return out
}

// Mask returns the mask of a name, nil where there is none.
func (r *Recipe) Mask(name string) *Mask {
	return find(r.Masks, func(m *Mask) bool { return m.Name.Value == name })
}

// Picture returns the picture made elsewhere of a name, nil where there is none.
func (r *Recipe) Picture(name string) *Picture {
	return find(r.Pictures, func(p *Picture) bool { return p.Name.Value == name })
}

// Paper returns the paper of a name, nil where there is none.
func (r *Recipe) Paper(name string) *Paper {
	return find(r.Papers, func(p *Paper) bool { return p.Name.Value == name })
}

// Lab returns the lab of a name, nil where there is none.
func (r *Recipe) Lab(name string) *Lab {
	return find(r.Labs, func(l *Lab) bool { return l.Name.Value == name })
}

// Print returns the print of a name, nil where there is none.
func (r *Recipe) Print(name string) *Print {
	return find(r.Prints, func(p *Print) bool { return p.Name.Value == name })
}

func find[T any](list []*T, is func(*T) bool) *T {
	if i := slices.IndexFunc(list, is); i >= 0 {
		return list[i]
	}
	return nil
}

// Expand replaces each follow by the lines of its steps block. The steps keep
// the places where they are written.
func (r *Recipe) Expand(steps []Step) []Step {
	var out []Step
	for _, s := range steps {
		f, ok := s.(*Follow)
		if !ok {
			out = append(out, s)
			continue
		}
		if b := find(r.Steps, func(b *StepBlock) bool { return b.Name.Value == f.Name.Value }); b != nil {
			out = append(out, b.Steps...)
		}
	}
	return out
}

// Inches returns a physical length in inches, exactly; ok is false for other
// units.
func (m Measure) Inches() (v *big.Rat, ok bool) {
	v = new(big.Rat)
	switch m.Unit {
	case "in":
		return v.Set(m.Value), true
	case "cm":
		return v.Quo(m.Value, big.NewRat(254, 100)), true
	case "mm":
		return v.Quo(m.Value, big.NewRat(254, 10)), true
	}
	return nil, false
}

// SidePixels returns the pixels of a print's side (in, cm, mm or px) at a
// resolution in ppi: exact arithmetic, rounded half up once. ok is false for
// other units and for numbers beyond an int64.
func SidePixels(side, ppi Measure) (n int64, ok bool) {
	v := new(big.Rat)
	if side.Unit == "px" {
		v.Set(side.Value)
	} else {
		in, good := side.Inches()
		if !good || ppi.Unit != "ppi" {
			return 0, false
		}
		v.Mul(in, ppi.Value)
	}
	v.Add(v, big.NewRat(1, 2))
	q := new(big.Int)
	q.Div(v.Num(), v.Denom())
	if !q.IsInt64() {
		return 0, false
	}
	return q.Int64(), true
}
