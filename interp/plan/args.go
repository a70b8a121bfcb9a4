package plan

import (
	"fmt"
	"math/big"
	"reflect"
	"strings"

	"platemark/lang"
	"platemark/ops"
)

// argsOf makes arguments of names and values, numbers as fractions.
func argsOf(pairs ...any) (a ops.Args) {
	for i := 0; i < len(pairs); i += 2 {
		v := pairs[i+1]
		if r, ok := v.(*big.Rat); ok {
			v = r.RatString()
		}
		a = append(a, ops.Arg{Name: pairs[i].(string), Value: fmt.Sprint(v)})
	}
	return a
}

// field is what a statement says for a parameter of its operation: the field of
// the same name (LocalRadius is local-radius), nil where it has none or says
// nothing.
func field(s lang.Step, param string) any {
	param = strings.ReplaceAll(param, "-", "")
	f := reflect.Indirect(reflect.ValueOf(s).Elem().FieldByNameFunc(func(n string) bool { return strings.EqualFold(n, param) }))
	if !f.IsValid() {
		return nil
	}
	return f.Interface()
}

// args are the arguments that a statement's fields give its operation, then more.
// It complains of a length that has no meaning here.
func (w *walker) args(op string, s lang.Step, more ops.Args) (args ops.Args, ok bool) {
	o, _ := ops.Lookup(op, ops.Version(w.b.rec.Version, op))
	for _, p := range o.Params {
		if _, given := more.Get(p.Name); given {
			continue
		}
		var list []string
		switch f := field(s, p.Name).(type) {
		case lang.Measure:
			v := f.Value
			switch p.Unit {
			case "1":
				v = share(f)
			case "px":
				if v, ok = w.length(f); !ok {
					return nil, false
				}
			}
			list = []string{v.RatString()}
		case lang.Number:
			list = []string{f.Value.RatString()}
		case lang.Text:
			list = []string{f.Value}
		case []lang.CurvePoint:
			for _, at := range f {
				list = append(list, at.X.RatString(), at.Y.RatString())
			}
		}
		if list != nil {
			args = append(args, ops.Arg{Name: p.Name, Value: strings.Join(list, " ")})
		}
	}
	return append(args, more...), true
}
