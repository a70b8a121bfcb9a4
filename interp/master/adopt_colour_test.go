package master

import (
	"image"
	"math/big"
	"testing"
)

// The conversion against the formula in exact fractions, with the colour
// differences interpolated by hand, for every way of storing them.
func TestAdoptColourExactly(t *testing.T) {
	for ratio, size := range map[image.YCbCrSubsampleRatio][2]int{image.YCbCrSubsampleRatio444: {1, 1}, image.YCbCrSubsampleRatio422: {2, 1},
		image.YCbCrSubsampleRatio440: {1, 2}, image.YCbCrSubsampleRatio420: {2, 2}, image.YCbCrSubsampleRatio411: {4, 1}, image.YCbCrSubsampleRatio410: {4, 2}} {
		m := image.NewYCbCr(image.Rect(0, 0, 13, 11), ratio)
		for _, p := range [][]uint8{m.Y, m.Cb, m.Cr} {
			for i := range p {
				p[i] = byte(i*i*31 ^ i*113)
			}
		}
		p, err := newPixels(m)
		if err != nil {
			t.Fatal(err)
		}
		w, h := (13+size[0]-1)/size[0], (11+size[1]-1)/size[1]
		// diff is the colour difference at pixel (x, y): the samples' middles
		// lie at (i + 1/2)·size, and beyond the outermost nothing changes.
		diff := func(c []uint8, x, y int) *big.Rat {
			axis := func(x, each, n int) (int, int, *big.Rat) {
				pos := new(big.Rat).Sub(big.NewRat(int64(2*x+1), int64(2*each)), big.NewRat(1, 2))
				if pos.Sign() < 0 {
					pos.SetInt64(0)
				}
				if last := big.NewRat(int64(n-1), 1); pos.Cmp(last) > 0 {
					pos = last
				}
				i := int(new(big.Int).Div(pos.Num(), pos.Denom()).Int64())
				return i, min(i+1, n-1), pos.Sub(pos, big.NewRat(int64(i), 1))
			}
			x0, x1, fx := axis(x, size[0], w)
			y0, y1, fy := axis(y, size[1], h)
			mix := func(a, b, f *big.Rat) *big.Rat {
				d := new(big.Rat).Sub(b, a)
				return d.Add(a, d.Mul(d, f))
			}
			at := func(x, y int) *big.Rat { return big.NewRat(int64(c[y*m.CStride+x]), 1) }
			v := mix(mix(at(x0, y0), at(x1, y0), fx), mix(at(x0, y1), at(x1, y1), fx), fy)
			return v.Sub(v, big.NewRat(128, 1))
		}
		for y := range 11 {
			for x := range 13 {
				var got [3]uint16
				p.at(got[:], x, y)
				cb, cr := diff(m.Cb, x, y), diff(m.Cr, x, y)
				l := big.NewRat(int64(m.Y[y*m.YStride+x]), 1)
				for i, k := range [3][2]int64{{0, 1402000}, {-344136, -714136}, {1772000, 0}} { // T.871, section 7
					v := new(big.Rat).Add(l, new(big.Rat).Mul(cb, big.NewRat(k[0], 1000000)))
					v.Add(v, new(big.Rat).Mul(cr, big.NewRat(k[1], 1000000)))
					v.Mul(v, big.NewRat(257, 1))
					f, _ := v.Float64()
					if f = max(0, min(65535, f)); float64(got[i])-f > 0.6 || f-float64(got[i]) > 0.6 {
						t.Fatalf("%v (%d, %d) channel %d: %d, want %v", ratio, x, y, i, got[i], f)
					}
				}
			}
		}
	}
}
