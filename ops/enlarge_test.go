package ops

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"
)

func toSize(kernel, light string, w, h int) Args {
	return Args{{"kernel", kernel}, {"light", light}, {"width", strconv.Itoa(w)}, {"height", strconv.Itoa(h)}}
}

func TestEnlargeAgainstOwnFloat64AndPillow(t *testing.T) {
	// Source: testdata/standards/resample_images.csv, column renorm (float64,
	// equal to Pillow's within 0.004 where Pillow has the kernel).
	rows, notes := checkValues(t, "resample_images.csv")
	inputs := map[string]*canvas{}
	for _, l := range notes {
		f := strings.Fields(strings.TrimPrefix(l, "# input "))
		if !strings.HasPrefix(l, "# input ") {
			continue
		}
		name := strings.TrimSuffix(f[0], ":")
		if name == "grid6x6" {
			f = f[1:]
		}
		var v []uint16
		for _, s := range f[1:] {
			v = append(v, uint16(num(t, s)))
		}
		w := len(v)
		if name == "grid6x6" {
			w = 6
		}
		p := newImage(w, len(v)/w, 1)
		copy(p.data, v)
		inputs[name] = p
	}
	if len(inputs) != 5 {
		t.Fatalf("%d inputs", len(inputs))
	}
	outs := map[string]*canvas{}
	for _, r := range rows[1:] {
		in := inputs[r[0]]
		f := num(t, r[1])
		h := in.H
		if h > 1 {
			h = int(float64(h) * f)
		}
		key := strings.Join(r[:3], " ")
		for _, turned := range []bool{false, true} { // signals along y too
			if turned && in.H > 1 {
				continue
			}
			k := fmt.Sprint(key, turned)
			if outs[k] == nil {
				p, w, h := in, int(float64(in.W)*f), h
				if turned {
					p = newImage(1, in.W, 1)
					copy(p.data, in.data)
					w, h = 1, w
				}
				outs[k] = apply(t, enlargeV1, toSize(kernelWords[r[2]], "encoded", w, h), p)
			}
			got := outs[k]
			row, _ := strconv.Atoi(r[3])
			col, _ := strconv.Atoi(r[4])
			want := math.Min(65535, math.Max(0, num(t, r[6])))
			i := row*got.W + col
			if d := float64(got.data[i]) - want; math.Abs(d) > 0.52 {
				t.Errorf("%s row %d column %d: %d, want %v", k, row, col, got.data[i], want)
			}
		}
	}
}

// slowEnlarge is the operation one sample at a time: the same weights, the
// same order of additions, no caches and no shared loops.
func slowEnlarge(s *enlarge, in *canvas) *canvas {
	fold := func(w []float32, v func(int) float32) float32 {
		sum, n := float32(0), len(w)
		for a := range (n + 1) / 2 {
			b := n - 1 - a
			p := float32(w[a] * v(a))
			if a != b {
				p += float32(w[b] * v(b))
			}
			if a == 0 {
				sum = p
			} else {
				sum += p
			}
		}
		return sum
	}
	out := &canvas{s.out, make([]uint16, s.out.Stride()*s.out.H)}
	return out.fill(func(x, y, c int) uint16 {
		sum := fold(s.y().taps(y), func(r int) float32 {
			return fold(s.x().taps(x), func(t int) float32 {
				v := in.data[((int(s.y().start[y])+r)*in.W+int(s.x().start[x])+t)*in.C+c]
				if s.tones != nil {
					return s.tones[c].Decode()[v]
				}
				return float32(v)
			})
		})
		if s.tones != nil {
			return s.tones[c].Encode(sum)
		}
		if sum += 0.5; sum < 0 {
			return 0
		}
		return uint16(math.Min(65535, math.Floor(float64(sum))))
	})
}

