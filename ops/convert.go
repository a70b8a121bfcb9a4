package ops

import (
	"fmt"

	"platemark/ops/colour"
)

// convertV1 carries a picture into another profile.
//
// Between profiles of colorants and curves: codes to light by the source's
// curves, light by one matrix, light to codes by the inverse curves. The matrix
// is inverse(destination colorants) x source colorants over the profile
// connection space (ICC.1:2010, annex F), in exact fractions, rounded once;
// colour.Link states the arithmetic and what keeps greys grey. Light outside
// the destination's range is clipped channel by channel, or with hue keep brought
// to near the least different colour of its hue (keepHue). Grey to RGB is the
// same light in all channels, RGB to grey is luminance. The relative,
// perceptual and saturation intents are the same there, and absolute differs
// only where the profiles state different media whites. Black point compensation
// acts where the blacks of the two curves differ.
//
// Where either profile has tables, colour.Transform states how they are chosen
// and read. It also states what compensation and the absolute intent do.
// Pictures are grey or RGB: a CMYK profile is refused.
var convertV1 = operation(Operation{
	Name:    "convert",
	Version: 1,
	Doc: `Carries the picture into another profile. Colorants and curves: curves, one 3 x 3 matrix through XYZ D50,
inverse curves; relative, perceptual and saturation are the same. Tables: the intent's own (else A2B0, B2A0), read
tetrahedrally by device codes and trilinearly by Lab. Black point compensation scales XYZ (ISO 18619); absolute keeps
the papers' whites. Halves round up, what lies outside is clipped, or with hue keep (curves alone) goes to near the
least different colour of its hue in OKLab (CIE 156:2004). ICC.1:2010.`,
	Takes: 1,
	Nanos: 5,
	Params: Params{
		{Name: "profile", Unit: "sha256", Doc: "the destination profile"},
		{Name: "intent", Unit: "word", Words: []string{"relative", "perceptual", "saturation", "absolute"}, Default: "relative", Doc: "rendering intent"},
		{Name: "black-point", Unit: "word", Words: []string{"on", "off"}, Default: "on", Doc: "black point compensation"},
		{Name: "hue", Unit: "word", Words: []string{"clip", "keep"}, Default: "clip", Doc: "what happens to colours outside the destination: clipped channel by channel, or brought in at their hue; keep takes spaces of curves in RGB and not the absolute intent"},
	},
}, newConvert)

type convertParams struct {
	Profile, Intent string
	BlackPoint, Hue string
}

func newConvert(a convertParams, in []Pic, env Env) (Step, error) {
	pic := in[0]
	if pic.Profile == nil {
		return nil, fmt.Errorf("convert needs a picture with a profile; a mask has none")
	}
	if pic.C != pic.Profile.Channels() {
		return nil, fmt.Errorf("convert was given a picture of %d channels whose profile has %d", pic.C, pic.Profile.Channels())
	}
	dst, err := env.profile("convert", a.Profile)
	if err != nil {
		return nil, err
	}
	if dst.Channels() == 4 || pic.Profile.Channels() == 4 {
		return nil, fmt.Errorf("convert: %q is a CMYK profile; pictures are made in RGB or grey, and CMYK is for looking (proof) only. Use the space that the lab asks for, or the RGB profile of the paper", dst.Description())
	}
	intent, _ := colour.ParseIntent(a.Intent)
	t, err := colour.NewTransform(pic.Profile, dst, intent, a.BlackPoint == "on")
	if err != nil {
		return nil, fmt.Errorf("convert: %w", err)
	}
	row := t.Row
	if a.Hue == "keep" {
		if row, err = keepHue(pic.Profile, dst, intent, a.BlackPoint == "on", t.Row); err != nil {
			return nil, err
		}
	}
	return &pixelwise{Pic{W: pic.W, H: pic.H, C: dst.Channels(), Profile: dst}, row}, nil
}

// keepHue gives the row of a conversion that brings colours outside the destination
// back by less light (hueSpace.nearest) and then less chroma (hueSpace.within) at
// their hue; all others are those of convert.
func keepHue(from, to *colour.Profile, intent colour.Intent, compensate bool, convert func(dst, src []uint16)) (func(dst, src []uint16), error) {
	src, ok := newHueSpace(from)
	dst, ok2 := newHueSpace(to)
	switch {
	case !ok || !ok2:
		return nil, fmt.Errorf("convert can keep hues only between RGB spaces of curves, and %q or %q isn't one; leave out keep hue", from.Description(), to.Description())
	case intent == colour.Absolute:
		return nil, fmt.Errorf("convert can't keep hues with the absolute intent, which tints white; take relative, or leave out keep hue")
	case compensate && src.black() != dst.black():
		return nil, fmt.Errorf("convert can't keep hues between %q and %q, whose blacks differ; write black-point off, or leave out keep hue", from.Description(), to.Description())
	}
	m := matrixProduct(&dst.fromXYZ, &src.toXYZ)
	return func(out, in []uint16) {
		convert(out, in)
		dr, dg, db := src.tones[0].Decode64(), src.tones[1].Decode64(), src.tones[2].Decode64()
		for i := 0; i+3 <= len(out); i += 3 {
			g := dg[in[i+1]]
			r, b := dr[in[i]]-g, db[in[i+2]]-g
			r, g, b = g+(float64(m[0][0]*r)+float64(m[0][2]*b)), g+(float64(m[1][0]*r)+float64(m[1][2]*b)), g+(float64(m[2][0]*r)+float64(m[2][2]*b))
			if hi, lo := extremes3(r, g, b); hi <= 1+gamutRoom && lo >= -gamutRoom {
				continue
			}
			y := max(0, min(1, dst.luminance(r, g, b)))
			k := dst.nearest(r, g, b, y)
			r, g, b = dst.within(float64(r*k), float64(g*k), float64(b*k), float64(y*k), 1)
			out[i], out[i+1], out[i+2] = dst.tones[0].Encode64(r), dst.tones[1].Encode64(g), dst.tones[2].Encode64(b)
		}
	}, nil
}

// gamutRoom is how far below 0 or above 1 light may be without counting as outside.
const gamutRoom = 1e-9
