package plan

import (
	"fmt"
	"slices"
	"strings"

	"platemark/lang"
	"platemark/ops"
)

// varied is the one step of a print whose parameter a strip varies, among its
// steps with followed blocks in place; below 0 where there is none, or several.
func (s *sheetBinder) varied(x *lang.Piece, pr *lang.Print) int {
	steps, at := s.rec.Expand(pr.Steps), -1
	var why error
	for i, st := range steps {
		if st.Word() != x.Step.Value {
			continue
		}
		if t, ok := st.(*lang.Tone); ok && t.For != nil && (pr.On == nil || pr.On.Value != t.For.Value) {
			continue // it acts on another paper
		}
		if _, err := lang.Vary(st, x.Param.Value, *x.From); err != nil {
			why = err
			continue
		}
		if at >= 0 {
			s.err(CodeSheet, x.Step.Span, fmt.Sprintf("print %s has two such steps, on line %d and on line %d", pr.Name.Value, steps[at].Where().Line, st.Where().Line),
				"A strip varies one.", "name the two in different prints, or take one of them out for the strip")
			return -1
		}
		at = i
	}
	switch {
	case at >= 0:
	case why != nil:
		s.err(CodeSheet, x.Param.Span, why.Error(), "", "write a parameter of the step with values in its range")
	default:
		s.err(CodeSheet, x.Step.Span, fmt.Sprintf("print %s has no %s", pr.Name.Value, x.Step.Value), "A strip varies a step that its print has.", "write the step into the print first")
	}
	return at
}

// cell is a picture of a strip or a ring, with what tells it from the others.
type cell struct {
	node  int
	label string
}

// variant takes a section of a print as a strip or a ring has it; the words of what
// is made for it begin with the label.
func (s *sheetBinder) variant(x *lang.Piece, pr *lang.Print, label string) (*Print, int) {
	from := len(s.plan.Nodes)
	q, n := s.take(x, pr, x.Size)
	for i := from; i < len(s.plan.Nodes); i++ {
		s.plan.Nodes[i].Text = label + ": " + s.plan.Nodes[i].Text
	}
	return q, n
}

// grid lays pictures of one size in columns, each with its label below.
func (s *sheetBinder) grid(cells []cell, columns int, caption []string) {
	pic := s.plan.Nodes[cells[0].node].Pic
	gap, line, wide := s.mm(2), s.pt(lineHeight), pic.W
	for _, c := range cells {
		wide = max(wide, s.letters(c.label))
	}
	if most := (s.w - 2*s.mm(sheetMargin) + gap) / (wide + gap); columns == 0 {
		columns = max(1, min(most, len(cells)))
	}
	var parts box
	for i, c := range cells {
		x, y := i%columns*(wide+gap), i/columns*(pic.H+line+gap)
		parts.parts = append(parts.parts, boxPart{x: x, y: y, node: c.node})
		parts.letter(x, y+pic.H+s.pt(letterSize), c.label)
	}
	rows := (len(cells) + columns - 1) / columns
	s.add(columns*(wide+gap)-gap, rows*(pic.H+line+gap), caption, parts.parts...)
}

// strip lays a section with a parameter from one value to another.
func (s *sheetBinder) strip(x *lang.Piece, pr *lang.Print) {
	step := s.varied(x, pr)
	if step < 0 {
		return
	}
	var cells []cell
	var first *Print
	for _, v := range x.Values() {
		other := *pr
		other.Steps = slices.Clone(s.rec.Expand(pr.Steps))
		var err error
		if other.Steps[step], err = lang.Vary(other.Steps[step], x.Param.Value, v); err != nil {
			s.err(CodeSheet, x.Span, err.Error(), "", "change the strip's values")
			return
		}
		q, n := s.variant(x, &other, x.Param.Value+" "+v.String())
		if q == nil {
			return
		}
		if first == nil {
			first = q
		}
		cells = append(cells, cell{n, fmt.Sprintf("%s · mark %s", v, q.MarkShort())})
	}
	s.grid(cells, 0, s.caption(first, pr, false, fmt.Sprintf("%s %s", x.Step.Value, x.Param.Value), s.at(x)))
}

