package lang

import (
	"fmt"
	"math/big"
	"slices"
	"strings"
)

var lightness = Range{Min: "0", Max: "100", min: new(big.Rat), max: big.NewRat(100, 1)}

// values checks the units and ranges of a line that fits its statement.
func (r *parser) values(st *stmt, binds []binding) {
	for _, b := range binds {
		toks := st.toks[b.from:b.to]
		switch b.param.Kind {
		case valueCount:
			r.scale(b.param, toks)
			r.count(st, b.param, toks[0])
		case valueMeasure:
			r.scale(b.param, toks)
			r.measure(st, b.param, measures(toks)[0])
		case valuePair:
			m := measures(toks)
			if m[0].Unit == "" {
				m[0].Unit = m[1].Unit // 60 x 40 in
			}
			for _, x := range m {
				r.measure(st, b.param, x)
			}
		case valuePoint, valuePoints:
			for _, x := range measures(toks) {
				r.measure(st, b.param, x)
			}
		case valueColour:
			for _, t := range toks {
				if t.Kind == KindNumber && !r.mended(t) {
					r.inRange("the lightness of grey", lightness, rat(t.Value), t.Value, t.Span)
				}
			}
		case valueRatio:
			w, h, _ := strings.Cut(toks[0].Value, ":")
			if rat(w).Sign() <= 0 || rat(h).Sign() <= 0 {
				r.add("PM303", toks[0].Span, "both sides of a shape are above 0", "", "write a shape such as 3:2")
			} else if q := new(big.Rat).Quo(rat(w), rat(h)); q.Cmp(big.NewRat(1, 100)) < 0 || q.Cmp(big.NewRat(100, 1)) > 0 {
				r.add("PM303", toks[0].Span, "this shape is too narrow", "One side of a shape is at most 100 times the other.")
			}
		case valueText:
			if strings.TrimSpace(toks[0].Value) == "" {
				r.add("PM308", toks[0].Span, labelIn(st, b.param)+" is empty", "", "write the text, or take the line out")
			}
		}
	}
}

// scale warns of values that are right and yet far from any that is used: of
// qualities from 0 to 12 or from 0 to 10, and of factors written as shares.
// Which values are in use is common practice, no source.
func (r *parser) scale(s *Param, toks []Token) {
	switch v := rat(toks[0].Value); {
	case r.mended(toks[0]):
	case s.Word == "quality" && v.IsInt() && v.Sign() > 0 && v.Cmp(big.NewRat(12, 1)) <= 0:
		r.add("PM309", toks[0].Span, fmt.Sprintf("quality %s is very low", toks[0].Value), "Quality runs from 1 to 100 here; other scales end at 10 or 12.", "write 95 to 100 for the best, or leave quality out: then it is 100")
	case len(toks) == 2 && toks[1].Value == "%" && s.factor(v) != "":
		r.add("PM309", join(toks[0].Span, toks[1].Span), fmt.Sprintf("%s %s%% can hardly be seen", s.Word, toks[0].Value), "100% is all of it: a factor of 1.", "write "+s.factor(v))
	}
}

// factor reads a share as a factor, and returns the share that it means: 190%
// for 1.9. It is "" where the value isn't likely to be one.
func (p *Param) factor(v *big.Rat) string {
	most := int64(0)
	switch {
	case p.Word == "amount" && p.Ranges[0].max.Cmp(big.NewRat(100, 1)) > 0:
		most = 5
	case p.Word == "at" && p.Kind == valueMeasure && p.Ranges[0].Unit == "%":
		most = 1
	}
	if v.Sign() <= 0 || v.Cmp(big.NewRat(most, 1)) > 0 {
		return ""
	}
	v = new(big.Rat).Mul(v, big.NewRat(100, 1))
	return strings.TrimSuffix(decimal(v), ".00") + "%"
}

// written is a measure with the token of its number.
type written struct {
	Measure
	num Token
}

func measures(toks []Token) []written {
	var out []written
	for i, t := range toks {
		if t.Kind == KindNumber {
			m, _ := readMeasure(toks[i:])
			out = append(out, written{m, t})
		}
	}
	return out
}

