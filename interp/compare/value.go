package compare

import (
	"fmt"
	"math/big"
	"slices"
	"strings"

	"platemark/lang"
	"platemark/ops/exact"
)

// A value is one parameter as a recipe writes it, without its layout: numbers
// are fractions in one unit of their kind, so that 30.48 cm is 12 in.
type value struct {
	kind valueKind
	nums []amount // one number, a point's or shape's two, a list's pairs
	word string   // a word, a text, a path, a name
	set  bool     // false where nothing is written and no default stands for it
}

type valueKind int

const (
	numberValue valueKind = iota
	pointValue
	listValue // of points
	shapeValue
	sizeValue
	wordValue
	pictureValue // the name of a picture
	maskValue    // the name of a mask
	textValue    // a path, or what stands in quotes
)

// amount is a number in the base unit of its kind, and the unit that the recipe
// writes.
type amount struct {
	v          *big.Rat
	base, unit string
}

// bases gives each unit of several of a kind its base and its size in it.
var bases = map[string]struct {
	base string
	size *big.Rat
}{
	"in": {"in", big.NewRat(1, 1)}, "cm": {"in", big.NewRat(50, 127)}, "mm": {"in", big.NewRat(5, 127)},
	"stop": {"stops", big.NewRat(1, 1)}, "stops": {"stops", big.NewRat(1, 1)},
	"KB": {"bytes", big.NewRat(1000, 1)}, "MB": {"bytes", big.NewRat(1_000_000, 1)}, "GB": {"bytes", big.NewRat(1_000_000_000, 1)},
}

func amountOf(m lang.Measure) amount {
	if b, ok := bases[m.Unit]; ok {
		return amount{new(big.Rat).Mul(m.Value, b.size), b.base, m.Unit}
	}
	return amount{m.Value, m.Unit, m.Unit}
}

func (a amount) equal(b amount) bool { return a.base == b.base && a.v.Cmp(b.v) == 0 }

// String is the number as a recipe writes it.
func (a amount) String() string {
	v := a.v
	if b, ok := bases[a.unit]; ok {
		v = new(big.Rat).Quo(v, b.size)
	}
	switch a.unit {
	case "":
		return decimals(v)
	case "%":
		return decimals(v) + "%"
	}
	return decimals(v) + " " + a.unit
}

// minus is b less a in b's unit, "" where the units don't meet.
func (b amount) minus(a amount) string {
	if a.base != b.base {
		return ""
	}
	b.v = new(big.Rat).Sub(b.v, a.v)
	if b.v.Sign() > 0 {
		return "+" + b.String()
	}
	return b.String()
}

// decimals writes a fraction with up to six decimals; what a recipe wrote with
// fewer comes out exactly.
func decimals(r *big.Rat) string {
	if s := exact.Decimals(r, 6); s != "0" && s != "-0" {
		return s
	}
	return r.RatString()
}

// numbers are a value of numbers, unset where the recipe has none.
func numbers(kind valueKind, list ...lang.Measure) value {
	v := value{kind: kind}
	for _, m := range list {
		if m.Value == nil {
			return value{kind: kind}
		}
		v.nums = append(v.nums, amountOf(m))
	}
	v.set = len(list) > 0
	return v
}

// number is one number that may be missing.
func number(m *lang.Measure) value {
	if m == nil {
		m = &lang.Measure{}
	}
	return numbers(numberValue, *m)
}

// count is a number without a unit, the usual one where none is written.
func count(n *lang.Number, usual int64) value {
	if n == nil {
		n = &lang.Number{Value: big.NewRat(usual, 1)}
	}
	return numbers(numberValue, bare(n.Value))
}

func bare(r *big.Rat) lang.Measure { return lang.Measure{Value: r} }

func percent(n int64) lang.Measure { return lang.Measure{Value: big.NewRat(n, 1), Unit: "%"} }

func wordOf(s string) value { return value{kind: wordValue, word: s, set: s != ""} }

func textOf(t *lang.Text) value {
	if t == nil {
		return value{kind: textValue}
	}
	return value{kind: textValue, word: t.Value, set: t.Value != ""}
}

// equal compares numbers and words; names and paths need their recipes and are
// compared by the comparison that knows both.
func (v value) equal(w value) bool {
	if v.kind == shapeValue && v.set && w.kind == shapeValue && w.set { // 3:2 is 6:4
		return new(big.Rat).Mul(v.nums[0].v, w.nums[1].v).Cmp(new(big.Rat).Mul(v.nums[1].v, w.nums[0].v)) == 0
	}
	return v.set == w.set && v.kind == w.kind && v.word == w.word && slices.EqualFunc(v.nums, w.nums, amount.equal)
}

// String is the value as a recipe writes it.
func (v value) String() string {
	switch {
	case !v.set:
		return "none"
	case v.kind == textValue:
		return `"` + v.word + `"`
	case v.nums == nil:
		return v.word
	}
	var p []string
	for _, n := range v.nums {
		p = append(p, n.String())
	}
	return v.kind.join(p)
}

// join writes numbers as a recipe writes those of the kind.
func (k valueKind) join(p []string) string {
	switch k {
	case numberValue:
		return p[0]
	case shapeValue:
		return strings.Join(p, ":")
	case sizeValue:
		return strings.Join(p, " x ")
	}
	var points []string
	for xy := range slices.Chunk(p, 2) {
		points = append(points, "("+strings.Join(xy, ", ")+")")
	}
	return strings.Join(points, ", ")
}

// minus is w less v, "" where that means nothing.
func (w value) minus(v value) string {
	if !v.set || !w.set || v.kind != w.kind || w.kind != numberValue && w.kind != pointValue && w.kind != sizeValue {
		return ""
	}
	var p []string
	for i := range w.nums {
		d := w.nums[i].minus(v.nums[i])
		if d == "" {
			return ""
		}
		p = append(p, d)
	}
	return w.kind.join(p)
}

// key is the value as text that is equal for equal values; names and paths
// stand as they are.
func (v value) key() string {
	if !v.set {
		return "-"
	}
	s := v.word
	for _, n := range v.nums {
		s += " " + n.v.RatString() + n.base
	}
	return s
}

// changed is a parameter's change, without its place.
func changed(param string, p, q value) Change {
	return Change{Kind: "changed", Param: param, Old: p.String(), New: q.String(), Delta: q.minus(p)}
}

// changedPoints says what changed between two lists of points: each changed
// one where they are as many, else those that came and went.
func changedPoints(a, b value) (out []Change) {
	point := func(v value, i int) value {
		if i < 0 {
			return value{}
		}
		return value{kind: pointValue, nums: v.nums[2*i : 2*i+2], set: true}
	}
	n, m := len(a.nums)/2, len(b.nums)/2
	cost := func(i, j int) int {
		switch {
		case point(a, i).equal(point(b, j)):
			return 0
		case n == m && i != j:
			return never
		}
		return 100
	}
	for _, p := range alignLists(n, m, cost, gapApart) {
		if x, y := point(a, p.a), point(b, p.b); !x.equal(y) {
			i := p.b
			if i < 0 {
				i = p.a
			}
			out = append(out, changed(fmt.Sprint("point ", i+1), x, y))
		}
	}
	return out
}
