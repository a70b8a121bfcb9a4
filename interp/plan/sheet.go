package plan

import (
	"fmt"
	"math/big"
	"slices"

	"platemark/interp/master"
	"platemark/lang"
	"platemark/ops"
	"platemark/ops/colour"
	"platemark/ops/exact"
)

// sheetBinder makes a sheet of proofs: a plan of pieces of prints' plans.
type sheetBinder struct {
	*binder
	source []byte
	pr     *lang.Print
	layout
	onto    *colour.Profile // of the sheet's paper
	seen    *lang.Paper     // simulated, nil where none is
	ready   bool            // plan.Ready is set
	lacking []rune          // characters that there are no letters for
}

// bindSheet makes the plan of a sheet. Its pieces are planned as the prints that
// they are of, so that a section has the very samples of its print. Those of
// others lie behind its own.
func bindSheet(b *binder, source []byte, pr *lang.Print, others []*Other) (*Print, []lang.Diagnostic) {
	s := &sheetBinder{binder: b, source: source, pr: pr}
	if !s.begin() {
		return nil, b.diags
	}
	for _, x := range pr.Sheet.Pieces {
		s.piece(x)
	}
	b.others = others
	for _, o := range others {
		s.join(o)
	}
	if b.failed {
		return nil, b.diags
	}
	if w, h := s.place(); w > 0 || h > 0 {
		s.tooFull(w, h)
		return nil, b.diags
	}
	foot := fmt.Sprintf("%s on %s", pr.Name.Value, b.paper.Name.Value)
	if s.seen != nil {
		foot += ", which shows " + s.seen.Name.Value
	}
	args, in := s.args(foot)
	for _, a := range args {
		_, lacking := ops.LetterWidth(a.Value)
		s.lacking = append(s.lacking, lacking...)
	}
	if len(in) == 0 {
		b.err(CodeSheet, pr.Span, "this sheet shows no picture", "A wedge is judged beside a picture of the same print run.", "add show PRINT or section of PRINT at (50%, 50%) size 4 in x 3 in")
		return nil, b.diags
	}
	out, ok := b.node(pr.Span, 1, "sheet", args, in...)
	p := b.plan
	if ok {
		p.Covers, p.Out = Whole(b.frameW, b.frameH), out
		p.FrameW, p.FrameH = b.frameW, b.frameH
		ok = b.save(pr, pic{out, p.Covers})
	}
	if !ok {
		return nil, b.diags
	}
	if len(s.lacking) > 0 {
		slices.Sort(s.lacking)
		b.report(lang.Note, CodeSheet, pr.Span, fmt.Sprintf("the captions' type has no letter for %s", string(slices.Compact(s.lacking))), "An empty box stands in its place.")
	}
	return b.finish(pr, out)
}

// begin takes the sheet's size and paper.
func (s *sheetBinder) begin() bool {
	b, pr := s.binder, s.pr
	if pr.Size == nil || pr.Save == nil || b.paper == nil {
		b.err(CodeSize, pr.Span, fmt.Sprintf("sheet %s needs a paper, a size and a save line", pr.Name.Value), "")
		return false
	}
	if b.size = b.newSizing(pr.Size); b.size == nil {
		return false
	}
	z := b.size
	z.w, z.h = exact.Nearest(z.want(pr.Size.W)), exact.Nearest(z.want(pr.Size.H))
	s.w, s.h, s.ppi = z.w, z.h, z.ppi
	if s.onto = s.profileOf(b.paper); s.onto == nil {
		return false
	}
	if s.onto.Channels() != 3 {
		b.err(CodePaperProfile, pr.On.Span, fmt.Sprintf("the profile of paper %s is no RGB profile (%s)", b.paper.Name.Value, s.onto.Description()), "A sheet's pieces are of any colour.", "name the paper's profile for colour prints")
		return false
	}
	if sim := pr.Sheet.Simulate; sim != nil {
		s.seen = b.rec.Paper(sim.Paper.Value)
	}
	b.plan.Sheet = true
	b.plan.Picture = Extent{z.w, z.h, z.ppi}
	b.plan.Face = Face{W: quo(rat(z.w), z.ppi), H: quo(rat(z.h), z.ppi), PPI: z.ppi, Effective: z.ppi}
	return true
}

// profileOf is a paper's profile, an input of the sheet.
func (s *sheetBinder) profileOf(p *lang.Paper) *colour.Profile {
	in := s.inputs.Get(master.RoleProfile, *p.Profile)
	if in == nil {
		s.failed = true // said where it was opened
		return nil
	}
	s.uses(in)
	return in.Profile
}

