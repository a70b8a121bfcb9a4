package inspect

import (
	"context"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"platemark/interp/engine"
	"platemark/ops"
	"platemark/ops/colour"
	"platemark/ops/raster"
)

// made is a picture of a function of the place, of 255, with noise of so many codes
// of 8 bits, rounded to 8.
func made(w, h int, noise float64, f func(x, y int) [3]float64) *shot {
	rng := rand.New(rand.NewPCG(7, 7))
	pix := make([]uint16, 3*w*h)
	for i := range w * h {
		for c, v := range f(i%w, i/w) {
			pix[3*i+c] = 257 * uint16(max(0, min(255, v+noise*rng.NormFloat64()+0.5)))
		}
	}
	return newShot(pix, w, h)
}

func grey(v float64) [3]float64 { return [3]float64{v, v, v} }

func sky(x, y int) [3]float64 { return [3]float64{120 + float64(y)/16, 150 + float64(y)/20, 190} }

// of are the finds of a kind, in the order of their places.
func (r *Report) of(kinds ...Kind) (list []Find) {
	for _, f := range r.Finds {
		if slices.Contains(kinds, f.Kind) {
			list = append(list, f)
		}
	}
	slices.SortFunc(list, byPlace)
	return list
}

// One plateau is one find, and two equal specks two pixels apart are two, wherever
// they lie: across tiles' borders too.
func TestPlateausAreOneFind(t *testing.T) {
	type speck struct{ x, y, w, h int }
	var specks []speck
	for i, s := range [][2]int{{1, 1}, {2, 1}, {1, 2}, {2, 2}, {3, 1}, {3, 2}, {2, 3}, {3, 3}} {
		specks = append(specks, speck{60 + 60*i, 40, s[0], s[1]}, speck{60 + 60*i, 255 - i%3, s[0], s[1]})
	}
	specks = append(specks, speck{510, 120, 3, 3}, speck{300, 150, 1, 1}, speck{302, 150, 1, 1}, speck{511, 400, 1, 1}, speck{513, 400, 1, 1})
	for _, light := range []float64{200, 20} {
		p := made(700, 500, 1, func(x, y int) [3]float64 {
			for _, s := range specks {
				if x >= s.x && x < s.x+s.w && y >= s.y && y < s.y+s.h {
					return grey(light)
				}
			}
			return grey(100)
		})
		r := p.look(t, engine.Options{})
		kind := Hot
		if light < 100 {
			kind = Dead
		}
		got := r.of(Hot, Dead, Dust, Hair)
		if len(got) != len(specks) {
			t.Errorf("light %v: %d finds, want %d", light, len(got), len(specks))
		}
		for _, s := range specks {
			at := Point{float64(s.x) + float64(s.w)/2, float64(s.y) + float64(s.h)/2}
			n := 0
			for _, f := range got {
				if apart(f.At, at) < 0.6 {
					n++
					if f.Kind != kind {
						t.Errorf("%v is %s", s, f.Kind)
					}
				}
			}
			if n != 1 {
				t.Errorf("%v is found %d times", s, n)
			}
		}
	}
}

// The list is the same for every number of workers and height of bands;
// grey has what equal red, green and blue
// have.
func TestSameHoweverItIsCut(t *testing.T) {
	p, _ := made(1100, 700, 1.5, sky).plant(4, 60, 20, 6, 0)
	want := p.look(t, engine.Options{Workers: 1})
	if len(want.Finds) < 60 {
		t.Fatalf("%d finds", len(want.Finds))
	}
	for _, o := range []engine.Options{{Workers: 3}, {Workers: 2, BandRows: 64}} {
		if got := p.look(t, o); !reflect.DeepEqual(got, want) {
			t.Errorf("%+v finds something else", o)
		}
	}
	var one, three []uint16
	for i := range p.w * p.h {
		one = append(one, p.pix[3*i+1])
		three = append(three, p.pix[3*i+1], p.pix[3*i+1], p.pix[3*i+1])
	}
	q := newShot(three, p.w, p.h)
	pic := ops.Pic{W: p.w, H: p.h, C: 1}
	pic.Profile, _ = colour.Space("grey-2.2")
	g, err := Look(context.Background(), &engine.Graph{Nodes: []engine.Node{{Pic: pic, Store: raster.Of(one, p.w, p.h, 1)}}}, engine.Options{})
	if err != nil {
		t.Fatal(err)
	}
	a, b := g.of(Hot, Dead, Dust, Hair), q.look(t, engine.Options{}).of(Hot, Dead, Dust, Hair)
	if len(a) != len(b) {
		t.Fatalf("%d finds in grey, %d in equal colours", len(a), len(b))
	}
	for i := range a {
		if a[i].At != b[i].At || a[i].Kind != b[i].Kind || !reflect.DeepEqual(a[i].Spots, b[i].Spots) {
			t.Errorf("grey has %v, colours %v", a[i], b[i])
		}
	}
}

