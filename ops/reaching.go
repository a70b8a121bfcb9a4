package ops

import "image"

// reaching is what steps have in common that read the pixels up to far around each,
// perhaps through a mask.
type reaching struct {
	pic  Pic
	mask *sampler // nil without
	far  int
	grid int // a part begins at a multiple of so many columns, 0 for any
}

func (s *reaching) Pic() Pic { return s.pic }

func (s *reaching) Window(in, y int) (lo, hi int) {
	if in == 1 {
		return s.mask.window(y)
	}
	return max(0, y-s.far), min(s.pic.H, y+s.far+1)
}

// around is r and as far around it as is read.
func (s *reaching) around(r image.Rectangle) image.Rectangle {
	n := r.Inset(-s.far).Intersect(image.Rect(0, 0, s.pic.W, s.pic.H))
	if s.grid > 0 {
		n.Min.X -= n.Min.X % s.grid
	}
	return n
}

func (s *reaching) Needs(in int, r image.Rectangle) image.Rectangle {
	n := s.around(r)
	if in == 1 {
		n.Min.Y, n.Max.Y = r.Min.Y, r.Max.Y
		return s.mask.needs(n)
	}
	return n
}

// part works on the columns around r, where those at the ends repeat what isn't
// the picture's edge: they are wrong as far as is read, and outside r.
func (s reaching) part(r image.Rectangle) (part reaching, left int) {
	n := s.around(r)
	s.pic.W, s.mask = n.Dx(), s.mask.part(n)
	return s, n.Min.X
}
