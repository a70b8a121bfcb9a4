package compare

import (
	"bytes"
	"context"
	"fmt"
	"slices"
	"strings"

	"platemark/interp/master"
	"platemark/interp/plan"
)

// Diff is what a comparison of two sides comes to. It speaks of results: what
// changes no byte of any print is in Notes at most.
type Diff struct {
	A       string      `json:"a"`
	B       string      `json:"b"`
	Same    bool        `json:"same"`
	Text    bool        `json:"same-text"`
	Prints  []PrintPair `json:"prints"`
	Changes []Change    `json:"changes"`
	Notes   []string    `json:"notes"`
}

// PrintPair is one print on both sides; a name is "" where it is on one only.
// Marks are "" where the inputs aren't there to tell them.
type PrintPair struct {
	A     string `json:"a,omitempty"`
	B     string `json:"b,omitempty"`
	MarkA string `json:"mark-a,omitempty"`
	MarkB string `json:"mark-b,omitempty"`
	Same  bool   `json:"same"`
}

// Change is one thing that differs.
type Change struct {
	// Kind is "changed", "added", "removed", "moved" or "input".
	Kind  string `json:"kind"`
	Where string `json:"where"` // "prepare", "steps wall", "print large", "mask reeds", "recipe"
	LineA int    `json:"line-a,omitempty"`
	LineB int    `json:"line-b,omitempty"`
	// Step is the statement's word, Text its words on the side that has it
	// (the second, where both do).
	Step string `json:"step"`
	Text string `json:"text,omitempty"`
	// Param, Old, New and Delta say a changed parameter; Delta is New less
	// Old in New's unit, "" where that means nothing.
	Param string `json:"parameter,omitempty"`
	Old   string `json:"old,omitempty"`
	New   string `json:"new,omitempty"`
	Delta string `json:"difference,omitempty"`
	// Prints are the names (of the second side, where it has them) of the
	// prints that the change touches.
	Prints []string `json:"prints"`
	// Masks are the masks that a step works through, on either side.
	Masks []string `json:"masks,omitempty"`
}

// comparison holds what comparing needs of both sides.
type comparison struct {
	a, b  *Side
	masks map[string]string // a's mask name -> b's
	back  map[string]string
	d     *Diff
	shape []Change // changes of masks, by mask
}

// Sides compares two sides; with print set only the print of that name.
func Sides(a, b *Side, print string) (*Diff, error) {
	c := &comparison{a: a, b: b, masks: map[string]string{}, back: map[string]string{},
		d: &Diff{A: a.Name, B: b.Name, Same: true, Text: bytes.Equal(a.Text, b.Text), Prints: []PrintPair{}, Changes: []Change{}, Notes: []string{}}}
	d := c.d
	d.Notes = append(append(d.Notes, a.Notes...), b.Notes...)
	if a.draft != "" && b.draft != "" && a.draft != b.draft {
		d.Notes = append(d.Notes, "the two were made by different drafts of version 1: equal marks need not be equal files")
	}
	c.pairMasks()
	pairs, err := c.pairPrints(print)
	if err != nil {
		return nil, err
	}
	for _, p := range pairs {
		c.print(p[0], p[1])
	}
	c.tidy()
	if d.Same && !d.Text {
		d.Notes = append(d.Notes, "the texts differ in what changes no result: comments, layout, names or order")
	}
	return d, nil
}

