package retouch

import (
	"context"
	"encoding/binary"
	"image"
	"slices"

	"platemark/interp/audit"
	"platemark/interp/disk"
	"platemark/interp/inspect"
)

// dismissal is a record of the ledger RECIPE.dismissed.jsonl beside the recipe: a
// part of the frame in which a find was "dismissed", and what it held; or a torn end
// that was "recovered".
type dismissal struct {
	audit.Link
	Kind   string `json:"kind,omitempty"`
	X      int    `json:"x,omitempty"` // px of the frame
	Y      int    `json:"y,omitempty"`
	W      int    `json:"width,omitempty"`
	H      int    `json:"height,omitempty"`
	SHA256 string `json:"sha256,omitempty"` // of its samples
}

// dismissals is the recipe's ledger, not yet read.
func (l *Look) dismissals() *audit.Ledger[dismissal, *dismissal] {
	return &audit.Ledger[dismissal, *dismissal]{Path: disk.Real(l.job.File) + ".dismissed.jsonl"}
}

// markDismissed marks finds that were dismissed where the frame holds what it
// held then.
func (l *Look) markDismissed(ctx context.Context) error {
	if l.job.File == "" {
		return nil
	}
	list := l.dismissals()
	if err := list.Read(); err != nil {
		return err
	}
	for _, e := range list.Lines {
		r := image.Rect(e.X, e.Y, e.X+e.W, e.Y+e.H)
		same := false
		for i, f := range l.Finds {
			x, y := l.frame.at(f.At)
			if f.Dismissed || !image.Pt(int(x), int(y)).In(r) {
				continue
			}
			if !same {
				sum, err := l.content(ctx, r)
				if err != nil {
					return err
				}
				if sum != e.SHA256 {
					break
				}
				same = true
			}
			l.Finds[i].Dismissed = true
		}
	}
	return nil
}

// content is the digest of the samples in a part of the frame, "" where it
// reaches outside.
func (l *Look) content(ctx context.Context, r image.Rectangle) (string, error) {
	pic := l.plan.Nodes[l.head].Pic
	if r.Empty() || !r.In(image.Rect(0, 0, pic.W, pic.H)) {
		return "", nil
	}
	m, err := l.s.Region(ctx, l.plan, l.head, r)
	if err != nil {
		return "", err
	}
	b := make([]byte, 0, 2*len(m.Samples))
	for _, v := range m.Samples {
		b = binary.BigEndian.AppendUint16(b, v)
	}
	return audit.SumOf(b), nil
}

// dismissEdge is how far around a find its place is remembered, px of the frame:
// a print's finds lie a little beside the master's.
const dismissEdge = 3

// Dismiss remembers finds beside the recipe. It returns the numbers of those that
// weren't dismissed yet.
func (l *Look) Dismiss(ctx context.Context, numbers []int) (fresh []int, err error) {
	var list []dismissal
	for i, f := range l.Finds {
		if !slices.Contains(numbers, f.Number) || f.Dismissed {
			continue
		}
		x0, y0 := l.frame.at(inspect.Point{X: f.At.X - f.W/2, Y: f.At.Y - f.H/2})
		x1, y1 := l.frame.at(inspect.Point{X: f.At.X + f.W/2, Y: f.At.Y + f.H/2})
		r := image.Rect(int(x0)-dismissEdge, int(y0)-dismissEdge, int(x1)+1+dismissEdge, int(y1)+1+dismissEdge)
		r = r.Intersect(image.Rect(0, 0, int(l.frame.w), int(l.frame.h)))
		sum, err := l.content(ctx, r)
		if err != nil {
			return nil, err
		}
		list = append(list, dismissal{Link: audit.Link{Record: "dismissed"}, Kind: string(f.Kind), X: r.Min.X, Y: r.Min.Y, W: r.Dx(), H: r.Dy(), SHA256: sum})
		fresh = append(fresh, f.Number)
		l.Finds[i].Dismissed = true
	}
	if len(list) == 0 {
		return nil, nil
	}
	of := l.dismissals()
	aside := func(torn []byte) (string, error) {
		sum := audit.SumOf(torn)
		return sum, disk.Write(of.Path+"."+sum[:12]+".torn", torn, true)
	}
	return fresh, of.Grow(aside, func() ([]dismissal, error) { return list, nil })
}
