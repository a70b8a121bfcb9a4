package ops

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

func edge(width, way, colour string) Args {
	a := Args{{"width", width}}
	if way != "" {
		a = append(a, Arg{"way", way})
	}
	if colour != "" {
		a = append(a, Arg{"colour", colour})
	}
	return a
}

func row16(v ...uint16) *canvas { return &canvas{Pic{W: len(v), H: 1, C: 1}, v} }

func TestWrapByHand(t *testing.T) {
	// One axis at a time: the picture is three columns, each all of one value,
	// so that rows only repeat themselves.
	columns := func(v ...uint16) *canvas {
		return newImage(len(v), 8, 1).fill(func(x, _, _ int) uint16 { return v[x] })
	}
	for _, c := range []struct {
		way   string
		width string
		in    *canvas
		want  []uint16
	}{
		{"mirror", "1", columns(10, 20, 40), []uint16{10, 10, 20, 40, 40}},
		{"mirror", "3", columns(10, 20, 40), []uint16{40, 20, 10, 10, 20, 40, 40, 20, 10}},
		{"picture", "1", columns(10, 20, 40), []uint16{10, 20, 40}},
		{"colour", "2", columns(10, 20, 40), []uint16{7, 7, 10, 20, 40, 7, 7}},
		// Outward from the left fold: places -1/4, 1/4, 3/4, 5/4: pixel 0;
		// 3/4 10 + 1/4 20 = 12.5, up; 1/4 10 + 3/4 20 = 17.5; 3/4 20 + 1/4 40 = 25.
		// From the right fold: 40; 35; 25; 17.5.
		{"stretch", "4", columns(10, 20, 40), []uint16{25, 18, 13, 10, 10, 20, 40, 40, 35, 25, 18}},
		// Six: 7/4: 1/4 20 + 3/4 40 = 35; 9/4 lies beyond the last pixel: 40 and 10.
		{"stretch", "6", columns(10, 20, 40), []uint16{40, 35, 25, 18, 13, 10, 10, 20, 40, 40, 35, 25, 18, 13, 10}},
	} {
		colour := ""
		if c.way == "colour" {
			colour = "7"
		}
		out := apply(t, wrapV1, edge(c.width, c.way, colour), c.in)
		if got := out.data[out.H/2*out.W:][:out.W]; !slices.Equal(got, c.want) {
			t.Errorf("%s %s across: %v, want %v", c.way, c.width, got, c.want)
		}
		// The same down the rows.
		turned := newImage(c.in.H, c.in.W, 1).fill(func(_, y, _ int) uint16 { return c.in.data[y] })
		out = apply(t, wrapV1, edge(c.width, c.way, colour), turned)
		for y, want := range c.want {
			if got := out.data[y*out.W+out.W/2]; got != want {
				t.Errorf("%s %s down: row %d is %d, want %d", c.way, c.width, y, got, want)
			}
		}
	}
	// A corner of a stretch: across and down at once. Two by two pixels 0, 16 and
	// 32, 64, width 2: the outermost has places 1/4 and 1/4:
	// 9/16 0 + 3/16 16 + 3/16 32 + 1/16 64 = 13.
	out := apply(t, wrapV1, edge("2", "stretch", ""), &canvas{Pic{W: 2, H: 2, C: 1}, []uint16{0, 16, 32, 64}})
	if out.data[0] != 13 || out.data[out.W+1] != 0 || out.data[1] != 8 {
		t.Errorf("corner %v", out.data)
	}
}

func TestWrapEqualsSlow(t *testing.T) {
	for _, c := range []int{1, 3} {
		in := newImage(23, 17, c).noise(4)
		at := func(x, y, k int) float64 {
			x, y = max(0, min(in.W-1, x)), max(0, min(in.H-1, y))
			return float64(in.data[(y*in.W+x)*c+k])
		}
		for _, w := range []int{1, 2, 5, 16, 17} {
			for _, way := range []string{"mirror", "stretch"} {
				// place is where a column or row lies in the picture.
				place := func(i, n int) float64 {
					t := float64(i - w)
					far := t > float64(n-1)
					if far {
						t = float64(n-1) - t
					}
					if t < 0 {
						d := -1 - t
						if t = d; way == "stretch" {
							t = math.Max(0, d/2-0.25)
						}
					} else if far {
						t = 0
					}
					if far {
						return float64(n-1) - t
					}
					return t
				}
				got := apply(t, wrapV1, edge(num32(w), way, ""), in)
				want := &canvas{Pic{W: in.W + 2*w, H: in.H + 2*w, C: c}, make([]uint16, (in.W+2*w)*(in.H+2*w)*c)}
				want.fill(func(x, y, k int) uint16 {
					px, py := place(x, in.W), place(y, in.H)
					x0, y0 := math.Floor(px), math.Floor(py)
					fx, fy := px-x0, py-y0
					i, j := int(x0), int(y0)
					v := (1-fy)*((1-fx)*at(i, j, k)+fx*at(i+1, j, k)) + fy*((1-fx)*at(i, j+1, k)+fx*at(i+1, j+1, k))
					return uint16(math.Floor(v + 0.5))
				})
				same(t, way, got, want)
			}
		}
	}
}

func num32(n int) string {
	var b []byte
	for ; n > 0; n /= 10 {
		b = append([]byte{byte('0' + n%10)}, b...)
	}
	return string(b)
}

