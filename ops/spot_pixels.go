package ops

import (
	"fmt"
	"image"
	"math"
	"math/big"
	"slices"

	"platemark/ops/exact"
)

// SpotPixelsV1 removes isolated outliers: hot pixels and specks of one pixel.
//
// For each channel of a pixel, c is its value, med the median of the 8 pixels
// around it (the mean of the two in the middle, half up), and gap how far c lies
// beyond all 24 others of its 5 x 5, above or below them. It is an outlier if
//
//   - gap > 65535 T,
//   - 2 gap is more than the 24 lie apart: texture has points of its own,
//   - gap > k (n - o), n the mean of the 4 neighbours beside, above and below it
//     and o that of the 16 at the rim of the 5 x 5 (o - n below them): a point of
//     light or shade that a lens drew spreads to its neighbours. k is 5.
//
// Where every other channel lies less than half as far from its own med on that
// side, colour speaks for a fault: k is 2 then, and what is said of 2 gap need only
// hold of twice the channel less the two others, in which texture cancels.
//
// A pixel with an outlier takes med in every channel in which it lies beyond its
// 24. With a mask m the result is floor(c + m(med - c) + 1/2). All reads are of the
// picture before the step. Lines, pairs of pixels and catchlights stay, and so do
// the two outermost rows and columns, where no 24 are to judge by.
//
// Source: the idea of judging by ranks and by what neighbours share is common
// practice (a rank-conditioned median, R. Hardie and K. Barner, IEEE Trans. Image
// Processing 3(2), 1994); the rule is our own, its numbers chosen on photographs.
var SpotPixelsV1 = operation(Operation{
	Name:    "spot-pixels",
	Version: 1,
	Doc:     "Replaces isolated outliers by the median of their 8 neighbours: a pixel that in some channel lies further than T beyond all others of its 5 x 5, further than half of what these lie apart, and whose nearest neighbours don't share it.",
	Takes:   1,
	Masked:  true,
	Nanos:   4,
	Mends:   true,
	Params: Params{
		covers,
		{Name: "over", Unit: "1", Min: "0", Max: "1", Doc: "T, the share of full scale from which a pixel stands out"},
	},
	// Single pixels are seen at full size alone.
	Reduce: func(_ Params, a Args, r Reduction) (Args, bool, error) { return a, !r.smaller(), nil },
}, newSpotPixels)

type spotPixelsParams struct {
	Over   *big.Rat
	Covers string
}

type spotPixelsStep struct {
	reaching
	over int32 // floor(65535 T)
}

func newSpotPixels(a spotPixelsParams, in []Pic, _ Env) (Step, error) {
	if err := somePixels("spot-pixels", in[0]); err != nil {
		return nil, err
	}
	t := times(a.Over, big.NewRat(65535, 1))
	s := &spotPixelsStep{reaching: reaching{pic: in[0], far: 2}, over: int32(new(big.Int).Quo(t.Num(), t.Denom()).Int64())}
	var err error
	if s.mask, err = maskFor(a.Covers, in[1:], in[0]); err != nil {
		return nil, fmt.Errorf("spot-pixels: %w", err)
	}
	return s, nil
}

func (s *spotPixelsStep) Memory() (worker, shared int64) { return s.mask.memory(), 0 }

// Part works on two more columns at both ends; where they aren't the picture's edge
// they come out wrong.
func (s *spotPixelsStep) Part(r image.Rectangle) (Step, int) {
	p := *s
	var left int
	p.reaching, left = s.part(r)
	return &p, left
}

func (s *spotPixelsStep) Worker() Worker { return &spotPixelsWorker{s: s, mask: s.mask.worker()} }

type spotPixelsWorker struct {
	s    *spotPixelsStep
	mask *samplerWorker
}

