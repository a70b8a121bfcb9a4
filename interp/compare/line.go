package compare

import (
	"slices"

	"platemark/lang"
)

// LineOf is the line of print y of the recipe b that stands for a line of print x of
// the recipe a, as what both say pairs their steps: 0 where none does, -1 where the
// line is no step. What inputs and plans would tell isn't asked.
func LineOf(a *lang.Recipe, textA []byte, x string, line int, b *lang.Recipe, textB []byte, y string) int {
	side := func(rec *lang.Recipe, text []byte, print string) (*Side, []*statement) {
		s := newSide("", text, rec, "")
		s.prints = []*account{s.account(rec.Print(print), solved{})}
		s.maskAccounts()
		return s, s.prints[0].steps
	}
	s, from := side(a, textA, x)
	t, to := side(b, textB, y)
	c := &comparison{a: s, b: t, masks: map[string]string{}, back: map[string]string{}, d: &Diff{}}
	c.pairMasks()
	for _, p := range c.pairSteps(from, to) {
		if p.a < 0 {
			continue
		}
		spot := slices.IndexFunc(from[p.a].spots, func(s *statement) bool { return s.line == line })
		switch {
		case spot < 0 && from[p.a].line != line:
		case p.b < 0:
			return 0
		case spot < 0:
			return to[p.b].line
		default:
			for _, q := range c.pairSpots(from[p.a], to[p.b]) {
				if q.a == spot && q.b >= 0 {
					return to[p.b].spots[q.b].line
				}
			}
			return 0
		}
	}
	return -1
}