// ring lays a section in the middle of its neighbours: warmer to the right,
// lighter above.
func (s *sheetBinder) ring(x *lang.Piece, pr *lang.Print) {
	steps := s.rec.Expand(pr.Steps)
	// Behind all that the picture is made by, before it becomes the paper's.
	at := len(steps)
	for at > 0 && slices.Contains([]string{"convert", "border", "wrap"}, steps[at-1].Word()) {
		at--
	}
	var cells []cell
	var middle *Print
	for i := range 9 {
		dx, dy := i%3-1, 1-i/3
		other, label, t := *pr, []string{}, &lang.Tone{Span: x.Span}
		by := func(n int, m *lang.Measure, into **lang.Measure) {
			if n == 0 {
				return
			}
			v := *m
			v.Value = mul(v.Value, rat(n))
			*into = &v
			text := v.String()
			if n > 0 {
				text = "+" + text
			}
			label = append(label, text)
		}
		by(dx, x.Warmth, &t.Warmth)
		by(dy, x.Exposure, &t.Exposure)
		if len(label) > 0 {
			other.Steps = slices.Insert(slices.Clone(steps), at, lang.Step(t))
		} else {
			label = []string{"as it is"}
		}
		q, n := s.variant(x, &other, strings.Join(label, ", "))
		if q == nil {
			return
		}
		if i == 4 {
			middle = q
		}
		cells = append(cells, cell{n, strings.Join(label, ", ")})
	}
	s.grid(cells, 3, s.caption(middle, pr, true, s.at(x)))
}

// patches lists the patches of a wedge by name, in the order in which they lie.
func patches(x *lang.Piece) []string {
	if x.Greys != nil {
		return ops.Greys(int(x.Greys.Value.Num().Int64()))
	}
	return ops.Mixtures()
}

// Patches are those of the wedges on a recipe's sheet of this name, each once.
func Patches(rec *lang.Recipe, sheet string) (names []string) {
	for _, pr := range rec.Prints {
		if pr.Sheet == nil || pr.Name.Value != sheet {
			continue
		}
		for _, x := range pr.Sheet.Pieces {
			if x.Kind != "wedge" {
				continue
			}
			for _, n := range patches(x) {
				if !slices.Contains(names, n) {
					names = append(names, n)
				}
			}
		}
	}
	return names
}

// wedge lays patches in rows, each with its name's numbers below.
func (s *sheetBinder) wedge(x *lang.Piece) {
	names := patches(x)
	w, h := s.mm(patchWide), s.mm(patchHigh)
	high := h + s.pt(lineHeight)
	for _, name := range names {
		_, label, _ := strings.Cut(name, "-")
		w = max(w, s.letters(label)+s.mm(1))
	}
	most := max(1, (s.w-2*s.mm(sheetMargin))/w)
	rows := (len(names) + most - 1) / most
	columns := (len(names) + rows - 1) / rows
	b := &box{}
	for i, name := range names {
		rgb, _ := ops.Patch(name)
		px, py := (i%columns)*w, (i/columns)*high
		b.fill(px, py, w, h, fmt.Sprintf("%d %d %d", ops.PatchCode(rgb[0]), ops.PatchCode(rgb[1]), ops.PatchCode(rgb[2])))
		_, label, _ := strings.Cut(name, "-")
		b.letter(px, py+h+s.pt(letterSize), label)
	}
	what := fmt.Sprintf("wedge grey %d: patches grey-N, N per cent of red, green and blue each", len(names))
	if x.Greys == nil {
		what = "wedge colour: patches rgb-R-G-B, per cent of red, green and blue"
	}
	s.add(columns*w, rows*high, []string{what, "in the colours of " + s.paper.Name.Value}, b.parts...)
}
