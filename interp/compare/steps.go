package compare

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"platemark/interp/master"
)

// sameParam compares one parameter of two statements. Names of pictures are
// compared by the steps that made them, once those are paired (pair nil: not
// yet, any name will do).
func (c *comparison) sameParam(s, t *statement, p, q param, pair map[int]int) bool {
	if p.v.set && q.v.set && p.v.kind == q.v.kind {
		switch p.v.kind {
		case pictureValue:
			if p.name == "as" || pair == nil {
				return true
			}
			i, ok := pair[s.defs[p.v.word]]
			return ok && i == t.defs[q.v.word]
		case maskValue:
			return c.masks[p.v.word] == q.v.word
		case fileValue:
			da, db := c.fileDigest(c.a, p.v.word), c.fileDigest(c.b, q.v.word)
			if p.v.word == q.v.word || da != "" && da == db {
				return true
			}
		}
	}
	if p.v.kind == pictureValue || p.v.kind == maskValue {
		return p.v.set == q.v.set && !p.v.set
	}
	return p.v.equal(q.v) || p.solved != "" && p.solved == q.solved
}

func (c *comparison) fileDigest(s *Side, path string) string {
	for _, r := range []master.Role{master.RoleProfile, master.RoleMask, master.RoleMaster} {
		if d := s.digest(r, path); d != "" {
			return d
		}
	}
	return ""
}

// cost is the price of taking t for s: never for another kind or another
// stage, else the share of what differs.
func (c *comparison) cost(s, t *statement) int {
	if s.kind != t.kind || s.early() != t.early() {
		return never
	}
	if s.kind == "spots" {
		same := 0
		pairs := c.pairSpots(s, t)
		for _, p := range pairs {
			if p.a >= 0 && p.b >= 0 && len(c.spotChanges(s.spots[p.a], t.spots[p.b])) == 0 {
				same++
			}
		}
		return 100 - 100*same/max(len(pairs), 1)
	}
	if s.solved != "" && s.solved == t.solved {
		return c.nameCost(s, t)
	}
	n := 0
	for i, p := range s.params {
		if i < len(t.params) && c.sameParam(s, t, p, t.params[i], nil) {
			n++
		}
	}
	return 100 - 100*n/max(len(s.params), 1)
}

// nameCost tells steps with equal numbers apart by their masks.
func (c *comparison) nameCost(s, t *statement) int {
	for i, p := range s.params {
		if p.v.kind == maskValue && !c.sameParam(s, t, p, t.params[i], nil) {
			return 10
		}
	}
	return 0
}

// stepPair is two statements taken for one another; moved says that their
// places differ.
type stepPair struct {
	a, b  int
	moved bool
}

// pairSteps pairs equal steps with a name first, for they may stand anywhere
// behind what they are made from; then it aligns the rest in order, and looks
// among what is left for steps that moved.
func (c *comparison) pairSteps(x, y []*statement) []stepPair {
	var out []stepPair
	ux, uy := make([]bool, len(x)), make([]bool, len(y))
	for i, s := range x {
		for j, t := range y {
			if s.as != "" && t.as != "" && !uy[j] && c.cost(s, t) == 0 {
				ux[i], uy[j] = true, true
				out = append(out, stepPair{a: i, b: j})
				break
			}
		}
	}
	var ix, iy, gone, come []int
	for i := range x {
		if !ux[i] {
			ix = append(ix, i)
		}
	}
	for j := range y {
		if !uy[j] {
			iy = append(iy, j)
		}
	}
	named := len(out)
	// Of two steps that changed places the one with a fixed place stays.
	gap := func(i, j int) int {
		kind := ""
		if i >= 0 {
			kind = x[ix[i]].kind
		} else {
			kind = y[iy[j]].kind
		}
		switch kind {
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
			out = append(out, stepPair{a: ix[p.a], b: iy[p.b]})
		}
	}
	for i := range out[:named] {
		p := &out[i]
		for _, q := range out[named:] {
			p.moved = p.moved || (q.a < p.a) != (q.b < p.b)
		}
	}
	for _, p := range closest(len(gone), len(come), func(i, j int) float64 {
		s, t := *x[gone[i]], *y[come[j]]
		// A step may move to another stage too.
		s.block, t.block = "", ""
		if k := c.cost(&s, &t); k <= 50 {
			return float64(k)
		}
		return never
	}) {
		switch {
		case p.a >= 0 && p.b >= 0:
			out = append(out, stepPair{gone[p.a], come[p.b], true})
		case p.a >= 0:
			out = append(out, stepPair{a: gone[p.a], b: -1})
		default:
			out = append(out, stepPair{a: -1, b: come[p.b]})
		}
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
			out = append(out, c.whole("removed", x[p.a]))
		case p.a < 0:
			out = append(out, c.whole("added", y[p.b]))
		default:
			s, t := x[p.a], y[p.b]
			// A named picture made from the same one stands where it likes.
			from, ok := pair[s.from]
			free := s.as != "" && t.as != "" && ok && from == t.from
			if p.moved && !free {
				ch := c.base("moved", s, t)
				ch.Old, ch.New = place(x, p.a), place(y, p.b)
				out = append(out, ch)
			}
			out = append(out, c.statement(s, t, pair)...)
		}
	}
	return c.movedSpots(out)
}

