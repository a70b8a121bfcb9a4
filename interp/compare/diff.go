package compare

import (
	"bytes"
	"context"
	"fmt"
	"reflect"
	"slices"
	"strings"

	"platemark/interp/master"
	"platemark/interp/plan"
	"platemark/lang"
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
	Kind  string `json:"kind"` // "print" or "sheet"
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
}

// Sides compares two sides; with print set only the print of that name.
func Sides(a, b *Side, print string) (*Diff, error) {
	d := &Diff{A: a.Name, B: b.Name, Same: true, Text: bytes.Equal(a.Text, b.Text), Prints: []PrintPair{}, Changes: []Change{}, Notes: []string{}}
	c := &comparison{a: a, b: b, masks: map[string]string{}, back: map[string]string{}, d: d}
	d.Notes = append(append(d.Notes, a.Notes...), b.Notes...)
	if a.draft != "" && b.draft != "" && a.draft != b.draft {
		c.note("the two were made by different drafts of version 1: equal marks need not be equal files")
	}
	c.pairMasks()
	pairs, err := c.pairPrints(print)
	if err != nil {
		return nil, err
	}
	for _, p := range pairs {
		c.print(p[0], p[1])
	}
	if d.Same && !d.Text {
		c.note("the texts differ in what changes no result: comments, layout, names or order")
	}
	return d, nil
}

func (c *comparison) note(format string, args ...any) {
	c.d.Notes = append(c.d.Notes, fmt.Sprintf(format, args...))
}

