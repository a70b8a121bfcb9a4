package desk

import (
	"context"
	"errors"
	"fmt"
	"image"
	"image/png"
	"math/big"
	"slices"

	"platemark/cmd/platemark/view"
	"platemark/interp"
	"platemark/interp/plan"
	"platemark/ops"
	"platemark/ops/colour"
	"platemark/ops/exact"
	"platemark/ops/raster"
)

// A level is a picture at a size to be looked at: its true pixels; their means,
// by so many across and down; or the plan run small, w px wide.
type level struct{ by, w int }

// tileMost is the longest side of a tile, in pixels of its level.
const tileMost = 512

// size is that of a picture at a level.
func (l level) size(pic ops.Pic) (w, h int) {
	if l.w > 0 {
		return l.w, max(1, exact.Nearest(big.NewRat(int64(pic.H)*int64(l.w), int64(pic.W))))
	}
	return pic.W / l.by, pic.H / l.by
}

// errUnknown says that a picture isn't there any more: the text has moved on.
var errUnknown = errors.New("this picture is of a text that has moved on")

// mostShown is how many pictures are known at a time, each with its plan of a
// megabyte or two, mostHeld of how many the session holds what they are made from,
// mostSmall how many are kept run small.
const (
	mostShown = 24
	mostHeld  = 3
	mostSmall = 4
)

// remember makes a plan's last picture known by its key.
func (s *Server) remember(key string, p *plan.Print) {
	s.plansMu.Lock()
	defer s.plansMu.Unlock()
	if i := slices.Index(s.recent, key); i >= 0 {
		s.recent = slices.Delete(s.recent, i, i+1)
	}
	s.recent = append(s.recent, key)
	s.plans[key] = p
	if len(s.recent) > mostShown {
		delete(s.plans, s.recent[0])
		s.recent = s.recent[1:]
	}
}

// useWhole makes the whole picture of a plan known, and calls do while it has the
// session; see use.
func (s *Server) useWhole(ctx context.Context, p *plan.Print, do func() error) error {
	key := p.Nodes[p.Out].Key.String()
	s.remember(key, p)
	return s.use(ctx, key, func(*plan.Print) error { return do() })
}

// use calls do while it has the session, and gives back what neither the picture of
// that key needs nor those that became known last: what older ones need is computed
// again where undo leads back to them.
func (s *Server) use(ctx context.Context, key string, do func(p *plan.Print) error) error {
	select {
	case s.turn <- struct{}{}:
	case <-ctx.Done():
		return context.Cause(ctx)
	}
	defer func() { <-s.turn }()
	s.plansMu.Lock()
	p := s.plans[key]
	all := []*plan.Print{p}
	for _, k := range s.recent[max(0, len(s.recent)-mostHeld):] {
		all = append(all, s.plans[k])
	}
	s.plansMu.Unlock()
	if p == nil {
		return errUnknown
	}
	s.session.Release(all)
	defer func() {
		if s.busy.Swap(false) {
			s.tell("busy ")
		}
	}()
	return do(p)
}

// small is a picture of a plan run small, kept for the tiles to come.
type small struct {
	key  string
	w    int
	mask bool
	interp.Picture
}

// keptSmall finds a small picture or makes it; whoever calls it has the session.
func (s *Server) keptSmall(key string, w int, mask bool, build func() (interp.Picture, error)) (interp.Picture, error) {
	for _, m := range s.smalls {
		if m.key == key && m.w == w && m.mask == mask {
			return m.Picture, nil
		}
	}
	m, err := build()
	if err != nil {
		return m, err
	}
	s.smalls = append(s.smalls, small{key, w, mask, m})
	if len(s.smalls) > mostSmall {
		s.smalls = slices.Delete(s.smalls, 0, 1)
	}
	return m, nil
}

// part is a part of a picture at a level.
func (s *Server) part(ctx context.Context, p *plan.Print, l level, r image.Rectangle) (interp.Picture, error) {
	pic := p.Nodes[p.Out].Pic
	if l.w == 0 {
		m, err := s.session.Region(ctx, p, p.Out, image.Rectangle{r.Min.Mul(l.by), r.Max.Mul(l.by)})
		if err != nil || l.by == 1 {
			return m, err
		}
		return means(m, l.by, r), nil
	}
	w, h := l.size(pic)
	whole, err := s.keptSmall(p.Nodes[p.Out].Key.String(), w, false, func() (interp.Picture, error) { return s.session.Reduced(ctx, p, p.Out, w, h) })
	if err != nil {
		return whole, err
	}
	return cut(whole, r), nil
}

// means are the means of by x by pixels of a part, which lies at r then.
func means(m interp.Picture, by int, r image.Rectangle) interp.Picture {
	out := interp.Picture{Pic: m.Pic, At: r.Min}
	out.W, out.H = r.Dx(), r.Dy()
	out.Samples = make([]uint16, out.W*out.H*m.C)
	for y := range out.H {
		sum := make([]int, out.W*m.C)
		for k := range by {
			row := m.Samples[(y*by+k)*m.W*m.C:][:m.W*m.C]
			for i, v := range row {
				sum[i/m.C/by*m.C+i%m.C] += int(v)
			}
		}
		for i, v := range sum {
			out.Samples[y*out.W*m.C+i] = uint16((v + by*by/2) / (by * by))
		}
	}
	return out
}

