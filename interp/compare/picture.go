package compare

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"image"
	"math/big"
	"slices"
	"strings"

	"platemark/interp"
	"platemark/interp/plan"
	"platemark/ops"
)

// ViewOptions say how two pictures are compared.
type ViewOptions struct {
	Width    int // of the reduced pictures, px at most; 0: 1600
	Section  int // side of a section at 100 %, px; 0: 384
	Sections int // how many; 0: 4
	Workers  int
	// Session, if set, makes the pictures and stays open; Workers and Progress are
	// its own then.
	Session  *interp.Session
	Progress func(stage string, done, due int64)
}

// View is what two pictures look like beside one another. It serves looking:
// nothing of it goes into a print.
type View struct {
	A, B interp.ViewPicture
	// Aligned says that both show the same shape, so that they can be laid
	// over one another; else Delta is nil and Why says why.
	Aligned bool
	Why     string
	// Delta is CIEDE2000 by pixel of the reduced pictures, W x H.
	W, H     int
	Delta    []float32
	Whole    interp.Figures
	Regions  []Region
	Sections []Section
	// Shares are, by change of the comparison, the share of the picture that
	// it touches, 0 to 1; below 0 where it isn't a matter of place.
	Shares []float64
}

// Region is a part of the picture: one of three by three.
type Region struct {
	Name string
	interp.Figures
}

// Section is the same place of both at 100 %: one pixel of the print each.
type Section struct {
	AX, AY, BX, BY int // left upper corners, px of each print
	A, B           interp.ViewPicture
	Aligned        bool // both prints have the same pixels
	Delta          []float32
	interp.Figures
}

// print is a side's account of a print, by its name.
func (s *Side) print(name string) *account {
	return s.prints[slices.IndexFunc(s.prints, func(a *account) bool { return a.name == name })]
}

// pair finds the one print that both sides of a comparison have; an error asks
// for its name where there are several.
func (d *Diff) pair(a, b *Side) (x, y *account, err error) {
	var have []string
	for _, p := range d.Prints {
		if p.A != "" && p.B != "" {
			have = append(have, p.B)
			x, y = a.print(p.A), b.print(p.B)
		}
	}
	switch {
	case len(have) == 0:
		return nil, nil, errors.New("the two have no print in common")
	case len(have) > 1:
		return nil, nil, fmt.Errorf("name one print with --print; both have %s", strings.Join(have, ", "))
	case x.plan == nil:
		return nil, nil, a.unbuilt(x)
	case y.plan == nil:
		return nil, nil, b.unbuilt(y)
	case x.plan.Sheet || y.plan.Sheet:
		return nil, nil, fmt.Errorf("%s is a sheet: build both and lay them beside each other, or compare a print that it shows", x.name)
	}
	return x, y, nil
}

func (s *Side) unbuilt(a *account) error {
	why := "its inputs aren't there"
	if len(s.Notes) > 0 {
		why = s.Notes[0]
	}
	return fmt.Errorf("print %s of %s can't be built: %s", a.name, s.Name, why)
}

// viewer makes pictures of one side's print.
type viewer struct {
	s    *interp.Session
	side *Side
	of   *account
	p    *plan.Print
	// start is what reduced pictures are made from.
	start plan.Start
	// masks are the shares that masks cover, by line.
	masks map[int]float64
}

// newViewer is a viewer whose reduced pictures are w px wide.
func newViewer(ctx context.Context, s *interp.Session, side *Side, of *account, w int) (v *viewer, err error) {
	v = &viewer{s: s, side: side, of: of, p: of.plan, masks: map[int]float64{}}
	v.start, err = s.Start(ctx, []*plan.Print{v.p}, v.p.Out, w)
	return v, err
}

// reduced is the print's whole picture as its plan makes it run small, borders
// and wraps included.
func (v *viewer) reduced(ctx context.Context, w, h int) (*interp.ViewPicture, error) {
	return v.small(ctx, plan.Small{Start: v.start, W: w, H: h})
}

// traces is a small picture in which fine steps leave their traces: it starts
// from half the pixels, so that enlarging shows its kernel, and sharpening is
// never finer than a third of a pixel. It tells where two prints differ, not by
// how much.
func (v *viewer) traces(ctx context.Context, w, h int) (*interp.ViewPicture, error) {
	pic, node := v.start.Pic, v.p.NodeOf(v.start.Key)
	if from := v.p.Before(node, v.p.Out) * pic.W / v.p.Nodes[node].Pic.W; 2*from > w {
		pic.W, pic.H = max(1, pic.W*w/(2*from)), max(1, pic.H*w/(2*from))
	}
	start, err := v.s.Smaller(ctx, v.start, pic.W, pic.H)
	if err != nil {
		return nil, err
	}
	args := map[int]ops.Args{}
	for i, n := range v.p.Nodes {
		if n.Op != "sharpen" && n.Op != "deconvolve" {
			continue
		}
		least := big.NewRat(int64(2*v.p.Nodes[n.In[0]].Pic.W), int64(3*w))
		if r, err := n.Args.Rat("radius"); err == nil && r.Cmp(least) < 0 {
			args[i] = n.Args.With("radius", least.RatString())
		}
	}
	return v.small(ctx, plan.Small{Start: start, W: w, H: h, Args: args})
}

func (v *viewer) small(ctx context.Context, how plan.Small) (*interp.ViewPicture, error) {
	m, err := v.s.Fitted(ctx, v.p, v.p.Out, how)
	if err != nil {
		return nil, err
	}
	return v.picture(m)
}

// picture takes samples of the print's profile to Lab and to sRGB.
func (v *viewer) picture(m interp.Picture) (*interp.ViewPicture, error) { return interp.View(v.p, m) }

