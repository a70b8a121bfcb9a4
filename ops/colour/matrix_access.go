package colour

import "math/big"

// Shares returns the matrix that takes light of red, green and blue, 0..1
// each, to X, Y and Z as shares of what full red, green and blue give together,
// and the matrix back. Each row of both adds up to 1, so that equal light in
// all channels is equal shares; entries are exact fractions rounded once. ok is
// false for a profile that isn't RGB by colorants and curves alone.
func (p *Profile) Shares() (to, from [3][3]float64, ok bool) {
	if p.channels != 3 || !p.shaped || p.HasTables() {
		return to, from, false
	}
	m := p.matrixOver(p.whiteSum())
	return m.floats(), m.inverse().floats(), true
}

// bradford is the linear Bradford cone matrix (ICC.1:2010, annex E), in
// 10000ths.
var bradford = [3][3]int64{{8951, 2664, -1614}, {-7502, 17135, 367}, {389, -685, 10296}}

// Adaptation is the linear Bradford adaptation (ICC.1:2010, annex E), X, Y, Z
// to X, Y, Z, that takes the white from to the white to, exactly. Both are
// X, Y, Z of lights: none of their Bradford cone responses may be 0.
func Adaptation(from, to [3]*big.Rat) [3][3]*big.Rat {
	var brad, gain matrix3
	for r := range 3 {
		for c := range 3 {
			brad[r][c], gain[r][c] = big.NewRat(bradford[r][c], 10000), new(big.Rat)
		}
	}
	a, b := brad.apply(from), brad.apply(to)
	for i := range 3 {
		gain[i][i] = new(big.Rat).Quo(b[i], a[i])
	}
	return brad.inverse().times(gain).times(brad)
}
