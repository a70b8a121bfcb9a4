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

// ottosson takes X, Y, Z under D65 to the light of OKLab's three cones
// (B. Ottosson, "A perceptual color space for image processing", 2020), in
// 10^-10.
var ottosson = [3][3]int64{{8189330101, 3618667424, -1288597137}, {329845436, 9293118715, 361456387}, {482003018, 2643662691, 6338517070}}

// Cones returns the matrix that takes light of red, green and blue, 0..1 each, to
// the light of OKLab's cones (long, medium, short) as shares of what the picture's
// white gives them, the matrix back, and the weights of the cones' light in the
// luminance of Luma. The connection space's D50 is taken to D65 (X 0.95047,
// Z 1.08883) by Adaptation. Each row, and the weights, add up to 1; entries are
// exact fractions rounded once. ok is as of Shares.
func (p *Profile) Cones() (to, from [3][3]float64, luma [3]float64, ok bool) {
	if _, _, ok = p.Shares(); !ok {
		return to, from, luma, false
	}
	var d50 [3]*big.Rat
	for i, v := range D50 {
		d50[i] = big.NewRat(int64(v), 65536)
	}
	var cones matrix3
	for r := range 3 {
		for c := range 3 {
			cones[r][c] = big.NewRat(ottosson[r][c], 1e10)
		}
	}
	d65 := [3]*big.Rat{big.NewRat(95047, 1e5), big.NewRat(1, 1), big.NewRat(108883, 1e5)}
	m := cones.times(Adaptation(d50, d65)).times(p.matrix())
	for r := range m {
		sum := new(big.Rat).Add(m[r][0], m[r][1])
		sum.Add(sum, m[r][2])
		for c := range m[r] {
			m[r][c].Quo(m[r][c], sum)
		}
	}
	back := m.inverse()
	y := p.matrixOver(p.whiteSum())[1]
	for c := range luma {
		sum := new(big.Rat)
		for k := range y {
			sum.Add(sum, new(big.Rat).Mul(y[k], back[k][c]))
		}
		luma[c], _ = sum.Float64()
	}
	return m.floats(), back.floats(), luma, true
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
