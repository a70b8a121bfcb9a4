package inspect

import (
	"math"
	"testing"
)

// Discs along a hair leave hardly a pixel of it, and none overlaps another (the bound
// of 2 % is our own).
func TestChain(t *testing.T) {
	hair, bare := 0, 0
	for width := 1.0; width <= 4; width++ {
		for deg := 0.0; deg < 180; deg += 19 {
			sin, cos := math.Sincos(deg * math.Pi / 180)
			var g []mark
			for s := -60.0; s <= 60; s++ {
				g = append(g, mark{x: int32(math.Floor(100 + s*cos)), y: int32(math.Floor(100 + s*sin + s*s/400))})
			}
			list := chain(g, stretch{a: g[0].at(), b: g[len(g)-1].at(), width: width}, 1.5*width+2)
			for i, a := range list {
				for _, b := range list[:i] {
					if apart(a.Point, b.Point) < a.Radius+b.Radius {
						t.Fatalf("%v and %v overlap", a, b)
					}
				}
			}
			for y := 30.5; y < 180; y++ {
				for x := 30.5; x < 180; x++ {
					near := math.Inf(1)
					along := (x-100)*cos + (y-100)*sin
					for s := max(-60, along-12); s <= min(60, along+12); s += 0.25 {
						near = min(near, math.Hypot(x-100-s*cos, y-100-s*sin-s*s/400))
					}
					if near > width/2 {
						continue
					}
					hair++
					in := false
					for _, d := range list {
						in = in || apart(d.Point, Point{x, y}) < d.Radius
					}
					if !in {
						bare++
					}
				}
			}
		}
	}
	if bare*50 > hair {
		t.Errorf("%d of %d px of hairs are left", bare, hair)
	}
}
