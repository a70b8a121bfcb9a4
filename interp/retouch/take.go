package retouch

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"

	"platemark/interp"
	"platemark/interp/disk"
	"platemark/interp/master"
	"platemark/interp/plan"
	"platemark/lang"
)

// Taken is what became of finds that were to be mended, by their numbers.
type Taken struct {
	Added   []string // lines that are new
	Widened []string // spots that are larger now, so that they hold a find, too
	Had     []int    // finds that the recipe mended already
	Left    []Left
	Text    []byte // of the recipe with them
}

// Left is a find for which no line was written, and why.
type Left struct {
	Number int
	Why    string
}

// spotWidest is how large a spot may become that holds several finds, as a share
// of the frame's longer side or, in a small frame, in px.
const (
	spotWidest   = 0.005
	spotWidestPX = 24
)

// Take writes the lines of finds into the recipe's prepare block: spots into the
// run at its head, or behind the lines that say what picture there is, fringe
// lines behind the spots. Every other byte stays, but for spots that a find only
// half lies on: they are widened, unless they say where they are filled from.
func (l *Look) Take(ctx context.Context, numbers []int) (*Taken, error) {
	t, err := l.Taken(ctx, numbers)
	if err == nil {
		err = disk.Rewrite(l.job.File, l.source, t.Text)
	}
	if err != nil {
		return nil, err
	}
	l.source = t.Text
	l.recipe, _ = lang.Parse(l.job.File, t.Text)
	there := l.there(l.recipe)
	for i, f := range l.Finds {
		l.Finds[i].Line = there.has(l.mends(f.Find))
	}
	return t, nil
}

// Taken is Take without writing: what the recipe's text becomes, which must still
// be one that can be planned.
func (l *Look) Taken(ctx context.Context, numbers []int) (*Taken, error) {
	t := &Taken{}
	text, _ := lang.ReadSource("", l.source)
	prepare := text.Prepare()
	head := headOf(prepare)
	var run []*lang.Line // the spots that new ones join
	if prepare != nil {
		for _, x := range prepare.Lines[len(head):] {
			if !isSpot(x, "at") {
				break
			}
			run = append(run, x)
		}
	}
	there := l.there(l.recipe)
	var spots []thereSpot // old ones of the run, then new ones with line 0
	for _, s := range there.spots {
		if slices.ContainsFunc(run, func(x *lang.Line) bool { return x.Line == s.line }) {
			spots = append(spots, s)
		}
	}
	was := slices.Clone(spots)
	var rims []rim
	for _, f := range l.Finds {
		if !slices.Contains(numbers, f.Number) {
			continue
		}
		m := l.mends(f.Find)
		switch {
		case m.rim == nil && len(m.discs) == 0:
			t.Left = append(t.Left, Left{f.Number, "no line mends it"})
		case f.Line != 0:
			t.Had = append(t.Had, f.Number)
		case m.rim != nil:
			rims = withRim(rims, *m.rim)
		default:
			now, why := l.withDiscs(spots, f.Number, m.discs, there)
			if why != "" {
				t.Left = append(t.Left, Left{f.Number, why})
				continue
			}
			spots = now
		}
	}
	var edits []lang.Edit
	var lines []string
	for _, s := range spots {
		if s.line == 0 {
			lines = append(lines, mend{discs: []disc{s.disc}}.lines(l.frame)...)
			continue
		}
		if i := slices.IndexFunc(was, func(w thereSpot) bool { return w.line == s.line }); was[i].disc == s.disc {
			continue
		}
		x := run[slices.IndexFunc(run, func(x *lang.Line) bool { return x.Line == s.line })]
		e := widened(x, s.where(l.frame))
		edits = append(edits, e)
		t.Widened = append(t.Widened, fmt.Sprintf("line %d: spot %s", s.line, e.Text))
	}
	t.Added = lines
	for _, r := range rims {
		t.Added = append(t.Added, r.line())
	}
	if len(t.Added) > 0 { // behind the run, or the head where there is none
		after := 0
		if all := append(slices.Clone(head), run...); len(all) > 0 {
			after = all[len(all)-1].EndLine
		}
		edits = append(edits, lang.Put(l.source, lang.BlockName{Kind: "prepare"}, after, t.Added...))
	}
	t.Text = lang.Apply(l.source, edits...)
	if len(edits) > 0 {
		if _, err := l.planned(ctx, t.Text); err != nil {
			return nil, err
		}
	}
	return t, nil
}

// withDiscs adds the discs of a find to spots; those that overlap become one. why
// says what stands in the way.
func (l *Look) withDiscs(spots []thereSpot, of int, discs []disc, there there) (out []thereSpot, why string) {
	out = slices.Clone(spots)
	for _, d := range discs {
		if there.over(d) != 0 {
			continue
		}
		n := thereSpot{disc: d, of: of}
		for {
			i := slices.IndexFunc(out, func(s thereSpot) bool {
				if s.of == of {
					return s.meets(n.disc, 0) // they were made to touch
				}
				return s.meets(n.disc, 0.4)
			})
			if i < 0 {
				break
			}
			s := out[i]
			switch {
			case s.from:
				return nil, fmt.Sprintf("it lies half on the spot of line %d, which says where it is filled from", s.line)
			case s.line != 0 && n.line != 0:
				return nil, fmt.Sprintf("one spot would take the place of those on lines %d and %d", n.line, s.line)
			}
			n.disc, n.line = s.around(n.disc), max(n.line, s.line)
			if n.r > max(spotWidest*l.frame.long(), spotWidestPX) {
				return nil, "with what lies beside it it would be too large for one spot"
			}
			out = slices.Delete(out, i, i+1)
		}
		out = append(out, n)
	}
	return out, ""
}

// withRim adds a rim to others; those of neighbouring hues become one.
func withRim(rims []rim, r rim) []rim {
	for i := 0; i < len(rims); i++ {
		if both, ok := rims[i].joined(r); ok {
			return withRim(slices.Delete(rims, i, i+1), both)
		}
	}
	return append(rims, r)
}

// widened puts another place and radius into a spot's line.
func widened(l *lang.Line, where string) lang.Edit {
	i := slices.IndexFunc(l.Tokens, func(t lang.Token) bool { return t.Value == "radius" })
	return lang.Edit{From: l.Tokens[1].Offset, To: l.Tokens[i+2].End, Text: where}
}

// planned plans the print with another text of the recipe, and the inputs that
// are open.
func (l *Look) planned(ctx context.Context, source []byte) (*plan.Print, error) {
	rec, ds := lang.Parse(filepath.Base(l.job.File), source)
	if lang.HasErrors(ds) {
		return nil, &interp.Problems{Source: source, Diags: ds}
	}
	in := plan.NewInputs(ctx, l.job.Folder, rec)
	in.NoPins = true
	in.Open = func(_ context.Context, role master.Role, path, found string, _ bool) (*master.Input, error) {
		return l.job.Inputs.Get(role, lang.Text{Value: path}).Named(path, found), nil
	}
	p, ds := plan.Bind(rec, source, rec.Print(l.plan.Name), in, 0)
	if p == nil || lang.HasErrors(ds) {
		return nil, &interp.Problems{Source: source, Diags: ds}
	}
	return p, nil
}
