package ops

import (
	"fmt"
	"math/big"
	"reflect"
	"slices"
	"strings"

	"platemark/ops/exact"
)

// Param states one parameter of an operation. Its range may be wider than the
// language's, never narrower.
type Param struct {
	Name string // as in Args; NAME-1 stands for NAME-1, NAME-2, ...
	// Unit is the base unit: "px", "1" (a share: 1 is 100 %), "stops", "mired",
	// "deg", "C*", "count", "word", "sha256"; or of a list "codes", "lightness",
	// "frame" (left, top, right and bottom in px of a mask's frame); or "shape".
	Unit string
	// Min and Max bound a number, each of a list ("" = unbounded), as fractions.
	Min, Max string
	Above    bool     // Min itself is outside
	Words    []string // the allowed words, for Unit "word"
	Default  string   // "" = must be given
	Optional bool     // may be left out, and then has no value
	Length   bool     // px of the step's picture, which a reduced plan scales
	Doc      string
}

// Params are the parameters of an operation.
type Params []Param

// covers is the parameter of every operation that works through a mask.
var covers = Param{Name: "covers", Unit: "frame", Optional: true,
	Doc: "left, top, right and bottom of what the picture shows, in px of the mask's frame; the whole frame if not given"}

// Operation is one line of the table: a name, a version for good, and how to
// build the step.
type Operation struct {
	Name    string
	Version int
	Doc     string // formula and source, in a few lines
	Takes   int    // pictures; -1 is for New to say
	Masked  bool   // one more input may be a mask
	Params  Params
	// Nanos is what one pixel of the result takes of one processor, in
	// nanoseconds, measured on a common server core; it serves estimates only.
	Nanos float64
	// Mends says that it works on a picture before a reduced plan reduces it.
	Mends bool
	// Measure, which may be nil, gives an argument from the picture itself.
	Measure *Measure
	// Reduce, which may be nil, is what Reduced does beside scaling lengths.
	Reduce func(ps Params, a Args, r Reduction) (out Args, seen bool, err error)
	// New binds arguments and input kinds. It checks every argument again and
	// gives an error in plain words; it never panics on bad arguments.
	New func(a Args, in []Pic, env Env) (Step, error)
}

// operation completes o, whose New checks inputs and arguments and gives newStep
// a struct filled by Bind, and puts it into the table.
func operation[A any](o Operation, newStep func(v A, in []Pic, env Env) (Step, error)) Operation {
	o.New = func(a Args, in []Pic, env Env) (Step, error) {
		if n := len(in) - o.Takes; o.Takes >= 0 && n != 0 && !(o.Masked && n == 1) {
			words := fmt.Sprintf("%d picture", o.Takes)
			if o.Takes > 1 {
				words += "s"
			}
			if o.Masked {
				words += " and perhaps a mask"
			}
			return nil, fmt.Errorf("%s takes %s, got %d", o.Name, words, len(in))
		}
		var v A
		if err := o.Params.Bind(a, &v); err != nil {
			return nil, fmt.Errorf("%s: %w", o.Name, err)
		}
		if _, ok := a.Get("covers"); ok && len(in) == o.Takes {
			return nil, fmt.Errorf("%s: covers is given without a mask", o.Name)
		}
		s, err := newStep(v, in, env)
		if err != nil {
			return nil, err
		}
		return s, nil
	}
	table = append(table, o)
	return o
}

// Bind checks every argument against its parameter and fills the struct that to
// points to. Its fields are named as the parameters (LocalRadius is
// local-radius) and are *big.Rat (nil where an optional one is missing), int,
// float32 or float64 (rounded once), string, []*big.Rat for a list of numbers, []string for
// NAME-1, NAME-2, ... Errors say which argument is wrong and what is expected.
func (ps Params) Bind(a Args, to any) error {
	for _, x := range a {
		if !slices.ContainsFunc(ps, func(p Param) bool { return p.Name == x.Name || p.many() && strings.HasPrefix(x.Name, p.base()+"-") }) {
			return fmt.Errorf("there is no argument %s", x.Name)
		}
	}
	fields := map[string]reflect.Value{}
	v := reflect.ValueOf(to).Elem()
	for i := range v.NumField() {
		fields[strings.ToLower(v.Type().Field(i).Name)] = v.Field(i)
	}
	for _, p := range ps {
		f := fields[strings.ReplaceAll(p.base(), "-", "")]
		if p.many() {
			list := a.All(p.base())
			if len(list) == 0 {
				return fmt.Errorf("%s is missing", p.Name)
			}
			f.Set(reflect.ValueOf(list))
			continue
		}
		text, ok := a.Get(p.Name)
		if !ok {
			text = p.Default
		}
		switch {
		case !ok && p.Optional:
			continue
		case !ok && p.Default == "":
			return fmt.Errorf("%s is missing", p.words())
		}
		if err := p.bind(text, f); err != nil {
			return err
		}
	}
	return nil
}

