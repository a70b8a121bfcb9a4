package ops

import (
	"fmt"
	"math"
	"math/big"
	"strings"
	"testing"
)

func TestBlendEqualsSlow(t *testing.T) {
	for _, size := range [][2]int{{1, 1}, {40, 31}, {1100, 3}} {
		for _, c := range []int{1, 3} {
			for _, at := range []string{"2/5", "1", "0", "1/3"} {
				top, over, m := newImage(size[0], size[1], c).noise(1), newImage(size[0], size[1], c).noise(2), newImage(7, 5, 1).noise(3)
				m.fill(func(x, y, _ int) uint16 {
					switch y {
					case 0:
						return 0
					case 4:
						return 65535
					}
					return m.data[y*7+x]
				})
				for _, covers := range []string{"", "1/2 1 5 9/2"} {
					a := Args{{"at", at}, {"covers", covers}}
					if covers == "" {
						a = a[:1]
					}
					s, err := newSampler(covers, m.Pic, top.Pic)
					if err != nil {
						t.Fatal(err)
					}
					k := s.worker()
					r, _ := new(big.Rat).SetString(at)
					share, _ := r.Float32()
					want := (&canvas{top.Pic, make([]uint16, len(top.data))}).fill(func(x, y, ch int) uint16 {
						i := (y*top.W+x)*c + ch
						p := share * maskAt(k, m, x, y)
						o := float32(over.data[i])
						v := o + float32(p*(float32(top.data[i])-o)) + 0.5
						return uint16(max(0, min(65535, math.Floor(float64(v)))))
					})
					same(t, fmt.Sprint(size, c, a), apply(t, blendV1, a, top, over, m), want)
				}
			}
		}
	}
}

func TestBlendAnyOrder(t *testing.T) {
	top, over, m := newImage(33, 41, 3).noise(1), newImage(33, 41, 3).noise(2), newImage(60, 9, 1).noise(3)
	anyOrder(t, blendV1, Args{{"at", "2/5"}}, top, over)
	anyOrder(t, blendV1, Args{{"at", "2/5"}}, top, over, m)
}

func TestBlendNothingAndAll(t *testing.T) {
	// Source: disintegration/imaging issue 110: a step that does nothing
	// leaves every byte.
	top, over := newImage(64, 64, 3).noise(1), newImage(64, 64, 3).noise(2)
	none, full := newImage(8, 8, 1), newImage(8, 8, 1).fill(func(x, y, c int) uint16 { return 65535 })
	part := newImage(64, 64, 1).fill(func(x, y, c int) uint16 { return uint16(x / 32 * 65535) })
	at := func(v string) Args { return Args{{"at", v}} }
	same(t, "at 0", over, apply(t, blendV1, at("0"), top, over))
	same(t, "at 0, full mask", over, apply(t, blendV1, at("0"), top, over, full))
	same(t, "empty mask", over, apply(t, blendV1, at("1"), top, over, none))
	same(t, "at 1", top, apply(t, blendV1, at("1"), top, over))
	same(t, "full mask", top, apply(t, blendV1, at("1"), top, over, full))
	half := apply(t, blendV1, at("1"), top, over, part)
	for i, v := range half.data {
		want := over.data[i]
		if i/3%64 >= 32 {
			want = top.data[i]
		}
		if v != want {
			t.Fatalf("sample %d: %d, want %d", i, v, want)
		}
	}
	same(t, "a picture with itself", top, apply(t, blendV1, at("2/5"), top, top, newImage(9, 9, 1).noise(5)))
}

func TestBlendRefuses(t *testing.T) {
	p, q := newImage(5, 5, 3).Pic, newImage(5, 6, 3).Pic
	other := Pic{W: 5, H: 5, C: 3}
	for _, c := range []struct {
		a    Args
		in   []Pic
		part string
	}{
		{Args{{"at", "2"}}, []Pic{p, p}, "at is 2, expected 0 to 1"},
		{Args{}, []Pic{p, p}, "at is missing"},
		{Args{{"at", "1"}}, []Pic{p, q}, "one size and profile"},
		{Args{{"at", "1"}}, []Pic{p, other}, "one size and profile"},
		{Args{{"at", "1"}}, []Pic{p}, "2 pictures"},
		{Args{{"at", "1"}, {"covers", "0 0 9 9"}}, []Pic{p, p, {W: 5, H: 5, C: 1}}, "inside the frame"},
	} {
		if _, err := blendV1.New(c.a, c.in, Env{}); err == nil || !strings.Contains(err.Error(), c.part) {
			t.Errorf("%v: %v, want %q", c.a, err, c.part)
		}
	}
}

func BenchmarkBlend(b *testing.B) {
	top, over := newImage(18000, 48, 3).scene(), newImage(18000, 48, 3).scene()
	m := newImage(6000, 16, 1).fill(func(x, y, c int) uint16 { return uint16(x * 10) })
	b.Run("mask", func(b *testing.B) { benchSteps(b, 48, blendV1, Args{{"at", "2/5"}}, top, over, m) })
	b.Run("plain", func(b *testing.B) { benchSteps(b, 48, blendV1, Args{{"at", "2/5"}}, top, over) })
}