// Pictures shows the one print that d speaks of on both sides: as its
// plan makes it at a reduced size, and the most changed sections at 100 %.
func Pictures(ctx context.Context, a, b *Side, d *Diff, o ViewOptions) (*View, error) {
	o.Width, o.Section, o.Sections = cmp.Or(o.Width, 1600), cmp.Or(o.Section, 384), cmp.Or(o.Sections, 4)
	x, y, err := d.pair(a, b)
	if err != nil {
		return nil, err
	}
	v := &View{}
	wa, ha := x.plan.Pixels()
	wb, hb := y.plan.Pixels()
	v.W = min(o.Width, wa, wb)
	v.H = max(1, (v.W*ha+wa/2)/wa)
	h2 := max(1, (v.W*hb+wb/2)/wb)
	// A row more or less is rounding; more is another shape.
	if v.Aligned = h2-v.H <= 1 && v.H-h2 <= 1; v.Aligned {
		h2 = v.H
	} else {
		v.Why = fmt.Sprintf("the prints have other shapes, %d x %d px and %d x %d px, so they can't be laid over one another", wa, ha, wb, hb)
	}
	s := o.Session
	if s == nil {
		s = interp.NewSession(o.Workers, nil)
		defer s.Close()
	}
	viewer := func(side *Side, of *account) (*viewer, error) {
		if o.Progress != nil {
			s.Progress = func(stage string, done, due int64) { o.Progress(side.Name+", "+stage, done, due) }
		}
		return newViewer(ctx, s, side, of, v.W)
	}
	va, err := viewer(a, x)
	if err != nil {
		return nil, err
	}
	vb, err := viewer(b, y)
	if err != nil {
		return nil, err
	}
	pa, err := va.reduced(ctx, v.W, v.H)
	if err != nil {
		return nil, err
	}
	pb, err := vb.reduced(ctx, v.W, h2)
	if err != nil {
		return nil, err
	}
	v.A, v.B = *pa, *pb
	if v.Aligned {
		v.Delta = interp.LabDistances(pa.Lab, pb.Lab)
		v.Whole = interp.FiguresOf(v.Delta)
		v.regions()
		if err := v.sections(ctx, va, vb, o); err != nil {
			return nil, err
		}
	}
	v.Shares, err = shares(ctx, va, vb, d.Changes)
	return v, err
}

func (v *View) regions() {
	for j, row := range []string{"top", "middle", "bottom"} {
		for i, col := range []string{"left", "centre", "right"} {
			var d []float32
			for y := v.H * j / 3; y < v.H*(j+1)/3; y++ {
				d = append(d, v.Delta[y*v.W+v.W*i/3:y*v.W+v.W*(i+1)/3]...)
			}
			v.Regions = append(v.Regions, Region{row + " " + col, interp.FiguresOf(d)})
		}
	}
}

// sections cuts the most changed places, by the mean difference that traces
// tell of under each; no two overlap.
func (v *View) sections(ctx context.Context, va, vb *viewer, o ViewOptions) error {
	tw, th := max(1, (v.W+1)/2), max(1, (v.H+1)/2)
	ta, err := va.traces(ctx, tw, th)
	if err != nil {
		return err
	}
	tb, err := vb.traces(ctx, tw, th)
	if err != nil {
		return err
	}
	delta := interp.LabDistances(ta.Lab, tb.Lab)
	side := func(full, small int) int { return max(1, min(o.Section, full)*small/full) }
	bw, bh := side(v.A.FullW, tw), side(v.A.FullH, th)
	type place struct {
		image.Rectangle
		mean float64
	}
	var all []place
	for y := 0; y+bh <= th; y += max(1, bh/4) {
		for x := 0; x+bw <= tw; x += max(1, bw/4) {
			var s float64
			for r := y; r < y+bh; r++ {
				for _, d := range delta[r*tw+x : r*tw+x+bw] {
					s += float64(d)
				}
			}
			all = append(all, place{image.Rect(x, y, x+bw, y+bh), s / float64(bw*bh)})
		}
	}
	slices.SortStableFunc(all, func(p, q place) int { return cmp.Compare(q.mean, p.mean) })
	var taken []place
	for _, p := range all {
		if len(taken) == o.Sections || p.mean == 0 {
			break
		}
		if !slices.ContainsFunc(taken, func(q place) bool { return p.Overlaps(q.Rectangle) }) {
			taken = append(taken, p)
		}
	}
	same := v.A.FullW == v.B.FullW && v.A.FullH == v.B.FullH
	for _, p := range taken {
		// The same place of a print, held inside it.
		cut := func(z *viewer, full interp.ViewPicture) (*interp.ViewPicture, image.Point, error) {
			w, h := min(o.Section, full.FullW), min(o.Section, full.FullH)
			x := min(max((2*p.Min.X+bw)*full.FullW/(2*tw)-w/2, 0), full.FullW-w)
			y := min(max((2*p.Min.Y+bh)*full.FullH/(2*th)-h/2, 0), full.FullH-h)
			m, err := z.s.Region(ctx, z.p, z.p.Out, image.Rect(x, y, x+w, y+h))
			if err != nil {
				return nil, image.Point{}, err
			}
			s, err := z.picture(m)
			return s, image.Pt(x, y), err
		}
		a, at, err := cut(va, v.A)
		if err != nil {
			return err
		}
		b, bt, err := cut(vb, v.B)
		if err != nil {
			return err
		}
		s := Section{AX: at.X, AY: at.Y, BX: bt.X, BY: bt.Y, A: *a, B: *b, Aligned: same}
		if same {
			s.Delta = interp.LabDistances(a.Lab, b.Lab)
			s.Figures = interp.FiguresOf(s.Delta)
		}
		v.Sections = append(v.Sections, s)
	}
	return nil
}
