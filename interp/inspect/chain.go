package inspect

import (
	"math"
	"slices"
)

// chain lays discs of r px and more along a line from end to end, each beside the one
// before, so that none overlaps another. What no disc has between two stays as a dot of
// the hair: where the next one lies is tried until no pixel of the hair is left there.
func chain(g []mark, l stretch, r float64) (list []Disc) {
	const gap = 0.02
	var best Disc
	least := math.MaxInt
	left := slices.Clone(g)
	at := l.a
	for len(left) > 0 {
		next := 0
		for i := range left {
			if apart(at, left[i].at()) < apart(at, left[next].at()) {
				next = i
			}
		}
		at = left[next].at()
		left = slices.Delete(left, next, next+1)
		room := math.Inf(1) // to the nearest disc
		for _, d := range list {
			room = min(room, apart(at, d.Point)-d.Radius-gap)
		}
		switch {
		case len(list) == 0:
			list = append(list, Disc{at, r})
		case room >= r && room < 1.5*r:
			d := Disc{at, room}
			if n := between(list[len(list)-1], d, l.width/2+1); n < least {
				best, least = d, n
			}
		}
		if least == 0 || least < math.MaxInt && (room >= 1.5*r || len(left) == 0) {
			list, least = append(list, best), math.MaxInt
		}
	}
	// What is left over at the far end.
	room := r
	for _, d := range list {
		room = min(room, apart(l.b, d.Point)-d.Radius-gap)
	}
	if room > 1.5 {
		list = append(list, Disc{l.b, room})
	}
	return list
}

// between counts the pixels up to so far from the line through two discs' middles that
// lie between the discs.
func between(a, b Disc, far float64) (n int) {
	d := apart(a.Point, b.Point)
	ux, uy := (b.X-a.X)/d, (b.Y-a.Y)/d
	x, y := a.X+float64(a.Radius*ux), a.Y+float64(a.Radius*uy)
	for py := math.Floor(y-far) + 0.5; py < y+far; py++ {
		for px := math.Floor(x-far) + 0.5; px < x+far; px++ {
			c := Point{px, py}
			if math.Abs(float64((px-x)*uy)-float64((py-y)*ux)) <= far && apart(c, a.Point) >= a.Radius && apart(c, b.Point) >= b.Radius {
				n++
			}
		}
	}
	return n
}
