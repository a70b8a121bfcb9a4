package colour

import (
	"fmt"
	"math"
	"testing"
)

// liftedProfile is a profile of curves whose black gives some light:
// (a x + 1 - a)^2.2, in RGB with opRGB's colorants or in grey, of version 4.
func liftedProfile(t testing.TB, device, a string) *Profile {
	t.Helper()
	b := map[string]string{"9/10": "1/10", "19/20": "1/20", "3/4": "1/4"}[a]
	para := paraTag(4, []string{"11/5", a, b, "0", "0", "0", "0"})
	tags := []tag{{"desc", textTag("lifted " + a)}, {"wtpt", fixedTag("XYZ ", D50[:]...)}}
	if device == "GRAY" {
		tags = append(tags, tag{"kTRC", para})
	} else {
		for i, xyz := range space(t, "opRGB").colorant {
			tags = append(tags, tag{"rgb"[i:i+1] + "XYZ", fixedTag("XYZ ", xyz[:]...)}, tag{"rgb"[i:i+1] + "TRC", para})
		}
	}
	p, err := Parse(assemble([2]byte{4, 0x30}, "mntr"+device+"XYZ ", tags))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// Black goes to black and white to white between profiles of curves, greys stay
// greys, and the light between is ISO 18619:2015's: with from and to the two
// blacks, v (1 - to)/(1 - from) + 1 - (1 - to)/(1 - from).
func TestCompensationBetweenCurves(t *testing.T) {
	lifted, grey := liftedProfile(t, "RGB ", "9/10"), liftedProfile(t, "GRAY", "19/20")
	black := func(x float64) float64 { // as a profile's numbers of 65536ths state it
		return math.Pow(math.Round(x*65536)/65536, math.Round(2.2*65536)/65536)
	}
	for _, c := range []struct {
		src, dst *Profile
		from, to float64 // light of black
	}{
		{lifted, space(t, "sRGB"), black(0.1), 0},
		{space(t, "opRGB"), lifted, 0, black(0.1)},
		{lifted, grey, black(0.1), black(0.05)},
		{grey, lifted, black(0.05), black(0.1)},
		{grey, space(t, "grey-2.2"), black(0.05), 0},
	} {
		name := c.src.Description() + " to " + c.dst.Description()
		for _, intent := range []Intent{Perceptual, Relative, Saturation} {
			tr, err := NewTransform(c.src, c.dst, intent, true)
			if err != nil {
				t.Fatal(err)
			}
			for _, code := range []uint16{0, 1, 300, 9000, 32768, 65534, 65535} {
				in, out := make([]uint16, c.src.Channels()), make([]uint16, c.dst.Channels())
				for i := range in {
					in[i] = code
				}
				tr.Row(out, in)
				k := (1 - c.to) / (1 - c.from)
				want := c.dst.Tone(0).Encode64(c.src.Tone(0).Decode64()[code]*k + 1 - k)
				for _, v := range out {
					if v != out[0] || max(v, want)-min(v, want) > 1 {
						t.Errorf("%s, %s: %d gives %d, expected greys of %d", name, intent, code, out, want)
						break
					}
				}
				if (code == 0 || code == 65535) && out[0] != code {
					t.Errorf("%s, %s: %d gives %d", name, intent, code, out)
				}
			}
		}
		// Without compensation light stays as it is; absolute has none.
		for _, intent := range []Intent{Relative, Absolute} {
			tr, err := NewTransform(c.src, c.dst, intent, intent == Absolute)
			if err != nil {
				t.Fatal(err)
			}
			in, plain, got := make([]uint16, 3), make([]uint16, c.dst.Channels()), make([]uint16, c.dst.Channels())
			in = in[:c.src.Channels()]
			NewLink(c.src, c.dst).Row(plain, in)
			tr.Row(got, in)
			if fmt.Sprint(got) != fmt.Sprint(plain) {
				t.Errorf("%s, %s without compensation: black gives %d, expected %d", name, intent, got, plain)
			}
		}
	}
}
