package compare

import (
	"math/big"
	"strings"

	"platemark/interp/plan"
	"platemark/lang"
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
	listValue
	shapeValue
	sizeValue
	wordValue
	textValue
	pictureValue // the name of a picture
	maskValue    // the name of a mask
	fileValue    // a path
)

// amount is a number with its unit: v in the base unit of its kind, and as the
// recipe writes it.
type amount struct {
	v       *big.Rat
	base    string
	written *big.Rat
	unit    string
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

func amountOf(v *big.Rat, unit string) amount {
	a := amount{v: v, base: unit, written: v, unit: unit}
	if b, ok := bases[unit]; ok {
		a.v, a.base = times(v, b.size), b.base
	}
	return a
}

func (a amount) equal(b amount) bool { return a.base == b.base && a.v.Cmp(b.v) == 0 }

// String is the number as a recipe writes it.
func (a amount) String() string { return withUnit(decimals(a.written), a.unit) }

func withUnit(n, unit string) string {
	switch unit {
	case "":
		return n
	case "%":
		return n + "%"
	}
	return n + " " + unit
}

// minus is b minus a in b's unit, "" where the units don't meet.
func (b amount) minus(a amount) string {
	if a.base != b.base {
		return ""
	}
	d := less(b.v, a.v)
	if x, ok := bases[b.unit]; ok {
		d = over(d, x.size)
	}
	sign := ""
	if d.Sign() > 0 {
		sign = "+"
	}
	return sign + withUnit(decimals(d), b.unit)
}

// decimals writes a fraction with up to six decimals; what a recipe wrote with
// fewer comes out exactly.
func decimals(r *big.Rat) string {
	s := plan.Decimals(r, 6)
	if s == "0" || s == "-0" {
		if r.Sign() != 0 {
			return r.RatString()
		}
		return "0"
	}
	return s
}

func measureValue(m lang.Measure) value {
	return value{kind: numberValue, nums: []amount{amountOf(m.Value, m.Unit)}, set: true}
}

func countValue(n int64) value {
	return value{kind: numberValue, nums: []amount{amountOf(fraction(n), "")}, set: true}
}

func pointOf(p lang.Point) value {
	return value{kind: pointValue, nums: pointAmounts(p), set: true}
}

func pointAmounts(p lang.Point) []amount {
	return []amount{amountOf(p.X.Value, p.X.Unit), amountOf(p.Y.Value, p.Y.Unit)}
}

func wordOf(s string) value { return value{kind: wordValue, word: s, set: true} }

// equal compares numbers and words; names and paths need their recipes and are
// compared by the comparison that knows both.
func (v value) equal(w value) bool {
	if v.set != w.set || v.kind != w.kind || len(v.nums) != len(w.nums) || v.word != w.word {
		return false
	}
	if v.kind == shapeValue && v.set { // 3:2 is 6:4
		return times(v.nums[0].v, w.nums[1].v).Cmp(times(v.nums[1].v, w.nums[0].v)) == 0
	}
	for i := range v.nums {
		if !v.nums[i].equal(w.nums[i]) {
			return false
		}
	}
	return true
}

// String is the value as a recipe writes it.
func (v value) String() string {
	if !v.set {
		return "none"
	}
	switch v.kind {
	case numberValue:
		return v.nums[0].String()
	case pointValue:
		return "(" + v.nums[0].String() + ", " + v.nums[1].String() + ")"
	case shapeValue:
		return decimals(v.nums[0].written) + ":" + decimals(v.nums[1].written)
	case sizeValue:
		return v.nums[0].String() + " x " + v.nums[1].String()
	case listValue:
		var p []string
		for i := 0; i+1 < len(v.nums); i += 2 {
			p = append(p, "("+v.nums[i].String()+", "+v.nums[i+1].String()+")")
		}
		return strings.Join(p, ", ")
	case textValue, fileValue:
		return `"` + v.word + `"`
	}
	return v.word
}

// minus is w less v, "" where that means nothing.
func (w value) minus(v value) string {
	if !v.set || !w.set || v.kind != w.kind {
		return ""
	}
	switch w.kind {
	case numberValue:
		return w.nums[0].minus(v.nums[0])
	case pointValue, sizeValue:
		x, y := w.nums[0].minus(v.nums[0]), w.nums[1].minus(v.nums[1])
		switch {
		case x == "" || y == "":
			return ""
		case w.kind == sizeValue:
			return x + " x " + y
		}
		return "(" + x + ", " + y + ")"
	}
	return ""
}

// key is the value as text that is equal for equal values; names and paths
// stand as they are.
func (v value) key() string {
	if !v.set {
		return "-"
	}
	var b strings.Builder
	b.WriteString(v.word)
	if v.kind == shapeValue {
		return "shape " + over(v.nums[0].v, v.nums[1].v).RatString()
	}
	for _, n := range v.nums {
		b.WriteString(" " + n.v.RatString() + n.base)
	}
	return b.String()
}

// changedPoints says what changed between two lists of points: each changed
// one where they are as many, else those that came and went.
func changedPoints(a, b value) (out []paramChange) {
	point := func(v value, i int) value {
		return value{kind: pointValue, nums: v.nums[2*i : 2*i+2], set: true}
	}
	n, m := len(a.nums)/2, len(b.nums)/2
	if n == m {
		for i := range n {
			if p, q := point(a, i), point(b, i); !p.equal(q) {
				out = append(out, paramChange{"point " + decimals(fraction(int64(i+1))), p.String(), q.String(), q.minus(p)})
			}
		}
		return out
	}
	pairs := alignLists(n, m, func(i, j int) int {
		if point(a, i).equal(point(b, j)) {
			return 0
		}
		return 100
	}, gapApart)
	for _, p := range pairs {
		switch {
		case p.b < 0:
			out = append(out, paramChange{"point " + decimals(fraction(int64(p.a+1))), point(a, p.a).String(), "none", ""})
		case p.a < 0:
			out = append(out, paramChange{"point " + decimals(fraction(int64(p.b+1))), "none", point(b, p.b).String(), ""})
		default:
			if x, y := point(a, p.a), point(b, p.b); !x.equal(y) {
				out = append(out, paramChange{"point " + decimals(fraction(int64(p.b+1))), x.String(), y.String(), y.minus(x)})
			}
		}
	}
	return out
}

// paramChange is one parameter's change, as words.
type paramChange struct{ param, old, new, delta string }
