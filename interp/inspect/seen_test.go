package inspect

import (
	"math"
	"testing"
)

// The sensitivity's shape, which the paper's figures show: most at 3 to 4 cycles a
// degree, at about 220, and 1 between 40 and 60, the finest that is seen. Beside
// Barten's (SPIE, 1999, from memory) it is within a factor of three from 2 to 12.
func TestSensitivity(t *testing.T) {
	s := sensitivity()
	best := 0
	for i, v := range s {
		if v > s[best] {
			best = i
		}
	}
	if f := seenStep * float64(best+1); f < 2 || f > 5 || s[best] < 150 || s[best] > 250 {
		t.Errorf("most at %v cycles a degree: %v", f, s[best])
	}
	for i, v := range s {
		f := seenStep * float64(i+1)
		if f < 2 || f > 12 {
			continue
		}
		// Barten's at 100 cd/m2 and a field of 2 degrees, in its short form (1990).
		a := 540 * math.Pow(1+0.7/100, -0.2) / (1 + 12/2.0/(1+f/3)/(1+f/3))
		b := 0.3 * math.Pow(1+100.0/100, 0.15)
		barten := a * f * math.Exp(-b*f) * math.Sqrt(1+0.06*math.Exp(b*f))
		if v < barten/3 || v > barten*3 {
			t.Errorf("%v cycles a degree: %v, Barten's %v", f, v, barten)
		}
	}
}

// Three of the ModelFest stimuli, whose mean thresholds the paper gives, about (from
// memory): a Gaussian of sigma 30' at a contrast of 1/50, of 8.43' at 1/40, of 2.1' at
// 1/15 and of 1.05' at 1/6, within a factor of two.
func TestSeenBesideModelFest(t *testing.T) {
	for _, c := range []struct{ sigma, contrast float64 }{{30, 1. / 50}, {8.43, 1. / 40}, {2.1, 1. / 15}, {1.05, 1. / 6}} {
		f := Find{Kind: Dust, Width: 2.3548 * c.sigma, Contrast: c.contrast}
		t.Logf("%v: %v", c.sigma, f.seen(1./60))
		if s := f.seen(1. / 60); s < 0.5 || s > 2 {
			t.Errorf("sigma %v', contrast %.3f: seen %v", c.sigma, c.contrast, s)
		}
	}
}

func TestSharpFrom(t *testing.T) {
	if d := SharpFrom(102 / 25.4); math.Abs(d-900) > 60 {
		t.Errorf("102 pixels an inch look sharp from %.0f mm", d)
	}
	if a, b := SharpFrom(4), SharpFrom(8); a != 2*b {
		t.Errorf("%v, twice as fine %v", a, b)
	}
}

// What is seen at a distance is less at a greater one, and a longer hair and a
// stronger speck are seen more.
func TestRank(t *testing.T) {
	r := Report{W: 6000, H: 4000, Finds: []Find{
		{Kind: Dust, At: Point{9, 9}, Width: 3, Contrast: -0.1},
		{Kind: Dust, At: Point{5, 9}, Width: 3, Contrast: -0.1},
		{Kind: Dust, At: Point{5, 8}, Width: 3, Contrast: 0.1},
		{Kind: Hair, At: Point{1, 1}, Width: 3, Contrast: -0.1, Ends: [2]Point{{0, 0}, {90, 0}}},
		{Kind: Fringe, At: Point{2, 2}, Width: 3, Contrast: 9, Ends: [2]Point{{0, 0}, {90, 0}}},
		{Kind: Dust, At: Point{7, 7}, Width: 12, Contrast: -0.1},
	}}
	near := Viewing{W: 900, H: 600, From: 500}
	r.Rank(near)
	var last float64
	for i, f := range r.Finds {
		if i > 0 && f.Seen > last || f.Seen <= 0 {
			t.Errorf("find %d of %v is seen %v, the one before %v", i, f, f.Seen, last)
		}
		last = f.Seen
	}
	if n := len(r.Finds); r.Finds[n-3].At != (Point{5, 8}) || r.Finds[n-2].At != (Point{5, 9}) || r.Finds[n-1].At != (Point{9, 9}) {
		t.Errorf("equal specks come as %v", r.Finds[n-3:])
	}
	first := r.Finds[0].Seen
	near.From = 0
	r.Rank(near)
	if r.Finds[0].Seen >= first {
		t.Errorf("from the diagonal %v, from nearer %v", r.Finds[0].Seen, first)
	}
}

// One among many alike is seen less than one alone; of another kind there may be many,
// and of its own far fainter ones.
func TestAmongManyAlike(t *testing.T) {
	hair := func(x, y float64) Find {
		return Find{Kind: Hair, At: Point{x, y}, Contrast: -0.5, Width: 4, Ends: [2]Point{{x - 20, y}, {x + 20, y}}}
	}
	speck := Find{Kind: Dust, At: Point{1010, 3000}, Contrast: -0.5, Width: 12}
	r := Report{W: 6000, H: 4000, Finds: []Find{hair(5000, 500), speck}}
	alone := hair(5000, 500)
	for i := range 24 {
		r.Finds = append(r.Finds, hair(1000+float64(i), 3000), Find{Kind: Dust, At: Point{1000 + float64(i), 3000}, Contrast: -0.2, Width: 12})
	}
	r.Rank(Viewing{W: 900, H: 600})
	pixel := 900.0 / 6000 / math.Sqrt(900*900+600*600) * 180 / math.Pi
	one := alone.seen(pixel)
	var all []float64
	for _, f := range r.Finds {
		switch {
		case f.Kind == Dust && f.Contrast == -0.5 && f.Seen != speck.seen(pixel):
			t.Errorf("among fainter ones it is seen %v, want %v", f.Seen, speck.seen(pixel))
		case f.Kind == Hair && f.At.X == 5000 && f.Seen != one:
			t.Errorf("alone it is seen %v, want %v", f.Seen, one)
		case f.Kind == Hair && f.At.X != 5000:
			all = append(all, f.Seen)
		}
	}
	if len(all) != 24 || math.Abs(all[0]-one/24) > 0.01 {
		t.Errorf("among 24 it is seen %v, alone %v", all, one)
	}
	if r.Finds[0].Kind == Hair && r.Finds[0].At.X != 5000 {
		t.Error("one of many stands first")
	}
}
