package interp

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"unicode"

	"platemark/interp/plan"
	"platemark/lang"
	"platemark/ops"
)

// A param is one parameter of a statement: as written, and as the engine
// solved it in base units where a plan or a log says so.
type param struct {
	name   string
	v      value
	solved string
}

// A statement is one step of a print as its recipe says it, with every block
// expanded and every default written.
type statement struct {
	kind   string
	block  string // "prepare", "steps wall", "print large", "mask reeds"
	line   int
	text   string
	params []param
	spots  []spotLine // of a run of spots
	// solved is what the engine made of the whole statement, "" where nobody
	// says: equal texts are equal steps on pictures of one size.
	solved string
	as     string
	// from is the statement whose picture it works on, -1 for the one that
	// the print starts with.
	from int
	// defs are the statements that its picture names stand for.
	defs map[string]int
}

type spotLine struct {
	line   int
	text   string
	params []param // at, radius, soft, from
	solved string
}

func (s *statement) early() bool { return s.block == "prepare" }

func (s *statement) get(name string) (value, bool) {
	for _, p := range s.params {
		if p.name == name {
			return p.v, true
		}
	}
	return value{}, false
}

// paramsOf lists a syntax node's parameters from its fields, so that a new
// statement is compared without a line here.
func paramsOf(node any) []param {
	var out []param
	v := reflect.Indirect(reflect.ValueOf(node))
	for i := range v.NumField() {
		f := v.Type().Field(i)
		if f.Anonymous || !f.IsExported() {
			continue
		}
		name := kebab(f.Name)
		if p, ok := fieldValue(f.Name, v.Field(i)); ok {
			out = append(out, param{name: name, v: p})
		} else if x := v.Field(i); x.Kind() == reflect.Pointer && !x.IsNil() && x.Elem().Kind() == reflect.Struct {
			for _, q := range paramsOf(x.Interface()) {
				out = append(out, param{name: name + " " + q.name, v: q.v})
			}
		}
	}
	return out
}

// kebab writes a field's name as the recipe writes words: BlackPoint is
// black-point.
func kebab(s string) string {
	var b strings.Builder
	for i, r := range s {
		if unicode.IsUpper(r) {
			if i > 0 {
				b.WriteByte('-')
			}
			r = unicode.ToLower(r)
		}
		b.WriteRune(r)
	}
	return b.String()
}

func textKind(field string) valueKind {
	switch field {
	case "Through", "Mask":
		return maskValue
	case "As", "Top", "Over", "Name":
		return pictureValue
	case "Path", "Profile":
		return fileValue
	}
	return wordValue
}

// fieldValue reads one field; ok is false for what isn't a parameter.
func fieldValue(field string, v reflect.Value) (out value, ok bool) {
	if v.Kind() == reflect.Pointer && v.IsNil() {
		switch v.Interface().(type) {
		case *lang.Text:
			return value{kind: textKind(field)}, true
		case *lang.Measure, *lang.Number:
			return value{kind: numberValue}, true
		case *lang.Point:
			return value{kind: pointValue}, true
		case *lang.Ratio:
			return value{kind: shapeValue}, true
		case *lang.Colour:
			return value{kind: wordValue}, true
		}
		return value{}, false
	}
	switch x := reflect.Indirect(v).Interface().(type) {
	case lang.Text:
		return value{kind: textKind(field), word: x.Value, set: x.Value != ""}, true
	case lang.Measure:
		if x.Value == nil {
			return value{kind: numberValue}, true
		}
		return measureValue(x), true
	case lang.Number:
		return value{kind: numberValue, nums: []amount{amountOf(x.Value, "")}, set: true}, true
	case lang.Point:
		return pointOf(x), true
	case lang.Ratio:
		return value{kind: shapeValue, nums: []amount{amountOf(x.W, ""), amountOf(x.H, "")}, set: true}, true
	case []lang.Point:
		var n []amount
		for _, p := range x {
			n = append(n, pointAmounts(p)...)
		}
		return value{kind: listValue, nums: n, set: len(n) > 0}, true
	case []lang.Measure:
		o := value{kind: sizeValue, set: len(x) == 2}
		for _, m := range x {
			o.nums = append(o.nums, amountOf(m.Value, m.Unit))
		}
		return o, true
	case []lang.CurvePoint:
		var n []amount
		for _, p := range x {
			n = append(n, amountOf(p.X, ""), amountOf(p.Y, ""))
		}
		return value{kind: listValue, nums: n, set: len(n) > 0}, true
	case lang.Colour:
		w := x.Word
		if x.Lightness != nil && w == "grey" {
			w += " " + decimals(x.Lightness)
		}
		return value{kind: wordValue, word: w, set: w != ""}, true
	case string:
		return value{kind: wordValue, word: x, set: x != ""}, true
	case bool:
		return wordOf(fmt.Sprint(x)), true
	}
	return value{}, false
}

