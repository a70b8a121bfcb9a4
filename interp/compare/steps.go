package compare

import (
	"fmt"
	"math"
	"math/big"
	"slices"
	"strings"

	"platemark/interp/master"
	"platemark/interp/plan"
)

// sameParam compares one parameter of two statements. Names of pictures are
// compared by the steps that made them, once those are paired (pair nil: not
// yet, any name will do).
func (c *comparison) sameParam(s, t *statement, p, q param, pair map[int]int) bool {
	both := p.v.set && q.v.set && p.v.kind == q.v.kind
	switch p.v.kind {
	case pictureValue:
		if !both || p.name == "as" || pair == nil {
			return p.v.set == q.v.set
		}
		i, ok := pair[s.defs[p.v.word]]
		return ok && i == t.defs[q.v.word]
	case maskValue:
		if !both {
			return p.v.set == q.v.set
		}
		return c.masks[p.v.word] == q.v.word
	case textValue:
		if d := c.a.fileDigest(p.v.word); both && d != "" && d == c.b.fileDigest(q.v.word) {
			return true
		}
	}
	return p.v.equal(q.v) || p.solved != "" && p.solved == q.solved
}

func (s *Side) fileDigest(path string) string {
	for _, r := range []master.Role{master.RoleProfile, master.RoleMask, master.RolePicture, master.RoleMaster} {
		if d := s.digest(r, path); d != "" {
			return d
		}
	}
	return ""
}

func (s *Side) digest(role master.Role, path string) string {
	return s.files[plan.InputName{Role: role, Path: path}]
}

// cost is the price of taking t for s: never for another kind or another
// stage, else the share of what differs.
func (c *comparison) cost(s, t *statement) int {
	if s.early() != t.early() {
		return never
	}
	return c.costAnywhere(s, t)
}

// costAnywhere is cost whatever the stage.
func (c *comparison) costAnywhere(s, t *statement) int {
	same, of := 0, len(s.params)
	switch {
	case s.kind != t.kind:
		return never
	case s.kind == "spots":
		pairs := c.pairSpots(s, t)
		of = len(pairs)
		for _, p := range pairs {
			if p.a >= 0 && p.b >= 0 && len(c.spotChanges(s.spots[p.a], t.spots[p.b])) == 0 {
				same++
			}
		}
	case s.solved != "" && s.solved == t.solved:
		// Their masks tell steps with equal numbers apart.
		for i, p := range s.params {
			if p.v.kind == maskValue && !c.sameParam(s, t, p, t.params[i], nil) {
				return 10
			}
		}
		return 0
	default:
		for i, p := range s.params {
			if i < len(t.params) && c.sameParam(s, t, p, t.params[i], nil) {
				same++
			}
		}
	}
	return 100 - 100*same/max(of, 1)
}

// stepPair is two statements taken for one another; moved says that their
// places differ.
type stepPair struct {
	pairing
	moved bool
}

// pairSteps pairs equal steps with a name first, for they may stand anywhere
// behind what they are made from; then it aligns the rest in order, and looks
// among what is left for steps that moved.
func (c *comparison) pairSteps(x, y []*statement) []stepPair {
	var out []stepPair
	var ix, iy, gone, come []int // what has no partner yet
	for j := range y {
		iy = append(iy, j)
	}
	for i, s := range x {
		k := slices.IndexFunc(iy, func(j int) bool { return s.as != "" && y[j].as != "" && c.cost(s, y[j]) == 0 })
		if k < 0 {
			ix = append(ix, i)
			continue
		}
		out = append(out, stepPair{pairing: pairing{i, iy[k]}})
		iy = slices.Delete(iy, k, k+1)
	}
	named := len(out)
	// Of two steps that changed places the one with a fixed place stays.
	gap := func(i, j int) int {
		var s *statement
		if i >= 0 {
			s = x[ix[i]]
		} else {
			s = y[iy[j]]
		}
		switch s.kind {
		case "enlarge", "crop", "convert", "turn":
			return apart + 20
		}
		return apart
	}
	for _, p := range alignLists(len(ix), len(iy), func(i, j int) int { return c.cost(x[ix[i]], y[iy[j]]) }, gap) {
		switch {
		case p.b < 0:
			gone = append(gone, ix[p.a])
		case p.a < 0:
			come = append(come, iy[p.b])
		default:
			out = append(out, stepPair{pairing: pairing{ix[p.a], iy[p.b]}})
		}
	}
	for i := range out[:named] {
		p := &out[i]
		p.moved = slices.ContainsFunc(out[named:], func(q stepPair) bool { return (q.a < p.a) != (q.b < p.b) })
	}
	for _, p := range closest(len(gone), len(come), func(i, j int) float64 {
		// A step may move to another stage too.
		if k := c.costAnywhere(x[gone[i]], y[come[j]]); k <= 50 {
			return float64(k)
		}
		return never
	}) {
		moved := p.a >= 0 && p.b >= 0
		if p.a >= 0 {
			p.a = gone[p.a]
		}
		if p.b >= 0 {
			p.b = come[p.b]
		}
		out = append(out, stepPair{p, moved})
	}
	at := func(p stepPair) int {
		if p.b >= 0 {
			return 2*p.b + 1
		}
		return 2 * p.a
	}
	slices.SortStableFunc(out, func(p, q stepPair) int { return at(p) - at(q) })
	return out
}