// pairPrints matches prints by name, then what is left by closeness. A log
// speaks of one print: the other side's others are left out.
func (c *comparison) pairPrints(only string) (out [][2]*account, err error) {
	pa, pb := slices.Clone(c.a.prints), slices.Clone(c.b.prints)
	take := func(list []*account) []*account {
		return slices.DeleteFunc(slices.Clone(list), func(a *account) bool { return a.name != only })
	}
	if only != "" {
		x, y := take(pa), take(pb)
		if len(x)+len(y) == 0 {
			return nil, fmt.Errorf("no print is named %s in %s or %s", only, c.a.Name, c.b.Name)
		}
		// Renamed on one side: the closest one there.
		if len(x) > 0 {
			pa = x
		}
		if len(y) > 0 {
			pb = y
		}
	}
	single := only != "" || c.a.One || c.b.One
	match := map[*account]*account{}
	done := map[*account]bool{}
	for _, x := range pa {
		for _, y := range pb {
			if x.name == y.name {
				match[x], done[y] = y, true
			}
		}
	}
	left := func(list []*account) (o []*account) {
		for _, x := range list {
			if match[x] == nil && !done[x] {
				o = append(o, x)
			}
		}
		return o
	}
	ra, rb := left(pa), left(pb)
	if single && len(match) > 0 {
		ra, rb = nil, nil
	}
	for _, p := range closest(len(ra), len(rb), func(i, j int) float64 { return c.apart(ra[i], rb[j], single) }) {
		switch {
		case p.a >= 0 && p.b >= 0:
			match[ra[p.a]], done[rb[p.b]] = rb[p.b], true
			c.d.Notes = append(c.d.Notes, fmt.Sprintf("print %s of %s is taken for print %s of %s, the closest one", rb[p.b].name, c.b.Name, ra[p.a].name, c.a.Name))
		case single:
		case p.a < 0:
			c.oneSided("added", rb[p.b])
		default:
			c.oneSided("removed", ra[p.a])
		}
	}
	for _, x := range pa {
		if y := match[x]; y != nil {
			out = append(out, [2]*account{x, y})
		}
	}
	if single && len(out) == 0 {
		return nil, fmt.Errorf("%s and %s have no print in common", c.a.Name, c.b.Name)
	}
	return out, nil
}

func (c *comparison) oneSided(kind string, p *account) {
	c.d.Same = false
	ch := Change{Kind: kind, Where: "recipe", Step: "print", Text: "print " + p.name, Prints: []string{p.name}}
	if kind == "added" {
		ch.LineB = p.line
		c.d.Prints = append(c.d.Prints, PrintPair{B: p.name, MarkB: p.mark})
	} else {
		ch.LineA = p.line
		c.d.Prints = append(c.d.Prints, PrintPair{A: p.name, MarkA: p.mark})
	}
	c.d.Changes = append(c.d.Changes, ch)
}

// apart says how far two prints of different names are from each other: the
// mark decides; else at most half of what they say may differ.
func (c *comparison) apart(x, y *account, any bool) float64 {
	if x.mark != "" && x.mark == y.mark {
		return 0
	}
	n, changed := 0, 0
	tally := func(p, q []param) {
		for i := range p {
			n++
			if i >= len(q) || p[i].name != q[i].name || !p[i].v.equal(q[i].v) {
				changed++
			}
		}
	}
	tally(x.size, y.size)
	tally(x.save, y.save)
	late := func(l []*statement) (o []*statement) {
		for _, s := range l {
			if !s.early() {
				o = append(o, s)
			}
		}
		return o
	}
	lx, ly := late(x.steps), late(y.steps)
	for _, p := range alignLists(len(lx), len(ly), func(i, j int) int { return c.cost(lx[i], ly[j]) }, gapApart) {
		n += 2
		if p.a < 0 || p.b < 0 {
			changed += 2
		} else if c.cost(lx[p.a], ly[p.b]) > 0 {
			changed++
		}
	}
	d := 1 + float64(changed)/float64(max(n, 1))
	if d > 1.5 && !any {
		return never
	}
	return d
}

// print compares one pair of prints.
func (c *comparison) print(x, y *account) {
	p := PrintPair{A: x.name, B: y.name, MarkA: x.mark, MarkB: y.mark}
	list := c.changes(x, y)
	if x.mark != "" && y.mark != "" {
		p.Same = x.mark == y.mark
	} else {
		p.Same = len(list) == 0
	}
	if !p.Same && len(list) == 0 {
		list = []Change{{Kind: "changed", Where: "print " + y.name, Step: "print", LineA: x.line, LineB: y.line, Param: "mark", Old: short(x.mark), New: short(y.mark),
			Text: "the recipes say the same, but not of the same inputs, or not to the same engine"}}
		for _, s := range y.steps {
			op := strings.ReplaceAll(s.kind, " ", "-")
			if u, v := x.vers[op], y.vers[op]; u != 0 && v != 0 && u != v {
				list = append(list, Change{Kind: "changed", Where: s.block, Step: s.kind, LineA: s.line, LineB: s.line, Text: s.text, Param: "version of the operation", Old: fmt.Sprint(u), New: fmt.Sprint(v)})
			}
		}
	}
	if p.Same {
		list = nil
	}
	c.d.Same = c.d.Same && p.Same
	c.d.Prints = append(c.d.Prints, p)
	note := func(what, old, new string) {
		if old != new {
			c.d.Notes = append(c.d.Notes, fmt.Sprintf("print %s: %s %s, then %s", y.name, what, orNone(old), orNone(new)))
		}
	}
	note("the file is", x.file, y.file)
	note("its edition is", x.edit, y.edit)
	for _, ch := range list {
		ch.Prints = []string{y.name}
		c.d.Changes = append(c.d.Changes, ch)
	}
}

