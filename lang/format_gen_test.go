package lang

import (
	"fmt"
	"math/big"
	"math/rand"
	"slices"
	"strings"
	"testing"
)

// A generator of right recipes, from the list of statements: lines of every one
// with values inside their ranges and names that exist. What the checker finds
// wrong is taken out again, until a right recipe is left.

type gen struct {
	r *rand.Rand
	n int
}

func (g *gen) pick(list ...string) string { return list[g.r.Intn(len(list))] }

// number is a value inside a range, in one of the forms that people write.
func (g *gen) number(r Range) string {
	lo, hi := rat(r.Min), rat(r.Max)
	if top := big.NewRat(300, 1); hi.Cmp(top) > 0 && lo.Cmp(top) < 0 {
		hi = top
	}
	v := new(big.Rat).Mul(new(big.Rat).Sub(hi, lo), big.NewRat(int64(1+g.r.Intn(98)), 100))
	v.Add(v, lo)
	s := v.FloatString(2)
	switch g.r.Intn(3) {
	case 0:
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	case 1:
		if v.Sign() > 0 {
			s = "+" + s
		}
	}
	return s
}

func (g *gen) measure(s *Param) string {
	r := s.Ranges[g.r.Intn(len(s.Ranges))]
	n := g.number(r)
	if r.Unit == "px" && (s.Whole || s.Kind == valuePair) {
		n, _, _ = strings.Cut(n, ".")
	}
	if r.Unit == "" {
		return n // bare by rule
	}
	return n + g.pick("", " ") + r.Unit
}

func (g *gen) point(s *Param) string { return "(" + g.measure(s) + ", " + g.measure(s) + ")" }

func (g *gen) value(f *Statement, s *Param) string {
	switch s.Kind {
	case valueCount:
		switch {
		case s.OneOf != nil:
			return g.pick(s.OneOf...)
		case len(s.Ranges) > 0:
			return fmt.Sprint(1 + g.r.Intn(100))
		}
		return "1"
	case valueMeasure:
		return g.measure(s)
	case valuePair:
		return g.measure(s) + " x " + g.measure(s)
	case valuePoint:
		return g.point(s)
	case valuePoints:
		if f.Word == "curve" { // its points rise
			out, x, y := "", 0, 0
			for i := 2 + g.r.Intn(5); i > 0; i-- {
				out += fmt.Sprintf(", (%d, %d)", x, y)
				x, y = x+1+g.r.Intn(15), y+g.r.Intn(15)
			}
			return out[2:]
		}
		out := g.point(s)
		for i := 2 + g.r.Intn(9); i > 0; i-- {
			out += ", " + g.point(s)
		}
		return out
	case valueRatio:
		return fmt.Sprintf("%d:%d", 1+g.r.Intn(9), 1+g.r.Intn(9))
	case valueText:
		if s.Word == "sha256" {
			return `"` + strings.Repeat(g.pick("0a", "9f", "3c"), 32) + `"`
		}
		return g.pick(`"Salt road"`, `"a # in a text"`, `"with \"quotes\" and \\"`, `"日本 é"`)
	case valuePath:
		g.n++
		ext := ".tif"
		if len(f.Params) > 0 && f.Params[0].Word == "jpeg" {
			ext = ".jpg"
		}
		return fmt.Sprintf("%q", fmt.Sprintf("f-%d%s", g.n, ext))
	case valueTarget:
		return g.pick(append([]string{"pa", "la"}, Spaces...)...)
	case valueList:
		return strings.Join(s.Words[:1+g.r.Intn(len(s.Words))], ", ")
	case valueColour:
		return g.pick("white", "black", "grey 50", "grey 7.5")
	case valueName:
		if s.Word == "for" {
			return "pa"
		}
		if s.Word == "through" || f.Blocks[0] == "mask" {
			return g.pick("m0", "m1", "m2")
		}
		if f.Word == "follow" {
			return g.pick("s0", "s1")
		}
		if f.Blocks[0] == "sheet" && f.Word == "simulate" {
			return "pa"
		}
		if f.Blocks[0] == "sheet" {
			return g.pick("p0", "p1")
		}
		return g.pick("crisp", "smooth")
	case valueWord:
		return g.pick(s.Words...)
	case valueSpace:
		return g.pick(Spaces...)
	case valueKernel:
		return g.pick(Kernels...)
	}
	return ""
}

func (g *gen) line(f *Statement) string {
	if f.Word == "mix" { // its shares sum to 100 %
		return g.pick("mix red 40% green 40% blue 20%", "mix red 130 % green -10 % blue -20 %")
	}
	if f.Word == "strip" { // its steps lead somewhere
		return g.pick("strip of p0 at (50%, 50%) size 2 in x 1 in vary sharpen amount 100% to 160% by 20%", "strip of p1 at (1 in, 2 in) size 20 x 30 mm vary tone exposure -1 stops to 1 stops by 0.5 stops")
	}
	out := []string{}
	if f.Blocks[0] == "mask" && f.Word != "invert" && f.Word != "soften" && g.r.Intn(3) == 0 {
		out = append(out, g.pick("less", "within"))
	}
	if f.Word != "" {
		out = append(out, f.Word)
	}
	for i := range f.Params {
		s := &f.Params[i]
		if s.Optional && g.r.Intn(2) == 0 {
			continue
		}
		for _, w := range []string{s.Word, g.value(f, s), s.Tail} {
			if w != "" {
				out = append(out, w)
			}
		}
	}
	return strings.Join(out, " ")
}

