package plan

import (
	"fmt"
	"math/big"
	"strings"

	"platemark/lang"
	"platemark/ops"
	"platemark/ops/codec/jpeg"
	"platemark/ops/codec/tiff"
	"platemark/ops/colour"
	"platemark/ops/exact"
)

// print binds a print block: size, steps, save.
func (b *binder) print(pr *lang.Print, ready pic) (pic, bool) {
	if pr.Size == nil || pr.Save == nil {
		b.err(CodeSize, pr.Span, fmt.Sprintf("print %s needs a size and a save line", pr.Name.Value), "")
		return ready, false
	}
	if b.size = b.newSizing(pr.Size); b.size == nil {
		return ready, false
	}
	w := &walker{b: b, cur: ready, names: map[string]pic{}, stage: 1}
	// The size is known once the crops at the head are done.
	steps := b.inPlace(pr.Steps)
	n := 0
	for i, s := range steps {
		switch s.(type) {
		case *lang.Crop:
			n = i + 1
			continue
		case *lang.Follow:
			continue
		}
		break
	}
	w.steps(steps[:n])
	if b.failed || !w.resolve() {
		return w.cur, false
	}
	w.steps(steps[n:])
	if b.failed {
		return w.cur, false
	}
	p := b.plan.Nodes[w.cur.node].Pic
	if w.edged == 0 && (p.W != b.size.w || p.H != b.size.h) {
		b.err(CodeSize, pr.Size.Span, fmt.Sprintf("the print is to be %d x %d px, but the picture saved is %d x %d px", b.size.w, b.size.h, p.W, p.H),
			"Nothing between size and save brings it to that size.", "add a line such as `enlarge with mitchell`, or `take` the enlarged picture before save")
		return w.cur, false
	}
	return w.cur, b.save(pr, w.cur)
}

// newSizing reads the size statement's own numbers.
func (b *binder) newSizing(s *lang.Size) *sizing {
	z := &sizing{st: s, ppi: s.At.Value}
	if s.At.Unit != "ppi" {
		b.err(CodeSize, s.At.Span, "a size needs its resolution in ppi", "", "write for example: at 300 ppi")
		return nil
	}
	return z
}

// want is a side of the size statement in pixels, not rounded.
func (z *sizing) want(m *lang.Measure) *big.Rat {
	if m.Unit == "px" {
		return m.Value
	}
	in, _ := m.Inches()
	return mul(in, z.ppi)
}

// resolve works out the print's pixels from the size statement and the current
// picture's shape.
func (w *walker) resolve() bool {
	b, z := w.b, w.b.size
	p := b.plan.Nodes[w.cur.node].Pic
	s := z.st
	pw, ph := rat(p.W), rat(p.H)
	var rw, rh *big.Rat
	switch {
	case s.H == nil:
		rw = z.want(s.W)
		rh = quo(mul(rw, ph), pw)
	case s.W == nil:
		rh = z.want(s.H)
		rw = quo(mul(rh, pw), ph)
	case s.Within:
		rw, rh = within(z.want(s.W), z.want(s.H), pw, ph)
	default:
		rw, rh = z.want(s.W), z.want(s.H)
	}
	for _, r := range []*big.Rat{rw, rh} {
		if r.Cmp(rat(1<<30)) > 0 {
			b.err(CodeSize, s.Span, "this print is larger than any file can hold", fmt.Sprintf("It would be %s px on a side.", r.FloatString(0)), "check the size and its unit")
			return false
		}
	}
	z.w, z.h = max(exact.Nearest(rw), 1), max(exact.Nearest(rh), 1)
	if s.W != nil && s.H != nil && !s.Within && !shapeFits(p.W, p.H, rw, rh) {
		b.shapeError(s, p, rw, rh)
		return false
	}
	b.plan.Picture = Extent{z.w, z.h, z.ppi}
	f := &b.plan.Face
	f.W, f.H, f.PPI = quo(rat(z.w), z.ppi), quo(rat(z.h), z.ppi), z.ppi
	f.Effective = quo(w.cur.covers.W(), f.W)
	b.effective()
	return true
}