func orNone(s string) string {
	if s == "" {
		return "none"
	}
	return s
}

func short(mark string) string { return mark[:min(12, len(mark))] }

// changes lists everything that may tell two prints apart.
func (c *comparison) changes(x, y *account) []Change {
	var out []Change
	if u, v := c.a.rec.Version, c.b.rec.Version; u != v {
		out = append(out, Change{Kind: "changed", Where: "recipe", Step: "recipe", LineA: c.a.rec.Head.Line, LineB: c.b.rec.Head.Line, Param: "language version", Old: fmt.Sprint(u), New: fmt.Sprint(v)})
	}
	out = append(out, c.head(x, y)...)
	out = append(out, c.steps(x.steps, y.steps)...)
	out = append(out, c.maskChanges(x, y)...)
	where := "print " + y.name
	if x.size != nil && y.size != nil {
		out = append(out, c.sizes(x, y, where)...)
	}
	if x.save != nil && y.save != nil {
		byName := map[string]param{}
		for _, p := range x.save {
			byName[p.name] = p
		}
		for _, q := range y.save {
			p, ok := byName[q.name]
			if !ok { // another format brings its own parameters
				continue
			}
			if !p.v.equal(q.v) {
				out = append(out, Change{Kind: "changed", Where: where, Step: "save", LineA: x.saveAt, LineB: y.saveAt, Param: q.name, Old: p.v.String(), New: q.v.String(), Delta: q.v.minus(p.v)})
			}
		}
	}
	return out
}

// head compares what stands above the blocks, and the inputs.
func (c *comparison) head(x, y *account) (out []Change) {
	ra, rb := c.a.rec, c.b.rec
	text := func(word string, la, lb int, old, new string) {
		if old != new {
			quote := func(s string) string {
				if s == "" {
					return "none"
				}
				return `"` + s + `"`
			}
			out = append(out, Change{Kind: "changed", Where: "recipe", Step: word, LineA: la, LineB: lb, Param: word, Old: quote(old), New: quote(new)})
		}
	}
	var ta, tb, ga, gb string
	var la, lb [2]int
	if ra.Title != nil {
		ta, la[0] = ra.Title.Value, ra.Title.Line
	}
	if rb.Title != nil {
		tb, lb[0] = rb.Title.Value, rb.Title.Line
	}
	if ra.Rights != nil {
		ga, la[1] = ra.Rights.Value, ra.Rights.Line
	}
	if rb.Rights != nil {
		gb, lb[1] = rb.Rights.Value, rb.Rights.Line
	}
	text("title", la[0], lb[0], ta, tb)
	text("rights", la[1], lb[1], ga, gb)
	if ra.Master != nil && rb.Master != nil {
		pa, pb := ra.Master.Path.Value, rb.Master.Path.Value
		da, db := c.a.digest(master.RoleMaster, pa), c.b.digest(master.RoleMaster, pb)
		known := da != "" && db != ""
		if known && da != db || !known && pa != pb {
			out = append(out, Change{Kind: "input", Where: "recipe", Step: "master", LineA: ra.Master.Line, LineB: rb.Master.Line, Param: "master", Old: fileWords(pa, da), New: fileWords(pb, db)})
		}
		var sa, sb string
		if ra.Master.Space != nil {
			sa = ra.Master.Space.Value
		}
		if rb.Master.Space != nil {
			sb = rb.Master.Space.Value
		}
		if wa, wb := ra.Master.OnWhite, rb.Master.OnWhite; wa != wb {
			out = append(out, Change{Kind: "changed", Where: "recipe", Step: "master", LineA: ra.Master.Line, LineB: rb.Master.Line, Param: "on white", Old: fmt.Sprint(wa), New: fmt.Sprint(wb)})
		}
		if sa != sb {
			out = append(out, Change{Kind: "changed", Where: "recipe", Step: "master", LineA: ra.Master.Line, LineB: rb.Master.Line, Param: "space", Old: orNone(sa), New: orNone(sb)})
		}
	}
	// The same path, another file.
	for _, n := range c.b.named(y) {
		if n.Role == master.RoleMaster || !slices.ContainsFunc(c.a.named(x), func(m plan.NamedInput) bool { return m.Role == n.Role && m.Text.Value == n.Text.Value }) {
			continue
		}
		da, db := c.a.digest(n.Role, n.Text.Value), c.b.digest(n.Role, n.Text.Value)
		if da != "" && db != "" && da != db {
			out = append(out, Change{Kind: "input", Where: "recipe", Step: string(n.Role), LineB: n.Text.Line, Param: string(n.Role), Old: fileWords(n.Text.Value, da), New: fileWords(n.Text.Value, db)})
		}
	}
	return out
}