func (w *spotPixelsWorker) Row(dst []uint16, y int, in []Rows) {
	s := w.s
	c, n := s.pic.C, s.pic.Stride()
	copy(dst, in[0].Row(y)[:n])
	m, kind := w.mask.row(y, in[1:]) // m is nil where all of the mask is 1
	if kind == maskZero || y < 2 || y >= s.pic.H-2 {
		return
	}
	var rows [5][]uint16 // from two above to two below
	for i := range rows {
		rows[i] = in[0].Row(y + i - 2)[:n]
	}
	cur := rows[2]
	mend := func(x int) {
		var look [3]lone
		for j := range c {
			look[j] = s.look(&rows, x, j)
		}
		if !slices.ContainsFunc(look[:c], func(l lone) bool { return l.outlier(s.over, look[:c]) }) {
			return
		}
		for j, l := range look[:c] {
			switch i := x*c + j; {
			case l.gap <= 0:
			case m == nil:
				dst[i] = uint16(l.med)
			default:
				v := float64(cur[i])
				dst[i] = exact.RoundU16(v + float64(float64(m[x])*(float64(l.med)-v)))
			}
		}
	}
	// Nearly every sample ends at its two neighbours in the row.
	over := s.over
	for i, end := 2*c, n-2*c; i < end; i++ {
		if i += aloneRow(cur[i:end], cur[i-c:], cur[i+c:], over); i == end {
			return
		}
		v := int32(cur[i])
		l, r := v-int32(cur[i-c]), v-int32(cur[i+c])
		lo, hi := min(l, r), max(l, r)
		for _, row := range [2][]uint16{rows[1][i-c:], rows[3][i-c:]} {
			a, b, c := v-int32(row[0]), v-int32(row[c]), v-int32(row[2*c])
			lo, hi = min(lo, a, b, c), max(hi, a, b, c)
		}
		if lo > over || hi < -over {
			mend(i / c)
		}
	}
}

// aloneRow is the first place at which a row lies further than over, 0..65535, above
// both its neighbours or below both; len(row) where none does.
func aloneRow(row, left, right []uint16, over int32) int {
	i := fastAloneRow(row, left, right, over)
	for ; i < len(row); i++ {
		l, r := int32(row[i])-int32(left[i]), int32(row[i])-int32(right[i])
		if min(l, r) > over || max(l, r) < -over {
			break
		}
	}
	return i
}

// lone is how one channel of a pixel stands to those around it.
type lone struct {
	med   int32 // of the 8 around it
	far   int32 // from med to it
	gap   int32 // from the outermost of the 24 to it, on its side; at most 0 within them
	apart int32 // from the lowest of the 24 to the highest
	tint  int32 // 2 gap - apart of twice the channel less the two others
	share int32 // 16 times what the 4 next to it are further on its side than the 16 at the rim
}

func (s *spotPixelsStep) look(rows *[5][]uint16, x, j int) (l lone) {
	c := s.pic.C
	v := int32(rows[2][x*c+j])
	tint := func(dy, x int) int32 {
		if c == 1 {
			return 0
		}
		p := rows[dy][x*c:][:3]
		return 3*int32(p[j]) - int32(p[0]) - int32(p[1]) - int32(p[2])
	}
	least, most := int32(math.MaxInt32), int32(math.MinInt32)
	lo, hi := int32(65535), int32(0)
	var eight [8]int32
	n := 0
	for dy := range 5 {
		for dx := range 5 {
			o := int32(rows[dy][(x+dx-2)*c+j])
			switch {
			case dy == 2 && dx == 2:
				continue
			case dy%4 == 0 || dx%4 == 0: // the rim
				l.share -= o
			default:
				eight[n] = o
				n++
				if dy == 2 || dx == 2 {
					l.share += 4 * o
				}
			}
			lo, hi = min(lo, o), max(hi, o)
			t := tint(dy, x+dx-2)
			least, most = min(least, t), max(most, t)
		}
	}
	slices.Sort(eight[:])
	l.med = (eight[3] + eight[4] + 1) / 2
	l.far, l.gap, l.apart = v-l.med, max(v-hi, lo-v), hi-lo
	if l.far < 0 {
		l.share = -l.share
	}
	t := tint(2, x)
	l.tint = 2*max(t-most, least-t) - (most - least)
	return l
}

// outlier judges a channel beside all of the pixel's.
func (l lone) outlier(over int32, all []lone) bool {
	along := 0 // channels that lie half as far or further: itself too
	for _, o := range all {
		if l.far > 0 && 2*o.far >= l.far || l.far < 0 && 2*o.far <= l.far {
			along++
		}
	}
	k, clear := int32(5), 2*l.gap > l.apart
	if along == 1 && len(all) == 3 {
		k, clear = 2, clear || l.tint > 0
	}
	return l.gap > over && clear && 16*l.gap > k*l.share
}
