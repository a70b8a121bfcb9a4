package desk

import (
	"context"
	"encoding/json"
	"fmt"
	"image"
	"math"
	"net/http"

	"platemark/cmd/platemark/view"
	"platemark/interp"
	"platemark/interp/plan"
	"platemark/interp/proof"
	"platemark/ops/colour"
)

// routeCompare answers what the page asks to compare.
func (s *Server) routeCompare(m *http.ServeMux) {
	m.HandleFunc("GET /choices", answer(func(r *http.Request) (any, error) {
		file, err := s.file(r.FormValue("file"))
		if err != nil {
			return nil, err
		}
		list, papers, err := s.choices(r.Context(), file, r.FormValue("print"))
		return map[string]any{"list": append([]choice{}, list...), "papers": append([]string{}, papers...)}, err
	}))
	m.HandleFunc("GET /difference", func(w http.ResponseWriter, r *http.Request) {
		l, part, err := asked(r, differenceMost)
		var b []byte
		var f difference
		if err == nil {
			b, f, err = s.difference(r.Context(), r.FormValue("key"), r.FormValue("other"), l, part)
		}
		if err != nil {
			refuse(w, err)
			return
		}
		figures, _ := json.Marshal(f)
		w.Header().Set("Figures", string(figures))
		w.Header().Set("Content-Type", "image/png")
		w.Write(b)
	})
}

// shownBy draws a part of a picture as a paper shows it.
func shownBy(e *proof.Eye, m interp.Picture, workers int) ([]byte, error) {
	_, rgb := e.Screen(m, workers)
	return view.PNG(&plain, view.Opaque(interp.ViewPicture{W: m.W, H: m.H, RGB: rgb}), nil)
}