func fileWords(path, digest string) string {
	if digest == "" {
		return fmt.Sprintf("%q", path)
	}
	return fmt.Sprintf("%q sha256 %s…", path, digest[:min(16, len(digest))])
}

func (s *Side) digest(role master.Role, path string) string { return s.files[string(role)+"\x00"+path] }

// named lists the files that one print's steps and masks name.
func (s *Side) named(a *account) (out []plan.NamedInput) {
	set := plan.NewInputs(context.Background(), "", s.rec)
	words := map[string]bool{}
	for _, st := range a.steps {
		if v, ok := st.get("to"); ok && v.kind == fileValue {
			words[v.word] = true
		}
	}
	for _, m := range s.masks {
		for _, st := range m.shape {
			if v, ok := st.get("path"); ok && v.set && a.used[m.name] {
				words[v.word] = true
			}
		}
	}
	for _, n := range set.Named() {
		if words[n.Text.Value] {
			out = append(out, n)
		}
	}
	return out
}

// sizes compares what the size lines come to.
func (c *comparison) sizes(x, y *account, where string) (out []Change) {
	differs := func(i int) bool {
		p, q := x.size[i], y.size[i]
		return !p.v.equal(q.v) && (p.solved == "" || p.solved != q.solved)
	}
	ch := Change{Kind: "changed", Where: where, Step: "size", LineA: x.line2, LineB: y.line2}
	if !x.size[0].v.equal(y.size[0].v) {
		if differs(0) || differs(3) {
			ch.Param, ch.Old, ch.New = "size", x.sizeIs, y.sizeIs
			out = append(out, ch)
		}
		return out
	}
	for i := 1; i < 4; i++ {
		if p, q := x.size[i], y.size[i]; differs(i) {
			ch.Param, ch.Old, ch.New, ch.Delta = p.name, p.v.String(), q.v.String(), q.v.minus(p.v)
			out = append(out, ch)
		}
	}
	return out
}

// tidy says a change that several prints share once, with their names.
func (c *comparison) tidy() {
	var out []Change
	for _, ch := range c.d.Changes {
		i := slices.IndexFunc(out, func(o Change) bool {
			o.Prints, ch.Prints = nil, slices.Clip(ch.Prints)
			x := ch
			x.Prints = nil
			return sameChange(o, x)
		})
		if i < 0 {
			out = append(out, ch)
			continue
		}
		for _, p := range ch.Prints {
			if !slices.Contains(out[i].Prints, p) {
				out[i].Prints = append(out[i].Prints, p)
			}
		}
	}
	if out == nil {
		out = []Change{}
	}
	c.d.Changes = out
}

func sameChange(a, b Change) bool {
	return a.Kind == b.Kind && a.Where == b.Where && a.LineA == b.LineA && a.LineB == b.LineB && a.Step == b.Step && a.Text == b.Text &&
		a.Param == b.Param && a.Old == b.Old && a.New == b.New && a.Delta == b.Delta
}