func TestEnlargeEqualsSlow(t *testing.T) {
	for _, k := range kernels {
		for i, size := range [][4]int{{13, 9, 39, 27}, {13, 9, 26, 18}, {13, 9, 20, 31}, {13, 9, 5, 4}, {40, 30, 7, 3}, {1, 1, 4, 5}, {3, 2, 3, 2}, {1100, 2, 2300, 3}} {
			for _, c := range []int{1, 3} {
				for _, light := range []string{"encoded", "linear"} {
					if light == "linear" && (c == 1 || i > 3) {
						continue
					}
					in := newImage(size[0], size[1], c).noise(uint64(i))
					a := toSize(k.name, light, size[2], size[3])
					s := bind(t, enlargeV1, a, in).(*enlarge)
					same(t, fmt.Sprint(k.name, size, c, light), apply(t, enlargeV1, a, in), slowEnlarge(s, in))
				}
			}
		}
	}
}

func TestEnlargeAnyOrder(t *testing.T) {
	in := newImage(17, 23, 3).noise(1)
	anyOrder(t, enlargeV1, toSize("lanczos3", "encoded", 51, 69), in)
	anyOrder(t, enlargeV1, toSize("mitchell", "linear", 31, 40), in)
	anyOrder(t, enlargeV1, toSize("lanczos4", "encoded", 9, 7), in)
}

func TestCentresStay(t *testing.T) {
	// Source: libvips issue 705; the centroid in pixel-edge coordinates.
	centroid := func(p *canvas) float64 {
		var sum, at float64
		for i, v := range p.data {
			sum += float64(v)
			at += float64(v) * (float64(i) + 0.5)
		}
		return at / sum
	}
	for _, k := range kernels {
		for _, n := range []int{36, 14, 30, 9} { // x4, about x1.5 and x3.37, same
			for _, light := range []string{"encoded", "linear"} {
				row, col := newImage(9, 1, 1), newImage(1, 9, 1)
				row.data[4], col.data[4] = 65535, 65535
				row.Profile = newImage(1, 1, 3).Profile // its first curve will do
				col.Profile = row.Profile
				if k.support == 0 && n == 14 {
					continue // a copy can't keep it to a part of a pixel
				}
				for _, got := range []*canvas{
					apply(t, enlargeV1, toSize(k.name, light, n, 1), row),
					apply(t, enlargeV1, toSize(k.name, light, 1, n), col),
				} {
					if c := centroid(got); math.Abs(c-float64(n)/2) > 0.001 {
						t.Errorf("%s to %d: centroid %v, want %v", k.name, n, c, float64(n)/2)
					}
				}
			}
		}
		// Mirroring before or after is the same, bit for bit.
		for _, size := range [][2]int{{36, 21}, {14, 25}, {62, 31}, {8, 5}, {19, 13}} {
			for _, c := range []int{1, 3} {
				in := newImage(19, 13, c).noise(uint64(size[0]))
				a := toSize(k.name, "encoded", size[0], size[1])
				same(t, "left to right "+k.name, apply(t, enlargeV1, a, in.mirrored(false)), apply(t, enlargeV1, a, in).mirrored(false))
				same(t, "both ways "+k.name, apply(t, enlargeV1, a, in.mirrored(true)), apply(t, enlargeV1, a, in).mirrored(true))
			}
		}
	}
}

func TestLightOfFineTexture(t *testing.T) {
	// Source: disintegration/imaging issue 80: 188 +- 1 of 255 in linear light.
	in := newImage(512, 512, 3).fill(func(x, y, c int) uint16 { return uint16((x + y) % 2 * 65535) })
	for _, k := range []string{"linear", "mitchell", "lanczos3"} {
		for light, want := range map[string]float64{"linear": 48192, "encoded": 32767.5} {
			out := apply(t, enlargeV1, toSize(k, light, 32, 32), in)
			for y := 4; y < 28; y++ {
				for x := 4 * 3; x < 28*3; x++ {
					if v := float64(out.data[y*96+x]); math.Abs(v-want) > 257 {
						t.Fatalf("%s, light %s: %v, want %v", k, light, v, want)
					}
				}
			}
		}
	}
	pair := newImage(2, 1, 3).fill(func(x, y, c int) uint16 { return uint16(x * 65535) })
	// 48191.6 by the standard's formula; the profile holds its constants in
	// 65536ths, and is followed to the letter.
	if got := apply(t, enlargeV1, toSize("linear", "linear", 3, 1), pair).data[3:6]; got[0] < 48191 || got[0] > 48192 || got[1] != got[0] || got[2] != got[0] {
		t.Errorf("the middle of black and white is %v, want 48192", got)
	}
	ramp := newImage(4096, 1, 3).fill(func(x, y, c int) uint16 { return uint16(x * 16) })
	out := apply(t, enlargeV1, toSize("mitchell", "linear", 8192, 1), ramp)
	levels := map[uint16]bool{}
	for i := 0; i < len(out.data); i += 3 {
		levels[out.data[i]] = true
	}
	if len(levels) < 4096 {
		t.Errorf("%d levels left of 4096", len(levels))
	}
}

