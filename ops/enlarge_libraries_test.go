package ops

import (
	"fmt"
	stdimage "image"
	"image/color"
	"testing"

	"github.com/disintegration/imaging"
	"golang.org/x/image/draw"

	"platemark/ops/colour"
)

// Enlarging and reducing agree with two general-purpose libraries,
// disintegration/imaging 1.6.2 (8 bits, encoded light) and golang.org/x/image's
// draw (16 bits inside), to their own precision: a step of 8 bits.
func TestEnlargeAgreesWithLibraries(t *testing.T) {
	const w, h = 40, 28
	space, _ := colour.Space("sRGB")
	at := func(x, y, c int) uint8 {
		v := 30 + 4*x + 2*y + 17*c
		if x > 18 && y > 9 {
			v = 200 - 3*y + 5*c
		}
		return uint8(v)
	}
	src := stdimage.NewNRGBA(stdimage.Rect(0, 0, w, h))
	rows := make(convertRows, h)
	for y := range h {
		rows[y] = make([]uint16, 3*w)
		for x := range w {
			src.SetNRGBA(x, y, color.NRGBA{at(x, y, 0), at(x, y, 1), at(x, y, 2), 255})
			for c := range 3 {
				rows[y][3*x+c] = uint16(at(x, y, c)) * 257
			}
		}
	}
	viaImaging := func(f imaging.ResampleFilter) func(W, H int) stdimage.Image {
		return func(W, H int) stdimage.Image { return imaging.Resize(src, W, H, f) }
	}
	viaDraw := func(s draw.Scaler) func(W, H int) stdimage.Image {
		return func(W, H int) stdimage.Image {
			dst := stdimage.NewNRGBA64(stdimage.Rect(0, 0, W, H))
			s.Scale(dst, dst.Bounds(), src, src.Bounds(), draw.Src, nil)
			return dst
		}
	}
	for _, c := range []struct {
		kernel, library string
		resize          func(W, H int) stdimage.Image
	}{
		{"lanczos3", "imaging", viaImaging(imaging.Lanczos)},
		{"mitchell", "imaging", viaImaging(imaging.MitchellNetravali)},
		{"cubic", "imaging", viaImaging(imaging.CatmullRom)},
		{"b-spline", "imaging", viaImaging(imaging.BSpline)},
		{"linear", "imaging", viaImaging(imaging.Linear)},
		{"cubic", "draw", viaDraw(draw.CatmullRom)},
		{"linear", "draw", viaDraw(draw.BiLinear)},
	} {
		for _, size := range [][2]int{{120, 84}, {67, 50}, {20, 14}, {13, 9}} {
			a := Args{{"kernel", c.kernel}, {"light", "encoded"}, {"width", fmt.Sprint(size[0])}, {"height", fmt.Sprint(size[1])}}
			s, err := enlargeV1.New(a, []Pic{{W: w, H: h, C: 3, Profile: space}}, Env{})
			if err != nil {
				t.Fatal(err)
			}
			other := c.resize(size[0], size[1])
			work := s.Worker()
			row := make([]uint16, 3*size[0])
			worst := 0
			for y := range size[1] {
				work.Row(row, y, []Rows{rows})
				for x := range size[0] {
					r, g, b, _ := other.At(x, y).RGBA()
					for k, v := range []uint32{r, g, b} {
						worst = max(worst, int(v)-int(row[3*x+k]), int(row[3*x+k])-int(v))
					}
				}
			}
			// A step of 8 bits is 257; imaging rounds twice, once a direction.
			if worst > 2*257 {
				t.Errorf("%s to %v differs from %s by %d of 65535", c.kernel, size, c.library, worst)
			}
		}
	}
}
