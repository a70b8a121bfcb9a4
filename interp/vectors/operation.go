package vectors

import (
	"fmt"
	"slices"
	"strings"

	"platemark/ops"
	"platemark/ops/colour"
)

// operationCase runs one operation in one version on the inputs of a case.
func operationCase(name string, version int, b block) ([]string, error) {
	op, ok := ops.Lookup(name, version)
	if !ok {
		return nil, fmt.Errorf("there is no %s of version %d", name, version)
	}
	env := ops.Env{Profiles: map[string]*colour.Profile{}}
	for _, p := range spaces() {
		env.Profiles[p.Digest().String()] = p
	}
	var named []string // profiles
	var pics []ops.Pic
	var in []picture
	for _, text := range b.all("in") {
		p, err := input(text)
		if err != nil {
			return nil, err
		}
		in, named = append(in, p), append(named, p.space)
		pics = append(pics, ops.Pic{W: p.w, H: p.h, C: p.c, Profile: p.profile()})
	}
	var args ops.Args
	for _, text := range b.all("arg") {
		n, v, _ := strings.Cut(text, " ")
		if p := spaces()[v]; p != nil && n == "profile" {
			v, named = p.Digest().String(), append(named, v)
		}
		args = append(args, ops.Arg{Name: n, Value: v})
	}
	step, err := op.New(args, pics, env)
	if err != nil {
		return nil, err
	}
	pic := step.Pic()
	out := picture{w: pic.W, h: pic.H, c: pic.C, space: spaceName(pic.Profile)}
	out.px = make([]uint16, pic.W*pic.H*pic.C)
	w := step.Worker()
	for y := range pic.H {
		if err := oneRow(step, w, out.row(y), y, in); err != nil {
			return nil, err
		}
	}
	// The same in other orders and by fresh workers, as sections take it.
	got := make([]uint16, pic.Stride())
	again := func(w ops.Worker, y int, how string) error {
		if err := oneRow(step, w, got, y, in); err != nil {
			return err
		}
		if !slices.Equal(got, out.row(y)) {
			return fmt.Errorf("row %d, taken %s, differs", y, how)
		}
		return nil
	}
	up, part := step.Worker(), step.Worker()
	for y := pic.H - 1; y >= 0; y-- {
		if err := again(up, y, "from the bottom up"); err != nil {
			return nil, err
		}
	}
	for y := pic.H / 3; y < pic.H; y += 3 {
		if err := again(part, y, "in a section"); err != nil {
			return nil, err
		}
	}
	return append(digests(named), out.results()...), nil
}

// windowRows lends the rows inside a window and remembers a step that asked
// for another.
type windowRows struct {
	p      picture
	lo, hi int
	bad    *int
}

func (r windowRows) Row(y int) []uint16 {
	if y < r.lo || y >= r.hi {
		*r.bad = y
		return make([]uint16, r.p.w*r.p.c)
	}
	return r.p.row(y)
}

func oneRow(s ops.Step, w ops.Worker, dst []uint16, y int, in []picture) error {
	bad := -1
	rows := make([]ops.Rows, len(in))
	for i, p := range in {
		lo, hi := s.Window(i, y)
		rows[i] = windowRows{p, lo, hi, &bad}
	}
	w.Row(dst, y, rows)
	if bad >= 0 {
		return fmt.Errorf("row %d asked for input row %d outside its window", y, bad)
	}
	return nil
}
