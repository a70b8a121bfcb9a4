package ops

import (
	"math/big"

	"platemark/ops/exact"
)

// gaussian returns the taps of a sampled Gaussian, outermost first and the
// centre last, whose mirrored whole sums to 1; each rounded once to float32.
func gaussian(sigma *big.Rat) []float32 {
	// floor(4 sigma + 1/2) and -k^2 / 2 sigma^2, in whole numbers
	reach := max(1, halfUp(times(sigma, big.NewRat(4, 1))))
	scale := new(big.Rat).Mul(sigma, sigma)
	scale.Mul(scale, big.NewRat(-2, 1)).Inv(scale)
	g := make([]exact.DD, 0, reach+1)
	sum := exact.DD{}
	for k := reach; k >= 0; k-- {
		v := exact.Exp(exact.Rat(new(big.Rat).Mul(scale, big.NewRat(int64(k)*int64(k), 1))))
		g = append(g, v)
		sum = sum.Add(v)
		if k > 0 {
			sum = sum.Add(v)
		}
	}
	w := make([]float32, len(g))
	for i, v := range g {
		w[i] = v.Quo(sum).Float32()
	}
	return w
}

// blur makes rows of a plane that is worked out from a picture's pixels, blurred by
// symmetric taps across and then down, the edge pixel repeated outside. It keeps the
// rows last made.
type blur struct {
	taps    []float32 // from the outermost to the centre
	near    int       // how far to both sides its rows are read, and up and down
	pic     Pic
	level   func(dst []float32, src []uint16)
	wide    []float32         // one row of the plane, its ends repeated as far as the taps reach
	wides   [][]float32       // wide from 0, from 1, ...: what the taps of a row read
	across  rowCache[float32] // blurred across
	blurred rowCache[float32] // and down, its ends repeated near times
	rows    [][]float32       // the rows blurred across that one more needs, in order
}

func newBlur(taps []float32, near int, pic Pic, level func([]float32, []uint16)) *blur {
	n := 2*len(taps) - 1
	k := &blur{taps: taps, near: near, pic: pic, level: level, wide: make([]float32, pic.W+n-1), rows: make([][]float32, n)}
	for i := range n {
		k.wides = append(k.wides, k.wide[i:i+pic.W])
	}
	k.across = newRowCache[float32](n, pic.W)
	k.blurred = newRowCache[float32](2*near+1, pic.W+2*near)
	return k
}

// row is row y, held inside the picture; column x is at near + x.
func (k *blur) row(y int, in Rows) []float32 {
	y = max(0, min(k.pic.H-1, y))
	row, there := k.blurred.row(y)
	if there {
		return row
	}
	for t := range k.rows {
		k.rows[t] = k.acrossRow(max(0, min(k.pic.H-1, y-(len(k.taps)-1)+t)), in)
	}
	k.sum(row[k.near:k.near+k.pic.W], k.rows)
	repeatEnds(row, k.near)
	return row
}

func (k *blur) acrossRow(y int, in Rows) []float32 {
	row, there := k.across.row(y)
	if !there {
		r := len(k.taps) - 1
		k.level(k.wide[r:r+k.pic.W], in.Row(y)[:k.pic.Stride()])
		repeatEnds(k.wide, r)
		k.sum(row, k.wides)
	}
	return row
}

// sum weights rows by the taps.
func (k *blur) sum(dst []float32, rows [][]float32) {
	for x := 0; x < len(dst); x += pixelBlock {
		symRows(dst[x:min(x+pixelBlock, len(dst))], rows, x, k.taps)
	}
}

// repeatEnds sets the n places at both ends of a row to those next to them.
func repeatEnds(row []float32, n int) {
	w := len(row) - 2*n
	for i := range n {
		row[i], row[n+w+i] = row[n], row[n+w-1]
	}
}