// within is the largest size of shape pw:ph inside rw x rh.
func within(rw, rh, pw, ph *big.Rat) (w, h *big.Rat) {
	sx, sy := quo(rw, pw), quo(rh, ph)
	if sx.Cmp(sy) < 0 {
		return rw, mul(ph, sx)
	}
	return mul(pw, sy), rh
}

// shapeFits says whether the two shapes differ by less than half a source
// pixel a side: that much is scaled by axis, and nobody can see it.
func shapeFits(w, h int, rw, rh *big.Rat) bool {
	// Source pixels that the print's shape would need across, at full height,
	// and down, at full width.
	dx := sub(quo(mul(rat(h), rw), rh), rat(w))
	dy := sub(quo(mul(rat(w), rh), rw), rat(h))
	return dx.Abs(dx).Cmp(rat(1)) < 0 || dy.Abs(dy).Cmp(rat(1)) < 0
}

func (b *binder) shapeError(s *lang.Size, p ops.Pic, rw, rh *big.Rat) {
	cw, ch := largest(p.W, p.H, quo(rw, rh))
	cut := fmt.Sprintf("%d px of its width", p.W-cw)
	if cw == p.W {
		cut = fmt.Sprintf("%d px of its height", p.H-ch)
	}
	lost := 100 - 100*float64(cw)*float64(ch)/(float64(p.W)*float64(p.H))
	ww, wh := within(rw, rh, rat(p.W), rat(p.H))
	hints := []string{
		fmt.Sprintf("`crop to %s` behind it would cut %s (%.1f %% of the picture)", plainRatio(quo(rw, rh)), cut, lost),
		fmt.Sprintf("`size within %s x %s at %s` would make it %d x %d px", plainMeasure(s.W), plainMeasure(s.H), plainMeasure(&s.At), exact.Nearest(ww), exact.Nearest(wh)),
	}
	turned := fmt.Sprintf("`size %s x %s at %s`", plainMeasure(s.H), plainMeasure(s.W), plainMeasure(&s.At))
	tw, th := largest(p.W, p.H, quo(rh, rw))
	switch rest := 100 - 100*float64(tw)*float64(th)/(float64(p.W)*float64(p.H)); {
	case shapeFits(p.W, p.H, rh, rw):
		hints = append(hints, turned+" fits: width stands first")
	case rest < 5 && rest < lost:
		hints = append(hints, fmt.Sprintf("%s nearly fits: width stands first; `crop to %s` would then cut %.1f %%", turned, plainRatio(quo(rh, rw)), rest))
	}
	b.err(CodeShape, s.Span, fmt.Sprintf("the picture is %d x %d px (%s), the print %s x %s: another shape", p.W, p.H, nearRatio(p.W, p.H), plainMeasure(s.W), plainMeasure(s.H)),
		"An exact size neither cuts nor stretches.", hints...)
}

func plainMeasure(m *lang.Measure) string {
	if m == nil {
		return ""
	}
	return exact.Decimals(m.Value, 4) + " " + m.Unit
}

// nearRatio is the shape of a picture in words: "3:2", "nearly 3:2" where it
// is less than half a percent from a usual one (common practice, no source),
// else "1.4142:1".
func nearRatio(w, h int) string {
	r := big.NewRat(int64(w), int64(h))
	for _, u := range [][2]int64{{1, 1}, {5, 4}, {4, 3}, {7, 5}, {3, 2}, {8, 5}, {16, 9}, {2, 1}, {3, 1}} {
		for _, usual := range []*big.Rat{big.NewRat(u[0], u[1]), big.NewRat(u[1], u[0])} {
			off := sub(quo(r, usual), rat(1))
			if off.Sign() != 0 && off.Abs(off).Cmp(big.NewRat(1, 200)) < 0 {
				return "nearly " + plainRatio(usual)
			}
		}
	}
	return plainRatio(r)
}

