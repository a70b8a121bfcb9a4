package lang

import (
	"math/big"
	"reflect"
	"strings"
)

// valueKind says what a parameter's value is.
type valueKind int

const (
	valueNone valueKind = iota
	valueCount
	valueMeasure
	valuePair
	valuePoint
	valuePoints
	valueRatio
	valueText
	valuePath
	valueName
	valueWord
	valueSpace
	valueKernel
	valueTarget
	valueList
	valueColour
)

// kinds says how each kind is told of and, where it is one token, which.
var kinds = [...]struct {
	said  string // in the reference
	usage string // on a line
	due   string // in messages
	label string // of a parameter without a word
	token Kind
}{
	valueNone:    {said: "the word alone"},
	valueCount:   {"a bare number", "N", "a number", "", KindNumber},
	valueMeasure: {said: "a number with its unit", usage: "N", due: "a number with its unit"},
	valuePair:    {said: "width x height", usage: "N x N", label: "size"},
	valuePoint:   {said: "a point", usage: "(X, Y)", due: "a point such as (22%, 11%)"},
	valuePoints:  {said: "points, separated by commas", usage: "(X, Y), (X, Y), …", label: "points"},
	valueRatio:   {"a shape", "W:H", "a shape such as 3:2", "", KindRatio},
	valueText:    {"a text", `"TEXT"`, "a text in double quotes", "text", KindString},
	valuePath:    {"a file", `"FILE"`, "a text in double quotes", "file", KindString},
	valueName:    {"a name", "NAME", "a name", "name", KindName},
	valueSpace:   {"a space", "SPACE", "a colour space", "", KindSpace},
	valueKernel:  {"a kernel", "KERNEL", "a kernel", "", KindKernel},
	valueTarget:  {"a space, a paper or a lab", "SPACE|NAME", "a colour space, or the name of a paper or a lab", "", KindSpace},
	valueList:    {label: "formats"},
	valueColour:  {said: "white, black, or grey and its lightness", usage: "white|black|grey N"},
}

// readers make the tree's values of the tokens that fit them.
var readers = map[reflect.Type]func([]Token) (any, int){
	reflect.TypeFor[bool]():   func([]Token) (any, int) { return true, 1 },
	reflect.TypeFor[Text]():   func(t []Token) (any, int) { return Text{t[0].Span, t[0].Value}, 1 },
	reflect.TypeFor[Number](): func(t []Token) (any, int) { return Number{t[0].Span, rat(t[0].Value)}, 1 },
	reflect.TypeFor[Measure](): func(t []Token) (any, int) {
		m, n := readMeasure(t)
		return m, n
	},
	reflect.TypeFor[Point](): func(t []Token) (any, int) {
		p, n := readPoint(t)
		return p, n
	},
	reflect.TypeFor[CurvePoint](): func(t []Token) (any, int) {
		p, n := readPoint(t)
		return CurvePoint{p.Span, p.X.Value, p.Y.Value}, n
	},
	reflect.TypeFor[Ratio](): func(t []Token) (any, int) {
		w, h, _ := strings.Cut(t[0].Value, ":")
		return Ratio{t[0].Span, rat(w), rat(h)}, 1
	},
	reflect.TypeFor[Colour](): func(t []Token) (any, int) {
		switch w := t[0]; w.Value {
		case "grey":
			return Colour{join(w.Span, t[1].Span), w.Value, rat(t[1].Value)}, 2
		case "black":
			return Colour{w.Span, w.Value, new(big.Rat)}, 1
		default:
			return Colour{w.Span, w.Value, big.NewRat(100, 1)}, 1
		}
	},
}

func readMeasure(t []Token) (Measure, int) {
	m := Measure{Span: t[0].Span, Value: rat(t[0].Value), Default: t[0].Line == 0}
	if !isKind(t, 1, KindUnit) {
		return m, 1
	}
	m.Span, m.Unit = join(m.Span, t[1].Span), t[1].Value
	return m, 2
}

// readPoint reads ( x , y ).
func readPoint(t []Token) (Point, int) {
	x, n := readMeasure(t[1:])
	y, k := readMeasure(t[n+2:])
	n += k + 3
	return Point{join(t[0].Span, t[n-1].Span), x, y}, n
}

func join(a, z Span) Span { return Span{a.Line, a.Col, z.EndLine, z.EndCol} }

func rat(s string) *big.Rat {
	r, ok := new(big.Rat).SetString(s)
	if !ok {
		return new(big.Rat)
	}
	return r
}

// fill makes the node of a line that fits.
func (s *Statement) fill(binds []binding, line *Line) any {
	out := reflect.New(s.node)
	node := out.Elem()
	if at, ok := node.Field(0).Addr().Interface().(*Span); ok {
		*at = line.Span
	}
	for i := range s.Params {
		p := &s.Params[i]
		if p.value != nil {
			put(node.FieldByIndex(p.fields[0].Index), p.value)
		}
	}
	for _, b := range binds {
		b.param.fill(node, line.Tokens, b)
	}
	return out.Interface()
}

// fill puts a parameter's values into a node.
func (p *Param) fill(node reflect.Value, toks []Token, b binding) {
	at := func(i int) reflect.Value { return node.FieldByIndex(p.fields[i].Index) }
	toks, word := toks[b.from:b.to], toks[b.at]
	switch {
	case len(p.fields) == 0:
	case p.Kind == valueNone && at(0).Kind() == reflect.Bool:
		at(0).SetBool(true)
	case p.Kind == valueNone:
		at(0).SetString(word.Value)
	case p.Kind == valuePair:
		w, n := readMeasure(toks)
		h, _ := readMeasure(toks[n+1:])
		if w.Unit == "" { // 60 x 40 in
			w.Unit = h.Unit
		}
		put(at(0), w)
		put(at(len(p.fields)-1), h)
	case p.Kind == valueTarget && toks[0].Kind == KindName:
		v, _ := p.read(toks)
		put(at(1), v)
	default:
		for len(toks) > 0 {
			v, n := p.read(toks)
			put(at(0), v)
			toks = toks[min(n+1, len(toks)):] // and its comma
		}
	}
}

// put sets a field, or a pointer's target, or adds to a list.
func put(field reflect.Value, v any) {
	x := reflect.ValueOf(v)
	switch field.Kind() {
	case reflect.Pointer:
		p := reflect.New(x.Type())
		p.Elem().Set(x)
		field.Set(p)
	case reflect.Slice:
		field.Set(reflect.Append(field, x))
	default:
		field.Set(x)
	}
}

// merge puts what one line of a block says into the block's node.
func (s *Statement) merge(into, line any) {
	to, from := reflect.ValueOf(into).Elem(), reflect.ValueOf(line).Elem()
	for _, p := range s.Params {
		for _, f := range p.fields {
			to.FieldByIndex(f.Index).Set(from.FieldByIndex(f.Index))
		}
	}
}