func TestRowsInsideLargerPictures(t *testing.T) {
	// Source: nfnt/resize pull request 14: rows that are cut out of a larger
	// picture give the same as a copy.
	big := newImage(64, 64, 3).noise(3)
	cut := newImage(32, 42, 3).fill(func(x, y, c int) uint16 { return big.data[((y+20)*64+x+10)*3+c] })
	for _, op := range []struct {
		op Operation
		a  Args
	}{
		{enlargeV1, toSize("lanczos3", "encoded", 77, 90)},
		{enlargeV1, toSize("cubic", "linear", 20, 11)},
		{sharpenV1, Args{{"radius", "9/5"}, {"amount", "19/10"}}},
	} {
		s := bind(t, op.op, op.a, cut)
		want := apply(t, op.op, op.a, cut)
		w := s.Worker()
		row := make([]uint16, s.Pic().Stride())
		for y := range s.Pic().H {
			w.Row(row, y, []Rows{inside{big}})
			for i, v := range row {
				if v != want.data[y*len(row)+i] {
					t.Fatalf("%s: row %d differs", op.op.Name, y)
				}
			}
		}
	}
}

type inside struct{ p *canvas }

func (r inside) Row(y int) []uint16 { return r.p.data[((y+20)*64+10)*3:][:32*3] }

func TestOvershootAndFlatParts(t *testing.T) {
	// Source: OpenImageIO pull request 569; 0.1912 and 0.8088 computed there
	// for a three-lobe Lanczos.
	step := func(a, b uint16) *canvas {
		return newImage(20, 1, 1).fill(func(x, y, c int) uint16 {
			if x < 10 {
				return a
			}
			return b
		})
	}
	out := apply(t, enlargeV1, toSize("lanczos3", "encoded", 80, 1), step(16384, 49151))
	lo, hi := 65535.0, 0.0
	for _, v := range out.data {
		lo, hi = math.Min(lo, float64(v)), math.Max(hi, float64(v))
	}
	if math.Abs(lo/65535-0.1912) > 1e-4 || math.Abs(hi/65535-0.8088) > 1e-4 {
		t.Errorf("overshoot to %v and %v", lo/65535, hi/65535)
	}
	for _, k := range kernels {
		out := apply(t, enlargeV1, toSize(k.name, "encoded", 80, 1), step(0, 65535))
		for i, v := range out.data[44:] {
			if v < 60000 {
				t.Errorf("%s: %d at %d of the white side", k.name, v, i)
			}
		}
		for _, light := range []string{"encoded", "linear"} {
			for _, n := range []int{101, 200, 730, 37, 9} {
				flat := newImage(100, 30, 3).fill(func(x, y, c int) uint16 { return 37777 })
				out := apply(t, enlargeV1, toSize(k.name, light, n, (30*n+50)/100), flat)
				for i, v := range out.data {
					if v != 37777 {
						t.Fatalf("%s, light %s, to %d: sample %d is %d", k.name, light, n, i, v)
					}
				}
			}
		}
	}
}

func TestWideSignedSums(t *testing.T) {
	// Source: libvips issue 4955: a dark dot in white and a light dot in black
	// must not wrap round.
	for _, k := range kernels {
		for _, v := range []uint16{0, 65535} {
			in := newImage(31, 31, 3).fill(func(x, y, c int) uint16 {
				if x == 15 && y == 15 {
					return v
				}
				return 65535 - v
			})
			out := apply(t, enlargeV1, toSize(k.name, "encoded", 93, 93), in)
			for i, got := range out.data {
				x, y := i/3%93-46, i/3/93-46
				if x*x+y*y > 36*9 && got != 65535-v {
					t.Fatalf("%s: %d far from the dot", k.name, got)
				}
				// More than a quarter off the field only near the dot.
				if d := int(got) - int(65535-v); x*x+y*y > 16 && (d > 16384 || d < -16384) {
					t.Fatalf("%s: %d at %d,%d from the dot", k.name, got, x, y)
				}
			}
		}
	}
}

