package plan

import (
	"fmt"
	"slices"

	"platemark/lang"
)

// Other is a further recipe whose sheet of the same name lends its pieces.
type Other struct {
	Recipe *lang.Recipe
	Source []byte
	Inputs *Inputs // with a Number of its own
	// Diags are what stands against its pieces, when the sheet has been bound.
	Diags []lang.Diagnostic
}

// join lays the pieces of another recipe behind those that are there. Its sheet
// must say what the first one's says, but for its pieces and where it is saved.
func (s *sheetBinder) join(o *Other) {
	pr := o.Recipe.Print(s.pr.Name.Value)
	b := newBinder(o.Recipe, o.Source, pr, o.Inputs)
	t := &sheetBinder{binder: b, source: o.Source, pr: pr}
	defer func() {
		o.Diags = b.diags
		s.failed = s.failed || b.failed
	}()
	if pr.Sheet == nil {
		b.err(CodeSheet, pr.Span, fmt.Sprintf("%s is a print here, and a sheet in the first recipe", pr.Name.Value), "", "name the sheet as there, and the print otherwise")
		return
	}
	if !t.begin() || !t.agrees(s) {
		return
	}
	for _, n := range o.Inputs.Named() {
		called := NameOf(o.Inputs.Number, n.Text.Value)
		if slices.ContainsFunc(s.inputs.Named(), func(m NamedInput) bool { return m.Text.Value == called }) {
			b.err(CodeSheet, n.Text.Span, fmt.Sprintf("the log would call this file %q, as the first recipe calls another", called), "", "give that one another name")
			return
		}
	}
	used := b.plan.Inputs
	b.plan, b.bykey, b.env = s.plan, s.bykey, s.env
	for _, in := range used {
		b.uses(in)
	}
	t.boxes, t.ready = s.boxes, s.ready
	for _, x := range pr.Sheet.Pieces {
		t.piece(x)
	}
	if !s.ready {
		s.frameW, s.frameH = t.frameW, t.frameH
	}
	s.boxes, s.ready = t.boxes, t.ready
	s.plan.Others = append(s.plan.Others, o.Source)
}

// agrees says whether a sheet says what that of the first recipe says, and what it
// says otherwise.
func (s *sheetBinder) agrees(first *sheetBinder) bool {
	bad := func(at lang.Span, what, mend string) bool {
		s.err(CodeSheet, at, what, "Pieces of several recipes lie on one sheet, which the first recipe describes; each says it alike, but for its pieces and its file.", mend)
		return false
	}
	z := first.pr.Size
	switch {
	case s.rec.Version != first.rec.Version || s.rec.Draft != first.rec.Draft:
		return bad(s.rec.Head, "this recipe speaks another version of the language than the first", "begin both with the same line")
	case s.w != first.w || s.h != first.h || s.ppi.Cmp(first.ppi) != 0:
		return bad(s.pr.Size.Span, fmt.Sprintf("this sheet is %s, and the first recipe's %s", s.plan.Picture, first.plan.Picture), fmt.Sprintf("write size %s x %s at %s", z.W, z.H, z.At))
	case !samePaper(s, s.paper, first, first.paper):
		return bad(s.pr.On.Span, fmt.Sprintf("paper %s isn't the paper of the first recipe's sheet", s.paper.Name.Value), "give it the same profile, intent and black-point")
	case (s.seen == nil) != (first.seen == nil) || s.seen != nil && !samePaper(s, s.seen, first, first.seen):
		at := s.pr.Span
		if sim := s.pr.Sheet.Simulate; sim != nil {
			at = sim.Span
		}
		return bad(at, "this sheet simulates another paper than the first recipe's, or only one of them does", "write the same simulate line, or none, into both, and describe its paper alike")
	}
	return true
}

// samePaper says whether two papers of two recipes give the same colours; where one
// can't be read, that is said elsewhere.
func samePaper(s *sheetBinder, p *lang.Paper, t *sheetBinder, q *lang.Paper) bool {
	a, c := s.inputs.PaperProfile(p), t.inputs.PaperProfile(q)
	return a == nil || c == nil || a.Digest() == c.Digest() && p.Intent.Value == q.Intent.Value && p.BlackPoint.Value == q.BlackPoint.Value
}
