package ops

import (
	"errors"
	"fmt"
	"math/big"
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

// form is the spot as a line of a mask has it, and the words of that.
func (s SpotShape) form() (MaskShape, string) {
	m := MaskShape{Points: []MaskPoint{s.At}, W: s.Radius, Soft: s.Soft}
	if s.From == nil {
		return m, spotForm
	}
	m.Points = append(m.Points, *s.From)
	return m, spotForm + " from p"
}

const spotForm = "at p radius w soft s"

// String is the one written form.
func (s SpotShape) String() string {
	m, form := s.form()
	return m.write(form)
}

// spotLarge is a spot's largest radius, px: 1 % of the longest side. The work of
// filling grows with the third power of the radius.
var spotLarge = big.NewRat(maxSide/100, 1)

// ParseSpot reads the one written form of a spot and checks its numbers. The
// result's String is s again.
func ParseSpot(s string) (SpotShape, error) { return parseWritten("spot", s, parseSpot) }

func parseSpot(f []string) (v SpotShape, err error) {
	form := spotForm
	switch len(f) {
	case 7:
	case 10:
		form += " from p"
	default:
		return v, errors.New("expected at X Y radius R soft S, and where it is copied from X Y")
	}
	var m MaskShape
	if err := m.read(form, f); err != nil {
		return v, err
	}
	v = SpotShape{At: m.Points[0], Radius: m.W, Soft: m.Soft}
	if len(m.Points) > 1 {
		v.From = &m.Points[1]
	}
	return v, nil
}

func (s SpotShape) check() error {
	m, _ := s.form()
	if err := m.near("picture"); err != nil {
		return err
	}
	if s.Radius.Sign() <= 0 || s.Radius.Cmp(spotLarge) > 0 {
		return fmt.Errorf("the radius %s px isn't above 0 and up to %s px", decimal(s.Radius), decimal(spotLarge))
	}
	if s.Soft.Sign() < 0 || s.Soft.Cmp(shapeOne) > 0 {
		return fmt.Errorf("the softness %s isn't between 0 and 1", s.Soft.RatString())
	}
	return nil
}