func TestSameSizeIsTheSame(t *testing.T) {
	in := newImage(64, 64, 3).fill(func(x, y, c int) uint16 { return uint16((y*64 + x) * 16) })
	for _, k := range kernels {
		if k.name == "mitchell" || k.name == "b-spline" {
			continue // these smooth by definition
		}
		for _, light := range []string{"encoded", "linear"} {
			same(t, k.name, in, apply(t, enlargeV1, toSize(k.name, light, 64, 64), in))
		}
	}
	for _, op := range []Args{toSize("mitchell", "encoded", 90, 90), toSize("lanczos3", "linear", 50, 50)} {
		levels := map[uint16]bool{}
		for _, v := range apply(t, enlargeV1, op, in).data {
			levels[v] = true
		}
		if len(levels) <= 256 {
			t.Errorf("%d levels left", len(levels))
		}
	}
}

func TestNearestCopies(t *testing.T) {
	in := newImage(7, 5, 3).noise(2)
	out := apply(t, enlargeV1, toSize("nearest", "linear", 21, 10), in)
	for i, v := range out.data {
		x, y := i/3%21, i/3/21
		if v != in.data[(y/2*7+x/3)*3+i%3] {
			t.Fatalf("pixel %d,%d isn't a copy", x, y)
		}
	}
}

func TestEnlargeRefuses(t *testing.T) {
	p := newImage(5, 5, 3).Pic
	grey := Pic{W: 5, H: 5, C: 1}
	for _, c := range []struct {
		a    Args
		in   []Pic
		part string
	}{
		{toSize("bicubic", "encoded", 9, 9), []Pic{p}, "expected nearest, linear, cubic, mitchell, b-spline, lanczos2, lanczos3 or lanczos4"},
		{toSize("cubic", "gamma", 9, 9), []Pic{p}, "linear or encoded"},
		{toSize("cubic", "linear", 9, 9), []Pic{grey}, "has none"},
		{toSize("cubic", "encoded", 0, 9), []Pic{p}, "width is 0"},
		{toSize("cubic", "encoded", 9, 300001), []Pic{p}, "height is 300001"},
		{toSize("cubic", "encoded", 9, 9)[:3], []Pic{p}, "height is missing"},
		{toSize("cubic", "encoded", 9, 9), nil, "takes 1 picture"},
		{toSize("cubic", "encoded", 9, 9), []Pic{{W: 5, H: 5, C: 4}}, "4 channels"},
	} {
		if _, err := enlargeV1.New(c.a, c.in, Env{}); err == nil || !strings.Contains(err.Error(), c.part) {
			t.Errorf("%v: %v, want %q", c.a, err, c.part)
		}
	}
}

func BenchmarkEnlarge(b *testing.B) {
	in := newImage(6000, 64, 3)
	in.scene()
	for _, k := range []string{"lanczos3", "mitchell", "lanczos4"} {
		b.Run(k, func(b *testing.B) { benchSteps(b, 192, enlargeV1, toSize(k, "encoded", 18000, 192), in) })
	}
	b.Run("lanczos3 x2.97", func(b *testing.B) { benchSteps(b, 190, enlargeV1, toSize("lanczos3", "encoded", 17820, 190), in) })
	b.Run("lanczos3 linear", func(b *testing.B) { benchSteps(b, 192, enlargeV1, toSize("lanczos3", "linear", 18000, 192), in) })
	b.Run("lanczos3 grey", func(b *testing.B) {
		grey := newImage(6000, 64, 1).scene()
		benchSteps(b, 192, enlargeV1, toSize("lanczos3", "encoded", 18000, 192), grey)
	})
	b.Run("bind", func(b *testing.B) {
		for b.Loop() {
			bind(b, enlargeV1, toSize("lanczos3", "encoded", 17981, 11999), newImage(7360, 1, 3))
		}
	})
}
