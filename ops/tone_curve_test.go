package ops

import (
	"math"
	"math/big"
	"testing"
)

func TestCubicAgainstFritschCarlson(t *testing.T) {
	// Source: R 4.2.2 (Debian r-base-core 4.2.2.20221110-2), stats::splinefun with
	// method "monoH.FC", slopes and values to 15 digits. The last set of points
	// is the worked example of Fritsch and Carlson's paper (its RPN 14 data).
	for _, c := range []struct{ x, y, slope, at, want []float64 }{
		{[]float64{0, 25, 60, 100}, []float64{0, 22, 65, 100},
			[]float64{0.88, 1.05428571428571, 1.05178571428571, 0.875},
			[]float64{5, 12.5, 25, 40, 60, 77, 99},
			[]float64{4.26057142857143, 10.4553571428571, 22, 40.2243440233236, 65, 80.8686462053571, 99.1293091517857}},
		{[]float64{0, 10, 20, 60, 90, 100}, []float64{5, 5, 12, 70, 92, 98},
			[]float64{0, 0, 1.075, 1.09166666666667, 0.666666666666667, 0.6},
			[]float64{3, 10, 13, 20, 33, 50, 75, 95},
			[]float64{5, 5, 5.83475, 12, 29.65075, 56.8125, 82.59375, 95.0833333333333}},
		{[]float64{0, 40, 45, 55, 60, 100}, []float64{0, 2, 8, 92, 98, 100},
			[]float64{0.0119617833424335, 0.112087349915518, 3.59825463606856, 3.56986507047661, 0.149139657972559, 0.0160425191235076},
			[]float64{1, 20, 39, 42, 47, 50, 58, 80},
			[]float64{0.0123265411357101, 0.499372167134576, 1.89005103145553, 2.46554066662626, 20.1994091116152, 50.0354869569899, 97.4941546800885, 99.6654856942452}},
		{[]float64{7.99, 8.09, 8.19, 8.7, 9.2, 10, 12, 15, 20},
			[]float64{0, 2.76429e-5, 4.37498e-2, 0.169183, 0.469428, 0.943740, 0.998636, 0.999919, 0.999994},
			[]float64{1.04795355904934e-06, 0.000829286337860659, 0.341584510990197, 0.423218725490196, 0.59669, 0.0822609884336083, 0.00128070626705597, 4.4163040463891e-05, 8.63862587378763e-06},
			[]float64{8, 8.05, 8.15, 8.4, 9, 9.5, 11, 13, 18},
			[]float64{3.61319197537075e-08, 5.98093628897364e-06, 0.0234487448913851, 0.0933312578716672, 0.34109457882353, 0.683643914875762, 0.991433070541638, 0.999528018405996, 0.999982578448794}},
	} {
		f := newCubic(c.x, c.y)
		near := func(what string, i int, got, want float64) {
			if d := math.Abs(got - want); d > 2e-14*math.Max(math.Abs(want), 1) {
				t.Errorf("points %v, %s %d: %.15g, want %.15g", c.x, what, i, got, want)
			}
		}
		for i, want := range c.slope {
			near("slope", i, f.m[i], want)
		}
		for i, want := range c.want {
			near("value", i, f.at(c.at[i]), want)
		}
	}
	// Beyond the ends: straight.
	f := newCubic([]float64{10, 30, 90}, []float64{20, 30, 99})
	if got := f.at(4); math.Abs(got-17) > 1e-12 {
		t.Errorf("below the first point %v, want 17 (slope 1/2)", got)
	}
	if got := f.at(100); math.Abs(got-110.5) > 1e-12 {
		t.Errorf("above the last point %v, want 110.5 (slope 69/60)", got)
	}
}

