package inspect

import (
	_ "embed"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// How like a blot a speck is says a small network: what lies around it, measured in
// rings and in their eighths, goes through two rows of rectified sums to one number:
// above 0 it is rather a blot than not, from likeLeast on it is taken for one. All are
// whole numbers, in 1024ths. like.txt has a line for each sum: how much it takes of each
// number, and what is added. BenchmarkLearn learns them on the two tuned photographs.
const (
	likeReach  = 8 // how far a speck is looked at, in the level's pixels
	likeRings  = 9
	likeGroups = 4 // of two rings, without the innermost, whose eighths are told apart
	likeIn     = 2*likeRings - 1 + 8*likeGroups + 6
	likeFirst  = 32
	likeSecond = 16
	likeOne    = 1024
	likeLeast  = 1125 // three times as likely a blot as not, if half of all specks were blots
)

//go:embed like.txt
var likeText string

// likeRim is where each ring ends, in pixels from the middle.
var likeRim = [likeRings]float64{0.5, 1.2, 1.8, 2.5, 3.3, 4.2, 5.2, 6.4, 8}

// A network has for each number that goes in what the sums take of it, and last what
// is added.
type network struct {
	first  [likeIn + 1][likeFirst]int32
	second [likeFirst + 1][likeSecond]int32
	last   [likeSecond + 1]int32
}

// likeness is the network of like.txt.
var likeness = sync.OnceValue(func() *network {
	n, err := readNetwork(likeText)
	if err != nil {
		panic("like.txt: " + err.Error())
	}
	return n
})

func readNetwork(text string) (*network, error) {
	n := new(network)
	lines := strings.Split(strings.TrimSpace(text), "\n")
	if len(lines) != likeFirst+likeSecond+1 {
		return nil, fmt.Errorf("%d lines", len(lines))
	}
	for i, line := range lines {
		to, ins := func(j int) *int32 { return &n.last[j] }, likeSecond
		switch {
		case i < likeFirst:
			to, ins = func(j int) *int32 { return &n.first[j][i] }, likeIn
		case i < likeFirst+likeSecond:
			to, ins = func(j int) *int32 { return &n.second[j][i-likeFirst] }, likeFirst
		}
		fields := strings.Fields(line)
		if len(fields) != ins+1 {
			return nil, fmt.Errorf("line %d has %d numbers", i+1, len(fields))
		}
		for j, f := range fields {
			v, err := strconv.ParseInt(f, 10, 32)
			if err != nil {
				return nil, fmt.Errorf("line %d: %w", i+1, err)
			}
			*to(j) = int32(v)
		}
	}
	return n, nil
}

// of is what the network says of what was measured.
func (n *network) of(in *[likeIn]int32) int32 {
	var a [likeFirst]int64
	for j, v := range n.first[likeIn] {
		a[j] = likeOne * int64(v)
	}
	for i, v := range in {
		w := &n.first[i]
		for j := range a {
			a[j] += int64(v) * int64(w[j])
		}
	}
	var b [likeSecond]int64
	for j, v := range n.second[likeFirst] {
		b[j] = likeOne * int64(v)
	}
	for i, v := range a {
		if v /= likeOne; v > 0 {
			w := &n.second[i]
			for j := range b {
				b[j] += v * int64(w[j])
			}
		}
	}
	sum := likeOne * int64(n.last[likeSecond])
	for i, v := range b {
		sum += max(v/likeOne, 0) * int64(n.last[i])
	}
	return int32(sum / likeOne)
}

// A cell is what lies in one eighth of a ring; the innermost two are whole.
type cell struct {
	ring, group, eighth int   // group is below 0 in the innermost two rings
	at                  []int // its pixels, from the middle one, in rows of a level
}

// cells are those around a place in a level whose rows have so many pixels, and ground
// are its pixels 5 to 8 away, from which a speck's height is measured.
func cells(wide int) (list []cell, ground []int) {
	for ring, rim := range likeRim {
		inner := 0.0
		if ring > 0 {
			inner = likeRim[ring-1]
		}
		var eighths [8]cell
		for dy := -likeReach; dy <= likeReach; dy++ {
			for dx := -likeReach; dx <= likeReach; dx++ {
				d := math.Sqrt(float64(dx*dx + dy*dy))
				if d > rim || d <= inner && ring > 0 {
					continue
				}
				c := &eighths[0]
				if ring > 1 {
					c = &eighths[int(math.Round(math.Atan2(float64(dy), float64(dx))*4/math.Pi))&7]
				}
				c.at = append(c.at, dy*wide+dx)
				if d >= 5 {
					ground = append(ground, dy*wide+dx)
				}
			}
		}
		for i, c := range eighths {
			if c.at != nil {
				list = append(list, cell{ring, min(ring/2, likeGroups) - 1, i, c.at})
			}
		}
	}
	return list, ground
}

// around measures what lies around a place of a level from which a speck stands out
// upwards, or downwards where sign is -1: each ring's mean and spread, for each group of
// rings the means of its eighths in ascending order, all in multiples of the speck's
// height and at most 3 of it; its height beside the light of its ground and beside
// calm; that light, the level and the sign.
func (w *scanWorker) around(k, x, y int, sign int32, calm float64, in *[likeIn]int32) {
	p := &w.light[k]
	at := y*p.w + x
	var ground, core int64
	for _, o := range w.ring[k] {
		ground += int64(p.v[at+o])
	}
	base := int32((ground + int64(len(w.ring[k]))/2) / int64(len(w.ring[k])))
	for dy := -1; dy <= 1; dy++ {
		for _, v := range p.v[at+dy*p.w-1:][:3] {
			core += int64(sign * (v - base))
		}
	}
	lit := float64(base) + full/50
	height := max(float64(core)/9, lit/250)
	most := int32(3 * height)
	var rings, squares, counts [likeRings]int64
	var groups, parts [likeGroups][8]int64
	for i := range w.cells[k] {
		c := &w.cells[k][i]
		var s, q int64
		for _, o := range c.at {
			v := int64(min(max(sign*(p.v[at+o]-base), -most), most))
			s += v
			q += v * v
		}
		n := int64(len(c.at))
		rings[c.ring], squares[c.ring], counts[c.ring] = rings[c.ring]+s, squares[c.ring]+q, counts[c.ring]+n
		if c.group >= 0 {
			groups[c.group][c.eighth] += s
			parts[c.group][c.eighth] += n
		}
	}
	out := in[:0]
	for r, n := range counts {
		m := float64(rings[r]) / (height * float64(n))
		out = append(out, int32(likeOne*m))
		if r > 0 { // the first is one pixel
			q := float64(squares[r])/(height*height*float64(n)) - float64(m*m)
			out = append(out, int32(likeOne*math.Sqrt(max(q, 0))))
		}
	}
	for g := range groups {
		var m [8]int32
		for o, s := range groups[g] {
			m[o] = int32(likeOne * float64(s) / (height * float64(parts[g][o])))
		}
		slices.Sort(m[:])
		out = append(out, m[:]...)
	}
	share := func(beside float64) int32 { return int32(likeOne * height / (height + beside)) }
	copy(in[len(out):], []int32{share(lit / 20), share(4 * calm), share(20 * calm), int32(2*likeOne*lit/full) - likeOne, int32(likeOne*k - likeOne*3/2), sign * likeOne / 2})
}

// calmAt is what squares stand out by in the calmest parts around a place.
func (w *scanWorker) calmAt(k, x, y int) float64 {
	v := &w.calmest[y/8*(w.light[k].w/8)+x/8]
	if *v < 0 {
		*v = w.calm(k, x/8, y/8) + full/5000
	}
	return *v
}

// calm is by how much squares of 3 pixels differ from the rings around them, in the
// mean over a square of 8 pixels: that of the sixth calmest of the 25 around square x, y.
func (w *scanWorker) calm(k, x, y int) float64 {
	p := &w.light[k]
	cols, rows := p.w/8, p.h/8
	var list [25]float64
	n := 0
	for by := max(0, y-2); by <= min(rows-1, y+2); by++ {
		for bx := max(0, x-2); bx <= min(cols-1, x+2); bx++ {
			v := &w.calms[by*cols+bx]
			if *v < 0 {
				*v = w.calmOf(k, bx*8, by*8)
			}
			list[n] = *v
			n++
		}
	}
	slices.Sort(list[:n])
	return list[n/5]
}

func (w *scanWorker) calmOf(k, x0, y0 int) float64 {
	p := &w.light[k]
	sum, n := 0.0, 0
	for y := max(4, y0); y < min(y0+8, p.h-4); y += 2 {
		for x := max(4, x0); x < min(x0+8, p.w-4); x += 2 {
			d, _ := w.square(k, x, y)
			sum += math.Abs(d)
			n++
		}
	}
	if n == 0 {
		return full
	}
	return sum / float64(n)
}
