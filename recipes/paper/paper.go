// Package paper makes the demonstration's paper profiles: ICC files of printers
// that don't exist, computed from invented papers and inks.
//
// What it promises: the same bytes for a name on every machine. A profile has
// all three pairs of tables; the colorimetric ones invert each other within
// what their grids allow, and what the paper can't show is clipped with its hue
// kept.
//
// It refuses nothing but unknown names, and opens no file.
package paper

import (
	"encoding/binary"
	"math"
	"slices"

	"platemark/ops/colour"
)

// Names lists the papers: a glossy one with a deep black, and a matte one that
// shows less.
func Names() []string {
	var out []string
	for _, s := range stocks {
		out = append(out, s.name)
	}
	return out
}

// Profile makes the ICC profile (version 2.4, RGB printer, some 260 kB, within
// a second) of a paper by its name.
func Profile(name string) ([]byte, bool) {
	i := slices.IndexFunc(stocks, func(s stock) bool { return s.name == name })
	if i < 0 {
		return nil, false
	}
	return stocks[i].profile(), true
}

const (
	gridThere = 21 // points a side: codes to colours
	gridBack  = 29 // colours to codes, colorimetric
	gridSoft  = 21 // colours to codes, perceptual
	entries   = 258
)

func (s *stock) profile() []byte {
	k := newInk(s)
	soft := func(c colour.Lab) colour.Lab { // perceptual: black to black, strong colours weaker
		black := k.lab([3]float64{}).L
		c.L = black + float64((100-black)*(c.L/100))
		w := 1 + c.Chroma()/s.chroma
		c.A, c.B = c.A/w, c.B/w
		return c
	}
	there := k.there()
	back := k.back(gridBack, func(c colour.Lab) colour.Lab { return c })
	tags := []tag{
		{"desc", textDescription(s.text)},
		{"cprt", append([]byte("text\x00\x00\x00\x00"), "No rights reserved; describes no real paper\x00"...)},
		{"wtpt", whitePoint(k.white)},
		{"A2B0", there}, {"A2B1", there}, {"A2B2", there},
		{"B2A0", k.back(gridSoft, soft)}, {"B2A1", back}, {"B2A2", back},
	}
	return assemble(tags)
}

// there is the table from codes to colours.
func (k *ink) there() []byte {
	d := lutHead(gridThere, 2)
	d = appendStraight(d)
	for i := range gridThere * gridThere * gridThere {
		at := func(n int) float64 { return float64(n%gridThere) / (gridThere - 1) }
		c := k.lab([3]float64{at(i / (gridThere * gridThere)), at(i / gridThere), at(i)})
		d = append16(d, c.L*652.8, (c.A+128)*256, (c.B+128)*256)
	}
	return appendStraight(d)
}

// back is the table from colours to codes, through curves that put the grid's
// points closer together near grey, and white on one of them.
func (k *ink) back(grid int, target func(colour.Lab) colour.Lab) []byte {
	var light, tint [entries]uint16
	for i := range light {
		// L* 100 is the code FF00, entry 256 of 257.
		light[i] = round16(float64(float64(i) / 256 * 65535))
		t := float64(float64(i)*(65535.0/257/32768)) - 1 // a*, b* over 128
		s := float64(t * (1.6 - float64(0.6*math.Abs(t))))
		tint[i] = round16(float64((s + 1) * 32767.5))
	}
	d := lutHead(grid, entries)
	for _, c := range [3]*[entries]uint16{&light, &tint, &tint} {
		for _, v := range c {
			d = binary.BigEndian.AppendUint16(d, v)
		}
	}
	ls, ts := make([]float64, grid), make([]float64, grid)
	for i := range grid {
		y := float64(float64(i) / float64(grid-1) * 65535)
		ls[i] = place(&light, y) / 652.8
		ts[i] = float64(place(&tint, y)*(1.0/256)) - 128
	}
	last := [3]float64{0.5, 0.5, 0.5}
	for i := range grid * grid * grid {
		c := target(colour.Lab{L: ls[i/(grid*grid)], A: ts[i/grid%grid], B: ts[i%grid]})
		best, left := k.solve(c, last)
		if left > 0.01 { // out of reach, or stuck on the way: try from grey too
			g := c.L / 100
			if other, l := k.solve(c, [3]float64{g, g, g}); l < left {
				best = other
			}
		}
		last = best
		d = append16(d, best[0]*65535, best[1]*65535, best[2]*65535)
	}
	return appendStraight(d)
}

// place is where a rising curve of entries reaches y, in codes.
func place(c *[entries]uint16, y float64) float64 {
	for i := 1; i < entries; i++ {
		lo, hi := float64(c[i-1]), float64(c[i])
		if y <= hi && hi > lo {
			p := float64(i-1) + (y-lo)/(hi-lo)
			return float64(p * (65535.0 / (entries - 1)))
		}
	}
	return 65535
}
