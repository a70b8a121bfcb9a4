package ops

import (
	"math"
	"math/big"
	"testing"

	"platemark/testdata/photos"
)

// slowAround is the guided filter of a plane in float64, block by block, without
// caches: means, then a and b, then their means, then lines between.
func slowAround(w, h, f, r int, v func(i int) float64) func(x, y int) float64 {
	blocks := func(n int) (count, lack int) {
		for count*f < n || (count*f-n)%2 != 0 {
			count++
		}
		return count, (count*f - n) / 2
	}
	bw, ex := blocks(w)
	bh, ey := blocks(h)
	small := make([]float64, bw*bh)
	n := make([]float64, bw*bh)
	for i := range w * h {
		k := (i/w+ey)/f*bw + (i%w+ex)/f
		small[k] += v(i)
		n[k]++
	}
	for i := range small {
		small[i] /= n[i]
	}
	window := func(of func(i int) float64) []float64 {
		out := make([]float64, bw*bh)
		for i := range out {
			n := 0.0
			for y := max(0, i/bw-r); y <= min(bh-1, i/bw+r); y++ {
				for x := max(0, i%bw-r); x <= min(bw-1, i%bw+r); x++ {
					out[i] += of(y*bw + x)
					n++
				}
			}
			out[i] /= n
		}
		return out
	}
	mean := window(func(i int) float64 { return small[i] })
	square := window(func(i int) float64 { return small[i] * small[i] })
	a := make([]float64, bw*bh)
	for i := range a {
		variance := square[i] - mean[i]*mean[i]
		a[i] = variance / (variance + 100)
	}
	b := window(func(i int) float64 { return (1 - a[i]) * mean[i] })
	a = window(func(i int) float64 { return a[i] })
	read := func(i, lack, n int) (int, int, float64) {
		p := math.Max(0, math.Min(float64(n-1), (float64(i+lack)+0.5)/float64(f)-0.5))
		k := int(p)
		return k, min(k+1, n-1), p - float64(k)
	}
	return func(x, y int) float64 {
		i0, i1, u := read(x, ex, bw)
		j0, j1, t := read(y, ey, bh)
		at := func(p []float64) float64 {
			return (1-t)*((1-u)*p[j0*bw+i0]+u*p[j0*bw+i1]) + t*((1-u)*p[j1*bw+i0]+u*p[j1*bw+i1])
		}
		return at(a)*v(y*w+x) + at(b)
	}
}

// surroundings are those of a plane of codes, 65535 taken as L* 100.
func surroundings(t *testing.T, in *canvas, radius *big.Rat) ([]float64, *toneAround) {
	t.Helper()
	a := newToneAround(in.W, in.H, radius)
	k := a.worker(func(dst []int32, row []uint16) {
		for i := range dst {
			dst[i] = int32(float64(row[i])/65535*100*65536 + 0.5)
		}
	})
	var out []float64
	for y := range in.H {
		lo, hi := a.window(y)
		k.load(y, &rowsOf{t: t, pic: in.Pic, data: in.data, lo: lo, hi: hi})
		p, q := make([]float64, in.W), make([]float64, in.W)
		for x := 0; x < in.W; x += 100 {
			n := min(x+100, in.W)
			k.read(p[x:n], q[x:n], x)
		}
		for x := range in.W {
			out = append(out, p[x]*float64(in.data[y*in.W+x])/65535*100+q[x])
		}
	}
	return out, a
}

func TestToneAroundEqualsDefinition(t *testing.T) {
	for _, radius := range []*big.Rat{big.NewRat(1, 5), big.NewRat(1, 2), big.NewRat(17, 5), big.NewRat(89, 10), big.NewRat(9, 1), big.NewRat(31, 2), big.NewRat(60, 1), big.NewRat(6000, 1)} {
		for _, in := range []*canvas{newImage(83, 61, 1).noise(3), newImage(84, 1, 1).noise(4)} {
			got, a := surroundings(t, in, radius)
			want := slowAround(in.W, in.H, a.f, a.r, func(i int) float64 { return float64(in.data[i]) / 65535 * 100 })
			for i := range got {
				// a is rounded to 65536ths, V is of L* in 256ths.
				if d := got[i] - want(i%in.W, i/in.W); math.Abs(d) > 0.02 {
					t.Fatalf("radius %v at %d: %v, want %v", radius, i, got[i], want(i%in.W, i/in.W))
				}
			}
		}
	}
}

func TestToneWithLargeRadius(t *testing.T) {
	a := Args{{"local", "1"}, {"local-radius", "14"}, {"chroma", "1/10"}}
	in := newImage(53, 67, 3).noise(8)
	anyOrder(t, toneV1, a, in)
	anyOrder(t, toneV1, a, in, newImage(20, 20, 1).noise(2))
	anyOrder(t, toneV1, a[:2], inSpace(newImage(70, 33, 1).noise(8), "grey-2.2"))
	anyOrder(t, toneV1, Args{{"local", "1"}, {"local-radius", "400"}}, in)
	for _, radius := range []string{"1", "4", "9", "12", "16", "70", "500"} {
		a := Args{{"local", "2"}, {"local-radius", radius}}
		for _, c := range []int{1, 3} {
			f := newImage(90, 71, c).fill(func(x, y, c int) uint16 { return uint16(700 + 31000*c) })
			in := newImage(90, 71, c).noise(5)
			if c == 1 {
				f, in = inSpace(f, "grey-2.2"), inSpace(in, "grey-2.2")
			}
			same(t, "flat", f, apply(t, toneV1, a, f))
			for _, across := range []bool{true, false} {
				same(t, "mirrored at "+radius, apply(t, toneV1, a, in.mirrored(across)), apply(t, toneV1, a, in).mirrored(across))
			}
		}
	}
	// Windows: ends never fall, and rows outside are never asked for (rowsIn).
	for _, radius := range []string{"1", "12", "25", "70"} {
		s := bind(t, toneV1, Args{{"local", "1"}, {"local-radius", radius}}, in)
		lo0, hi0 := 0, 0
		for y := range in.H {
			lo, hi := s.Window(0, y)
			if lo < lo0 || hi < hi0 || lo > y || hi <= y || hi > in.H {
				t.Errorf("radius %s: row %d asks for %d to %d after %d to %d", radius, y, lo, hi, lo0, hi0)
			}
			lo0, hi0 = lo, hi
		}
	}
}

func TestQualityOfLocalContrast(t *testing.T) {
	// A step of 40 L* in grey, from 30 to 70: how far the flats beside it are
	// pushed past their own lightness.
	in := inSpace(newImage(600, 9, 3), "sRGB")
	tone := in.Profile.Tone(0)
	in.fill(func(x, _, _ int) uint16 {
		if x >= 300 {
			return tone.Encode64(lightOfLab(70))
		}
		return tone.Encode64(lightOfLab(30))
	})
	for _, c := range []struct {
		local, before string
		most          float64
	}{{"1/4", "3.1", 1.5}, {"1/2", "4.6", 2.5}, {"1", "6.0", 4}} {
		for _, radius := range []string{"6", "20", "60"} {
			halo := photos.Halo(in.data, apply(t, toneV1, Args{{"local", c.local}, {"local-radius", radius}}, in).data)
			row(t, "halo of local contrast "+c.local+" at radius "+radius+" px on 40 L*, L*", c.before, "at most "+big.NewRat(int64(10*c.most), 10).FloatString(1), halo, halo <= c.most)
		}
	}
}