// plain writes tiles without compressing them: they go no farther than this
// machine.
var plain = png.Encoder{CompressionLevel: png.NoCompression}

// wanted is a tile that waits for the session; with made set another one's turn
// has made it.
type wanted struct {
	key  string
	l    level
	r    image.Rectangle
	m    interp.Picture
	made bool
}

// beside are the tiles waiting for parts of whole that fill one rectangle with q, q
// among them, and that rectangle: what tiles share, such as their surroundings, is
// computed once so. Whoever calls it has the session.
func (s *Server) beside(q *wanted, whole image.Rectangle) (list []*wanted, all image.Rectangle) {
	area := func(r image.Rectangle) int { return r.Dx() * r.Dy() }
	s.plansMu.Lock()
	defer s.plansMu.Unlock()
	list, all = []*wanted{q}, q.r
	for range s.waiting { // each round may let another in
		for _, o := range s.waiting {
			if both := all.Union(o.r); o.key == q.key && o.l == q.l && !o.made && o.r.In(whole) && area(both) == area(all)+area(o.r) {
				list, all = append(list, o), both
			}
		}
	}
	return list, all
}

// partOf is a part of a picture at a level, computed together with the tiles that
// wait beside it.
func (s *Server) partOf(ctx context.Context, key string, l level, r image.Rectangle) (interp.Picture, error) {
	q := &wanted{key: key, l: l, r: r}
	s.plansMu.Lock()
	s.waiting = append(s.waiting, q)
	s.plansMu.Unlock()
	defer func() {
		s.plansMu.Lock()
		defer s.plansMu.Unlock()
		s.waiting = slices.DeleteFunc(s.waiting, func(o *wanted) bool { return o == q })
	}()
	err := s.use(ctx, key, func(p *plan.Print) error {
		if q.made {
			return nil
		}
		w, h := l.size(p.Nodes[p.Out].Pic)
		if !r.In(image.Rect(0, 0, w, h)) {
			return fmt.Errorf("the part %v doesn't lie in the picture of %d x %d px", r, w, h)
		}
		list, all := s.beside(q, image.Rect(0, 0, w, h))
		m, err := s.part(ctx, p, l, all)
		if err != nil {
			return err
		}
		for _, o := range list {
			o.m, o.made = cut(m, o.r), true
		}
		return nil
	})
	if err != nil {
		return interp.Picture{}, err
	}
	return q.m, nil
}

// cut is the part of a picture at r, which lies in it.
func cut(m interp.Picture, r image.Rectangle) interp.Picture {
	if r == image.Rect(0, 0, m.W, m.H).Add(m.At) {
		return m
	}
	out := interp.Picture{Pic: m.Pic, At: r.Min}
	out.W, out.H = r.Dx(), r.Dy()
	out.Samples = make([]uint16, 0, out.W*out.H*m.C)
	for y := r.Min.Y; y < r.Max.Y; y++ {
		from := ((y-m.At.Y)*m.W + r.Min.X - m.At.X) * m.C
		out.Samples = append(out.Samples, m.Samples[from:from+out.Stride()]...)
	}
	return out
}

// tile is a part of a picture at a level as a PNG file, in 8 bits as print files
// have them, with the picture's own profile.
func (s *Server) tile(ctx context.Context, key string, l level, r image.Rectangle) ([]byte, error) {
	m, err := s.partOf(ctx, key, l, r)
	if err != nil {
		return nil, err
	}
	if e := s.eye(key); e != nil {
		return shownBy(e, m, s.session.Workers)
	}
	row := make([]byte, m.Stride())
	var icc []byte
	if m.Profile != nil {
		icc = m.Profile.Bytes()
	}
	if m.C == 1 {
		g := image.NewGray(image.Rect(0, 0, m.W, m.H))
		for y := range m.H {
			raster.Eight(g.Pix[y*g.Stride:], m.Samples[y*m.W:(y+1)*m.W], 1, m.At.X, m.At.Y+y)
		}
		return view.PNG(&plain, g, icc)
	}
	out := image.NewNRGBA(image.Rect(0, 0, m.W, m.H))
	for y := range m.H {
		raster.Eight(row, m.Samples[y*m.Stride():(y+1)*m.Stride()], 3, m.At.X, m.At.Y+y)
		for x := range m.W {
			to, px := out.Pix[y*out.Stride+4*x:][:4], row[3*x:][:3]
			to[0], to[1], to[2], to[3] = px[0], px[1], px[2], 255
		}
	}
	return view.PNG(&plain, out, icc)
}

// maskLong is the longer side of the frame on which a mask is drawn for a
// picture that is looked at small.
const maskLong = 1400