// lines makes n lines of a block.
func (g *gen) lines(block string, n int) []string {
	var forms []*Statement
	for _, f := range Statements() {
		if slices.Contains(f.Blocks, block) && !f.Opens && f.Word != "recipe" {
			forms = append(forms, f)
		}
	}
	var out []string
	for ; n > 0; n-- {
		out = append(out, g.line(forms[g.r.Intn(len(forms))]))
		if slices.Contains([]string{"prepare", "steps", "print"}, block) && g.r.Intn(4) == 0 {
			out = append(append(append(out, g.line(statementsOf("tone", block)[0])+" {"), g.lines("tone", 1+g.r.Intn(4))...), "}")
		}
	}
	return out
}

// recipe makes a right recipe, one statement an element.
func (g *gen) recipe(t testing.TB) []string {
	out := []string{"recipe 1 draft"}
	out = append(out, g.lines("top", 4)...)
	out = append(out, `master "salt-road.tif"`)
	out = append(append(append(out, "paper pa {", `profile "papers/pa.icc"`), g.lines("paper", g.r.Intn(4))...), "}")
	out = append(append(append(out, "lab la {"), g.lines("lab", g.r.Intn(6))...), "}")
	for i := range 3 {
		out = append(append(append(out, fmt.Sprintf("mask m%d {", i)), g.lines("mask", 1+g.r.Intn(5))...), "}")
	}
	for i := range 2 {
		out = append(append(append(out, fmt.Sprintf("steps s%d {", i)), g.lines("steps", g.r.Intn(5))...), "}")
	}
	out = append(append(append(out, "prepare {"), g.lines("prepare", g.r.Intn(8))...), "}")
	for i := range 2 {
		out = append(out, fmt.Sprintf("print p%d%s%s {", i, g.pick("", " on pa"), g.pick("", " for la")))
		if g.r.Intn(2) == 0 {
			out = append(out, g.line(statementsOf("edition", "print")[0]))
		}
		out = append(out, g.line(statementsOf("size", "print")[g.r.Intn(3)]))
		out = append(out, g.lines("print", g.r.Intn(6))...)
		out = append(out, fmt.Sprintf("save tiff %q", fmt.Sprintf("p%d.tif", i)), "}")
	}
	out = append(out, "sheet hard on pa {", "size 19 in x 13 in at 300 ppi", "show p0")
	out = append(append(out, g.lines("sheet", 1+g.r.Intn(4))...), `save tiff "hard.tif"`, "}")
	out = append(append(append(out, "inputs {"), g.lines("inputs", g.r.Intn(3))...), "}")
	for try := 0; try < 60; try++ {
		_, ds := Parse("gen.recipe", []byte(strings.Join(out, "\n")))
		wrong := map[int]bool{}
		for _, d := range ds {
			if d.Severity == Error {
				wrong[d.Span.Line] = true
			}
		}
		if len(wrong) == 0 {
			return out
		}
		var left []string
		inTone := false // a tone block that is taken out whole
		for i, l := range out {
			if inTone = inTone || wrong[i+1] && strings.HasPrefix(l, "tone"); inTone {
				inTone = l != "}"
				continue
			}
			block := strings.HasSuffix(l, "{") || l == "}"
			if !wrong[i+1] || block {
				left = append(left, l)
				if wrong[i+1] && strings.HasPrefix(l, "mask") {
					left = append(left, "ellipse at (50%, 50%) size 9% x 4%")
				}
				if wrong[i+1] && strings.HasPrefix(l, "print") { // its size was taken out
					left = append(left, "size 12 in wide at 300 ppi")
				}
			}
		}
		out = left
	}
	_, ds := Parse("gen.recipe", []byte(strings.Join(out, "\n")))
	t.Fatalf("no right recipe: %v", ds)
	return nil
}

var remarks = []string{"#", "# a remark", "#no space", "# with # another", "# sharpen radius 1 px amount 80%", "# tab\there", "#   wide   ", "# 日本 “quotes”, commas,", "# }", "# {"}

// untidy writes statements in one of the many layouts that mean the same.
func (g *gen) untidy(lines []string) string {
	eol := g.pick("\n", "\n", "\r\n")
	var b strings.Builder
	b.WriteString(g.pick("", "", "\uFEFF"))
	between := func() {
		for g.r.Intn(4) == 0 {
			switch g.r.Intn(3) {
			case 0:
				b.WriteString(g.pick("", " ", "\t") + eol)
			default:
				b.WriteString(g.pick("", "  ", "\t") + g.pick(remarks...) + g.pick("", " ") + eol)
			}
		}
	}
	between()
	for i, l := range lines {
		b.WriteString(g.pick("", "  ", "\t", "    "))
		quoted := false
		depth := 0
		for k := 0; k < len(l); k++ {
			c := l[k]
			if c == '"' && (k == 0 || l[k-1] != '\\') {
				quoted = !quoted
			}
			unit := k+1 < len(l) && k > 0 && l[k-1] >= '0' && l[k-1] <= '9'
			switch {
			case quoted:
				b.WriteByte(c)
			case c == ' ' && !unit && g.r.Intn(6) == 0:
				b.WriteString(g.pick("  ", "\t", "     "))
			default:
				b.WriteByte(c)
			}
			if !quoted {
				switch c {
				case '(':
					depth++
				case ')':
					depth--
				}
				if (c == ',' || c == '(') && g.r.Intn(8) == 0 && (depth > 0 || c == ',') {
					if g.r.Intn(3) == 0 {
						b.WriteString(g.pick("", " ") + g.pick(remarks...))
					}
					b.WriteString(eol)
					between()
				}
			}
		}
		if g.r.Intn(5) == 0 {
			b.WriteString(g.pick("", " ", "\t") + g.pick(remarks...))
		}
		if i < len(lines)-1 || g.r.Intn(2) == 0 {
			b.WriteString(eol)
			between()
		}
	}
	return b.String()
}
