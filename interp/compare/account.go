package compare

import (
	"cmp"
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
	spots  []*statement // of a run of spots
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

func (s *statement) early() bool { return s.block == "prepare" }

// find is a parameter by its name, nil where the statement has none.
func (s *statement) find(name string) *param {
	if i := slices.IndexFunc(s.params, func(p param) bool { return p.name == name }); i >= 0 {
		return &s.params[i]
	}
	return nil
}

func (s *statement) get(name string) value {
	if p := s.find(name); p != nil {
		return p.v
	}
	return value{}
}

func (s *statement) rename(old, name string) {
	if p := s.find(old); p != nil {
		p.name = name
	}
}

func (s *statement) drop(name string) {
	s.params = slices.DeleteFunc(s.params, func(p param) bool { return p.name == name })
}

// uses lists the picture names that it works on.
func (s *statement) uses() (out []string) {
	for _, p := range s.params {
		if p.v.kind == pictureValue && p.v.set && p.name != "as" {
			out = append(out, p.v.word)
		}
	}
	return out
}

// paramsOf lists a syntax node's parameters from its fields and their tags, so
// that a new statement is compared without a line here.
func paramsOf(node any) []param {
	var out []param
	v := reflect.Indirect(reflect.ValueOf(node))
	for i := range v.NumField() {
		f, x := v.Type().Field(i), v.Field(i)
		if f.Anonymous || !f.IsExported() {
			continue
		}
		if x.Kind() == reflect.Pointer {
			if x = x.Elem(); !x.IsValid() {
				x = reflect.Zero(f.Type.Elem())
			}
		}
		if v, ok := valueOf(x.Interface()); ok {
			switch of := f.Tag.Get("gives") + f.Tag.Get("uses"); {
			case of == "picture":
				v.kind = pictureValue
			case of == "mask":
				v.kind = maskValue
			case f.Tag.Get("path") != "":
				v.kind = textValue
			}
			out = append(out, param{name: kebab(f.Name), v: v})
		}
	}
	return out
}

// kebab writes a field's name as the recipe writes words: BlackPoint is
// black-point.
func kebab(s string) string {
	var b strings.Builder
	for i, r := range s {
		if unicode.IsUpper(r) && i > 0 {
			b.WriteByte('-')
		}
		b.WriteRune(unicode.ToLower(r))
	}
	return b.String()
}

// valueOf reads a field's content; ok is false for what isn't a parameter.
func valueOf(x any) (v value, ok bool) {
	switch x := x.(type) {
	case lang.Text:
		return wordOf(x.Value), true
	case lang.Measure:
		return numbers(numberValue, x), true
	case lang.Number:
		return numbers(numberValue, bare(x.Value)), true
	case lang.Point:
		return numbers(pointValue, x.X, x.Y), true
	case lang.Ratio:
		return numbers(shapeValue, bare(x.W), bare(x.H)), true
	case []lang.Measure:
		return numbers(sizeValue, x...), true
	case []lang.Point:
		var xy []lang.Measure
		for _, p := range x {
			xy = append(xy, p.X, p.Y)
		}
		return numbers(listValue, xy...), true
	case []lang.CurvePoint:
		var xy []lang.Measure
		for _, p := range x {
			xy = append(xy, bare(p.X), bare(p.Y))
		}
		return numbers(listValue, xy...), true
	case lang.Colour:
		if x.Lightness != nil && x.Word == "grey" {
			x.Word += " " + decimals(x.Lightness)
		}
		return wordOf(x.Word), true
	case string:
		return wordOf(x), true
	case bool:
		return wordOf(fmt.Sprint(x)), true
	}
	return value{}, false
}

// solver hands out what the engine made of the lines, in plan order.
type solver map[solvedLine][]ops.Args

type solvedLine struct {
	line int
	op   string
}

func (s solver) put(line int, op string, a ops.Args) {
	k := solvedLine{line, op}
	s[k] = append(s[k], a)
}

// take is the next solved step of a line, nil where there is none.
func (s solver) take(line int, kind string) (a ops.Args) {
	k := solvedLine{line, strings.ReplaceAll(kind, " ", "-")}
	if l := s[k]; len(l) > 0 {
		a, s[k] = l[0], l[1:]
	}
	return a
}

// derived are solved arguments that follow from something else that is
// compared by itself: the print's size, the crop.
func derived(kind, name string) bool {
	return name == "covers" || kind == "enlarge" && (name == "width" || name == "height")
}

// accountant lists the statements of one print.
type accountant struct {
	rec    *lang.Recipe
	lines  plan.Lines
	solver solver
	paper  string // that the print is on
	out    []*statement
	cur    int // whose picture comes next, -1 for the first
}

func (a *accountant) statement(kind, block string, line int, params []param) *statement {
	return &statement{kind: kind, block: block, line: line, text: a.lines.Words(line), params: params}
}

// turnWords says an orientation in the recipe's words.
var turnWords = map[int]string{2: "mirror", 3: "over", 4: "over and mirror", 5: "right and mirror", 6: "right", 7: "left and mirror", 8: "left"}

func (a *accountant) steps(block string, list []lang.Step) {
	for len(list) > 0 {
		n := 1
		switch s := list[0].(type) {
		case *lang.Follow:
			for _, b := range a.rec.Steps {
				if b.Name.Value == s.Name.Value {
					a.steps("steps "+b.Name.Value, b.Steps)
				}
			}
		case *lang.SpotAt:
			n = a.spots(block, list)
		case *lang.Turn, *lang.Mirror:
			// Turns at the head are one step, whatever they are made of.
			var o int
			if o, n = plan.HeadTurns(1, list); o != 1 {
				a.out = append(a.out, a.statement("turn", block, s.Where().Line, []param{{name: "way", v: wordOf(turnWords[o])}}))
			}
		case *lang.Tone:
			if s.For == nil || s.For.Value == a.paper {
				a.step(block, s)
			}
		default:
			a.step(block, s)
		}
		list = list[n:]
	}
}

// sheet lists what lies on a sheet; a print has none.
func (a *accountant) sheet(block string, s *lang.Sheet) {
	if s == nil {
		return
	}
	if s.Simulate != nil {
		a.out = append(a.out, a.statement("simulate", block, s.Simulate.Line, paramsOf(s.Simulate)))
	}
	for _, x := range s.Pieces {
		st := a.statement(x.Kind, block, x.Line, paramsOf(x))
		st.drop("kind")
		a.out = append(a.out, st)
	}
}

// link says of the statements from one on what they work on. A name given by a
// statement and taken by the next one alone is left out: it says what the
// statement alone would say.
func (a *accountant) link(from int) {
	used := map[string]int{}
	for _, s := range a.out[from:] {
		for _, name := range s.uses() {
			used[name]++
		}
	}
	names, list := map[string]int{}, a.out[from:]
	a.out = a.out[:from:from]
	for _, s := range list {
		last := len(a.out) - 1
		name := s.get("name").word
		if s.kind == "take" && used[name] == 1 && last >= from && a.out[last].as == name && a.out[last].block == s.block {
			a.out[last].as, a.out[last].find("as").v = "", value{kind: pictureValue}
			a.cur = last
			continue
		}
		s.from, s.defs = a.cur, map[string]int{}
		for _, name := range s.uses() {
			if d, ok := names[name]; ok {
				s.defs[name] = d
			}
		}
		a.out = append(a.out, s)
		switch d, ok := names[name]; {
		case s.as != "":
			names[s.as] = last + 1
		case s.kind != "take":
			a.cur = last + 1
		case ok:
			a.cur = d
		}
	}
}

func (a *accountant) step(block string, s lang.Step) {
	st := a.statement(s.Word(), block, s.Where().Line, paramsOf(s))
	switch x := s.(type) {
	case *lang.SpotPixels: // two statements share the word spot
		st.kind = "spot pixels"
	case *lang.Convert:
		to, intent, black, keep := value{kind: textValue, set: true}, x.Intent, x.BlackPoint, ""
		if x.KeepHue {
			keep = "hue"
		}
		switch {
		case x.Space != nil:
			to = wordOf(x.Space.Value)
		case x.Profile != nil:
			to.word = x.Profile.Value
		case x.Name != nil: // a paper or a lab stands for what it says
			if p := a.rec.Paper(x.Name.Value); p != nil {
				to.word = p.Profile.Value
				if intent.Line == 0 {
					intent = p.Intent
				}
				if black.Line == 0 {
					black = p.BlackPoint
				}
			} else if l := a.rec.Lab(x.Name.Value); l != nil && l.Space != nil {
				to = wordOf(l.Space.Value)
			}
		}
		st.params = []param{{name: "to", v: to}, {name: "intent", v: wordOf(intent.Value)}, {name: "black-point", v: wordOf(black.Value)}, {name: "keep", v: wordOf(keep)}}
	case *lang.Tone:
		st.drop("for") // the paper has chosen the block already
		st.rename("local", "local contrast")
		st.rename("local-radius", "radius")
		st.rename("muted", "muted chroma")
	case *lang.Crop:
		st.rename("from", "first corner")
		st.rename("till", "second corner")
		if x.To != nil && x.At == nil { // the middle, unless it says otherwise
			st.find("at").v = numbers(pointValue, percent(50), percent(50))
		}
	}
	st.as = st.get("as").word
	op := st.kind
	if x, ok := s.(*lang.Sharpen); ok && x.Method.Value == "deconvolve" {
		op = x.Method.Value
	}
	if args := a.solver.take(st.line, op); args != nil {
		var all []string
		for _, x := range args {
			if derived(st.kind, x.Name) {
				continue
			}
			all = append(all, x.Name+"="+x.Value)
			name := x.Name
			if name == "profile" {
				name = "to"
			}
			if p := st.find(name); p != nil {
				p.solved = x.Value
			}
		}
		st.solved = strings.Join(all, ";")
	}
	a.out = append(a.out, st)
}

// spots makes one statement of the run of spots that a list begins with, and
// says how many they are.
func (a *accountant) spots(block string, list []lang.Step) (n int) {
	var spots []*statement
	for _, s := range list {
		if _, ok := s.(*lang.SpotAt); !ok {
			break
		}
		spots = append(spots, a.statement("spot", block, s.Where().Line, paramsOf(s)))
	}
	st := a.statement("spots", block, spots[0].line, nil)
	st.spots = spots
	// Spots that a crop cut away have no solved form, and then nobody can tell
	// which is which.
	l, order := a.solver.take(st.line, "spots").All("spot"), solvedOrder(spots)
	if len(l) == len(order) {
		for i, s := range order {
			s.solved = l[i]
		}
	}
	a.out = append(a.out, st)
	return len(spots)
}

// solvedOrder lists the spots as the planner orders a run, from the top down
// and then from the left; nil where their units don't tell.
func solvedOrder(spots []*statement) []*statement {
	at := func(s *statement) []amount { return s.get("at").nums }
	first := at(spots[0])
	for _, s := range spots {
		if at(s)[0].base != first[0].base || at(s)[1].base != first[1].base {
			return nil
		}
	}
	return slices.SortedStableFunc(slices.Values(spots), func(s, t *statement) int {
		return cmp.Or(at(s)[1].v.Cmp(at(t)[1].v), at(s)[0].v.Cmp(at(t)[0].v))
	})
}