func (s *sheetBinder) tooFull(w, h int) {
	missing, side := w, "width"
	if w <= 0 {
		missing, side = h, "height"
	}
	hint := "take a piece off, make one smaller, or take a larger sheet"
	if side == "width" {
		hint = "make the widest piece smaller or the title shorter, or take a wider sheet"
	}
	turned := s.layout
	turned.w, turned.h = s.h, s.w
	if w, h := turned.place(); w <= 0 && h <= 0 {
		size, fits := s.pr.Size, "fits"
		if turned.w > s.w && slices.ContainsFunc(s.pr.Sheet.Pieces, func(x *lang.Piece) bool { return x.Kind == "strip" || x.Kind == "wedge" }) {
			fits = "may fit" // these lie in wider rows then
		}
		hint = fmt.Sprintf("on the sheet turned it %s: size %s x %s at %s", fits, size.H, size.W, size.At)
	}
	s.err(CodeSheet, s.pr.Size.Span, fmt.Sprintf("this sheet is too full: %s in of %s are missing", exact.Decimals(quo(rat(missing), s.ppi), 2), side),
		"Pieces lie in rows, the tallest first, with 8 mm free at the edges and 5 mm between.", hint)
}

// piece makes the boxes of one line.
func (s *sheetBinder) piece(x *lang.Piece) {
	if x.Kind == "wedge" {
		s.wedge(x)
		return
	}
	pr := s.rec.Print(x.Of.Value)
	if pr == nil || pr.Sheet != nil {
		s.failed = true // said by the checker
		return
	}
	switch x.Kind {
	case "show":
		if q, n := s.take(x, pr, nil); q != nil {
			pic := s.plan.Nodes[n].Pic
			room := s.mm(cutRoom)
			b := s.add(pic.W+2*room, pic.H+2*room, s.caption(q, pr, true), boxPart{x: room, y: room, node: n})
			s.marks(b, room, room, pic.W, pic.H)
		}
	case "section":
		if q, n := s.take(x, pr, x.Size); q != nil {
			pic := s.plan.Nodes[n].Pic
			s.add(pic.W, pic.H, s.caption(q, pr, true, "section "+s.at(x)), boxPart{node: n})
		}
	case "strip":
		s.strip(x, pr)
	case "ring":
		s.ring(x, pr)
	}
}

// at says where a section lies.
func (s *sheetBinder) at(x *lang.Piece) string {
	return fmt.Sprintf("at (%s, %s)", x.At.X, x.At.Y)
}

// caption names a piece: title, round, print and size, what is special, edition,
// mark.
func (s *sheetBinder) caption(q *Print, pr *lang.Print, marked bool, special ...string) []string {
	var out []string
	if s.rec.Title != nil {
		out = append(out, s.rec.Title.Value)
	}
	if s.rec.Round != nil {
		out = append(out, "round "+s.rec.Round.Value.RatString())
	}
	w, h := q.Sizes().Whole.W, q.Sizes().Whole.H
	out = append(out, fmt.Sprintf("%s %s x %s in", pr.Name.Value, exact.Decimals(quo(rat(w), q.Face.PPI), 2), exact.Decimals(quo(rat(h), q.Face.PPI), 2)))
	out = append(out, special...)
	if pr.Edition != nil {
		out = append(out, "edition "+pr.Edition.Count.Value.RatString())
	}
	if marked {
		out = append(out, "mark "+q.MarkShort())
	}
	return out
}

// take plans a print and takes its picture, or a section of it, in the sheet's
// colours.
func (s *sheetBinder) take(x *lang.Piece, pr *lang.Print, size []lang.Measure) (*Print, int) {
	q, ds := Bind(s.rec, s.source, pr, s.inputs, 0)
	if q == nil {
		s.failed = true
		s.diags = append(s.diags, s.against(x, pr, ds)...)
		return nil, 0
	}
	if q.Face.PPI.Cmp(s.ppi) != 0 {
		s.err(CodeSheet, s.pr.Size.At.Span, fmt.Sprintf("the sheet has %s pixels an inch, and print %s has %s", exact.Decimals(s.ppi, 3), pr.Name.Value, exact.Decimals(q.Face.PPI, 3)),
			"A proof on the sheet has the very pixels of its print.", fmt.Sprintf("write the sheet's size at %s ppi", exact.Decimals(q.Face.PPI, 3)))
		return nil, 0
	}
	n := s.merge(q)
	if size != nil {
		var ok bool
		if n, ok = s.cut(x, q, n, size); !ok {
			return nil, 0
		}
	}
	n, ok := s.coloured(x, n)
	if !ok {
		return nil, 0
	}
	return q, n
}

