package ops

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

func cropArgs(x, y, w, h int) Args {
	return Args{{"x", fmt.Sprint(x)}, {"y", fmt.Sprint(y)}, {"w", fmt.Sprint(w)}, {"h", fmt.Sprint(h)}}
}

func cropped(t *testing.T, p *plane, x, y, w, h int) *plane {
	t.Helper()
	s, err := CropV1.New(cropArgs(x, y, w, h), []Pic{p.pic}, Env{})
	if err != nil {
		t.Fatal(err)
	}
	return &plane{pic: s.Pic(), data: checkOrders(t, s, p)}
}

// gradient16 is a picture whose samples name their place: 1000 y + 3 x + c.
func gradient16(w, h, c int) *plane {
	p := &plane{pic: Pic{W: w, H: h, C: c}, data: make([]uint16, w*h*c)}
	for i := range p.data {
		p.data[i] = uint16(1000*(i/c/w) + 3*(i/c%w) + i%c)
	}
	return p
}

func TestCropStartsAtItsOwnCorner(t *testing.T) {
	for _, c := range []int{1, 3} {
		got := cropped(t, gradient16(64, 64, c), 10, 20, 32, 32)
		if got.pic != (Pic{W: 32, H: 32, C: c}) {
			t.Fatalf("the crop is %+v", got.pic)
		}
		for i, v := range got.data {
			if want := uint16(1000*(20+i/c/32) + 3*(10+i/c%32) + i%c); v != want {
				t.Fatalf("%d channels, sample %d: %d, want %d", c, i, v, want)
			}
		}
	}
}

// view is a rectangle of a larger picture whose rows run on beyond it.
type view struct {
	p    *plane
	x, y int
	w    int
}

func (v view) Row(y int) []uint16 {
	c := v.p.pic.C
	row := v.p.data[(y+v.y)*v.p.pic.Stride():]
	return row[v.x*c : (v.x+v.w)*c]
}

func TestStepsDoNotSeeWhereAPictureWasCut(t *testing.T) {
	// The same samples, once as a part of a larger picture, once alone.
	rng := rand.New(rand.NewPCG(11, 12))
	whole := noise(rng, Pic{W: 64, H: 64, C: 3})
	alone := cropped(t, whole, 10, 20, 32, 32)
	for _, c := range []struct {
		o Operation
		a Args
	}{
		{CropV1, cropArgs(1, 2, 8, 9)},
		{TurnV1, Args{{"orientation", "2"}}},
		{TurnV1, Args{{"orientation", "3"}}},
		{TurnV1, Args{{"orientation", "6"}}},
		{SpotsV1, spotArgs("at 1 1 radius 3 soft 0", "at 31 20 radius 4 soft 1/2 from 40 -3")},
		{SpotPixelsV1, Args{{"over", "1/10"}}},
	} {
		s, err := c.o.New(c.a, []Pic{alone.pic}, Env{})
		if err != nil {
			t.Fatal(err)
		}
		want := build(t, s, nil, alone)
		got := make([]uint16, len(want))
		w, n := s.Worker(), s.Pic().Stride()
		for y := range s.Pic().H {
			w.Row(got[y*n:(y+1)*n], y, []Rows{view{whole, 10, 20, 32}})
		}
		if !slices.Equal(got, want) {
			t.Errorf("%s %v depends on where its picture was cut", c.o.Name, c.a)
		}
	}
}

func TestCropAndTurnKeepDepth(t *testing.T) {
	// A ramp of 4096 values: nothing is lost by cropping to the whole, by four
	// quarter turns, or by mirroring twice.
	for _, c := range []int{1, 3} {
		p := &plane{pic: Pic{W: 64, H: 64, C: c}, data: make([]uint16, 4096*c)}
		for i := range p.data {
			p.data[i] = uint16(16*(i/c) + i%c)
		}
		same := func(what string, got *plane) {
			t.Helper()
			if got.pic != p.pic || !slices.Equal(got.data, p.data) {
				t.Errorf("%d channels: %s changes samples", c, what)
			}
		}
		same("crop to the whole", cropped(t, p, 0, 0, 64, 64))
		for _, way := range []string{"left", "right"} {
			q := p
			for range 4 {
				q = turned(t, q, TurnOrientation(way))
			}
			same("four times "+way, q)
		}
		for _, way := range []string{"over", "mirror"} {
			same("twice "+way, turned(t, turned(t, p, TurnOrientation(way)), TurnOrientation(way)))
		}
	}
}

func TestCropRefuses(t *testing.T) {
	p := Pic{W: 9, H: 7, C: 3}
	for _, c := range [][4]int{{-1, 0, 3, 3}, {0, -1, 3, 3}, {9, 0, 1, 1}, {0, 7, 1, 1}, {0, 0, 10, 1}, {0, 0, 1, 8},
		{8, 0, 2, 1}, {0, 6, 1, 2}, {0, 0, 0, 1}, {0, 0, 1, 0}, {1, 1, math.MaxInt, math.MaxInt}, {math.MaxInt, 1, 2, 2}, {0, 0, 1, math.MinInt}} {
		if _, err := CropV1.New(cropArgs(c[0], c[1], c[2], c[3]), []Pic{p}, Env{}); err == nil || !strings.Contains(err.Error(), "crop: ") {
			t.Errorf("%v: %v", c, err)
		}
	}
	if _, err := CropV1.New(Args{{"x", "0"}}, []Pic{p}, Env{}); err == nil {
		t.Error("a crop without y was accepted")
	}
	if _, err := CropV1.New(cropArgs(0, 0, 1, 1), nil, Env{}); err == nil {
		t.Error("a crop of nothing was accepted")
	}
}
