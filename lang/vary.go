package lang

import (
	"fmt"
	"math/big"
	"reflect"
	"slices"
	"strings"
)

// maxStrip bounds the pieces of a strip.
const maxStrip = 24

// String is a measure as a recipe writes it.
func (m Measure) String() string {
	v := decimal(m.Value)
	if strings.Contains(v, ".") {
		v = strings.TrimRight(v, "0")
	}
	if m.Unit == "" || m.Unit == "%" {
		return v + m.Unit
	}
	return v + " " + m.Unit
}

// Values are a strip's values from its first to its last, nil where its steps
// don't lead from one to the other; of more than maxStrip one more than that.
func (x *Piece) Values() []Measure {
	unit := func(m *Measure) string { return strings.TrimSuffix(m.Unit, "s") } // 1 stop, 2 stops
	if unit(x.From) != unit(x.To) || unit(x.From) != unit(x.By) || x.By.Value.Sign() <= 0 {
		return nil
	}
	n := new(big.Rat).Sub(x.To.Value, x.From.Value)
	if n.Quo(n, x.By.Value); !n.IsInt() || n.Sign() <= 0 || !n.Num().IsInt64() {
		return nil
	}
	out := make([]Measure, min(n.Num().Int64(), maxStrip)+1)
	for i := range out {
		v := new(big.Rat).Mul(x.By.Value, big.NewRat(int64(i), 1))
		out[i] = Measure{Span: x.From.Span, Value: v.Add(v, x.From.Value), Unit: max(x.From.Unit, x.To.Unit)}
	}
	return out
}

// Vary is a step with another value for one of its parameters, by its word. It is
// an error if the step has none of this word, or the value isn't in its range.
func Vary(s Step, param string, m Measure) (Step, error) {
	word, block := s.Word(), "print"
	if _, ok := s.(*Tone); ok {
		word, block = param, "tone"
	}
	of := reflect.TypeOf(s).Elem()
	for _, st := range statementsOf(word, block) {
		if st.node != of {
			continue
		}
		for i := range st.Params {
			p := &st.Params[i]
			if p.Kind != valueMeasure || p.Word != param && block != "tone" {
				continue
			}
			at := slices.IndexFunc(p.Ranges, func(r Range) bool { return r.Unit == m.Unit })
			if at < 0 {
				return nil, fmt.Errorf("%s of %s is in %s, not in %s", param, s.Word(), orList(p.units()), m.Unit)
			}
			r := p.Ranges[at]
			low := m.Value.Cmp(r.min)
			if low < 0 || low == 0 && r.Above || m.Value.Cmp(r.max) > 0 {
				return nil, fmt.Errorf("%s of %s is %s to %s %s, not %s", param, s.Word(), r.Min, r.Max, r.Unit, m)
			}
			out := reflect.New(of)
			out.Elem().Set(reflect.ValueOf(s).Elem())
			put(out.Elem().FieldByIndex(p.fields[0].Index), m)
			return out.Interface().(Step), nil
		}
	}
	return nil, fmt.Errorf("%s has no %s", s.Word(), param)
}