// plainRatio writes a shape as W:H with small whole numbers where there are
// some, else with decimals.
func plainRatio(r *big.Rat) string {
	if r.Num().IsInt64() && r.Num().Int64() < 100 && r.Denom().Int64() < 100 {
		return fmt.Sprintf("%s:%s", r.Num(), r.Denom())
	}
	return exact.Decimals(r, 4) + ":1"
}

// effective warns where the master has fewer pixels an inch than the eye
// resolves at the usual distance: one arc minute seen from the print's
// diagonal, that is 3438 / diagonal pixels an inch (geometry; the distance is
// common practice, no source). A small print is held in the hand, where 172
// will do: two arc minutes at 10 inches, common practice, no source.
func (b *binder) effective() {
	f := b.plan.Face
	d2 := add(mul(f.W, f.W), mul(f.H, f.H))
	// In exact numbers: effective² · diagonal² < 3438².
	if f.Effective.Cmp(rat(172)) < 0 && mul(mul(f.Effective, f.Effective), d2).Cmp(rat(3438*3438)) < 0 {
		b.report(lang.Warning, CodeEffective, b.size.st.Span,
			fmt.Sprintf("at this size the master has only %s pixels an inch of its own", exact.Decimals(f.Effective, 1)),
			"Seen from as far as the print's diagonal, the eye resolves more than that; enlarging adds no detail.",
			"print it smaller, or crop less")
	}
}

func (w *walker) enlarge(s *lang.Enlarge) {
	b := w.b
	if b.size == nil {
		b.err(CodeStep, s.Span, "enlarge belongs in a print: prepare works at the master's own size", "", "move the line into the print, or into a steps block that prints follow")
		return
	}
	z := b.size
	p := b.plan.Nodes[w.cur.node].Pic
	// Encoded light when enlarging, linear when reducing: ringing is even in
	// encoded values, while averaging is right only in linear ones.
	light := "encoded"
	if z.w < p.W || z.h < p.H {
		light = "linear"
	}
	if s.Light != nil {
		light = s.Light.Value
	}
	w.add("enlarge", s, argsOf("light", light, "width", z.w, "height", z.h), w.cur)
}

// save checks what the print file can hold.
func (b *binder) save(pr *lang.Print, out pic) bool {
	s := pr.Save
	p := b.plan.Nodes[out.node].Pic
	f := FileSpec{Path: s.Path.Value, Format: s.Format, PPI: b.size.ppi, Profile: p.Profile, Line: s.Line}
	f.Enlarged, _ = quo(b.size.ppi, b.plan.Face.Effective).Float64()
	if b.rec.Title != nil {
		f.Title = b.rec.Title.Value
	}
	if b.rec.Rights != nil {
		f.Rights = b.rec.Rights.Value
	}
	small := func(n *lang.Number, fallback int) int {
		if n == nil {
			return fallback
		}
		return int(n.Value.Num().Int64())
	}
	switch s.Format {
	case "jpeg":
		f.Quality = small(s.Quality, 100)
		f.Half = s.Chroma != nil && s.Chroma.Value == "half"
		e, err := jpeg.New(f.JPEGOptions(p))
		if err != nil {
			b.err(CodeSave, s.Span, err.Error(), "")
			return false
		}
		if d := e.Density(); !f.PPI.IsInt() {
			b.report(lang.Note, CodeSave, s.Span, fmt.Sprintf("the JPEG's first header says %d ppi", d), "It holds whole numbers only; the Exif block holds the exact "+f.PPI.RatString()+".")
		}
		if warn := e.Warning(); warn != "" {
			b.report(lang.Warning, CodeSave, s.Span, warn, "", fmt.Sprintf("`save tiff` has no such limit: save tiff %q", strings.TrimSuffix(strings.TrimSuffix(f.Path, ".jpg"), ".jpeg")+".tif"))
		}
	case "tiff":
		f.Bits = small(s.Bits, 16)
		if _, err := tiff.NewLayout(f.TIFFOptions(p)); err != nil {
			b.err(CodeSave, s.Span, err.Error(), "")
			return false
		}
	}
	b.plan.File = f
	return b.lab == nil || b.labTakes(pr, &b.plan.File, p)
}