// mended reports a number that was written in another form, which has been
// complained about: its value is a guess.
func (r *parser) mended(t Token) bool {
	return string(r.src.Text[t.Offset:t.End]) != t.Value
}

func (r *parser) count(st *stmt, s *Param, t Token) {
	v := rat(t.Value)
	label := labelIn(st, s)
	if r.mended(t) {
		return
	}
	if s.OneOf != nil {
		if slices.ContainsFunc(s.OneOf, func(o string) bool { return v.Cmp(rat(o)) == 0 }) {
			return
		}
		r.add("PM303", t.Span, fmt.Sprintf("%s is %s", label, t.Value), fmt.Sprintf("It is %s.", orList(s.OneOf)), "write "+orList(s.OneOf))
		return
	}
	if s.Whole && !v.IsInt() {
		r.add("PM304", t.Span, fmt.Sprintf("%s is %s, not a whole number", label, t.Value), "", "write a whole number")
		return
	}
	if len(s.Ranges) > 0 {
		r.inRange(label, s.Ranges[0], v, t.Value, t.Span)
	}
}

func (r *parser) measure(st *stmt, s *Param, m written) {
	i := slices.IndexFunc(s.Ranges, func(g Range) bool { return g.Unit == m.Unit })
	switch {
	case r.mended(m.num) || m.Unit == unknownUnit:
	case i < 0 && m.Unit == "":
		r.noUnit(m.num, s)
	case i < 0:
		r.wrongUnit(st, s, m)
	case m.Unit == "px" && s.Whole && !m.Value.IsInt():
		n := new(big.Int).Quo(m.Value.Num(), m.Value.Denom()).Int64()
		r.add("PM304", m.Span, fmt.Sprintf("%s in px is a whole number, not %s", labelIn(st, s), m.num.Value), "", fmt.Sprintf("write %d px, or %d px", n, n+1))
	case !s.Ranges[i].holds(m.Value): // its words are only made where they are needed
		r.inRange(labelIn(st, s), s.Ranges[i], m.Value, withUnit(m.num.Value, m.Unit), m.Span)
	}
}

// wrongUnit complains about a unit that the parameter doesn't take.
func (r *parser) wrongUnit(st *stmt, s *Param, m written) {
	units := s.units()
	if st.line.In.Kind == "mask" && slices.Contains([]string{"in", "cm", "mm"}, m.Unit) {
		r.add("PM305", m.Span, fmt.Sprintf("%s can't be used in a mask", m.Unit), "A mask is drawn on the frame, the upright master, which has no physical size: one mask serves every print.", "write % of the frame, or its px")
		return
	}
	takes := "It takes " + orList(units) + "."
	if units[0] == "" {
		takes = "Its numbers stand without a unit."
	}
	var hints []string
	if m.Unit == "ppi" && len(units) > 1 {
		hints = []string{"ppi is the resolution, behind at in a size"}
	}
	d := r.add("PM302", m.Span, fmt.Sprintf("%s doesn't take %s", labelIn(st, s), m.Unit), takes, hints...)
	if right := withUnit(m.num.Value, units[0]); len(units) == 1 {
		d.Hints = []string{"write " + right + " if the number is right"}
		d.fix(m.Span, right, false)
	}
}

func (r *parser) inRange(label string, g Range, v *big.Rat, shown string, sp Span) {
	if !g.holds(v) {
		r.add("PM303", sp, fmt.Sprintf("%s is %s", label, shown), fmt.Sprintf("It may be %s.", g.String()))
	}
}

// holds says whether a value lies in the range.
func (g Range) holds(v *big.Rat) bool {
	low := v.Cmp(g.min)
	return v.Cmp(g.max) <= 0 && (low > 0 || low == 0 && !g.Above)
}

// String shows a range in words: "0.1 to 100 px", "above 0 to 1 %".
func (g Range) String() string {
	t := g.Min + " to " + g.Max
	if g.Above {
		t = "above " + t
	}
	if g.Unit != "" {
		t += " " + g.Unit
	}
	return t
}
