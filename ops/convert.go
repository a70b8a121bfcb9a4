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
// the destination's range is clipped channel by channel. Grey to RGB is the
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
the papers' whites. Halves round up, what lies outside is clipped. ICC.1:2010.`,
	Takes: 1,
	Nanos: 45,
	Params: Params{
		{Name: "profile", Unit: "sha256", Doc: "the destination profile"},
		{Name: "intent", Unit: "word", Words: []string{"relative", "perceptual", "saturation", "absolute"}, Default: "relative", Doc: "rendering intent"},
		{Name: "black-point", Unit: "word", Words: []string{"on", "off"}, Default: "on", Doc: "black point compensation"},
	},
}, newConvert)

type convertParams struct {
	Profile, Intent string
	BlackPoint      string
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
	return &pixelwise{Pic{W: pic.W, H: pic.H, C: dst.Channels(), Profile: dst}, t.Row}, nil
}