// stepKind names a step; two statements share the word spot.
func stepKind(s lang.Step) string {
	if _, ok := s.(*lang.SpotPixels); ok {
		return "spot pixels"
	}
	return s.Word()
}

// solver hands out what the engine made of the lines, in plan order.
type solver struct {
	args map[solvedLine][]ops.Args
	used map[solvedLine]int
}

type solvedLine struct {
	line int
	op   string
}

func newSolver() *solver {
	return &solver{args: map[solvedLine][]ops.Args{}, used: map[solvedLine]int{}}
}

func (s *solver) put(line int, op string, a ops.Args) {
	k := solvedLine{line, op}
	s.args[k] = append(s.args[k], a)
}

// take is the next solved step of a line, nil where there is none.
func (s *solver) take(line int, kind string) ops.Args {
	op := strings.ReplaceAll(kind, " ", "-")
	k := solvedLine{line, op}
	n := s.used[k]
	if n >= len(s.args[k]) {
		return nil
	}
	s.used[k]++
	return s.args[k][n]
}

// derived are solved arguments that follow from something else that is
// compared by itself: the print's size, the crop.
func derived(kind, name string) bool {
	return name == "covers" || kind == "enlarge" && (name == "width" || name == "height")
}

// accountant lists the statements of one print.
type accountant struct {
	lines  plan.Lines
	solver *solver
	uses   map[string]int
	paper  string // that the print is on
	out    []*statement
	cur    int
	names  map[string]int
}

func (a *accountant) steps(block string, list []lang.Step, rec *lang.Recipe) {
	list = plainTakes(list, a.uses)
	for i := 0; i < len(list); i++ {
		switch s := list[i].(type) {
		case *lang.Follow:
			for _, b := range rec.Steps {
				if b.Name.Value == s.Name.Value {
					a.steps("steps "+b.Name.Value, b.Steps, rec)
				}
			}
		case *lang.SpotAt:
			var run []*lang.SpotAt
			for ; i < len(list); i++ {
				next, ok := list[i].(*lang.SpotAt)
				if !ok {
					break
				}
				run = append(run, next)
			}
			i--
			a.spots(block, run)
		case *lang.Turn, *lang.Mirror:
			// Turns at the head are one step, whatever they are made of.
			first := list[i].Where().Line
			o, n := plan.HeadTurns(1, list[i:])
			i += n - 1
			if o != 1 {
				a.add(&statement{kind: "turn", block: block, line: first, text: a.lines.Words(first), params: []param{{name: "way", v: wordOf(turnWords[o])}}})
			}
		case *lang.Tone:
			if s.For == nil || s.For.Value == a.paper {
				a.step(block, s, rec)
			}
		default:
			a.step(block, s, rec)
		}
	}
}

// turnWords says an orientation in the recipe's words.
var turnWords = map[int]string{2: "mirror", 3: "over", 4: "over and mirror", 5: "right and mirror", 6: "right", 7: "left and mirror", 8: "left"}

func (a *accountant) add(s *statement) {
	s.from, s.defs = a.cur, map[string]int{}
	for _, p := range s.params {
		if p.v.kind == pictureValue && p.v.set && p.name != "as" {
			if d, ok := a.names[p.v.word]; ok {
				s.defs[p.v.word] = d
			}
		}
	}
	n := len(a.out)
	a.out = append(a.out, s)
	switch {
	case s.as != "":
		a.names[s.as] = n
	case s.kind == "take":
		if v, ok := s.get("name"); ok {
			if d, ok := a.names[v.word]; ok {
				a.cur = d
			}
		}
	default:
		a.cur = n
	}
}

