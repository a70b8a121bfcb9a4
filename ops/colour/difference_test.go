package colour

import (
	"math"
	"math/rand"
	"strconv"
	"testing"

	"platemark/ops/exact"
)

// The published pairs (Sharma, Wu and Dalal 2005, table 1), to four decimals.
func TestCIEDE2000PublishedPairs(t *testing.T) {
	seen := 0
	for _, row := range readCSV(t, "ciede2000.csv") {
		if row[0] == "pair" {
			continue
		}
		seen++
		a, b := labAt(t, row, 1), labAt(t, row, 4)
		got := DeltaE2000(a, b)
		if back := DeltaE2000(b, a); back != got {
			t.Errorf("pair %s: %v one way, %v the other", row[0], got, back)
		}
		if math.Abs(got-num(t, row[7])) > 0.00005001 {
			t.Errorf("pair %s: %.6f, published %s (other branch %s)", row[0], got, row[7], row[9])
		}
		if math.Abs(got-num(t, row[8])) > 1e-9 {
			t.Errorf("pair %s: %.12f, float64 %s", row[0], got, row[8])
		}
	}
	if seen != 34 {
		t.Errorf("%d pairs", seen)
	}
}

// The own functions against package math, which decides nothing here.
func TestDifferenceFunctions(t *testing.T) {
	rng := rand.New(rand.NewSource(11))
	close := func(what string, x, got, want, tolerance float64) {
		t.Helper()
		if !(math.Abs(got-want) <= tolerance) {
			t.Fatalf("%s(%v): %v, expected %v", what, x, got, want)
		}
	}
	for range 20000 {
		x := (rng.Float64() - 0.5) * 3000
		close("sin", x, sinDeg(x), math.Sin(x*math.Pi/180), 1e-13)
		close("cos", x, cosDeg(x), math.Cos(x*math.Pi/180), 1e-13)
		z := rng.Float64() * 130
		close("exp", z, expNeg(z), math.Exp(-z), 1e-15)
		a, b := rng.NormFloat64()*60, rng.NormFloat64()*60
		close("hue", a, hue(a, b), math.Mod(math.Atan2(b, a)*180/math.Pi+360, 360), 1e-12)
		c := math.Exp(rng.NormFloat64() * 3)
		close("cbrt", c, cbrt(c)/math.Cbrt(c), 1, 5e-16)
		close("cbrt exact", c, cbrt(c)/exact.Cbrt(exact.Float(c)).Hi, 1, 5e-16)
	}
	for _, x := range []float64{0, 90, 180, 270, 360} {
		close("hue", x, hue(math.Round(math.Cos(x*math.Pi/180)), math.Round(math.Sin(x*math.Pi/180))), math.Mod(x, 360), 0)
	}
}

// There and back.
func TestLabAndXYZ(t *testing.T) {
	rng := rand.New(rand.NewSource(12))
	for range 10000 {
		c := Lab{rng.Float64() * 100, rng.NormFloat64() * 60, rng.NormFloat64() * 60}
		if d := apart(LabFromXYZ(c.XYZ()), c); d > 1e-11 {
			t.Fatalf("%v comes back %v away", c, d)
		}
	}
	if w := (Lab{L: 100}).XYZ(); w != PCSWhite {
		t.Errorf("white is %v", w)
	}
	if DeltaE76(Lab{50, 3, 0}, Lab{50, 0, 4}) != 5 {
		t.Error("Delta E of 3 and 4 isn't 5")
	}
}

// RGB to Lab against the exact_* columns of icc_transforms.csv, within 0.001.
func TestLabOfOutsideProfiles(t *testing.T) {
	profiles := map[string]*Profile{
		"sRGB_v4":  load(t, profileDir+"srgb_v4.icc"),
		"opRGB_v4": load(t, profileDir+"oprgb_v4.icc"),
		"ROMM_v4":  load(t, profileDir+"romm_v4.icc"),
	}
	if n := checkLab(t, profiles); n != 180 {
		t.Errorf("%d rows checked", n)
	}
}

func checkLab(t *testing.T, profiles map[string]*Profile) (rows int) {
	t.Helper()
	worst := 0.0
	for _, row := range readCSV(t, "icc_transforms.csv") {
		p := profiles[row[0]]
		if p == nil || row[1] != "LabD50" || row[2] != "relative" {
			continue
		}
		rows++
		var in [3]uint16
		for i := range in {
			v, err := strconv.ParseUint(row[3+i], 10, 16)
			if err != nil {
				t.Fatal(err)
			}
			in[i] = uint16(v)
		}
		for _, intent := range []Intent{Relative, Perceptual, Saturation, Absolute} {
			to, err := NewToLab(p, intent)
			if err != nil {
				t.Fatal(err)
			}
			var got [1]Lab
			to.Row(got[:], in[:])
			d := apart(got[0], labAt(t, row, 12))
			worst = max(worst, d)
			if d > 0.001 {
				t.Errorf("%s %v %v: %.6f, expected %.6f", row[0], in, intent, got[0], labAt(t, row, 12))
			}
		}
	}
	t.Logf("at most %.6f", worst)
	return rows
}
