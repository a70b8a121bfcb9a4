package ops

import "slices"

// blockGrid cuts a picture into blocks of f x f px, f odd, as many as cover it when
// as much is left over on either side (the outermost are smaller). What is worked out
// for blocks is read at pixel i of an axis at place (i + 1/2 + left over)/f - 1/2,
// linear between blocks.
type blockGrid struct {
	w, h   int // of the picture
	f      int
	bw, bh int // blocks
	ex, ey int // what the first blocks lack of f
	x      []blockPlace
}

// blockPlace is a block and the share of its right neighbour in 2f-ths.
type blockPlace struct{ at, share int32 }

func newBlockGrid(w, h, f int) blockGrid {
	g := blockGrid{w: w, h: h, f: f}
	blocks := func(n int) (count, lack int) {
		count = (n + f - 1) / f
		if (count*f-n)%2 != 0 {
			count++
		}
		return count, (count*f - n) / 2
	}
	g.bw, g.ex = blocks(w)
	g.bh, g.ey = blocks(h)
	g.x = make([]blockPlace, w)
	for i := range g.x {
		g.x[i] = g.place(i+g.ex, g.bw)
	}
	return g
}

// place is where pixel i of an axis of n blocks is read, counted from where the
// first block would begin if it were whole.
func (g *blockGrid) place(i, n int) blockPlace {
	num, den := 2*i+1-g.f, 2*g.f
	if num <= 0 {
		return blockPlace{}
	}
	k := num / den
	if k >= n-1 {
		return blockPlace{at: int32(n - 1)}
	}
	return blockPlace{int32(k), int32(num % den)}
}

// rowsFor are the rows of the picture that row y comes from, where each block's
// numbers come from blocks up to reach away.
func (g *blockGrid) rowsFor(y, reach int) (lo, hi int) {
	p := g.place(y+g.ey, g.bh)
	return g.span(p, p, reach, g.ey, g.bh, g.h)
}

// columnsFor are the columns that columns from <= x < till come from.
func (g *blockGrid) columnsFor(from, till, reach int) (lo, hi int) {
	return g.span(g.x[from], g.x[till-1], reach, g.ex, g.bw, g.w)
}

// span is the pixels of an axis of n blocks and size pixels that the places from
// first to last come from.
func (g *blockGrid) span(first, last blockPlace, reach, lack, n, size int) (lo, hi int) {
	l, h := int(first.at)-reach, int(last.at)+reach
	if last.share > 0 {
		h++
	}
	return max(0, g.f*max(0, l)-lack), min(size, g.f*(min(n-1, h)+1)-lack)
}

// cut is the grid for columns from <= x < till, of an input that is cut to what they
// come from.
func (g *blockGrid) cut(from, till, reach int) blockGrid {
	lo, hi := g.columnsFor(from, till, reach)
	first := (lo + g.ex) / g.f
	p := blockGrid{w: hi - lo, h: g.h, f: g.f, bh: g.bh, ey: g.ey, x: slices.Clone(g.x[from:till])}
	if first == 0 {
		p.ex = g.ex
	}
	p.bw = (p.w + p.ex + p.f - 1) / p.f
	for i := range p.x {
		p.x[i].at -= int32(first)
	}
	return p
}

// means sets dst to the means of row j of blocks, rounded half up, of what level makes
// of a row of the picture: one plane of numbers after the other, in line, for as many
// as it has room for. block is room for as many as dst.
func (g *blockGrid) means(dst []int32, block []int64, line []int32, j int, in Rows, level func([]int32, []uint16)) {
	if g.f == 1 {
		level(dst, in.Row(j))
		return
	}
	clear(block)
	y0, y1 := max(0, j*g.f-g.ey), min(g.h, (j+1)*g.f-g.ey)
	edges := func(i int) (lo, hi int) { return max(0, i*g.f-g.ex), min(g.w, (i+1)*g.f-g.ex) }
	for y := y0; y < y1; y++ {
		level(line, in.Row(y))
		for p := range len(dst) / g.bw {
			line, block := line[p*g.w:][:g.w], block[p*g.bw:][:g.bw]
			for i := range block {
				lo, hi := edges(i)
				s := int64(0)
				for _, v := range line[lo:hi] {
					s += int64(v)
				}
				block[i] += s
			}
		}
	}
	for i, s := range block {
		lo, hi := edges(i % g.bw)
		n := int64((y1 - y0) * (hi - lo))
		dst[i] = int32((2*s + n) / (2 * n))
	}
}

// rowSums are sums over the rows up to reach away from one, kept from row to row.
type rowSums struct {
	at  int // the row summed around, + 1
	sum []int64
}

// around loads the sums around row j of n and returns how many rows there are; add
// adds a row, sign times.
func (s *rowSums) around(j, reach, n int, add func(sum []int64, j int, sign int64)) int {
	lo, hi := max(0, j-reach), min(n, j+reach+1)
	switch {
	case s.at == j+1:
	case s.at == j && j > 0:
		if j-1-reach >= 0 {
			add(s.sum, j-1-reach, -1)
		}
		if j+reach < n {
			add(s.sum, j+reach, 1)
		}
	default:
		clear(s.sum)
		for i := lo; i < hi; i++ {
			add(s.sum, i, 1)
		}
	}
	s.at = j + 1
	return hi - lo
}

// openSum is the sum of the window of reach r before the first block's; slideSum what
// a step to block i adds.
func openSum(r int, sum []int64) (total int64) {
	for _, v := range sum[:min(r, len(sum))] {
		total += v
	}
	return total
}

func slideSum(r int, sum []int64, i int) (d int64) {
	if i+r < len(sum) {
		d = sum[i+r]
	}
	if i-r-1 >= 0 {
		d -= sum[i-r-1]
	}
	return d
}

// columnsAround is how many blocks a window around i has across.
func (g *blockGrid) columnsAround(r, i int) int64 {
	return int64(min(g.bw, i+r+1) - max(0, i-r))
}
