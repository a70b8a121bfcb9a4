package ops

// denoiseLevel makes rows of one level: of c, of n and d, and of the noise. Rows hold
// the planes one after the other; those of c, n and d repeat the edges of each.
type denoiseLevel struct {
	*denoiseWorker
	number, w, h int
	step         int // s
	c            rowCache[float32]
	across       rowCache[float32] // c smoothed across
	smooth       rowCache[float32] // n
	from, till   int               // the rows of d and light that there are
	d            [][]float32
	light        [][]uint8         // the step of brightness of n
	squares      rowCache[float32] // of d, summed across: light, then colour
	noise        rowCache[float32]
	square       []float32           // squares of a row of a plane
	noisy        []float32           // the share of a row of d that is noise
	limit        [pixelBlock]float32 // t
	upper        []float32           // between two rows of the next level's noise
	rows         [2*denoiseNear + 1][]float32
}

var (
	denoiseTaps    = []float32{0.25, 0.5}
	denoiseSeven   = []float32{1, 1, 1, 1}
	denoiseMeans   = [2][]float32{{1. / 49, 1. / 49, 1. / 49, 1. / 49}, {1. / 98, 1. / 98, 1. / 98, 1. / 98}} // of light, of colour
	denoiseLess    = []float32{1, -1}
	denoiseHalves  = []float32{0.5, 0.5}
	denoiseLight   = [3]float32{0.25, 0.5, 0.25}
	denoiseColours = [2][3]float32{{0.75, -0.5, -0.25}, {-0.25, -0.5, 0.75}}
)

// newDenoiseLevel is level number, of w x h places. Rows of n are asked for up to
// ahead of the row of noise that is made.
func newDenoiseLevel(k *denoiseWorker, number, w, h, ahead int) *denoiseLevel {
	l := &denoiseLevel{denoiseWorker: k, number: number, w: w, h: h, step: min(number+1, 2)}
	planes, padded := k.pic.C, k.pic.C*(w+2*denoiseNear)
	l.c = newRowCache[float32](2*l.step+1, padded)
	l.across = newRowCache[float32](2*l.step+1, planes*w)
	l.smooth = newRowCache[float32](6, padded)
	for range min(ahead+denoiseNear+2, h) {
		l.d = append(l.d, make([]float32, padded))
		l.light = append(l.light, make([]uint8, w))
	}
	l.squares = newRowCache[float32](len(l.rows), min(planes, 2)*w)
	l.noise = newRowCache[float32](2, planes*w)
	l.square, l.noisy, l.upper = make([]float32, w+2*denoiseNear), make([]float32, w), make([]float32, (w+1)/2)
	return l
}

// plane is plane p of a row, without its repeated edges and with them.
func (l *denoiseLevel) plane(row []float32, p int) (inner, whole []float32) {
	n := l.w + 2*denoiseNear
	whole = row[p*n:][:n]
	return whole[denoiseNear : denoiseNear+l.w], whole
}

func (l *denoiseLevel) held(y int) int { return max(0, min(l.h-1, y)) }

// base is row y of c.
func (l *denoiseLevel) base(y int) []float32 {
	if l.number == 1 {
		return l.levels[0].smoothRow(y)
	}
	row, there := l.c.row(y)
	if there {
		return row
	}
	var n []float32
	if l.number > 0 {
		n = l.levels[l.number-1].smoothRow(2 * y)
	}
	for p := range l.pic.C {
		dst, whole := l.plane(row, p)
		if l.number > 0 {
			src, _ := l.levels[l.number-1].plane(n, p)
			for x := range dst {
				dst[x] = src[2*x]
			}
		} else {
			l.part(dst, l.in.Row(y), p)
		}
		repeatEnds(whole, denoiseNear)
	}
	return row
}

// part sets dst to plane p of a row of the picture.
func (l *denoiseLevel) part(dst []float32, src []uint16, p int) {
	switch {
	case l.pic.C == 1:
		floatRow(dst, src[:l.w])
	case p == 0:
		lumaRow(dst, src[:3*l.w], &denoiseLight)
	default:
		lumaRow(dst, src[:3*l.w], &denoiseColours[p-1])
	}
}

// acrossRow is row y of c, held inside the picture, smoothed across.
func (l *denoiseLevel) acrossRow(y int) []float32 {
	y = l.held(y)
	row, there := l.across.row(y)
	if there {
		return row
	}
	c := l.base(y)
	for p := range l.pic.C {
		_, whole := l.plane(c, p)
		whole = whole[denoiseNear-l.step:]
		l.sum(row[p*l.w:][:l.w], denoiseTaps, whole, whole[l.step:], whole[2*l.step:])
	}
	return row
}

// sum weights rows by taps that mirror.
func (l *denoiseLevel) sum(dst, taps []float32, rows ...[]float32) {
	for x := 0; x < len(dst); x += pixelBlock {
		symRows(dst[x:min(x+pixelBlock, len(dst))], rows, x, taps)
	}
}