// pairPrints matches prints by name, then what is left by closeness. A log
// speaks of one print: the other side's others are left out.
func (c *comparison) pairPrints(name string) (out [][2]*account, err error) {
	pa, pb := c.a.prints, c.b.prints
	if name != "" {
		named := func(a *account) bool { return a.name == name }
		x, y := only(pa, named), only(pb, named)
		if len(x)+len(y) == 0 {
			return nil, fmt.Errorf("no print is named %s in %s or %s", name, c.a.Name, c.b.Name)
		}
		// Renamed on one side: the closest one there.
		if len(x) > 0 {
			pa = x
		}
		if len(y) > 0 {
			pb = y
		}
	}
	single := name != "" || c.a.One || c.b.One
	match, done := map[*account]*account{}, map[*account]bool{}
	join := func(x, y *account) { match[x], done[x], done[y] = y, true, true }
	for _, x := range pa {
		for _, y := range pb {
			if x.name == y.name {
				join(x, y)
			}
		}
	}
	if !single || len(match) == 0 {
		left := func(a *account) bool { return !done[a] }
		ra, rb := only(pa, left), only(pb, left)
		for _, p := range closest(len(ra), len(rb), func(i, j int) float64 { return c.apart(ra[i], rb[j], single) }) {
			switch {
			case p.a >= 0 && p.b >= 0:
				x, y := ra[p.a], rb[p.b]
				join(x, y)
				c.note("%s %s of %s is taken for %s %s of %s, the closest one", y.kind, y.name, c.b.Name, x.kind, x.name, c.a.Name)
			case single:
			case p.a < 0:
				y := rb[p.b]
				c.oneSided(PrintPair{Kind: y.kind, B: y.name, MarkB: y.mark}, Change{Kind: "added", LineB: y.line}, y.name)
			default:
				x := ra[p.a]
				c.oneSided(PrintPair{Kind: x.kind, A: x.name, MarkA: x.mark}, Change{Kind: "removed", LineA: x.line}, x.name)
			}
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

func (c *comparison) oneSided(p PrintPair, ch Change, name string) {
	c.d.Same = false
	c.d.Prints = append(c.d.Prints, p)
	ch.Where, ch.Step, ch.Text = "recipe", p.Kind, p.Kind+" "+name
	c.add(ch, name)
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
	late := func(s *statement) bool { return !s.early() }
	lx, ly := only(x.steps, late), only(y.steps, late)
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
	p := PrintPair{Kind: y.kind, A: x.name, B: y.name, MarkA: x.mark, MarkB: y.mark}
	list := c.changes(x, y)
	if x.mark != "" && y.mark != "" {
		p.Same = x.mark == y.mark
	} else {
		p.Same = len(list) == 0
	}
	if !p.Same && len(list) == 0 {
		why := "the recipes say the same, but not of the same inputs, or not to the same engine"
		if y.kind == "sheet" {
			why = "a print that it shows is another, or the title or the round below it"
		}
		list = []Change{{Kind: "changed", Where: y.kind + " " + y.name, Step: y.kind, LineA: x.line, LineB: y.line, Param: "mark", Old: short(x.mark), New: short(y.mark),
			Text: why}}
		for _, s := range y.steps {
			op := strings.ReplaceAll(s.kind, " ", "-")
			if u, v := x.vers[op], y.vers[op]; u != 0 && v != 0 && u != v {
				ch := changed("version of the operation", wordOf(fmt.Sprint(u)), wordOf(fmt.Sprint(v)))
				ch.Where, ch.Step, ch.LineA, ch.LineB, ch.Text = s.block, s.kind, s.line, s.line, s.text
				list = append(list, ch)
			}
		}
	}
	c.d.Same = c.d.Same && p.Same
	c.d.Prints = append(c.d.Prints, p)
	note := func(what, old, new string) {
		if old != new {
			c.note("%s %s: %s %s, then %s", y.kind, y.name, what, wordOf(old), wordOf(new))
		}
	}
	note("the file is", x.file, y.file)
	note("its edition is", x.edition, y.edition)
	if p.Same {
		return
	}
	for _, ch := range list {
		c.add(ch, y.name)
	}
}

// add adds a change of a print. One that several prints share is said once, with
// their names.
func (c *comparison) add(ch Change, print string) {
	for i := range c.d.Changes {
		o, x := &c.d.Changes[i], ch
		if x.Prints, x.Masks = o.Prints, o.Masks; reflect.DeepEqual(*o, x) {
			if !slices.Contains(o.Prints, print) {
				o.Prints = append(o.Prints, print)
			}
			return
		}
	}
	ch.Prints = []string{print}
	c.d.Changes = append(c.d.Changes, ch)
}

func short(mark string) string { return mark[:min(12, len(mark))] }

// rows gathers changes of what stands outside the steps.
type rows []Change

func (r *rows) put(where, step string, lineA, lineB int, param string, p, q value) {
	if !p.equal(q) {
		ch := changed(param, p, q)
		ch.Where, ch.Step, ch.LineA, ch.LineB = where, step, lineA, lineB
		*r = append(*r, ch)
	}
}

// changes lists everything that may tell two prints apart.
func (c *comparison) changes(x, y *account) []Change {
	out := c.head(x, y)
	out = append(out, c.steps(x.steps, y.steps)...)
	out = append(out, c.maskChanges(x, y)...)
	where := y.kind + " " + y.name
	if x.size != nil && y.size != nil {
		out = append(out, sizes(x, y, where)...)
	}
	for _, q := range y.save {
		for _, p := range x.save { // another format brings its own parameters
			if p.name == q.name {
				out.put(where, "save", x.saveAt, y.saveAt, q.name, p.v, q.v)
			}
		}
	}
	return out
}

// head compares what stands above the blocks, and the inputs.
func (c *comparison) head(x, y *account) (out rows) {
	ra, rb := c.a.rec, c.b.rec
	out.put("recipe", "recipe", ra.Head.Line, rb.Head.Line, "language version", wordOf(fmt.Sprint(ra.Version)), wordOf(fmt.Sprint(rb.Version)))
	text := func(word string, s, t *lang.Text) {
		out.put("recipe", word, lineOf(s), lineOf(t), word, textOf(s), textOf(t))
	}
	text("title", ra.Title, rb.Title)
	text("rights", ra.Rights, rb.Rights)
	if m, n := ra.Master, rb.Master; m != nil && n != nil {
		pa, pb := m.Path.Value, n.Path.Value
		da, db := c.a.digest(master.RoleMaster, pa), c.b.digest(master.RoleMaster, pb)
		known := da != "" && db != ""
		if known && da != db || !known && pa != pb {
			out = append(out, Change{Kind: "input", Where: "recipe", Step: "master", LineA: m.Line, LineB: n.Line, Param: "master", Old: fileWords(pa, da), New: fileWords(pb, db)})
		}
		out.put("recipe", "master", m.Line, n.Line, "on white", wordOf(fmt.Sprint(m.OnWhite)), wordOf(fmt.Sprint(n.OnWhite)))
		out.put("recipe", "master", m.Line, n.Line, "space", wordOf(textOf(m.Space).word), wordOf(textOf(n.Space).word))
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

func lineOf(t *lang.Text) int {
	if t == nil {
		return 0
	}
	return t.Line
}

func fileWords(path, digest string) string {
	if digest == "" {
		return fmt.Sprintf("%q", path)
	}
	return fmt.Sprintf("%q sha256 %s…", path, digest[:min(16, len(digest))])
}

// named lists the files that one print's steps and masks name.
func (s *Side) named(a *account) []plan.NamedInput {
	words := map[string]bool{}
	for _, st := range a.steps {
		if v := st.get("to"); v.kind == textValue {
			words[v.word] = true
		}
	}
	for _, m := range s.masks {
		for _, st := range m.shape {
			if slices.Contains(a.masks, m.name) {
				words[st.get("path").word] = true
			}
		}
	}
	return only(plan.NewInputs(context.Background(), "", s.rec).Named(), func(n plan.NamedInput) bool { return words[n.Text.Value] })
}

// sizes compares what the size lines come to.
func sizes(x, y *account, where string) (out rows) {
	differs := func(i int) bool {
		p, q := x.size[i], y.size[i]
		return !p.v.equal(q.v) && (p.solved == "" || p.solved != q.solved)
	}
	if !x.size[0].v.equal(y.size[0].v) {
		if differs(0) || differs(3) {
			out.put(where, "size", x.sizeAt, y.sizeAt, "size", wordOf(x.sizeIs), wordOf(y.sizeIs))
		}
		return out
	}
	for i, p := range x.size {
		if differs(i) {
			out.put(where, "size", x.sizeAt, y.sizeAt, p.name, p.v, y.size[i].v)
		}
	}
	return out
}
