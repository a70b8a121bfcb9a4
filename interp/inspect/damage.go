package inspect

import (
	"image"
	"math"
	"slices"
)

// damage is what a tile has of what earlier work left: counted, and judged in the
// whole picture.
type damage struct {
	over    [overBins]int32 // edges by how far light overshoots, see overshoot
	seams   [2][8]int64     // by column and by row, modulo 8: steps beyond those beside them
	seamsOf [2][8]int64     // how many
	gap     float64         // between levels, of 255, where they stand alone; 0 where not
	// The mean by which rows, in parts, exceed those three above and below, and
	// columns likewise.
	rows    [coreW / bandPart][coreH]float32
	columns [coreW]float32
}

const (
	overBins = 81 // of -0.4 to 0.4 of an edge's height
	overBin  = 0.01
	// overLeast is the overshoot of half the edges from which a picture counts as
	// sharpened too much; overEdges how many edges tell.
	overLeast = 0.035
	overEdges = 60
	// seamCodes is how much higher the steps at a grid are than all others, as a
	// share of full scale.
	seamCodes = 0.002
	// levelsLeast is how many levels of a tile stand alone, with how much of its
	// pixels each and all together, where it is posterised.
	levelsLeast = 8
	levelShare  = 0.002
	levelsAll   = 0.6
	// bandPart is how long a part of a row is, px, bandLines how many rows tell, and
	// bandLeast how high a stripe is.
	bandPart  = 128
	bandLines = 64
	bandLeast = 0.0015
)

func (w *scanWorker) findDamage() {
	p, r := &w.light[0], w.coreAt(0)
	w.findSeams(p, r)
	w.findLevels()
	w.findBands(p, r)
}

// overshoot counts by how much an edge's ends lie beyond the plateaus behind them,
// as a share of its height: the mean of both ends, if both plateaus are even.
func (w *scanWorker) overshoot(lo, hi, step int, sign, height int32) {
	p := &w.light[0].v
	plateau := func(i, step int) (mean int32, even bool) {
		a, b := int32(math.MaxInt32), int32(math.MinInt32)
		for n := range 5 {
			v := (*p)[i+(5+n)*step]
			mean, a, b = mean+v, min(a, v), max(b, v)
		}
		return mean / 5, b-a < height/4
	}
	low, ok1 := plateau(lo, -step)
	high, ok2 := plateau(hi, step)
	if !ok1 || !ok2 {
		return
	}
	whole := sign * (high - low)
	if whole < height/2 {
		return
	}
	// Both ends, so that a line along the edge on one side doesn't count.
	under, over := float64(sign*(low-(*p)[lo]))/float64(whole), float64(sign*((*p)[hi]-high))/float64(whole)
	v := min(under, over)
	w.over[min(max(int(v/overBin+overBins/2+0.5), 0), overBins-1)]++
}

// findSeams compares each step between neighbours with the steps on either side, by
// its place in squares of 8 pixels from the picture's corner, where it is even.
func (w *scanWorker) findSeams(p *plane, r image.Rectangle) {
	for axis, step := range [2]int{1, p.w} {
		for y := r.Min.Y; y < r.Max.Y; y++ {
			for x := r.Min.X; x < r.Max.X; x++ {
				i := y*p.w + x
				a, b, c := abs(p.v[i-step]-p.v[i-2*step]), abs(p.v[i]-p.v[i-step]), abs(p.v[i+step]-p.v[i])
				if max(a, b, c) > full/16 {
					continue
				}
				at := x + w.at.X
				if axis == 1 {
					at = y + w.at.Y
				}
				w.seams[axis][at&7] += int64(2*b - a - c)
				w.seamsOf[axis][at&7]++
			}
		}
	}
}

// findLevels counts the codes of 8 bits that a channel has here while it has
// neither of their neighbours: noise, and a gradient, have those between, too.
func (w *scanWorker) findLevels() {
	c := w.pic.C
	for ch := range c {
		var count [258]int // of code v at v + 1
		for y := w.Min.Y; y < w.Max.Y; y++ {
			row := w.coreRow(y)
			for i := ch; i < len(row); i += c {
				count[row[i]>>8+1]++
			}
		}
		pixels := float64(w.Dx() * w.Dy())
		alone, levels, first, last := 0, 0, 0, 0
		for v := 1; v <= 256; v++ {
			if count[v] == 0 || count[v-1] > 0 || count[v+1] > 0 {
				continue
			}
			alone += count[v]
			if float64(count[v]) < levelShare*pixels {
				continue
			}
			if levels++; levels == 1 {
				first = v
			}
			last = v
		}
		if levels >= levelsLeast && float64(alone) > levelsAll*pixels {
			w.gap = max(w.gap, float64(last-first)/float64(levels-1))
		}
	}
}

