package view

import (
	"math"
	"testing"
)

// The map's lightness rises from one end of its scale to the other, also for
// eyes without one kind of cone: the order can be read without its hues. The
// luminance weights are those of sRGB (IEC 61966-2-1).
func TestScaleRises(t *testing.T) {
	light := func(v uint8) float64 {
		s := float64(v) / 255
		if s <= 0.04045 {
			return s / 12.92
		}
		return math.Pow((s+0.055)/1.055, 2.4)
	}
	last := -1.0
	for i := range 257 {
		c := HeatColour(float64(i) / 256)
		y := 0.2126*light(c.R) + 0.7152*light(c.G) + 0.0722*light(c.B)
		// Steps of 8 bits leave a little play.
		if y < last-0.002 {
			t.Fatalf("at %d of 256: luminance %.4f after %.4f", i, y, last)
		}
		last = math.Max(last, y)
	}
	if HeatColour(-1) != HeatColour(0) || HeatColour(9) != HeatColour(1) {
		t.Error("values beyond the scale aren't cut to it")
	}
}

// A share that isn't nought never reads as nought.
func TestPercent(t *testing.T) {
	for v, want := range map[float64]string{0: "none", 0.00001: "under 0.01 %", 0.0042: "0.42 %", 0.043: "4.30 %", 0.5: "50.0 %", 0.99999: "over 99.9 %", 1: "100 %"} {
		if got := percent(v); got != want {
			t.Errorf("%v: %q, want %q", v, got, want)
		}
	}
}
