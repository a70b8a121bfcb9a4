package colour

import (
	"math"
	"testing"
)

// Volumes in CIELAB as Bruce Lindbloom's table "RGB Working Space Information"
// has them (numbers from memory).
func TestGamutVolume(t *testing.T) {
	for name, want := range map[string]float64{"sRGB": 832870, "opRGB": 1208631, "ROMM-RGB": 2879568, "grey-2.2": 0} {
		got, err := space(t, name).GamutVolume()
		if err != nil || math.Abs(got-want) > want/500 {
			t.Errorf("%s: %.0f, expected %.0f, %v", name, got, want, err)
		}
	}
}

// The ends of a curve are its own light; those of a press are its white (tag
// wtpt) and what its tables say of all that it prints for black.
func TestEnds(t *testing.T) {
	lifted := liftedProfile(t, "GRAY", "19/20")
	white, black, err := lifted.Ends()
	want := labOf([3]float64{math.Pow(0.05, 2.2), math.Pow(0.05, 2.2), math.Pow(0.05, 2.2)})
	if err != nil || apart(white, Lab{L: 100}) > 1e-9 || apart(black, want) > 0.01 {
		t.Errorf("%v %v, expected %v, %v", white, black, want, err)
	}
	press := load(t, "../../testdata/standards/profiles/FOGRA39L_coated.icc")
	white, black, err = press.Ends()
	paper := LabFromXYZ([3]float64{press.white[0] * PCSWhite[0], press.white[1], press.white[2] * PCSWhite[2]})
	if err != nil || apart(white, paper) > 0.1 || black.L < 5 || black.L > 12 {
		t.Errorf("%v, paper %v, black %v, %v", white, paper, black, err)
	}
	if n := len(press.Intents()); n != 3 || lifted.Intents() != nil {
		t.Errorf("tables for %d intents of the press, %v of curves", n, lifted.Intents())
	}
}
