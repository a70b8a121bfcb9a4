package retouch

import (
	"context"
	"errors"
	"image"
	"math"
	"slices"

	"platemark/interp"
	"platemark/interp/inspect"
	"platemark/interp/plan"
	"platemark/ops/colour"
)

// View is what a look's page shows.
type View struct {
	Whole  *interp.ViewPicture // made small
	Places []Place
}

// Place is a find at 100 %.
type Place struct {
	Find
	Before       *interp.ViewPicture
	After        *interp.ViewPicture // with its lines in the recipe; nil where it has none
	Across, Down float64             // of the find in it, 0 to 1
}

const (
	placeW, placeH = 288, 216 // px, of a place
	placesMost     = 60
	wholeLong      = 1400 // px
)

// Pictures shows the finds that are seen, the most visible first, before and after
// the lines of all of them stand in the recipe: mended as a build would do it.
func (l *Look) Pictures(ctx context.Context) (*View, error) {
	finds := l.Visible()
	finds = finds[:min(len(finds), placesMost)]
	v := &View{}
	w, h := l.W, l.H
	if long := max(w, h); long > wholeLong {
		w, h = max(1, w*wholeLong/long), max(1, h*wholeLong/long)
	}
	m, err := l.s.Reduced(ctx, l.plan, l.node, w, h)
	if err != nil {
		return nil, err
	}
	if v.Whole, err = interp.View(l.plan, m); err != nil {
		return nil, err
	}
	v.Whole.FullW, v.Whole.FullH = l.W, l.H
	var numbers []int
	for _, f := range finds {
		numbers = append(numbers, f.Number)
	}
	mended, node, left, err := l.mended(ctx, numbers)
	if err != nil {
		return nil, err
	}
	for _, f := range finds {
		w, h := min(placeW, l.W), min(placeH, l.H)
		x, y := min(max(int(f.At.X)-w/2, 0), l.W-w), min(max(int(f.At.Y)-h/2, 0), l.H-h)
		r := image.Rect(x, y, x+w, y+h)
		p := Place{Find: f, Across: (f.At.X - float64(x)) / float64(w), Down: (f.At.Y - float64(y)) / float64(h)}
		if p.Before, err = l.cut(ctx, l.plan, l.node, r); err != nil {
			return nil, err
		}
		if mended != nil && len(f.Lines) > 0 && !slices.Contains(left, f.Number) {
			if p.After, err = l.cut(ctx, mended, node, r); err != nil {
				return nil, err
			}
		}
		v.Places = append(v.Places, p)
	}
	return v, nil
}

func (l *Look) cut(ctx context.Context, p *plan.Print, node int, r image.Rectangle) (*interp.ViewPicture, error) {
	m, err := l.s.Region(ctx, p, node, r)
	if err != nil {
		return nil, err
	}
	return interp.View(p, m)
}

// Vain says why the lines of a find in a print's finished pixels don't mend it, ""
// where they do. Lines of prepare act on the master: what comes into the print later
// stays. A line mends a find where it changes it, anywhere within, by a quarter of how
// far it stands out (our own choice), in CIELAB.
func (l *Look) Vain(ctx context.Context, number int) (string, error) {
	i := slices.IndexFunc(l.Finds, func(f Find) bool { return f.Number == number })
	if l.Print == "" || i < 0 {
		return "", nil
	}
	p, node, left, err := l.mended(ctx, []int{number})
	if err != nil || p == nil || len(left) > 0 {
		return "", err
	}
	f := l.Finds[i]
	at, r := f.At, f.Width
	if len(f.Spots) > 0 {
		at, r = f.Spots[0].Point, f.Spots[0].Radius
	}
	box := image.Rect(int(at.X-r), int(at.Y-r), int(at.X+r)+1, int(at.Y+r)+1).Intersect(image.Rect(0, 0, l.W, l.H))
	before, err := l.cut(ctx, l.plan, l.node, box)
	if err != nil {
		return "", err
	}
	after, err := l.cut(ctx, p, node, box)
	if err != nil {
		return "", err
	}
	most := 0.0
	for i, a := range before.Lab {
		most = max(most, colour.DeltaE76(a, after.Lab[i]))
	}
	stands := f.Contrast
	if f.Kind != inspect.Fringe { // of light: from its middle's lightness to that of what lies round it
		cube := (before.Lab[len(before.Lab)/2].L + 16) / 116
		stands = 116 * math.Abs(cube-cube/math.Cbrt(1+f.Contrast))
	}
	if most >= stands/4 {
		return "", nil
	}
	return "no line mends it: it isn't in the master, which prepare works on, and comes into the print later", nil
}

// mended is the plan with the lines of finds, nil where they can't all stand in
// the recipe, its node that stands for the one looked over, and the finds without
// a line.
func (l *Look) mended(ctx context.Context, numbers []int) (p *plan.Print, node int, left []int, err error) {
	t, err := l.Taken(ctx, numbers)
	var refused *interp.Problems
	if errors.As(err, &refused) {
		return nil, 0, nil, nil
	}
	if err != nil {
		return nil, 0, nil, err
	}
	for _, x := range t.Left {
		left = append(left, x.Number)
	}
	if p, err = l.planned(ctx, t.Text); err != nil {
		return nil, 0, nil, err
	}
	if l.Print != "" {
		node, _ = p.Inner()
		return p, node, left, nil
	}
	// The spots and fringe lines behind the head.
	node = p.NodeOf(l.plan.Nodes[l.head].Key)
	for i := node + 1; i < len(p.Nodes); i++ {
		if n := p.Nodes[i]; (n.Op == "spots" || n.Op == "fringe") && n.In[0] == node {
			node = i
		}
	}
	return p, node, left, nil
}