// Single pixels beside blots, in their ground, leave these where they are.
func TestSinglesDontMoveBlots(t *testing.T) {
	p, list := made(900, 600, 1, sky).plant(5, 0, 20, 0, 0)
	blots := func(p *shot) (spots []Disc) {
		for _, f := range p.look(t, engine.Options{}).of(Dust) {
			spots = append(spots, f.Spots...)
		}
		return spots
	}
	want := blots(p)
	for _, f := range list {
		for c := range 3 {
			p.pix[3*((f.y+3)*p.w+f.x+int(1.3*f.r)+3)+c] = 65535
		}
	}
	got := blots(newShot(p.pix, p.w, p.h))
	if len(want) < 15 || len(got) != len(want) {
		t.Fatalf("%d blots without single pixels, %d with", len(want), len(got))
	}
	for i, d := range got {
		if apart(d.Point, want[i].Point) > 0.01 || math.Abs(d.Radius-want[i].Radius) > 0.01 {
			t.Errorf("%v without single pixels, %v with", want[i], d)
		}
	}
}

// Where there is nothing, nothing is found: flats, slopes, noise, a checker, an
// edge, beside clipped light, and at the picture's rim.
func TestNothingWhereNothingIs(t *testing.T) {
	for name, p := range map[string]*shot{
		"flat":     made(600, 400, 0, func(x, y int) [3]float64 { return grey(128) }),
		"sky":      made(1100, 600, 1, sky),
		"noise":    made(1100, 600, 12, func(x, y int) [3]float64 { return grey(128) }),
		"checker":  made(700, 400, 0, func(x, y int) [3]float64 { return grey(float64(60 + 100*((x+y)&1))) }),
		"squares":  made(700, 400, 1, func(x, y int) [3]float64 { return grey(float64(60 + 100*((x/50+y/50)&1))) }),
		"edge":     made(700, 400, 1, func(x, y int) [3]float64 { return grey(40 + 160/(1+math.Exp(float64(x-y)/1.5))) }),
		"clipped":  made(700, 400, 3, func(x, y int) [3]float64 { return grey(float64(150 + x/5)) }),
		"one edge": made(9, 5, 0, sky),
		"column":   made(1, 300, 1, sky),
	} {
		r := p.look(t, engine.Options{})
		if len(r.Finds) > 0 || len(r.More) > 0 {
			t.Errorf("%s: %d finds, %d more: %.5v", name, len(r.Finds), len(r.More), r.Finds[:min(3, len(r.Finds))])
		}
		if name != "checker" && len(r.Faults) > 0 {
			t.Errorf("%s: %v", name, r.Faults)
		}
	}
}

// A hair is one find from end to end, within a tile and across the borders of four.
func TestHairAcrossTiles(t *testing.T) {
	for _, at := range [][2]float64{{100, 40}, {380, 190}, {460, 240}, {640, 330}} {
		p := made(900, 520, 1, func(x, y int) [3]float64 {
			u, v := float64(x)-at[0], float64(y)-at[1]
			if along := 0.8*u + 0.6*v; along > 0 && along < 150 && math.Abs(0.8*v-0.6*u) < 1 {
				return grey(60)
			}
			return grey(120)
		})
		got := p.look(t, engine.Options{}).of(Hot, Dead, Dust, Hair)
		if len(got) != 1 || got[0].Kind != Hair || apart(got[0].Ends[0], Point{at[0], at[1]}) > 10 || apart(got[0].Ends[1], Point{at[0] + 120, at[1] + 90}) > 10 {
			t.Errorf("from %v: %+v", at, got)
		}
	}
}