func TestBorderByHand(t *testing.T) {
	in := newImage(2, 1, 3)
	copy(in.data, []uint16{1, 2, 3, 4, 5, 6})
	out := apply(t, borderV1, edge("1", "", "65535 0 9"), in)
	w := []uint16{65535, 0, 9}
	want := slices.Concat(w, w, w, w, w, []uint16{1, 2, 3, 4, 5, 6}, w, w, w, w, w)
	if out.W != 4 || out.H != 3 || !slices.Equal(out.data, want) {
		t.Errorf("%d x %d: %v, want %v", out.W, out.H, out.data, want)
	}
	grey := apply(t, borderV1, edge("2", "", "500"), row16(8, 9))
	if grey.W != 6 || grey.H != 5 || !slices.Equal(grey.data[12:18], []uint16{500, 500, 8, 9, 500, 500}) || grey.data[0] != 500 || grey.data[29] != 500 {
		t.Errorf("grey: %v", grey.data)
	}
}

func TestEdgesAnyOrderAndWindows(t *testing.T) {
	in := newImage(19, 23, 3).noise(1)
	for _, c := range []struct {
		o Operation
		a Args
	}{
		{borderV1, edge("7", "", "1 2 3")}, {wrapV1, edge("7", "mirror", "")}, {wrapV1, edge("19", "mirror", "")},
		{wrapV1, edge("11", "stretch", "")}, {wrapV1, edge("36", "stretch", "")}, {wrapV1, edge("5", "picture", "")}, {wrapV1, edge("5", "colour", "1 2 3")},
	} {
		anyOrder(t, c.o, c.a, in)
		s := bind(t, c.o, c.a, in)
		last := 0
		for y := range s.Pic().H {
			lo, hi := s.Window(0, y)
			if lo < last || lo >= hi || hi > in.H {
				t.Errorf("%s %v: row %d asks for rows %d to %d after %d", c.o.Name, c.a, y, lo, hi, last)
			}
			last = lo
		}
		out := apply(t, c.o, c.a, in)
		back := apply(t, c.o, c.a, in.mirrored(true))
		same(t, "mirror", out.mirrored(true), back)
		if way := c.a[1].Value; way == "picture" {
			same(t, way, in, out)
		}
	}
	// Random sizes, down to one pixel: the face is the picture, and every edge
	// is what the other way of drawing it gives.
	rng := rand.New(rand.NewPCG(5, 5))
	for range 200 {
		in := newImage(1+rng.IntN(9), 1+rng.IntN(9), 1).noise(rng.Uint64())
		w := 1 + rng.IntN(min(in.W, in.H))
		for _, way := range []string{"mirror", "stretch"} {
			out := apply(t, wrapV1, edge(num32(w), way, ""), in)
			for i, v := range in.data {
				if out.data[(i/in.W+w)*out.W+i%in.W+w] != v {
					t.Fatalf("%s %d of %d x %d: the face changed", way, w, in.W, in.H)
				}
			}
		}
	}
}

func TestEdgesRefuse(t *testing.T) {
	in := newImage(20, 10, 3)
	for _, c := range []struct {
		o    Operation
		a    Args
		want string
	}{
		{borderV1, edge("0", "", "1 2 3"), "expected 1 to 200000 px"},
		{borderV1, edge("5/2", "", "1 2 3"), "whole number"},
		{borderV1, edge("99999999999999999999", "", "1 2 3"), "expected 1 to 200000 px"},
		{borderV1, edge("100000", "", "1 2 3"), ""},
		{borderV1, edge("5", "", ""), "colour is missing"},
		{borderV1, edge("5", "", "1 2"), "has 2 codes, and the picture has 3 channels"},
		{borderV1, edge("5", "", "1 2 65536"), "whole codes from 0 to 65535"},
		{borderV1, edge("5", "", "1 2 -1"), "whole codes"},
		{borderV1, edge("5", "", "1 2 1/2"), "whole codes"},
		{borderV1, edge("5", "", "1 2 white"), "reduced fraction"},
		{wrapV1, edge("5", "", ""), "way is missing"},
		{wrapV1, edge("5", "round", ""), `way is "round", expected mirror, stretch, picture or colour`},
		{wrapV1, edge("5", "mirror", "1 2 3"), "takes no colour"},
		{wrapV1, edge("11", "mirror", ""), "more than a picture of 20 x 10 px can fill"},
		{wrapV1, edge("21", "stretch", ""), "more than a picture"},
		{wrapV1, edge("5", "picture", ""), "leave nothing"},
		{wrapV1, edge("5", "colour", ""), "colour is missing"},
	} {
		_, err := c.o.New(c.a, []Pic{in.Pic}, Env{})
		if c.want == "" && err == nil {
			continue
		}
		if err == nil || c.want == "" || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s %v: %v, want %q", c.o.Name, c.a, err, c.want)
		}
	}
	if _, err := wrapV1.New(edge("5", "mirror", ""), nil, Env{}); err == nil {
		t.Error("a wrap of nothing was accepted")
	}
	if _, err := borderV1.New(edge("9", "", "1 2 3"), []Pic{{W: 299990, H: 5, C: 3}}, Env{}); err == nil {
		t.Error("a picture of more than 300000 px was accepted")
	}
}