// mask is a mask's strength over a part of a picture at a level, as the opacity
// of a PNG file.
func (s *Server) mask(ctx context.Context, key, mask string, l level, r image.Rectangle) ([]byte, error) {
	out := image.NewNRGBA(image.Rect(0, 0, r.Dx(), r.Dy()))
	err := s.use(ctx, key, func(p *plan.Print) error {
		n := maskNode(p, mask)
		if n < 0 {
			return errUnknown
		}
		over := newOver(p, l)
		m, err := s.maskPart(ctx, p, n, l, over, r)
		if err != nil {
			return err
		}
		scale := float64(m.of.X) / float64(p.FrameW)
		for y := range r.Dy() {
			for x := range r.Dx() {
				fx, fy := over.frame(float64(r.Min.X+x)+0.5, float64(r.Min.Y+y)+0.5)
				at := image.Pt(int(fx*scale), int(fy*scale)).Sub(m.At)
				if fx >= 0 && fy >= 0 && at.In(image.Rect(0, 0, m.W, m.H)) {
					out.Pix[y*out.Stride+4*x+3] = uint8(m.Samples[at.Y*m.W+at.X] >> 8)
				}
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return view.PNG(&plain, out, nil)
}

func maskNode(p *plan.Print, key string) int {
	return slices.IndexFunc(p.Nodes, func(n plan.Node) bool { return n.Op == "mask" && n.Key.String() == key })
}

// over lays pixels of a level over the frame.
type over struct{ x0, y0, dx, dy, edge float64 }

func newOver(p *plan.Print, l level) over {
	pic, lies := p.Nodes[p.Out].Pic, p.Lies(p.Out)
	w, _ := l.size(pic)
	px := float64(pic.W) / float64(w) // of the picture to one of the level
	if l.w == 0 {
		px = float64(l.by)
	}
	in := func(size int) float64 { return float64(size - 2*lies.Edge) }
	return over{flt(lies.Covers.X0), flt(lies.Covers.Y0), flt(lies.Covers.W()) / in(pic.W) * px, flt(lies.Covers.H()) / in(pic.H) * px, float64(lies.Edge) / px}
}

// frame is the place on the frame under a place of the level.
func (o over) frame(x, y float64) (float64, float64) {
	return o.x0 + (x-o.edge)*o.dx, o.y0 + (y-o.edge)*o.dy
}

// maskPicture is a part of a mask, drawn on a frame of that size.
type maskPicture struct {
	interp.Picture
	of image.Point
}

// maskPart is the part of a mask that lies under r: from the mask itself where
// it is looked at near, else drawn small.
func (s *Server) maskPart(ctx context.Context, p *plan.Print, n int, l level, o over, r image.Rectangle) (maskPicture, error) {
	frame := p.Nodes[n].Pic
	if l.w == 0 {
		x0, y0 := o.frame(float64(r.Min.X), float64(r.Min.Y))
		x1, y1 := o.frame(float64(r.Max.X), float64(r.Max.Y))
		under := image.Rect(int(x0), int(y0), int(x1)+1, int(y1)+1).Intersect(image.Rect(0, 0, frame.W, frame.H))
		if under.Empty() {
			return maskPicture{}, nil
		}
		m, err := s.session.Region(ctx, p, n, under)
		return maskPicture{m, image.Pt(frame.W, frame.H)}, err
	}
	m, err := s.keptSmall(p.Nodes[n].Key.String(), maskLong, true, func() (interp.Picture, error) { return s.session.SmallMask(ctx, p, n, maskLong) })
	return maskPicture{m, image.Pt(m.W, m.H)}, err
}

// values are the samples of one pixel of a picture, 0 to 65535, its colour with
// white at L* 100, and the strength of a mask there, where one is named.
type values struct {
	Codes []uint16   `json:"codes"`
	Lab   [3]float64 `json:"lab"`
	Mask  *float64   `json:"mask,omitempty"`
}

func (s *Server) values(ctx context.Context, key, mask string, at image.Point) (v values, err error) {
	err = s.use(ctx, key, func(p *plan.Print) error {
		px := image.Rectangle{at, at.Add(image.Pt(1, 1))}
		m, err := s.session.Region(ctx, p, p.Out, px)
		if err != nil {
			return err
		}
		v.Codes = m.Samples
		if m.Profile != nil {
			to, err := colour.NewToLab(m.Profile, colour.Relative)
			if err != nil {
				return err
			}
			var lab [1]colour.Lab
			to.Row(lab[:], m.Samples)
			v.Lab = [3]float64{lab[0].L, lab[0].A, lab[0].B}
		}
		if e := s.eye(key); e != nil {
			lab, _ := e.Screen(m, 1)
			v.Lab = [3]float64{lab[0].L, lab[0].A, lab[0].B}
		}
		if n := maskNode(p, mask); n >= 0 {
			l := level{by: 1}
			k, err := s.maskPart(ctx, p, n, l, newOver(p, l), px)
			if err != nil || len(k.Samples) == 0 {
				return err
			}
			share := float64(k.Samples[0]) / 65535
			v.Mask = &share
		}
		return nil
	})
	return v, err
}