// smoothRow is row y of n. Rows of d are made with it, in order, and kept until the
// noise has come so far.
func (l *denoiseLevel) smoothRow(y int) []float32 {
	if y < l.from || y > l.till+1 {
		l.from, l.till = y, y
	}
	for ; l.till <= y; l.till++ {
		l.differ(l.till)
		l.from = max(l.from, l.till+1-len(l.d))
	}
	return l.smoothed(y)
}

func (l *denoiseLevel) smoothed(y int) []float32 {
	row, there := l.smooth.row(y)
	if there {
		return row
	}
	for i := -l.step; i <= l.step; i++ {
		l.acrossRow(y + i) // in order
	}
	above, here, below := l.acrossRow(y-l.step), l.acrossRow(y), l.acrossRow(y+l.step)
	for p := range l.pic.C {
		dst, whole := l.plane(row, p)
		l.sum(dst, denoiseTaps, above[p*l.w:], here[p*l.w:], below[p*l.w:])
		repeatEnds(whole, denoiseNear)
	}
	return row
}

// differ makes row y of d, and of the brightness of n.
func (l *denoiseLevel) differ(y int) {
	n, d := l.smoothed(y), l.d[y%len(l.d)]
	rows := [][]float32{l.base(y), n}
	for x := 0; x < len(d); x += pixelBlock {
		sumRows(d[x:min(x+pixelBlock, len(d))], rows, x, denoiseLess)
	}
	light := l.light[y%len(l.d)]
	n, _ = l.plane(n, 0)
	for x, v := range n[:len(light)] {
		light[x] = uint8(int32(v) / (65536 / noiseSteps))
	}
}

// dRow is row y of d.
func (l *denoiseLevel) dRow(y int) []float32 {
	if y < l.from || y >= l.till {
		l.smoothRow(y)
	}
	return l.d[y%len(l.d)]
}

// squareRow is row y of the sums across of the squares of d, of seven each.
func (l *denoiseLevel) squareRow(y int) []float32 {
	row, there := l.squares.row(y)
	if there {
		return row
	}
	d := l.dRow(y)
	for p := range l.pic.C {
		_, e := l.plane(d, p)
		if p < 2 {
			mulRow(l.square, e, e)
		} else {
			addMulRow(l.square, e, e)
		}
		if s := l.square; p != 1 {
			l.sum(row[(p+1)/2*l.w:][:l.w], denoiseSeven, s, s[1:], s[2:], s[3:], s[4:], s[5:], s[6:])
		}
	}
	return row
}

// noiseRow is row y of what is noise, in this level and those after it.
func (l *denoiseLevel) noiseRow(y int) []float32 {
	row, there := l.noise.row(y)
	if there {
		return row
	}
	l.fromNext(row, y) // first, since it asks for rows further on
	for i := range l.rows {
		l.squareRow(l.held(y + i - denoiseNear)) // in order
	}
	d, light := l.dRow(y), l.light[y%len(l.d)]
	for p := range l.pic.C {
		if p < 2 {
			for i := range l.rows {
				l.rows[i] = l.squareRow(l.held(y + i - denoiseNear))[p*l.w:]
			}
			l.share(light, &l.limits[l.number][p], denoiseMeans[p])
		}
		inner, _ := l.plane(d, p)
		addMulRow(row[p*l.w:][:l.w], inner, l.noisy)
	}
	return row
}

// share sets noisy to (t/max(E, t))^2, where rows sum up to E by taps.
func (l *denoiseLevel) share(light []uint8, t *[noiseSteps]float32, taps []float32) {
	for x := 0; x < l.w; x += pixelBlock {
		noisy := l.noisy[x:min(x+pixelBlock, l.w)]
		symRows(noisy, l.rows[:], x, taps)
		limit := l.limit[:len(noisy)]
		for i, k := range light[x:][:len(limit)] {
			limit[i] = t[k]
		}
		shareRow(noisy, limit, noisy)
		mulRow(noisy, noisy, noisy)
	}
}

// fromNext sets row to row y of the noise of the next level.
func (l *denoiseLevel) fromNext(row []float32, y int) {
	if l.number == denoiseLevels-1 {
		clear(row)
		return
	}
	next := l.levels[l.number+1]
	if l.number == 0 {
		copy(row, next.noiseRow(y))
		return
	}
	rows := [][]float32{next.noiseRow(y / 2), nil}
	rows[1] = rows[0]
	if y%2 == 1 {
		rows[1] = next.noiseRow(next.held(y/2 + 1))
	}
	n := next.w
	for p := range l.pic.C {
		dst, up := row[p*l.w:][:l.w], l.upper[:n]
		sumRows(up, rows, p*n, denoiseHalves)
		for i, next := range up[1:] {
			d := dst[2*i : 2*i+2 : 2*i+2]
			d[0], d[1] = up[i], float32((up[i]+next)*0.5)
		}
		for x := (l.w - 1) &^ 1; x < l.w; x++ {
			dst[x] = up[n-1]
		}
	}
}