// Lines that lie across each other everywhere are twigs; one like them on even ground
// is a hair.
func TestHairStandsAlone(t *testing.T) {
	type twig struct{ x, y, dx, dy, long float64 }
	rng := rand.New(rand.NewPCG(3, 3))
	list := []twig{{650, 100, 0.8, 0.6, 90}}
	for range 250 {
		way := 2 * math.Pi * rng.Float64()
		list = append(list, twig{20 + 440*rng.Float64(), 20 + 440*rng.Float64(), math.Cos(way), math.Sin(way), 50})
	}
	p := made(900, 480, 1, func(x, y int) [3]float64 {
		for _, l := range list {
			u, v := float64(x)-l.x, float64(y)-l.y
			if along := u*l.dx + v*l.dy; along > 0 && along < l.long && math.Abs(v*l.dx-u*l.dy) < 1 {
				return grey(60)
			}
		}
		return grey(120)
	})
	alone, others := 0, 0
	for _, f := range p.look(t, engine.Options{}).of(Hair) {
		if f.At.X > 600 {
			alone++
		} else {
			others++
		}
	}
	if alone != 1 || others > 5 {
		t.Errorf("%d of one hair, %d of %d twigs", alone, others, len(list)-1)
	}
}

// Thousands of specks are named up to a bound, the strongest first, and the others
// are counted where they are.
func TestManyAreCounted(t *testing.T) {
	n := 0
	p := made(600, 520, 1, func(x, y int) [3]float64 {
		if x%12 == 5 && y%12 == 5 {
			n++
			return grey(float64(150 + 2*(x/12)))
		}
		return grey(90)
	})
	r := p.look(t, engine.Options{})
	named, more := len(r.of(Hot)), 0
	for _, m := range r.More {
		if m.Kind != Hot || m.In.Empty() {
			t.Errorf("left out: %v", m)
		}
		more += m.Count
	}
	if named > tileMost*6 || named < tileMost || named+more < n*98/100 || named+more > n {
		t.Errorf("%d named, %d counted, of %d", named, more, n)
	}
}

// Clipped shares and places, the noise level and where it is soft, of pictures whose
// numbers are known.
func TestMeasures(t *testing.T) {
	p := made(1024, 768, 2, func(x, y int) [3]float64 {
		switch {
		case x >= 512 && x < 768 && y < 256:
			return [3]float64{300, 120, 120}
		case x < 256 && y >= 512:
			return grey(-60)
		}
		return grey(100)
	})
	r := p.look(t, engine.Options{})
	near := func(what string, got, want, by float64) {
		if math.Abs(got-want) > by {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}
	near("clipped light", r.Highlights.Share, 1.0/12, 1e-4)
	near("in all channels", r.Highlights.Whole, 0, 0)
	near("clipped dark", r.Shadows.Share, 1.0/12, 1e-4)
	near("in all channels", r.Shadows.Whole, 1.0/12, 1e-4)
	if len(r.Highlights.Parts) != 1 || r.Highlights.Parts[0].In.Min.X != 512 || r.Highlights.Parts[0].In.Max.Y != 256 {
		t.Errorf("clipped at %v", r.Highlights.Parts)
	}
	// Light is (R + 2G + B)/4 of three channels of their own: root 6 / 4 of theirs.
	near("noise", r.Noise.Light[3]*255, 2*math.Sqrt(6)/4, 0.25)

	// Edges of a known sigma: 0.7 px on the left, 3 px on the right.
	q := made(1024, 512, 0.5, func(x, y int) [3]float64 {
		sigma := 0.7
		if x >= 512 {
			sigma = 3
		}
		at := float64(x%64) - 31.5
		return grey(60 + 120*0.5*(1+math.Erf(at/sigma/math.Sqrt2))*(1-0.5*(1+math.Erf((at-26)/sigma/math.Sqrt2))))
	})
	s := q.look(t, engine.Options{}).Sharpness
	near("sharp", s.Blur[0], 0.7, 0.15)
	near("soft", s.Blur[s.Cols-1], 3, 0.4)
	if len(s.Focus) != 1 || s.Focus[0].In.Max.X != 512 || len(s.Soft) != 1 || s.Soft[0].In.Min.X != 512 {
		t.Errorf("focus %v, soft %v", s.Focus, s.Soft)
	}
}