func (a *accountant) step(block string, s lang.Step, rec *lang.Recipe) {
	line := s.Where().Line
	st := &statement{kind: stepKind(s), block: block, line: line, text: a.lines.Words(line), params: paramsOf(s)}
	switch x := s.(type) {
	case *lang.Convert:
		to := value{kind: fileValue, set: true}
		intent, black := x.Intent.Value, x.BlackPoint.Value
		switch {
		case x.Space != nil:
			to = wordOf(x.Space.Value)
		case x.Profile != nil:
			to.word = x.Profile.Value
		case x.Name != nil: // a paper or a lab stands for what it says
			if p := rec.Paper(x.Name.Value); p != nil {
				to.word = p.Profile.Value
				if x.Intent.Line == 0 {
					intent = p.Intent.Value
				}
				if x.BlackPoint.Line == 0 {
					black = p.BlackPoint.Value
				}
			} else if l := rec.Lab(x.Name.Value); l != nil && l.Space != nil {
				to = wordOf(l.Space.Value)
			}
		}
		st.params = []param{{name: "to", v: to}, {name: "intent", v: wordOf(intent)}, {name: "black-point", v: wordOf(black)}}
	case *lang.Tone:
		// The paper has chosen the block already.
		st.params = without(st.params, "for")
		for i := range st.params {
			switch p := &st.params[i]; p.name {
			case "local":
				p.name = "local contrast"
			case "muted":
				p.name = "muted chroma"
			}
		}
	case *lang.Crop:
		if x.To != nil && x.At == nil {
			for i := range st.params {
				if st.params[i].name == "at" { // the middle, unless it says otherwise
					half := amountOf(fraction(50), "%")
					st.params[i].v = value{kind: pointValue, nums: []amount{half, half}, set: true}
				}
			}
		}
	}
	if v, ok := st.get("as"); ok && v.set {
		st.as = v.word
	}
	if args := a.solver.take(line, st.kind); args != nil {
		var all []string
		for _, x := range args {
			if derived(st.kind, x.Name) {
				continue
			}
			all = append(all, x.Name+"="+x.Value)
			for i := range st.params {
				p := &st.params[i]
				if p.name == x.Name || p.name == "to" && x.Name == "profile" {
					p.solved = x.Value
				}
			}
		}
		st.solved = strings.Join(all, ";")
	}
	a.add(st)
}

func without(list []param, names ...string) []param {
	var out []param
next:
	for _, p := range list {
		for _, n := range names {
			if p.name == n {
				continue next
			}
		}
		out = append(out, p)
	}
	return out
}

func (a *accountant) spots(block string, run []*lang.SpotAt) {
	st := &statement{kind: "spots", block: block, line: run[0].Line, text: a.lines.Words(run[0].Line)}
	for _, s := range run {
		st.spots = append(st.spots, spotLine{line: s.Line, text: a.lines.Words(s.Line), params: paramsOf(s)})
	}
	if args := a.solver.take(st.line, "spots"); args != nil {
		// Spots that a crop cut away have no solved form, and then nobody
		// can tell which is which.
		l, order := args.All("spot"), solvedOrder(st.spots)
		if len(l) == len(order) {
			for i := range l {
				st.spots[order[i]].solved = l[i]
			}
		}
	}
	a.add(st)
}

// plainTakes drops `as NAME` with `take NAME` right behind it, if nothing else
// uses the name: it says what the statement alone would say.
func plainTakes(list []lang.Step, used map[string]int) []lang.Step {
	var out []lang.Step
	for i := 0; i < len(list); i++ {
		if i+1 < len(list) {
			if t, ok := list[i+1].(*lang.Take); ok && used[t.Name.Value] == 1 {
				if s, ok := unnamed(list[i], t.Name.Value); ok {
					out = append(out, s)
					i++
					continue
				}
			}
		}
		out = append(out, list[i])
	}
	return out
}

// nameUses counts how often a print's steps use each picture name.
func nameUses(list []lang.Step) map[string]int {
	used := map[string]int{}
	for _, s := range list {
		for _, p := range paramsOf(s) {
			if p.v.kind == pictureValue && p.v.set && p.name != "as" {
				used[p.v.word]++
			}
		}
	}
	return used
}

// unnamed is a copy of s without its `as name`.
func unnamed(s lang.Step, name string) (lang.Step, bool) {
	v := reflect.ValueOf(s)
	if v.Kind() != reflect.Pointer {
		return nil, false
	}
	f := v.Elem().FieldByName("As")
	if !f.IsValid() {
		return nil, false
	}
	if t, ok := f.Interface().(*lang.Text); !ok || t == nil || t.Value != name {
		return nil, false
	}
	c := reflect.New(v.Elem().Type())
	c.Elem().Set(v.Elem())
	c.Elem().FieldByName("As").SetZero()
	return c.Interface().(lang.Step), true
}

// solvedOrder lists the spots as the planner orders a run, from the top down
// and then from the left; nil where their units don't tell.
func solvedOrder(spots []spotLine) []int {
	var order []int
	for i, s := range spots {
		at := s.params[0].v
		first := spots[0].params[0].v
		if len(at.nums) != 2 || at.nums[0].base != first.nums[0].base || at.nums[1].base != first.nums[1].base {
			return nil
		}
		order = append(order, i)
	}
	slices.SortFunc(order, func(i, j int) int {
		a, b := spots[i].params[0].v.nums, spots[j].params[0].v.nums
		if c := a[1].v.Cmp(b[1].v); c != 0 {
			return c
		}
		return a[0].v.Cmp(b[0].v)
	})
	return order
}
