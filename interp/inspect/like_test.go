package inspect

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"platemark/interp/engine"
)

// The network's whole numbers give what its sums give in floating point, to a few of
// their steps, whatever goes in.
func TestNetwork(t *testing.T) {
	n := likeness()
	rng := rand.New(rand.NewPCG(1, 15))
	for range 2000 {
		var in [likeIn]int32
		v := make([]float64, likeIn)
		for i := range in {
			in[i] = int32(rng.IntN(6*likeOne+1) - 3*likeOne)
			v[i] = float64(in[i]) / likeOne
		}
		slope := 1.0 // how far a step of what goes in may lead
		for _, l := range []struct {
			outs int
			w    func(i, j int) int32
		}{
			{likeFirst, func(i, j int) int32 { return n.first[i][j] }},
			{likeSecond, func(i, j int) int32 { return n.second[i][j] }},
			{1, func(i, _ int) int32 { return n.last[i] }},
		} {
			out, most := make([]float64, l.outs), 0.0
			for j := range out {
				out[j] = float64(l.w(len(v), j)) / likeOne
				sum := 1.0
				for i, a := range v {
					w := float64(l.w(i, j)) / likeOne
					out[j] += a * w
					sum += math.Abs(w)
				}
				if l.outs > 1 {
					out[j] = max(out[j], 0)
				}
				most = max(most, sum)
			}
			v, slope = out, slope*most
		}
		if got := float64(n.of(&in)) / likeOne; math.Abs(got-v[0]) > slope/likeOne {
			t.Fatalf("%v, want %v", got, v[0])
		}
	}
}

func TestNetworkIsRead(t *testing.T) {
	lines := strings.Split(strings.TrimSpace(likeText), "\n")
	for _, c := range []struct{ text, want string }{
		{strings.Join(lines[1:], "\n"), "48 lines"},
		{strings.Join(append(slices.Clone(lines[:48]), "1 2"), "\n"), "line 49 has 2 numbers"},
		{strings.Join(append([]string{lines[0] + " 1"}, lines[1:]...), "\n"), "line 1 has 57 numbers"},
		{strings.Replace(likeText, " ", " x", 1), "line 1: "},
	} {
		if _, err := readNetwork(c.text); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %s", err, c.want)
		}
	}
}

// What is measured around a speck is the same whichever way the picture is turned,
// and its opposite's differs by the sign and the contrast alone.
func TestAround(t *testing.T) {
	const side = 2*likeReach + 1
	rng := rand.New(rand.NewPCG(3, 15))
	s, err := newScan(made(8, 8, 0, sky).pic(), nil, Noise{})
	if err != nil {
		t.Fatal(err)
	}
	w := s.Worker().(*scanWorker)
	p := &w.light[0]
	lay := func(at func(x, y int) int32) {
		for y := range side {
			for x := range side {
				p.v[(y+20)*p.w+x+20] = at(x, y)
			}
		}
	}
	measured := func(sign int32) (in [likeIn]int32) {
		w.around(0, 20+likeReach, 20+likeReach, sign, 0.01*full, &in)
		return in
	}
	var v [side][side]int32
	for y := range v {
		for x := range v {
			v[y][x] = full/2 + int32(rng.IntN(full/20))
		}
	}
	v[likeReach][likeReach] = full * 3 / 5
	lay(func(x, y int) int32 { return v[y][x] })
	want := measured(1)
	for i, turn := range []func(x, y int) int32{
		func(x, y int) int32 { return v[x][y] },
		func(x, y int) int32 { return v[y][side-1-x] },
		func(x, y int) int32 { return v[side-1-x][y] },
		func(x, y int) int32 { return v[side-1-y][side-1-x] },
	} {
		lay(turn)
		if got := measured(1); got != want {
			t.Errorf("turned %d: %v, want %v", i, got, want)
		}
	}
	lay(func(x, y int) int32 { return full - v[y][x] })
	got := measured(-1)
	for i := range likeIn - 6 {
		if d := got[i] - want[i]; d < -1 || d > 1 {
			t.Errorf("%d of the opposite: %d, want %d", i, got[i], want[i])
		}
	}
	// By hand: on an even ground 3 x 3 pixels that are lighter by 4000, which beside
	// four times 0.01 of the range is 0.276, or 282 of 1024.
	lay(func(x, y int) int32 {
		if max(x-likeReach, likeReach-x, y-likeReach, likeReach-y) <= 1 {
			return full/2 + 4*1000
		}
		return full / 2
	})
	got = measured(1)
	if share := int32(282); !slices.Equal(got[:7], []int32{likeOne, likeOne, 0, likeOne, 0, 0, 0}) || got[likeIn-5] != share || got[likeIn-1] != likeOne/2 {
		t.Errorf("%v, want calm's share %d", got, share)
	}
}

// A blot is like one, an edge, a line and the end of a line aren't.
func TestLikeBlots(t *testing.T) {
	for name, c := range map[string]struct {
		at   func(x, y float64) float64 // the share of light taken
		want int
	}{
		"blot":      {func(x, y float64) float64 { d := max(0, 1-(x*x+y*y)/25); return 0.1 * d * d }, 1},
		"small":     {func(x, y float64) float64 { d := max(0, 1-(x*x+y*y)/6); return 0.12 * d * d }, 1},
		"large":     {func(x, y float64) float64 { d := max(0, 1-(x*x+y*y)/400); return 0.06 * d * d }, 1},
		"edge":      {func(x, y float64) float64 { return 0.1 / (1 + math.Exp(x+y/3)) }, 0},
		"dark line": {func(x, y float64) float64 { d := x*0.8 + y*0.6; return 0.2 * math.Exp(-d*d/8) }, 0},
		"corner":    {func(x, y float64) float64 { return 0.1 / (1 + math.Exp(x)) / (1 + math.Exp(y)) }, 0},
	} {
		p := made(700, 400, 1, func(x, y int) [3]float64 {
			v := 140 * (1 - c.at(float64(x)-350.3, float64(y)-200.2))
			return [3]float64{v, v, v}
		})
		if got := len(p.look(t, engine.Options{}).of(Dust)); got != c.want {
			t.Errorf("%s: %d found, want %d", name, got, c.want)
		}
	}
}
