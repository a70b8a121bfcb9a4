//go:build outside

package inspect

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"platemark/interp/engine"
	"platemark/testdata/photos"
)

// compressed is a picture after a JPEG file of a quality.
func (p *shot) compressed(t testing.TB, quality int) *shot {
	m := image.NewRGBA(image.Rect(0, 0, p.w, p.h))
	for i := range p.w * p.h {
		m.Set(i%p.w, i/p.w, color.RGBA{uint8(p.pix[3*i] >> 8), uint8(p.pix[3*i+1] >> 8), uint8(p.pix[3*i+2] >> 8), 255})
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, m, &jpeg.Options{Quality: quality}); err != nil {
		t.Fatal(err)
	}
	d, err := jpeg.Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	out := make([]uint16, len(p.pix))
	for i := range p.w * p.h {
		r, g, b, _ := d.At(i%p.w, i/p.w).RGBA()
		out[3*i], out[3*i+1], out[3*i+2] = uint16(r), uint16(g), uint16(b)
	}
	return newShot(out, p.w, p.h)
}

// each is a picture whose samples are changed one by one.
func (p *shot) each(f func(x, y, c int, v float64) float64) *shot {
	out := make([]uint16, len(p.pix))
	for i, v := range p.pix {
		out[i] = uint16(max(0, min(65535, f(i/3%p.w, i/3/p.w, i%3, float64(v))+0.5)))
	}
	return newShot(out, p.w, p.h)
}

// blurred is a picture with the mean of (2r+1)^2 pixels twice.
func (p *shot) blurred(r int) *shot {
	out := p
	for range 2 {
		from := out
		out = from.each(func(x, y, c int, _ float64) float64 {
			s := 0.0
			for dy := -r; dy <= r; dy++ {
				for dx := -r; dx <= r; dx++ {
					s += float64(from.pix[3*(min(max(y+dy, 0), p.h-1)*p.w+min(max(x+dx, 0), p.w-1))+c])
				}
			}
			return s / float64((2*r+1)*(2*r+1))
		})
	}
	return out
}

func (r *Report) fault(k Kind) (f Fault) {
	for _, f := range r.Faults {
		if f.Kind == k {
			return f
		}
	}
	return f
}

// What earlier work left, planted on photographs at half size, where none has any of
// it: each is told, and nothing else.
func TestFaultsOnPhotographs(t *testing.T) {
	for _, name := range []string{"beach", "hills", "storm"} {
		pix, w, h := photos.Open(t, name, 2)
		p := newShot(pix, w, h).part(1100, 760)
		soft := p.blurred(1)
		// Sharpening by 3 pixels leaves no rims on what is out of focus by more, and
		// grain beside edges hides them.
		var halo []Kind
		if name == "hills" || name == "storm" {
			halo = []Kind{Halo}
		}
		rng := rand.New(rand.NewPCG(3, 3))
		row := make([]float64, h)
		for i := range row {
			row[i] = 400 * rng.NormFloat64()
		}
		for _, c := range []struct {
			what string
			of   *shot
			is   []Kind
		}{
			{"as it is", p, nil},
			{"quality 95", p.compressed(t, 95), nil},
			{"quality 30", p.compressed(t, 30), []Kind{Blocks}},
			{"24 levels", p.each(func(_, _, _ int, v float64) float64 { return math.Floor(v/65536*24) * 65535 / 23 }), []Kind{Posterised}},
			{"sharpened hard", p.each(func(x, y, c int, v float64) float64 {
				return v + 2.5*(v-float64(soft.pix[3*(y*p.w+x)+c]))
			}), halo},
			{"stripes", p.each(func(_, y, _ int, v float64) float64 { return v + row[y] }), []Kind{Banding}},
		} {
			r := c.of.look(t, engine.Options{})
			var got []Kind
			for _, f := range r.Faults {
				if !slices.Contains(got, f.Kind) {
					got = append(got, f.Kind)
				}
			}
			t.Logf("%-10s %-14s %v", name, c.what, r.Faults)
			if !slices.Equal(got, c.is) {
				t.Errorf("%s, %s: %v, want %v", name, c.what, got, c.is)
			}
		}
	}
}
