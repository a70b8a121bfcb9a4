package ops

import (
	"errors"
	"fmt"
	"math/big"
	"strings"
)

// SpotShape is one spot in pixels of the step's own picture, edges whole and
// pixel centres at .5: what an argument spot-N of the operation spots holds.
//
//	at X Y radius R soft S
//	at X Y radius R soft S from X Y
//
// Numbers are reduced fractions; S is a share from 0 to 1.
type SpotShape struct {
	At           MaskPoint
	Radius, Soft *big.Rat
	From         *MaskPoint // nil: filled from the rim
}

// String is the one written form.
func (s SpotShape) String() string {
	t := fmt.Sprintf("at %s %s radius %s soft %s", ratText(s.At.X), ratText(s.At.Y), ratText(s.Radius), ratText(s.Soft))
	if s.From != nil {
		t += fmt.Sprintf(" from %s %s", ratText(s.From.X), ratText(s.From.Y))
	}
	return t
}

func ratText(r *big.Rat) string {
	if r == nil {
		return "?"
	}
	return r.RatString()
}

// spotLarge is a spot's largest radius, px: 1 % of the longest side. The work of
// filling grows with the third power of the radius.
var spotLarge = big.NewRat(maxSide/100, 1)

// ParseSpot reads the one written form of a spot and checks its numbers. The
// result's String is s again.
func ParseSpot(s string) (SpotShape, error) {
	v, err := parseSpot(strings.Fields(s))
	if err == nil && v.String() != s {
		err = fmt.Errorf("expected it written as %q", v.String())
	}
	if err == nil {
		err = v.check()
	}
	if err != nil {
		return SpotShape{}, fmt.Errorf("spot %q: %w", s, err)
	}
	return v, nil
}

func parseSpot(f []string) (v SpotShape, err error) {
	if len(f) != 7 && len(f) != 10 {
		return v, errors.New("expected at X Y radius R soft S, and where it is copied from X Y")
	}
	var at [10]*big.Rat
	for i, w := range f {
		switch i {
		case 0, 3, 5, 7:
			if want := map[int]string{0: "at", 3: "radius", 5: "soft", 7: "from"}[i]; w != want {
				return v, fmt.Errorf("expected %s, found %s", want, w)
			}
		default:
			if at[i], err = ParseRat(w); err != nil {
				return v, err
			}
		}
	}
	v = SpotShape{At: MaskPoint{at[1], at[2]}, Radius: at[4], Soft: at[6]}
	if len(f) == 10 {
		v.From = &MaskPoint{at[8], at[9]}
	}
	return v, nil
}

func (s SpotShape) check() error {
	places := []*big.Rat{s.At.X, s.At.Y}
	if s.From != nil {
		places = append(places, s.From.X, s.From.Y)
	}
	for _, v := range places {
		if new(big.Rat).Abs(v).Cmp(shapeFar) > 0 {
			return fmt.Errorf("the position %s is further than %s px from the picture", v.RatString(), shapeFar.RatString())
		}
	}
	if s.Radius.Sign() <= 0 || s.Radius.Cmp(spotLarge) > 0 {
		return fmt.Errorf("the radius %s px isn't above 0 and up to %s px", decimal(s.Radius), decimal(spotLarge))
	}
	if s.Soft.Sign() < 0 || s.Soft.Cmp(shapeOne) > 0 {
		return fmt.Errorf("the softness %s isn't between 0 and 1", s.Soft.RatString())
	}
	return nil
}
