package ops

// window makes rows of a plane each of whose places is folded of those in the square
// around it in another plane, across and then down, the edge repeated outside. It keeps
// the rows last made.
type window struct {
	reach  int // of the square to all sides
	near   int // how far to both sides its rows are read, and up and down
	w, h   int
	fold   func(dst []float32, rows [][]float32, from int) // of 2 reach + 1 rows, from a place on
	level  func(dst []float32, y int, in Rows)             // makes row y of the other plane
	wide   []float32                                       // one row of it, its ends repeated
	wides  [][]float32                                     // wide from 0, from 1, ...
	across rowCache[float32]                               // folded across
	done   rowCache[float32]                               // and down, its ends repeated near times
	rows   [][]float32                                     // the rows folded across that one more needs, in order
}

func newWindow(reach, near, w, h int, fold func([]float32, [][]float32, int), level func([]float32, int, Rows)) *window {
	n := 2*reach + 1
	k := &window{reach: reach, near: near, w: w, h: h, fold: fold, level: level, wide: make([]float32, w+n-1), rows: make([][]float32, n)}
	for i := range n {
		k.wides = append(k.wides, k.wide[i:i+w])
	}
	k.across = newRowCache[float32](n, w)
	k.done = newRowCache[float32](2*near+1, w+2*near)
	return k
}

// row is row y, held inside the picture; column x is at near + x.
func (k *window) row(y int, in Rows) []float32 {
	y = max(0, min(k.h-1, y))
	row, there := k.done.row(y)
	if there {
		return row
	}
	for t := range k.rows {
		k.rows[t] = k.acrossRow(max(0, min(k.h-1, y-k.reach+t)), in)
	}
	k.foldRows(row[k.near:k.near+k.w], k.rows)
	repeatEnds(row, k.near)
	return row
}

func (k *window) acrossRow(y int, in Rows) []float32 {
	row, there := k.across.row(y)
	if !there {
		k.level(k.wide[k.reach:k.reach+k.w], y, in)
		repeatEnds(k.wide, k.reach)
		k.foldRows(row, k.wides)
	}
	return row
}

func (k *window) foldRows(dst []float32, rows [][]float32) {
	for x := 0; x < len(dst); x += pixelBlock {
		k.fold(dst[x:min(x+pixelBlock, len(dst))], rows, x)
	}
}

// plane is level for a window over this one's rows.
func (k *window) plane(dst []float32, y int, in Rows) { copy(dst, k.row(y, in)[k.near:]) }

// repeatEnds sets the n places at both ends of a row to those next to them.
func repeatEnds(row []float32, n int) {
	w := len(row) - 2*n
	for i := range n {
		row[i], row[n+w+i] = row[n], row[n+w-1]
	}
}
