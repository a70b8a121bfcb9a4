package ops

import "slices"

// A Measure gives an operation one argument from its first input's picture as a
// whole: a noise level, say. The argument follows from that picture and from the
// operation's version, so it is no part of a step's key; it is logged as what the
// step was built from.
//
// What is measured is a small picture of figures, made by a step as any other is,
// so that how the work is cut changes nothing.
type Measure struct {
	// Param is the argument's name. It is Optional: a step without it can be
	// planned, and can't be run.
	Param string
	// Figures is the step from the first input to the figures.
	Figures func(in Pic) Step
	// Value is the argument, from the figures row by row.
	Value func(figures []uint16) string
}

// A Lack is an argument that a step is still without, for its measure to give.
type Lack struct {
	*Measure
	// Bind is the step with it.
	Bind func(value string) (Step, error)
}

// Lack is what the operation's step is without, nil where that is nothing.
func (o *Operation) Lack(a Args, in []Pic, env Env) *Lack {
	m := o.Measure
	if m == nil {
		return nil
	}
	if _, given := a.Get(m.Param); given {
		return nil
	}
	return &Lack{m, func(v string) (Step, error) { return o.New(append(slices.Clip(a), Arg{m.Param, v}), in, env) }}
}