// steps compares two lists of statements.
func (c *comparison) steps(x, y []*statement) (out []Change) {
	pairs := c.pairSteps(x, y)
	pair := map[int]int{-1: -1}
	for _, p := range pairs {
		if p.a >= 0 && p.b >= 0 {
			pair[p.a] = p.b
		}
	}
	for _, p := range pairs {
		switch {
		case p.b < 0:
			out = append(out, Change{Kind: "removed"}.at(x[p.a], nil))
		case p.a < 0:
			out = append(out, Change{Kind: "added"}.at(nil, y[p.b]))
		default:
			s, t := x[p.a], y[p.b]
			// A named picture made from the same one stands where it likes.
			from, ok := pair[s.from]
			free := s.as != "" && t.as != "" && ok && from == t.from
			if p.moved && !free {
				out = append(out, Change{Kind: "moved", Old: place(x, p.a), New: place(y, p.b)}.at(s, t))
			}
			out = append(out, c.statement(s, t, pair)...)
		}
	}
	return movedSpots(out)
}

func place(l []*statement, i int) string {
	if i > 0 && l[i-1].block == l[i].block {
		return fmt.Sprintf("behind `%s`", l[i-1].text)
	}
	return "first in " + l[i].block
}

// at is the change with its place, that of s, t or both.
func (ch Change) at(s, t *statement) Change {
	for _, st := range []*statement{s, t} {
		if st == nil {
			continue
		}
		ch.Where, ch.Step, ch.Text = st.block, st.kind, st.text
		if n := len(st.spots); n > 1 && (s == nil || t == nil) {
			ch.Text = fmt.Sprintf("%d spots from `%s`", n, st.text)
		}
		if m := st.get("through"); m.set && !slices.Contains(ch.Masks, m.word) {
			ch.Masks = append(ch.Masks, m.word)
		}
	}
	if s != nil {
		ch.LineA = s.line
	}
	if t != nil {
		ch.LineB = t.line
	}
	return ch
}

// statement compares two statements that were paired.
func (c *comparison) statement(s, t *statement, pair map[int]int) (out []Change) {
	if s.kind == "spots" {
		return c.spots(s, t)
	}
	solved := s.solved != "" && s.solved == t.solved
	for i, p := range s.params {
		q := t.params[i]
		switch {
		case c.sameParam(s, t, p, q, pair):
		case solved && p.v.kind != pictureValue && p.v.kind != maskValue:
		case p.v.kind == listValue && q.v.kind == listValue:
			for _, ch := range changedPoints(p.v, q.v) {
				out = append(out, ch.at(s, t))
			}
		default:
			ch := changed(p.name, p.v, q.v).at(s, t)
			ch.Old, ch.New = p.said(), q.said()
			out = append(out, ch)
		}
	}
	return out
}

// said is a parameter in words: as written, or what the rule gave.
func (p param) said() string {
	if !p.v.set && p.solved != "" {
		return p.solved + " (by rule)"
	}
	return p.v.String()
}

// pairSpots pairs two runs by nearest position: a run has no order.
func (c *comparison) pairSpots(s, t *statement) []pairing {
	return closest(len(s.spots), len(t.spots), func(i, j int) float64 {
		a, b := s.spots[i], t.spots[j]
		if a.solved != "" && a.solved == b.solved {
			return 0
		}
		p, q := a.get("at").nums, b.get("at").nums
		base := p[0].base
		for _, n := range []amount{p[1], q[0], q[1]} {
			if n.base != base {
				return never
			}
		}
		// How far a spot may be set aside and still be taken for the same one.
		reach := math.Inf(1) // in, of a frame that isn't known
		switch base {
		case "%":
			reach = 1 // the largest radius that a spot may have, of the frame
		case "px":
			reach = 50
		}
		x, _ := new(big.Rat).Sub(q[0].v, p[0].v).Float64()
		y, _ := new(big.Rat).Sub(q[1].v, p[1].v).Float64()
		if d := math.Sqrt(x*x + y*y); d <= reach {
			return d
		}
		return never
	})
}

func (c *comparison) spotChanges(s, t *statement) (out []Change) {
	if s.solved != "" && s.solved == t.solved {
		return nil
	}
	for i, p := range s.params {
		if q := t.params[i]; !p.v.equal(q.v) {
			out = append(out, changed(p.name, p.v, q.v).at(s, t))
		}
	}
	return out
}