// place says where a statement stands.
func place(l []*statement, i int) string {
	if i > 0 && l[i-1].block == l[i].block {
		return fmt.Sprintf("behind `%s`", l[i-1].text)
	}
	return "first in " + l[i].block
}

func (c *comparison) base(kind string, s, t *statement) Change {
	ch := Change{Kind: kind}
	last := t
	if last == nil {
		last = s
	}
	ch.Where, ch.Step, ch.Text = last.block, last.kind, last.text
	if s != nil {
		ch.LineA = s.line
	}
	if t != nil {
		ch.LineB = t.line
	}
	for _, st := range []*statement{s, t} {
		if st != nil {
			if v, ok := st.get("through"); ok && v.set && !slices.Contains(ch.Masks, v.word) {
				ch.Masks = append(ch.Masks, v.word)
			}
		}
	}
	return ch
}

func (c *comparison) whole(kind string, s *statement) Change {
	if kind == "added" {
		ch := c.base(kind, nil, s)
		if n := len(s.spots); n > 1 {
			ch.Text = fmt.Sprintf("%d spots from `%s`", n, s.text)
		}
		return ch
	}
	ch := c.base(kind, s, nil)
	if n := len(s.spots); n > 1 {
		ch.Text = fmt.Sprintf("%d spots from `%s`", n, s.text)
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
		if c.sameParam(s, t, p, q, pair) {
			continue
		}
		if solved && p.v.kind != pictureValue && p.v.kind != maskValue {
			continue
		}
		if p.v.kind == listValue && q.v.kind == listValue {
			for _, k := range changedPoints(p.v, q.v) {
				out = append(out, c.change(s, t, k))
			}
			continue
		}
		out = append(out, c.change(s, t, paramChange{p.name, said(s, p), said(t, q), q.v.minus(p.v)}))
	}
	return out
}

// said is a parameter in words: as written, or what the rule gave.
func said(s *statement, p param) string {
	if !p.v.set && p.solved != "" {
		return p.solved + " (by rule)"
	}
	return p.v.String()
}

func (c *comparison) change(s, t *statement, k paramChange) Change {
	ch := c.base("changed", s, t)
	ch.Param, ch.Old, ch.New, ch.Delta = k.param, k.old, k.new, k.delta
	return ch
}

// spotReach is how far a spot may be set aside and still be taken for the same
// one: the largest radius that a spot may have, 1 % of the frame.
const spotReach = 1

// pairSpots pairs two runs by nearest position: a run has no order.
func (c *comparison) pairSpots(s, t *statement) []pairing {
	return closest(len(s.spots), len(t.spots), func(i, j int) float64 {
		a, b := s.spots[i], t.spots[j]
		if a.solved != "" && a.solved == b.solved {
			return 0
		}
		p, q := a.params[0].v, b.params[0].v
		for k := range 2 {
			if p.nums[k].base != q.nums[k].base || p.nums[k].base != p.nums[0].base {
				return never
			}
		}
		reach := float64(spotReach)
		if p.nums[0].base != "%" { // a px or in of a frame that isn't known
			reach = math.Inf(1)
			if p.nums[0].base == "px" {
				reach = 50
			}
		}
		x, _ := less(q.nums[0].v, p.nums[0].v).Float64()
		y, _ := less(q.nums[1].v, p.nums[1].v).Float64()
		if d := math.Sqrt(x*x + y*y); d <= reach {
			return d
		}
		return never
	})
}

func (c *comparison) spotChanges(a, b spotLine) (out []paramChange) {
	if a.solved != "" && a.solved == b.solved {
		return nil
	}
	for i, p := range a.params {
		if q := b.params[i]; !p.v.equal(q.v) {
			out = append(out, paramChange{p.name, p.v.String(), q.v.String(), q.v.minus(p.v)})
		}
	}
	return out
}

func (c *comparison) spots(s, t *statement) (out []Change) {
	one := func(k *spotLine, st *statement) *statement {
		if k == nil {
			return nil
		}
		return &statement{kind: "spot", block: st.block, line: k.line, text: k.text}
	}
	for _, p := range c.pairSpots(s, t) {
		switch {
		case p.b < 0:
			out = append(out, c.base("removed", one(&s.spots[p.a], s), nil))
		case p.a < 0:
			out = append(out, c.base("added", nil, one(&t.spots[p.b], t)))
		default:
			for _, k := range c.spotChanges(s.spots[p.a], t.spots[p.b]) {
				out = append(out, c.change(one(&s.spots[p.a], s), one(&t.spots[p.b], t), k))
			}
		}
	}
	return out
}

