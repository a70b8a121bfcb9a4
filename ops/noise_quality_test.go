//go:build outside

package ops

import (
	"math"
	"slices"
	"testing"

	"platemark/testdata/photos"
)

// Noise added to photographs is found within a fifth, beside what they have, on sky,
// rock, wood and grass, most of which is texture; that of grass without any is
// below 2 of 255.
func TestNoiseOfPhotographs(t *testing.T) {
	for _, name := range []string{"beach", "hills", "sunset", "dune", "mountains", "brook", "wood", "meadow"} {
		pix, w, h := photos.Open(t, name, 2)
		ownLight, ownColour := levelsOf(t, pix, w, h, 3)
		t.Logf("%-9s own %4.0f  %4.0f", name, ownLight, ownColour)
		if most := slices.Max(ownLight) / 257; name == "meadow" && most > 2 {
			t.Errorf("clean grass has a noise of %.1f of 255", most)
		}
		for _, sigma := range []float64{2, 5, 10} {
			light, colour := levelsOf(t, added(pix, sigma*257, 257), w, h, 3)
			t.Logf("%-9s %2.0f  %4.0f  %4.0f", name, sigma, light, colour)
			worst := 0.0
			for k := range noiseClasses {
				worst = max(worst, math.Abs(light[k]/math.Hypot(ownLight[k], sigma*257*lightOfEach)-1),
					math.Abs(colour[k]/math.Hypot(ownColour[k], sigma*257*colourOfEach)-1))
			}
			if worst > 0.2 {
				t.Errorf("%s: noise of %.0f of 255 is measured wrong by %.0f %%", name, sigma, 100*worst)
			}
		}
	}
}