func (c *comparison) spots(s, t *statement) (out []Change) {
	for _, p := range c.pairSpots(s, t) {
		switch {
		case p.b < 0:
			out = append(out, Change{Kind: "removed"}.at(s.spots[p.a], nil))
		case p.a < 0:
			out = append(out, Change{Kind: "added"}.at(nil, t.spots[p.b]))
		default:
			out = append(out, c.spotChanges(s.spots[p.a], t.spots[p.b])...)
		}
	}
	return out
}

// movedSpots joins a spot taken from one run with the equal one added to
// another.
func movedSpots(list []Change) []Change {
	for i := range list {
		old := &list[i]
		if old.Kind != "removed" || old.Step != "spot" {
			continue
		}
		k := slices.IndexFunc(list, func(c Change) bool { return c.Kind == "added" && c.Step == "spot" && c.Text == old.Text })
		if k >= 0 {
			list[k].Kind, list[k].LineA = "moved", old.LineA
			list[k].Old, list[k].New = "another run of spots", "this run"
			old.Kind = ""
		}
	}
	return slices.DeleteFunc(list, func(c Change) bool { return c.Kind == "" })
}

// mask is a mask by its name, nil where there is none.
func (s *Side) mask(name string) *maskAccount {
	if i := slices.IndexFunc(s.masks, func(m *maskAccount) bool { return m.name == name }); i >= 0 {
		return s.masks[i]
	}
	return nil
}

// maskKey is a mask's content: every shape with all its numbers, masks inside
// in full.
func (s *Side) maskKey(name string, depth int) string {
	m := s.mask(name)
	if m == nil || depth > 50 {
		return "?"
	}
	var b strings.Builder
	for _, st := range m.shape {
		b.WriteString(st.kind)
		for _, p := range st.params {
			key := p.v.key()
			switch {
			case p.v.kind == maskValue && p.v.set:
				key = "{" + s.maskKey(p.v.word, depth+1) + "}"
			case p.v.kind == textValue && s.digest(master.RoleMask, p.v.word) != "":
				key = s.digest(master.RoleMask, p.v.word)
			}
			b.WriteString(" " + key)
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// pairMasks matches masks by content, then by name, then by closeness.
func (c *comparison) pairMasks() {
	join := func(x, y *maskAccount) { c.masks[x.name], c.back[y.name] = y.name, x.name }
	content := func(x, y *maskAccount) bool { return c.a.maskKey(x.name, 0) == c.b.maskKey(y.name, 0) }
	name := func(x, y *maskAccount) bool { return x.name == y.name }
	both := func(x, y *maskAccount) bool { return name(x, y) && content(x, y) }
	for _, fit := range []func(x, y *maskAccount) bool{both, content, name} {
		for _, x := range c.a.masks {
			for _, y := range c.b.masks {
				if c.masks[x.name] == "" && c.back[y.name] == "" && fit(x, y) {
					join(x, y)
				}
			}
		}
	}
	la := only(c.a.masks, func(m *maskAccount) bool { return c.masks[m.name] == "" })
	lb := only(c.b.masks, func(m *maskAccount) bool { return c.back[m.name] == "" })
	for _, p := range closest(len(la), len(lb), func(i, j int) float64 {
		x, y := la[i].shape, lb[j].shape
		total := 0
		pairs := alignLists(len(x), len(y), func(k, l int) int { return c.cost(x[k], y[l]) }, gapApart)
		for _, q := range pairs {
			if q.a < 0 || q.b < 0 {
				total += 100
			} else {
				total += c.cost(x[q.a], y[q.b])
			}
		}
		if d := float64(total) / float64(max(len(pairs), 1)); d <= 50 {
			return d
		}
		return never
	}) {
		if p.a >= 0 && p.b >= 0 {
			join(la[p.a], lb[p.b])
		}
	}
}

func only[T any](list []T, fits func(T) bool) (out []T) {
	for _, x := range list {
		if fits(x) {
			out = append(out, x)
		}
	}
	return out
}

// maskChanges compares the masks that two prints work through.
func (c *comparison) maskChanges(x, y *account) (out []Change) {
	for _, name := range y.masks {
		m, old := c.b.mask(name), c.a.mask(c.back[name])
		switch {
		case m == nil:
		case old == nil:
			ch := m.change("added")
			ch.LineB = m.line
			out = append(out, ch)
		case c.a.maskKey(old.name, 0) != c.b.maskKey(name, 0):
			for _, ch := range c.steps(old.shape, m.shape) {
				ch.Masks = []string{name}
				out = append(out, ch)
			}
		}
	}
	for _, name := range x.masks {
		if m := c.a.mask(name); m != nil && c.masks[name] == "" {
			ch := m.change("removed")
			ch.LineA = m.line
			out = append(out, ch)
		}
	}
	return out
}

func (m *maskAccount) change(kind string) Change {
	var w []string
	for _, s := range m.shape {
		w = append(w, s.text)
	}
	return Change{Kind: kind, Where: "mask " + m.name, Step: "mask", Text: strings.Join(w, "; "), Masks: []string{m.name}}
}
