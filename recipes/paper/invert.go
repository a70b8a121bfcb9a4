package paper

import (
	"math"

	"platemark/ops/colour"
)

// Differences in hue, lightness and chroma count 1.5, 1 and 0.6 times: what the
// paper can't show goes to the place that keeps hue best and chroma least.
const (
	hueWeight    = 1.5
	chromaWeight = 0.6
	probe        = 1.0 / 1024
)

// miss is the weighted difference from a target in lightness, chroma and hue;
// (u, v) is the target's hue.
func miss(c, target colour.Lab, u, v float64, grey bool) [3]float64 {
	da, db := c.A-target.A, c.B-target.B
	if grey {
		return [3]float64{c.L - target.L, da, db}
	}
	dc := float64(da*u) + float64(db*v)
	dh := float64(db*u) - float64(da*v)
	return [3]float64{c.L - target.L, float64(chromaWeight * dc), float64(hueWeight * dh)}
}

func square(r [3]float64) float64 {
	return float64(r[0]*r[0]) + float64(r[1]*r[1]) + float64(r[2]*r[2])
}

// solve looks for the codes that come closest to a colour, from d on, and gives
// them and what is left, weighted and squared: damped least squares (Levenberg
// 1944, Marquardt 1963) held to 0..1.
func (k *ink) solve(target colour.Lab, d [3]float64) ([3]float64, float64) {
	chroma := target.Chroma()
	grey := chroma < 1
	u, v := 1.0, 0.0
	if !grey {
		u, v = target.A/chroma, target.B/chroma
	}
	cost := func(d [3]float64) ([3]float64, float64) {
		r := miss(k.lab(d), target, u, v, grey)
		return r, square(r)
	}
	r, best := cost(d)
	damp := 0.01
	for range 25 {
		if best < 1e-7 {
			break
		}
		var jac [3][3]float64 // [residual][code]
		for n := range 3 {
			step := probe
			if d[n] > 0.5 {
				step = -probe
			}
			e := d
			e[n] += step
			q, _ := cost(e)
			for i := range 3 {
				jac[i][n] = (q[i] - r[i]) / step
			}
		}
		var m [3][3]float64
		var g [3]float64
		for a := range 3 {
			for i := range 3 {
				g[a] += float64(jac[i][a] * r[i])
				for b := range 3 {
					m[a][b] += float64(jac[i][a] * jac[i][b])
				}
			}
		}
		for a := range 3 { // a code at its end that wants beyond stays
			if d[a] <= 0 && g[a] > 0 || d[a] >= 1 && g[a] < 0 {
				for b := range 3 {
					m[a][b], m[b][a] = 0, 0
				}
				m[a][a], g[a] = 1, 0
			}
		}
		better := false
		for range 6 {
			n := m
			for a := range 3 {
				n[a][a] += float64(damp*m[a][a]) + 1e-9
			}
			step := solve3(n, g)
			e, moved := d, 0.0
			for a := range 3 {
				e[a] = math.Min(math.Max(d[a]-step[a], 0), 1)
				moved = math.Max(moved, math.Abs(e[a]-d[a]))
			}
			q, c := cost(e)
			if c < best {
				better = moved > 1e-6 && c < float64(best*0.999)
				d, r, best = e, q, c
				damp = math.Max(float64(damp*0.2), 1e-6)
				break
			}
			damp = float64(damp * 5)
		}
		if !better {
			break
		}
	}
	return d, best
}

// solve3 solves m x = g by Cramer's rule; zero where m has no inverse.
func solve3(m [3][3]float64, g [3]float64) (x [3]float64) {
	d := det(m)
	if d == 0 {
		return x
	}
	for k := range x {
		n := m
		for i := range n {
			n[i][k] = g[i]
		}
		x[k] = det(n) / d
	}
	return x
}

func det(m [3][3]float64) float64 {
	a := float64(m[1][1]*m[2][2]) - float64(m[1][2]*m[2][1])
	b := float64(m[1][0]*m[2][2]) - float64(m[1][2]*m[2][0])
	c := float64(m[1][0]*m[2][1]) - float64(m[1][1]*m[2][0])
	return float64(m[0][0]*a) - float64(m[0][1]*b) + float64(m[0][2]*c)
}