// against says what is wrong with a print as a strip or a ring has it where that
// stands, unless the print itself is wrong.
func (s *sheetBinder) against(x *lang.Piece, pr *lang.Print, ds []lang.Diagnostic) []lang.Diagnostic {
	own := s.rec.Print(pr.Name.Value)
	if pr == own {
		return ds
	}
	if q, _ := Bind(s.rec, s.source, own, s.inputs, 0); q == nil {
		return ds
	}
	hint := "change the strip"
	if x.Kind == "ring" {
		hint = fmt.Sprintf("where the print is grey, write strip of %s … vary tone exposure", pr.Name.Value)
	}
	for i := range ds {
		ds[i].Span, ds[i].Hints = x.Span, []string{hint}
	}
	return slices.DeleteFunc(ds, func(d lang.Diagnostic) bool { return d.Severity != lang.Error })
}

// merge takes the nodes of a print's plan over, and returns that of its file.
func (s *sheetBinder) merge(q *Print) int {
	p := s.plan
	to := make([]int, len(q.Nodes))
	for i, n := range q.Nodes {
		k, there := s.bykey[n.Key]
		if !there || p.Nodes[k].Stage != n.Stage {
			n.In = slices.Clone(n.In)
			for j, m := range n.In {
				n.In[j] = to[m]
			}
			k = len(p.Nodes)
			p.Nodes = append(p.Nodes, n)
			s.bykey[n.Key] = k
		}
		to[i] = k
		if n.Pic.Profile != nil {
			s.profile(n.Pic.Profile)
		}
	}
	for _, in := range q.Inputs {
		s.uses(in)
	}
	for _, u := range q.Uses { // pieces of one print share those before they part
		if s.inputs.Number == 0 && !slices.ContainsFunc(p.Uses, func(v MaskUse) bool { return v.Step == u.Step && v.At == u.At }) {
			p.Uses = append(p.Uses, u)
		}
	}
	if !s.ready {
		p.Ready, s.ready = to[q.Ready], true
	}
	s.frameW, s.frameH = q.FrameW, q.FrameH
	return to[q.Out]
}

// cut takes a section around its middle.
func (s *sheetBinder) cut(x *lang.Piece, q *Print, n int, size []lang.Measure) (int, bool) {
	pic := s.plan.Nodes[n].Pic
	w, h := exact.Nearest(s.size.want(&size[0])), exact.Nearest(s.size.want(&size[1]))
	sp := space{frameW: s.frameW, frameH: s.frameH, w: q.Picture.W, h: q.Picture.H, covers: q.Covers, printW: q.Picture.W, printH: q.Picture.H, ppi: s.ppi}
	cx, okX := sp.x(x.At.X)
	cy, okY := sp.y(x.At.Y)
	if !okX || !okY {
		s.err(CodeUnit, x.At.Span, "this place has no meaning on a print", "", "write it in % of the frame, or in in, cm, mm or px of the print's picture")
		return 0, false
	}
	_, edge := q.Inner()
	left := exact.Nearest(add(cx, big.NewRat(int64(2*edge-w), 2)))
	top := exact.Nearest(add(cy, big.NewRat(int64(2*edge-h), 2)))
	if w < 1 || h < 1 || left < 0 || top < 0 || left+w > pic.W || top+h > pic.H {
		s.err(CodeSheet, x.At.Span, fmt.Sprintf("this section leaves the print: %d x %d px from (%d, %d) of %d x %d", w, h, left, top, pic.W, pic.H),
			"`at` is the section's middle.", "move it towards the middle, or make it smaller")
		return 0, false
	}
	if w == pic.W && h == pic.H {
		return n, true
	}
	return s.node(x.Span, 1, "crop", argsOf("x", left, "y", top, "w", w, "h", h), n)
}

// coloured brings a picture into the sheet's colours, as a paper that it
// simulates shows it.
func (s *sheetBinder) coloured(x *lang.Piece, n int) (int, bool) {
	ok := true
	convert := func(to *colour.Profile, intent, black string) {
		from := s.plan.Nodes[n].Pic.Profile
		if !ok || from != nil && from.Digest() == to.Digest() {
			return
		}
		n, ok = s.node(x.Span, 1, "convert", argsOf("profile", s.profile(to), "intent", intent, "black-point", black), n)
	}
	if s.seen == nil {
		convert(s.onto, s.paper.Intent.Value, s.paper.BlackPoint.Value)
		return n, ok
	}
	seen := s.profileOf(s.seen)
	if seen == nil {
		return 0, false
	}
	convert(seen, s.seen.Intent.Value, s.seen.BlackPoint.Value)
	convert(s.onto, "absolute", "off")
	return n, ok
}