// labTakes checks the print file against what the lab says it takes. What the
// lab doesn't say isn't checked.
func (b *binder) labTakes(pr *lang.Print, f *FileSpec, p ops.Pic) bool {
	l, s, ok := b.lab, pr.Save, true
	name := l.Name.Value
	bad := func(at lang.Span, what, rule, mend string) {
		ok = false
		b.err(CodeLab, at, what, rule, mend)
	}
	if len(l.Takes) > 0 {
		takes := false
		var list []string
		for _, t := range l.Takes {
			takes = takes || t.Value == f.Format
			list = append(list, t.Value)
		}
		if !takes {
			bad(s.Span, fmt.Sprintf("lab %s doesn't take %s", name, f.Format), fmt.Sprintf("It takes %s (line %d).", strings.Join(list, ", "), l.Takes[0].Line), fmt.Sprintf("write save %s", list[0]))
		}
	}
	if l.Space != nil {
		if p, _ := colour.Space(l.Space.Value); p != nil && p.Digest() != f.Profile.Digest() {
			bad(s.Span, fmt.Sprintf("lab %s takes %s, and this picture is in %s", name, l.Space.Value, f.Profile.Description()), "Numbers of one space read as another's shift every colour of the print.",
				fmt.Sprintf("add the line `convert to %s` before save", name))
		}
	}
	if l.Resolution != nil && l.Resolution.Value.Cmp(f.PPI) != 0 {
		bad(pr.Size.At.Span, fmt.Sprintf("lab %s takes %s ppi, and this print has %s ppi", name, exact.Decimals(l.Resolution.Value, 3), exact.Decimals(f.PPI, 3)), "",
			fmt.Sprintf("write the size at %s ppi", exact.Decimals(l.Resolution.Value, 3)))
	}
	if l.Bits != nil {
		want, have := int(l.Bits.Value.Num().Int64()), f.Bits
		mend := fmt.Sprintf("write bits %d", want)
		if f.Format == "jpeg" {
			have, mend = 8, "write save tiff, which can hold 16 bits"
		}
		if want != have {
			bad(s.Span, fmt.Sprintf("lab %s takes %d bits, and this file has %d", name, want, have), "", mend)
		}
	}
	if l.Largest != nil {
		size, _ := f.Room(p)
		f.LargestBytes = byteCount(*l.Largest)
		limit, have := SizeText(f.LargestBytes), SizeText(size)
		if limit == have { // they differ in digits that aren't shown
			limit, have = fmt.Sprintf("%d bytes", f.LargestBytes), fmt.Sprintf("%d bytes", size)
		}
		switch {
		case size <= f.LargestBytes:
		case f.Format == "tiff":
			bad(s.Span, fmt.Sprintf("lab %s takes files up to %s, and this one has %s", name, limit, have), "", "write bits 8, save jpeg, or print it smaller")
		default:
			mend := "print it smaller, or at fewer pixels an inch"
			if q := f.QualityWithin(p, f.LargestBytes); q > 0 {
				mend = fmt.Sprintf("write quality %d, with which most photographs fit", q)
			}
			b.report(lang.Warning, CodeLab, s.Span, fmt.Sprintf("lab %s takes files up to %s; this one may come to about %s", name, limit, have),
				"A guess from other photographs. The file is measured while it is written, and one over the limit never gets its name.", mend)
		}
	}
	return ok
}

// byteCount is a size in bytes: KB, MB and GB are 10^3, 10^6 and 10^9.
func byteCount(m lang.Measure) int64 {
	n := map[string]int{"KB": 1e3, "MB": 1e6, "GB": 1e9}[m.Unit]
	return new(big.Int).Quo(mul(m.Value, rat(n)).Num(), mul(m.Value, rat(n)).Denom()).Int64()
}