// findBands takes the means by which rows exceed those three above and below, over
// the pixels where that is little, and columns likewise.
func (w *scanWorker) findBands(p *plane, r image.Rectangle) {
	var across [coreW]int64
	var count [coreW]int32
	for y := r.Min.Y; y < r.Max.Y; y++ {
		var sum, n [coreW / bandPart]int64
		for x := r.Min.X; x < r.Max.X; x++ {
			i := y*p.w + x
			most := int32(4*w.sigma(int64(p.v[i]))) + full/255
			part := (x - r.Min.X) / bandPart
			if d := 2*p.v[i] - p.v[i-3*p.w] - p.v[i+3*p.w]; abs(d) < 2*most {
				sum[part], n[part] = sum[part]+int64(d), n[part]+1
			}
			if d := 2*p.v[i] - p.v[i-3] - p.v[i+3]; abs(d) < 2*most {
				across[x-r.Min.X] += int64(d)
				count[x-r.Min.X]++
			}
		}
		for part := range n {
			if n[part] > bandPart*2/3 {
				w.rows[part][y-r.Min.Y] = float32(float64(sum[part]) / float64(2*n[part]))
			}
		}
	}
	for x := range r.Dx() {
		if int(count[x]) > r.Dy()*2/3 {
			w.columns[x] = float32(float64(across[x]) / float64(2*count[x]))
		}
	}
}

// faults judges what the tiles counted.
func (s *scan) faults() (list []Fault) {
	whole := image.Rect(0, 0, s.pic.W, s.pic.H)
	var over [overBins]int32
	g := newGrid(s.pic.W, s.pic.H, coreH) // two squares a tile
	posterised, gaps := 0, 0.0
	blocky := 0
	var all damage
	for t := range s.tiles {
		d := &s.tiles[t].damage
		for i, n := range d.over {
			over[i] += n
		}
		for a := range 2 {
			for k := range 8 {
				all.seams[a][k] += d.seams[a][k]
				all.seamsOf[a][k] += d.seamsOf[a][k]
			}
		}
		if _, height := seam(d); height > 0 {
			blocky++
		}
		if d.gap > 0 {
			posterised++
			gaps += d.gap
			c := s.core(t)
			for x := c.Min.X; x < c.Max.X; x += coreH {
				g.v[c.Min.Y/coreH*g.cols+x/coreH] = 1
			}
		}
	}
	tiles := float64(len(s.tiles))
	for _, p := range g.parts(func(v float64) bool { return v > 0 }) {
		list = append(list, Fault{Posterised, p.In, gaps / float64(posterised) / 255, float64(posterised) / tiles})
	}
	damaged := len(list)
	if h, ok := middle(&over); ok && h > overLeast {
		list = append(list, Fault{Halo, whole, h, 1})
	}
	if ok, height := seam(&all); ok {
		list = append(list, Fault{Blocks, whole, height, float64(blocky) / tiles})
	}
	// Blocks and halos are stripes, too, where a picture has long level edges.
	if height := s.bands(); height > 0 && len(list) == damaged {
		list = append(list, Fault{Banding, whole, height, 1})
	}
	return list
}

// middle is the overshoot of half the edges.
func middle(over *[overBins]int32) (float64, bool) {
	var n, sum int32
	for _, v := range over {
		n += v
	}
	if n < overEdges {
		return 0, false
	}
	for i, v := range over {
		if sum += v; 2*sum >= n {
			return overBin * float64(i-overBins/2), true
		}
	}
	return 0, false
}

// seam is how high the steps are at the corner of squares of 8 pixels beyond all
// others, along rows and columns alike, as a share of full scale.
func seam(d *damage) (ok bool, height float64) {
	height = math.Inf(1)
	for a := range 2 {
		var v [8]float64
		for k := range v {
			v[k] = float64(d.seams[a][k]) / float64(max(1, 2*d.seamsOf[a][k]))
		}
		rest := slices.Clone(v[1:])
		slices.Sort(rest)
		height = min(height, (v[0]-rest[6])/full)
	}
	if height < seamCodes {
		return false, 0
	}
	return true, height
}

// bands is the height of stripes that go from side to side, or from top to bottom,
// as a share of full scale; 0 where there are none.
func (s *scan) bands() float64 {
	down := len(s.tiles) / s.cols
	rows := func(y, part int) float64 {
		return float64(s.tiles[y/coreH*s.cols+part*bandPart/coreW].rows[part%(coreW/bandPart)][y%coreH])
	}
	columns := func(x, part int) float64 { return float64(s.tiles[part*s.cols+x/coreW].columns[x%coreW]) }
	return max(inCommon(s.pic.H, s.pic.W/bandPart, rows), inCommon(s.pic.W, down, columns))
}

// inCommon is the height of what all parts of a line have in common, by the mean of
// their products in pairs; a part of 0 isn't known. Chance makes half of these fall
// below 0, and a horizon few lines' rise above it; stripes raise most of all.
func inCommon(lines, parts int, at func(line, part int) float64) float64 {
	var products []float64
	for y := range lines {
		// The products of all pairs, by the square of the sum.
		a, b, n := 0.0, 0.0, 0.0
		for p := range parts {
			if v := at(y, p); v != 0 {
				a, b, n = a+v, b+float64(v*v), n+1
			}
		}
		if n >= 5 {
			products = append(products, (float64(a*a)-b)/(n*(n-1)))
		}
	}
	n := len(products)
	if n < bandLines {
		return 0
	}
	slices.Sort(products)
	if products[n/5] <= 0 {
		return 0
	}
	// Of a normal distribution's squares half are below 0.455 of their mean; and a
	// stripe beside ones three away that know nothing of it has half as much again.
	height := math.Sqrt(products[n/2]/0.455/1.5) / full
	if height < bandLeast {
		return 0
	}
	return height
}
