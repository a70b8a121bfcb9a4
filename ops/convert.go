package ops

import (
	"fmt"

	"platemark/ops/colour"
)

// convertV1 carries a picture into another profile: codes to light by the
// source's curves, light by one matrix, light to codes by the inverse curves.
//
// The matrix is inverse(destination colorants) x source colorants over the
// profile connection space (ICC.1:2010, annex F), in exact fractions, rounded
// once; colour.Link states the arithmetic and what keeps greys grey. Light
// outside the destination's range is clipped channel by channel. Grey to RGB
// is the same light in all channels, RGB to grey is luminance.
//
// For profiles of colorants and curves the relative, perceptual and saturation
// intents are the same, and black point compensation changes nothing, as light
// 0 is black in both. The absolute intent is refused.
var convertV1 = Operation{
	Name:    "convert",
	Version: 1,
	Doc: `Carries the picture into another profile: curves, one 3 x 3 matrix through XYZ D50, inverse curves;
halves round up, what lies outside is clipped. Relative, perceptual and saturation are the same between
such profiles, and black point compensation has no effect; absolute is refused. ICC.1:2010, annex F.`,
	Params: []Param{
		{Name: "profile", Unit: "sha256", Doc: "the destination profile"},
		{Name: "intent", Unit: "word", Words: []string{"relative", "perceptual", "saturation", "absolute"}, Default: "relative", Doc: "rendering intent"},
		{Name: "black-point", Unit: "word", Words: []string{"on", "off"}, Default: "on", Doc: "black point compensation"},
	},
	New: newConvert,
}

func newConvert(a Args, in []Pic, env Env) (Step, error) {
	if len(in) != 1 {
		return nil, fmt.Errorf("convert takes one picture, not %d", len(in))
	}
	pic := in[0]
	if pic.Profile == nil {
		return nil, fmt.Errorf("convert needs a picture with a profile; a mask has none")
	}
	if pic.C != pic.Profile.Channels() {
		return nil, fmt.Errorf("convert was given a picture of %d channels whose profile has %d", pic.C, pic.Profile.Channels())
	}
	sum, ok := a.Get("profile")
	if !ok {
		return nil, fmt.Errorf("argument profile is missing")
	}
	dst := env.Profiles[sum]
	if dst == nil {
		return nil, fmt.Errorf("convert: no profile with the digest %q is at hand", sum)
	}
	switch w := a.Word("intent", "relative"); w {
	case "relative", "perceptual", "saturation":
	case "absolute":
		return nil, fmt.Errorf("convert: the absolute intent isn't available for conversions; it would tint the paper's white into the picture. Use relative")
	default:
		return nil, fmt.Errorf("convert: %q is no intent; relative, perceptual and saturation are", w)
	}
	if w := a.Word("black-point", "on"); w != "on" && w != "off" {
		return nil, fmt.Errorf("convert: black-point is %q; it can be on or off", w)
	}
	return &convertStep{
		pic:  Pic{W: pic.W, H: pic.H, C: dst.Channels(), Profile: dst},
		link: colour.NewLink(pic.Profile, dst),
	}, nil
}

type convertStep struct {
	pic  Pic
	link *colour.Link
}

func (s *convertStep) Pic() Pic { return s.pic }

func (s *convertStep) Window(_, y int) (lo, hi int) { return y, y + 1 }

// Worker is the step itself: a row needs no memory of others.
func (s *convertStep) Worker() Worker { return s }

func (s *convertStep) Row(dst []uint16, y int, in []Rows) { s.link.Row(dst, in[0].Row(y)) }
