package ops

import (
	"math"
	"testing"

	"platemark/ops/colour"
)

func edgesArgs(radius, over string) Args { return Args{{"radius", radius}, {"over", over}} }

// A straight step gives its height beside it: L* 50 to 60 is 10, which is 5 over 5 %.
// Away from it, and on even ground, there is nothing, to the border.
func TestEdgesMeasureAStep(t *testing.T) {
	code := func(l float64) uint16 { // of L* at gamma 2.2, by CIE 15
		return uint16(65535*math.Pow(slowInv((l+16)/116), 1/2.2) + 0.5)
	}
	p := newImage(61, 41, 1).fill(func(x, y, c int) uint16 { return code(50 + 10*float64(min(1, x/30))) })
	p.Profile, _ = colour.Space("grey-2.2")
	for _, radius := range []string{"1/4", "1", "2", "5"} {
		q := apply(t, edgesV1, edgesArgs(radius, "1/15"), p)
		// s/over is 10/(100/15) = 3/2, so t is 1/2.
		if got := q.data[20*61+30]; math.Abs(float64(got)-32768) > 400 {
			t.Errorf("radius %s: %d beside the step, expected 32768", radius, got)
		}
		if q.data[20*61] != 0 || q.data[20*61+60] != 0 || q.data[30] != q.data[20*61+30] {
			t.Errorf("radius %s: even ground has edges, or the border changes one", radius)
		}
	}
}

// Against plain sums in float64, on a picture in colour.
func TestEdgesEqualSlow(t *testing.T) {
	p := newImage(33, 27, 3).scene()
	p.Profile, _ = colour.Space("opRGB")
	shares, _, _ := p.Profile.Shares()
	light := make([]float64, 33*27)
	for i := range light {
		y := 0.0
		for c := range 3 {
			y += shares[1][c] * p.Profile.Tone(c).Decode64()[p.data[3*i+c]]
		}
		light[i] = 116*slowF(math.Floor(65535*y+0.5)/65535) - 16
	}
	at := func(v []float64, x, y int) float64 { return v[max(0, min(26, y))*33+max(0, min(32, x))] }
	const sigma, over = 1.5, 0.04
	var sum, w0, w1 float64
	weight := func(k int) float64 { return math.Exp(-float64(k*k) / (2 * sigma * sigma)) }
	for k := -6; k <= 6; k++ {
		sum += weight(k)
	}
	w0, w1 = weight(0)/sum, weight(1)/sum
	pass := func(v []float64, dx, dy int) []float64 {
		out := make([]float64, len(v))
		for i := range out {
			for k := -6; k <= 6; k++ {
				out[i] += weight(k) / sum * at(v, i%33+k*dx, i/33+k*dy)
			}
		}
		return out
	}
	b := pass(pass(light, 1, 0), 0, 1)
	got := apply(t, edgesV1, edgesArgs("3/2", "1/25"), p)
	for i, v := range got.data {
		x, y := i%33, i/33
		s := math.Hypot(at(b, x+1, y)-at(b, x-1, y), at(b, x, y+1)-at(b, x, y-1)) / (w0 + w1)
		u := math.Max(0, math.Min(1, s/(100*over)-1))
		if want := 65535 * (3*u*u - 2*u*u*u); math.Abs(float64(v)-want) > 4 {
			t.Fatalf("pixel %d: %d, by the formula %.1f", i, v, want)
		}
	}
}

func TestEdgesAnyOrder(t *testing.T) {
	p := newImage(40, 50, 3).scene()
	p.Profile, _ = colour.Space("sRGB")
	anyOrder(t, edgesV1, edgesArgs("2", "1/20"), p)
}

func TestEdgesRefuses(t *testing.T) {
	p := Pic{W: 9, H: 9, C: 3}
	p.Profile, _ = colour.Space("sRGB")
	for _, a := range []Args{edgesArgs("0", "1/10"), edgesArgs("601", "1/10"), edgesArgs("2", "0"), {{"radius", "2"}}} {
		if _, err := edgesV1.New(a, []Pic{p}, Env{}); err == nil {
			t.Errorf("%v is accepted", a)
		}
	}
	if _, err := edgesV1.New(edgesArgs("2", "1/10"), []Pic{{W: 9, H: 9, C: 3}}, Env{}); err == nil {
		t.Error("a picture without a profile is accepted")
	}
}

func BenchmarkEdges(b *testing.B) {
	p := newImage(4000, 200, 3).scene()
	p.Profile, _ = colour.Space("opRGB")
	benchSteps(b, 200, edgesV1, edgesArgs("2", "2/25"), p)
}