// unprintable is what a paper can't show of a part of a picture, as the opacity of
// a PNG file.
func (s *Server) unprintable(ctx context.Context, key string, l level, r image.Rectangle) ([]byte, error) {
	out := image.NewNRGBA(image.Rect(0, 0, r.Dx(), r.Dy()))
	e := s.eye(key)
	if e == nil {
		return nil, errUnknown
	}
	err := s.use(ctx, key, func(p *plan.Print) error {
		if w, h := l.size(p.Nodes[p.Out].Pic); !r.In(image.Rect(0, 0, w, h)) {
			return errAsked
		}
		m, err := s.part(ctx, p, l, r)
		if err != nil {
			return err
		}
		for i, v := range e.Outside(m, s.session.Workers) {
			if v != colour.Within {
				out.Pix[4*i+3] = 255
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return view.PNG(&plain, out, nil)
}

// differenceMost is the longest side of a difference, in pixels of its level:
// what a screen shows.
const differenceMost = 4096

// difference says how two pictures differ where they are looked at, in CIEDE2000.
type difference struct {
	Mean  float64    `json:"mean"`
	Worst float64    `json:"worst"`
	At    [2]float64 `json:"at"`    // of the worst, shares of the frame's width and height
	Top   float64    `json:"top"`   // where the map's scale ends
	Scale []string   `json:"scale"` // its colours from 0 to there, evenly apart
	Share float64    `json:"share"` // of the pixels where the other picture reaches; the rest is left out
}

// difference draws CIEDE2000 of a part of a picture to another, in the same place
// of the frame; colours are taken as an eye sees them that is adapted to the paper
// where one shows them. Of a picture in another size the nearest four pixels are
// weighed. Where the other doesn't reach, and on borders, the map is clear then.
func (s *Server) difference(ctx context.Context, key, other string, l level, r image.Rectangle) ([]byte, difference, error) {
	var f difference
	var d []float32
	var in image.Rectangle // of r, from its corner: where both are
	var at over
	var frame [2]float64
	err := s.use(ctx, key, func(p *plan.Print) error {
		s.plansMu.Lock()
		q := s.plans[other]
		s.plansMu.Unlock()
		if q == nil {
			return errUnknown
		}
		if w, h := l.size(p.Nodes[p.Out].Pic); !r.In(image.Rect(0, 0, w, h)) {
			return errAsked
		}
		at, frame = newOver(p, l), [2]float64{float64(p.FrameW), float64(p.FrameH)}
		a, err := s.part(ctx, p, l, r)
		if err != nil {
			return err
		}
		b, inside, err := s.under(ctx, p, q, l, r)
		if err != nil {
			return err
		}
		in = inside
		la, err := s.eye(key).Relative(a, s.session.Workers)
		if err != nil {
			return err
		}
		lb, err := s.eye(other).Relative(b, s.session.Workers)
		if err != nil {
			return err
		}
		d = proof.Distances(la, lb, s.session.Workers)
		return nil
	})
	if err != nil {
		return nil, f, err
	}
	var seen []float32
	for y := in.Min.Y; y < in.Max.Y; y++ {
		for x := in.Min.X; x < in.Max.X; x++ {
			v := d[y*r.Dx()+x]
			seen = append(seen, v)
			if float64(v) > f.Worst {
				f.Worst = float64(v)
				fx, fy := at.frame(float64(r.Min.X+x)+0.5, float64(r.Min.Y+y)+0.5)
				f.At = [2]float64{fx / frame[0], fy / frame[1]}
			}
		}
	}
	sum := interp.FiguresOf(seen)
	f.Mean, f.Share = sum.Mean, float64(len(seen))/float64(len(d))
	// All but one pixel in twenty lie in the scale's lower half.
	for _, f.Top = range []float64{1, 2, 5, 10, 20, 50, 100} {
		if f.Top >= 2*sum.P95 {
			break
		}
	}
	for i := range 6 {
		c := view.HeatColour(float64(i) / 5)
		f.Scale = append(f.Scale, fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B))
	}
	out := image.NewNRGBA(image.Rect(0, 0, r.Dx(), r.Dy()))
	for y := in.Min.Y; y < in.Max.Y; y++ {
		for x := in.Min.X; x < in.Max.X; x++ {
			out.SetNRGBA(x, y, view.HeatColour(float64(d[y*r.Dx()+x])/f.Top))
		}
	}
	b, err := view.PNG(&plain, out, nil)
	return b, f, err
}

// under is what of q lies under a part of p at a level, in p's pixels, and where
// in that part q reaches.
func (s *Server) under(ctx context.Context, p, q *plan.Print, l level, r image.Rectangle) (interp.Picture, image.Rectangle, error) {
	pp, qp := p.Nodes[p.Out].Pic, q.Nodes[q.Out].Pic
	all := image.Rect(0, 0, r.Dx(), r.Dy())
	a, l0 := newOver(p, l), l
	if pp.W == qp.W && pp.H == qp.H && p.FrameW == q.FrameW && p.FrameH == q.FrameH && a == newOver(q, l) {
		m, err := s.part(ctx, q, l, r)
		return m, all, err
	}
	if l.w > 0 {
		// Pixels of a level to the frame's width are those of p.
		wide := func(p *plan.Print, l level) float64 { return float64(p.FrameW) / newOver(p, l).dx }
		full := wide(q, level{by: 1})
		l.w = min(max(1, int(math.Round(float64(qp.W)*wide(p, l)/full))), qp.W, 4096)
	}
	b := newOver(q, l)
	w, h := l.size(qp)
	cols, inX := lines(r.Min.X, r.Dx(), w, b.edge, func(v float64) float64 {
		x, _ := a.frame(v, 0)
		return (x/float64(p.FrameW)*float64(q.FrameW)-b.x0)/b.dx + b.edge
	})
	rows, inY := lines(r.Min.Y, r.Dy(), h, b.edge, func(v float64) float64 {
		_, y := a.frame(0, v)
		return (y/float64(p.FrameH)*float64(q.FrameH)-b.y0)/b.dy + b.edge
	})
	box := image.Rect(int(cols[0]), int(rows[0]), min(w, int(cols[len(cols)-1])+2), min(h, int(rows[len(rows)-1])+2))
	if box.Dx()*box.Dy() > 1<<25 {
		return interp.Picture{}, all, fmt.Errorf("the other picture has many more pixels here: %d x %d px; look at less of it, or at it fitted", box.Dx(), box.Dy())
	}
	m, err := s.part(ctx, q, l, box)
	if err != nil {
		return m, all, err
	}
	out := interp.Picture{Pic: m.Pic, At: r.Min}
	out.W, out.H = r.Dx(), r.Dy()
	out.Samples = make([]uint16, 0, out.W*out.H*m.C)
	for _, y := range rows {
		y0 := int(y)
		y1, fy := min(y0+1, h-1)-box.Min.Y, y-float64(y0)
		y0 -= box.Min.Y
		for _, x := range cols {
			x0 := int(x)
			x1, fx := min(x0+1, w-1)-box.Min.X, x-float64(x0)
			x0 -= box.Min.X
			for c := range m.C {
				v := func(x, y int) float64 { return float64(m.Samples[(y*m.W+x)*m.C+c]) }
				top, low := v(x0, y0)*(1-fx)+v(x1, y0)*fx, v(x0, y1)*(1-fx)+v(x1, y1)*fx
				out.Samples = append(out.Samples, uint16(top*(1-fy)+low*fy+0.5))
			}
		}
	}
	own, edge := image.Rectangle{Max: image.Pt(l0.size(pp))}, int(math.Ceil(a.edge))
	return out, image.Rect(inX[0], inY[0], inX[1], inY[1]).Intersect(own.Inset(edge).Sub(r.Min)), nil
}

// lines are where n pixels from first on lie on another picture of a size, from
// the middle of its first pixel on, held inside; and which of them lie in what its
// edge leaves of it.
func lines(first, n, size int, edge float64, of func(float64) float64) (at []float64, in [2]int) {
	if edge > 0 {
		edge++ // beside it pixels are of both
	}
	for i := range n {
		v := of(float64(first+i) + 0.5)
		if v < edge {
			in[0] = i + 1
		}
		if v <= float64(size)-edge {
			in[1] = i + 1
		}
		at = append(at, min(max(v-0.5, 0), float64(size-1)))
	}
	in[0] = min(in[0], in[1])
	return at, in
}
