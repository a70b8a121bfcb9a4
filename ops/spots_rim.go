package ops

import "image"

// rimPixel is a pixel of a spot's rim, and by how much what fills the spot is to
// be raised there, channel by channel.
type rimPixel struct {
	at    image.Point
	raise [3]int
}

// rimCell is a square of the rim: how many of its pixels it holds, their mean
// place, the sums of their raises, the squared distance from which it stands for
// them all, and the number of the cell after it and all that lie in it.
type rimCell struct {
	x, y, n float64
	raise   [3]float64
	far     float64
	next    int
}

// rimTree is a rim in squares, each before those that lie in it.
type rimTree []rimCell

// rimFar is how many of its sides away a square stands for its pixels.
const rimFar = 4

// add appends the smallest square that holds these pixels, and those in it.
// Squares have sides that are powers of two, at most side, and lie at multiples
// of them.
func (t rimTree) add(px []rimPixel, side int) rimTree {
	if len(px) == 0 {
		return t
	}
	var quarters [4][]rimPixel
	far := 0
	if len(px) > 1 {
		half := side / 2
		for _, p := range px {
			k := p.at.X/half%2 + p.at.Y/half%2*2
			quarters[k] = append(quarters[k], p)
		}
		for _, q := range quarters {
			if len(q) == len(px) {
				return t.add(q, half)
			}
		}
		far = rimFar * side
	}
	var x, y int64 // on every system
	var sum [3]int64
	for _, p := range px {
		x, y = x+int64(p.at.X), y+int64(p.at.Y)
		for k, v := range p.raise {
			sum[k] += int64(v)
		}
	}
	n, i := float64(len(px)), len(t)
	t = append(t, rimCell{float64(x) / n, float64(y) / n, n, [3]float64{float64(sum[0]), float64(sum[1]), float64(sum[2])}, float64(far * far), 0})
	for _, q := range quarters {
		t = t.add(q, side/2)
	}
	t[i].next = len(t)
	return t
}

// at is the membrane at a pixel of the disc; of an empty rim it is 0.
func (t rimTree) at(x, y int) [3]float64 {
	fx, fy := float64(x), float64(y)
	var r, g, b, total float64
	for i := 0; i < len(t); {
		c := &t[i]
		dx, dy := c.x-fx, c.y-fy
		d := float64(dx*dx) + float64(dy*dy)
		if d < c.far {
			i++
			continue
		}
		k := 1 / d
		total += float64(k * c.n)
		r += float64(k * c.raise[0])
		g += float64(k * c.raise[1])
		b += float64(k * c.raise[2])
		i = c.next
	}
	if total == 0 {
		return [3]float64{}
	}
	return [3]float64{r / total, g / total, b / total}
}
