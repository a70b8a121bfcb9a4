package ops

import (
	"fmt"
	"math/big"
	"slices"
	"strings"

	"platemark/ops/colour"
)

// Arg is one argument in base units, exactly as the audit log records it: a
// reduced fraction ("9/5", "40"), a word ("lanczos3"), or a list of them
// separated by spaces.
type Arg struct{ Name, Value string }

// Args are an operation's arguments. What the log records is what the
// operation is built from, so that the two can't drift apart.
type Args []Arg

// Env lends what arguments refer to by digest.
type Env struct {
	// Profiles by lower-case hexadecimal SHA-256 of their bytes.
	Profiles map[string]*colour.Profile
}

// profile finds a profile by its digest.
func (e Env) profile(what, sum string) (*colour.Profile, error) {
	if p := e.Profiles[sum]; p != nil {
		return p, nil
	}
	return nil, fmt.Errorf("%s: no profile with the digest %q is at hand", what, sum)
}

// Get returns the argument called name and whether it is there.
func (a Args) Get(name string) (string, bool) {
	for _, x := range a {
		if x.Name == name {
			return x.Value, true
		}
	}
	return "", false
}

// With are the arguments with another value for one of them.
func (a Args) With(name, value string) Args {
	a = slices.Clone(a)
	for i := range a {
		if a[i].Name == name {
			a[i].Value = value
		}
	}
	return a
}

// All returns the values of every argument whose name is prefix followed by
// -1, -2, … in that order.
func (a Args) All(prefix string) []string {
	given := make(map[string]string, len(a)) // a film has thousands of spots
	for _, x := range a {
		if _, ok := given[x.Name]; !ok {
			given[x.Name] = x.Value
		}
	}
	var out []string
	for i := 1; ; i++ {
		v, ok := given[fmt.Sprintf("%s-%d", prefix, i)]
		if !ok {
			return out
		}
		out = append(out, v)
	}
}

// rats writes numbers as one argument.
func rats(v ...*big.Rat) string {
	var s []string
	for _, r := range v {
		s = append(s, r.RatString())
	}
	return strings.Join(s, " ")
}

// Rat reads a number.
func (a Args) Rat(name string) (*big.Rat, error) {
	v, ok := a.Get(name)
	if !ok {
		return nil, fmt.Errorf("%s is missing", name)
	}
	return ParseRat(v)
}

// Rats reads a list of exactly n numbers separated by spaces.
func (a Args) Rats(name string, n int) ([]*big.Rat, error) {
	v, _ := a.Get(name)
	var out []*big.Rat
	for _, s := range strings.Fields(v) {
		r, err := ParseRat(s)
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	if len(out) != n {
		return nil, fmt.Errorf("%s has %d numbers, expected %d", name, len(out), n)
	}
	return out, nil
}

// Int reads a whole number.
func (a Args) Int(name string) (int, error) {
	r, err := a.Rat(name)
	if err == nil && (!r.IsInt() || !r.Num().IsInt64()) {
		err = fmt.Errorf("%s is %s, expected a whole number", name, decimal(r))
	}
	if err != nil {
		return 0, err
	}
	return int(r.Num().Int64()), nil
}

// Word reads a word, with a fallback where the argument is missing.
func (a Args) Word(name, fallback string) string {
	if v, ok := a.Get(name); ok {
		return v
	}
	return fallback
}

// ParseRat reads the one written form of a number in Args: "n" or "n/d",
// optional leading minus.
func ParseRat(s string) (*big.Rat, error) {
	r, ok := new(big.Rat).SetString(s)
	if !ok || r.RatString() != s {
		return nil, fmt.Errorf("%q isn't a reduced fraction", s)
	}
	return r, nil
}
