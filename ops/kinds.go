package ops

import (
	"fmt"
	"image"

	"platemark/ops/colour"
)

// maxSide is the longest side of a picture, px.
const maxSide = 300000

// sameProfile tells whether two pictures have the same encoding.
func sameProfile(a, b *colour.Profile) bool {
	return a == b || a != nil && b != nil && a.Digest() == b.Digest()
}

// greyOrRGB refuses pictures that are neither, or empty.
func greyOrRGB(what string, p Pic) error {
	if p.C != 1 && p.C != 3 || p.W < 1 || p.H < 1 {
		return fmt.Errorf("%s takes grey or RGB, this picture is %d x %d px with %d channels", what, p.W, p.H, p.C)
	}
	return nil
}

// lumaOf is the luminance weights of a colour picture's profile.
func lumaOf(what string, p Pic) (w [3]float32, err error) {
	if p.Profile == nil {
		return w, fmt.Errorf("%s needs a colour picture's profile for its luminance weights, and this picture has none", what)
	}
	for i, v := range p.Profile.Luma() {
		w[i] = float32(v)
	}
	return w, nil
}

// somePixels refuses empty pictures.
func somePixels(what string, p Pic) error {
	if p.W < 1 || p.H < 1 || p.C < 1 {
		return fmt.Errorf("%s: the picture has no pixels", what)
	}
	return nil
}

// curvesOnly refuses pictures that aren't grey or RGB by colorants and curves.
func curvesOnly(what string, p Pic) error {
	if err := greyOrRGB(what, p); err != nil {
		return err
	}
	switch {
	case p.Profile == nil:
		return fmt.Errorf("%s needs the picture's profile to know its light, and this picture has none", what)
	case p.C != p.Profile.Channels():
		return fmt.Errorf("%s was given a picture of %d channels whose profile has %d", what, p.C, p.Profile.Channels())
	}
	return curveSpace(what, p.Profile)
}

func curveSpace(what string, p *colour.Profile) error {
	if p.HasTables() {
		return fmt.Errorf("%s works in a space of curves, and the profile %q has tables; convert to a space such as opRGB first", what, p.Description())
	}
	return nil
}

// pixelwise is the step whose every pixel comes from that pixel of its input
// alone.
type pixelwise struct {
	pic Pic
	row func(dst, src []uint16)
}

func (s *pixelwise) Pic() Pic { return s.pic }

func (s *pixelwise) Window(_, y int) (lo, hi int) { return y, y + 1 }

func (s *pixelwise) Part(r image.Rectangle) (Step, int) {
	return &pixelwise{s.pic.wide(r.Dx()), s.row}, r.Min.X
}

// Worker is the step itself: a row needs no memory of others.
func (s *pixelwise) Worker() Worker { return s }

func (s *pixelwise) Row(dst []uint16, y int, in []Rows) { s.row(dst[:s.pic.Stride()], in[0].Row(y)) }

func (s *pixelwise) Needs(_ int, r image.Rectangle) image.Rectangle { return r }