func (p Param) many() bool { return strings.HasSuffix(p.Name, "-1") }

func (p Param) base() string { return strings.TrimSuffix(p.Name, "-1") }

func (p Param) words() string { return strings.ReplaceAll(p.Name, "-", " ") }

// bind checks one value and sets f to it.
func (p Param) bind(text string, f reflect.Value) error {
	switch p.Unit {
	case "word":
		if !slices.Contains(p.Words, text) {
			n := len(p.Words) - 1
			return fmt.Errorf("%s is %q, expected %s or %s", p.words(), text, strings.Join(p.Words[:n], ", "), p.Words[n])
		}
		fallthrough
	case "sha256", "frame":
		f.SetString(text)
		return nil
	case "codes", "lightness":
		var list []*big.Rat
		for _, w := range strings.Fields(text) {
			r, err := p.number(w)
			if err != nil {
				return err
			}
			list = append(list, r)
		}
		f.Set(reflect.ValueOf(list))
		return nil
	}
	r, err := p.number(text)
	if err != nil {
		return err
	}
	switch f.Kind() {
	case reflect.Int:
		if !r.IsInt() || !r.Num().IsInt64() {
			return fmt.Errorf("%s is %s, expected a whole number", p.words(), decimal(r))
		}
		f.SetInt(r.Num().Int64())
	case reflect.Float32:
		v, _ := r.Float32()
		f.SetFloat(float64(v))
	case reflect.Float64:
		v, _ := r.Float64()
		f.SetFloat(v)
	default:
		f.Set(reflect.ValueOf(r))
	}
	return nil
}

// number reads a number of the parameter's range.
func (p Param) number(text string) (*big.Rat, error) {
	r, err := ParseRat(text)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", p.words(), err)
	}
	if c := p.Unit == "codes" && !r.IsInt(); c || !p.Holds(r) {
		return nil, fmt.Errorf("%s is %s, expected %s", p.words(), decimal(r), p.span())
	}
	return r, nil
}

// Holds tells whether r is in the parameter's range.
func (p Param) Holds(r *big.Rat) bool {
	low := 0
	if p.Above {
		low = 1
	}
	return (p.Min == "" || r.Cmp(ratOf(p.Min)) >= low) && (p.Max == "" || r.Cmp(ratOf(p.Max)) <= 0)
}

// span is the range in words.
func (p Param) span() string {
	s := ""
	switch {
	case p.Unit == "codes":
		s = "whole codes from "
	case p.Above:
		s = "above "
	}
	if p.Max == "" {
		return s + "at least " + decimal(ratOf(p.Min))
	}
	s += decimal(ratOf(p.Min)) + " to " + decimal(ratOf(p.Max))
	if p.Unit == "px" {
		s += " px"
	}
	return s
}

// ratOf reads a fraction that stands in the program.
func ratOf(s string) *big.Rat {
	r, _ := new(big.Rat).SetString(s)
	return r
}

// decimal writes a number for a message, to four decimals.
func decimal(r *big.Rat) string { return exact.Decimals(r, 4) }

// halfUp is the whole number nearest to r, halves upwards.
func halfUp(r *big.Rat) int { return exact.Nearest(r) }

// floorRat is the largest whole number that isn't above r.
func floorRat(r *big.Rat) int { return int(new(big.Int).Div(r.Num(), r.Denom()).Int64()) }

func ceilRat(r *big.Rat) int { return -floorRat(new(big.Rat).Neg(r)) }