// movedSpots joins a spot taken from one run with the equal one added to
// another.
func (c *comparison) movedSpots(list []Change) []Change {
	for i := range list {
		if list[i].Kind != "removed" || list[i].Step != "spot" {
			continue
		}
		for k := range list {
			if list[k].Kind == "added" && list[k].Step == "spot" && list[k].Text == list[i].Text {
				list[k].Kind, list[k].LineA = "moved", list[i].LineA
				list[k].Old, list[k].New = "another run of spots", "this run"
				list[i].Kind = ""
				break
			}
		}
	}
	return slices.DeleteFunc(list, func(c Change) bool { return c.Kind == "" })
}

// maskKey is a mask's content: every shape with all its numbers, masks inside
// in full.
func (s *Side) maskKey(name string, depth int) string {
	for _, m := range s.masks {
		if m.name != name || depth > 50 {
			continue
		}
		var b strings.Builder
		for _, st := range m.shape {
			b.WriteString(st.kind)
			for _, p := range st.params {
				switch {
				case p.v.kind == maskValue && p.v.set:
					b.WriteString(" {" + s.maskKey(p.v.word, depth+1) + "}")
				case p.v.kind == fileValue && p.v.set && s.digest(master.RoleMask, p.v.word) != "":
					b.WriteString(" " + s.digest(master.RoleMask, p.v.word))
				default:
					b.WriteString(" " + p.v.key())
				}
			}
			b.WriteByte('\n')
		}
		return b.String()
	}
	return "?"
}

// pairMasks matches masks by content, then by name, then by closeness.
func (c *comparison) pairMasks() {
	join := func(a, b string) { c.masks[a], c.back[b] = b, a }
	fits := func(test func(x, y *maskAccount) bool) {
		for _, x := range c.a.masks {
			for _, y := range c.b.masks {
				if c.masks[x.name] == "" && c.back[y.name] == "" && test(x, y) {
					join(x.name, y.name)
				}
			}
		}
	}
	content := func(x, y *maskAccount) bool { return c.a.maskKey(x.name, 0) == c.b.maskKey(y.name, 0) }
	name := func(x, y *maskAccount) bool { return x.name == y.name }
	fits(func(x, y *maskAccount) bool { return content(x, y) && name(x, y) })
	fits(content)
	fits(name)
	var la, lb []*maskAccount
	for _, x := range c.a.masks {
		if c.masks[x.name] == "" {
			la = append(la, x)
		}
	}
	for _, y := range c.b.masks {
		if c.back[y.name] == "" {
			lb = append(lb, y)
		}
	}
	for _, p := range closest(len(la), len(lb), func(i, j int) float64 {
		total, n := 0, 0
		for _, q := range alignLists(len(la[i].shape), len(lb[j].shape), func(k, l int) int { return c.cost(la[i].shape[k], lb[j].shape[l]) }, gapApart) {
			n++
			if q.a < 0 || q.b < 0 {
				total += 100
			} else {
				total += c.cost(la[i].shape[q.a], lb[j].shape[q.b])
			}
		}
		if d := float64(total) / float64(max(n, 1)); d <= 50 {
			return d
		}
		return never
	}) {
		if p.a >= 0 && p.b >= 0 {
			join(la[p.a].name, lb[p.b].name)
		}
	}
}

// maskChanges compares the masks that two prints work through.
func (c *comparison) maskChanges(x, y *account) (out []Change) {
	find := func(s *Side, name string) *maskAccount {
		for _, m := range s.masks {
			if m.name == name {
				return m
			}
		}
		return nil
	}
	for _, name := range y.masks {
		m := find(c.b, name)
		if m == nil {
			continue
		}
		old := find(c.a, c.back[name])
		if old == nil {
			out = append(out, Change{Kind: "added", Where: "mask " + name, LineB: m.line, Step: "mask", Text: shapesText(m), Masks: []string{name}})
			continue
		}
		if c.a.maskKey(old.name, 0) == c.b.maskKey(name, 0) {
			continue
		}
		for _, ch := range c.steps(old.shape, m.shape) {
			ch.Masks = []string{name}
			out = append(out, ch)
		}
	}
	for _, name := range x.masks {
		if m := find(c.a, name); m != nil && c.masks[name] == "" {
			out = append(out, Change{Kind: "removed", Where: "mask " + name, LineA: m.line, Step: "mask", Text: shapesText(m), Masks: []string{name}})
		}
	}
	return out
}

func shapesText(m *maskAccount) string {
	var w []string
	for _, s := range m.shape {
		w = append(w, s.text)
	}
	return strings.Join(w, "; ")
}