func TestToneCurvesByHand(t *testing.T) {
	// Contrast 100 %: on 0..50, slopes 1/2 and 2 with secant 1, so with u = L/50
	// the cubic is 50 (u/2 + 1/2 u^3): at 25, 50 (1/4 + 1/16) = 15.625.
	c := toneContrast(1)
	for _, v := range [][2]float64{{0, 0}, {25, 15.625}, {50, 50}, {75, 84.375}, {100, 100}} {
		if got := c.at(v[0]); math.Abs(got-v[1]) > 1e-12 {
			t.Errorf("contrast 100 %% takes %v to %v, want %v", v[0], got, v[1])
		}
	}
	// -50 %: slopes 2 and 1/2: 50 (2u - 3/2 u^2 + 1/2 u^3): at 25, 50 (1 - 3/8 + 1/16) = 34.375.
	if got := toneContrast(-0.5).at(25); math.Abs(got-34.375) > 1e-12 {
		t.Errorf("contrast -50 %% takes 25 to %v, want 34.375", got)
	}
	// One stop: k = 2, c = 2/3. Light 1/8 gives 1/4; 1/4 gives 1/2; 5/8 has
	// x = 5/4, u = 3/2: 1/2 + 1/2 (3/2)/(1 + 1) = 7/8; 1 has u = 3, 3/(1+2) = 1.
	e := newToneExposure(big.NewRat(1, 1))
	for _, v := range [][2]float64{{0.125, 0.25}, {0.25, 0.5}, {0.625, 0.875}, {1, 1}} {
		if got := v[0] * e.factor(v[0]); math.Abs(got-v[1]) > 1e-15 {
			t.Errorf("one stop takes light %v to %v, want %v", v[0], got, v[1])
		}
	}
	// Two stops less: a quarter everywhere.
	e = newToneExposure(big.NewRat(-2, 1))
	for _, v := range []float64{0, 0.3, 1} {
		if e.factor(v) != 0.25 {
			t.Errorf("two stops less: factor %v at %v", e.factor(v), v)
		}
	}
	// The shoulder has one tangent at its foot, rises to the end, and never
	// brightens a light beyond the plain product.
	for _, stops := range []int64{1, 2, 4} {
		e := newToneExposure(big.NewRat(stops, 1))
		s := func(v float64) float64 { return v * e.factor(v) }
		foot := toneShoulder / e.gain
		const h = 1e-6
		a, b := (s(foot)-s(foot-h))/h, (s(foot+h)-s(foot))/h
		if math.Abs(a-b) > 1e-3*a {
			t.Errorf("%d stops: slopes %v and %v at the shoulder's foot", stops, a, b)
		}
		for i := 1; i <= 4096; i++ {
			v := float64(i) / 4096
			if !(s(v) > s(v-1.0/4096)) || s(v) > v*e.gain+1e-15 || s(v) > 1 {
				t.Fatalf("%d stops: light %v gives %v after %v", stops, v, s(v), s(v-1.0/4096))
			}
		}
		// The end's slope, as stated, times the gain.
		want := math.Pow((1-toneShoulder)/(e.gain-toneShoulder), 2) * e.gain
		if got := (s(1) - s(1-h)) / h; math.Abs(got-want) > 1e-4 {
			t.Errorf("%d stops: slope %v at white, want %v", stops, got, want)
		}
	}
	// Local contrast's limit: 6 at L* 50 gives 6/(1 + 1/2 + 6/50) = 3.7037;
	// -6 at L* 10, 6/(1 + 1/2 + 6/10) = 2.857; nothing at the ends.
	for _, v := range [][3]float64{{50, 6, 53.7037037037037}, {10, -6, 7.142857142857143}, {100, 30, 100}, {0, -30, 0}, {40, 0, 40}} {
		if got := toneLimit(v[0], v[1]); math.Abs(got-v[2]) > 1e-12 {
			t.Errorf("limit of %v at %v: %v, want %v", v[1], v[0], got, v[2])
		}
	}
	for _, share := range []float64{-1, -0.3, 0.4, 2} {
		for _, blur := range []float64{0, 31, 77, 100} {
			last := -1.0
			for i := range 4001 {
				l := float64(i) / 40
				got := toneLimit(l, share*(l-blur))
				if got < last || got < 0 || got > 100 || math.Abs(got-l) > toneHalo {
					t.Fatalf("local %v over %v: L* %v gives %v after %v", share, blur, l, got, last)
				}
				last = got
			}
		}
	}
}

func TestToneWarmthAgainstCIE(t *testing.T) {
	// Source: chromaticities of CIE D50, D55 and D65, x to four digits, CIE
	// 15:2004 table T.3 (from memory). Their temperatures are 5003, 5503 and
	// 6504 K.
	for _, c := range []struct {
		kelvin int64
		x, y   float64
	}{{5003, 0.3457, 0.3585}, {5503, 0.3324, 0.3474}, {6504, 0.3127, 0.3290}} {
		w := daylight(big.NewRat(1000000, c.kelvin))
		x, _ := w[0].Float64()
		z, _ := w[2].Float64()
		gx, gy := x/(x+1+z), 1/(x+1+z)
		if math.Abs(gx-c.x) > 1e-4 || math.Abs(gy-c.y) > 1.5e-4 {
			t.Errorf("daylight of %d K is %.5f %.5f, want %.4f %.4f", c.kelvin, gx, gy, c.x, c.y)
		}
	}
	for _, w := range []int64{50, 10, 2, -2, -10, -50} {
		m := toneWarmth(big.NewRat(w, 1))
		grey := apply3(*m, triple{0.3, 0.3, 0.3})
		x, y, z := grey[0], grey[1], grey[2]
		if math.Abs(y-0.3) > 1e-16 {
			t.Errorf("warmth %d: a grey's Y goes from 0.3 to %v", w, y)
		}
		// Plus is warmer: more X, less Z; minus the opposite.
		if (x > 0.3) != (w > 0) || (z < 0.3) != (w > 0) {
			t.Errorf("warmth %d: grey goes to %v %v %v", w, x, y, z)
		}
		// There and back: minus undoes plus but for one factor, near 1, which
		// keeps a grey's Y either way. The room is measured (2.43e-6 w^2).
		back := toneWarmth(big.NewRat(-w, 1))
		for _, v := range [][3]float64{{0.2, 0.3, 0.5}, {0.7, 0.6, 0.1}, {0.3, 0.3, 0.3}} {
			x := apply3(*back, apply3(*m, v))
			d := math.Max(math.Abs(x[0]/v[0]-1), math.Max(math.Abs(x[1]/v[1]-1), math.Abs(x[2]/v[2]-1)))
			if room := 2.5e-6 * float64(w*w); d > room {
				t.Errorf("warmth %d and back: %v goes to %v, off by %.2g", w, v, x, d)
			}
		}
	}
	// The grey of warmth w is daylight of 200 + w over daylight of 200, within
	// what lies between D50 and the locus. By the published polynomial in
	// Python: 230 mired has X 0.98144, Z 0.68696, 200 mired X 0.96396, Z
	// 0.82414.
	white := apply3(*toneWarmth(big.NewRat(30, 1)), triple{1, 1, 1})
	x, z := white[0], white[2]
	if math.Abs(x-0.98144/0.96396) > 1e-4 || math.Abs(z-0.68696/0.82414) > 1e-4 {
		t.Errorf("white of 30 mired has X %v, Z %v", x, z)
	}
}
