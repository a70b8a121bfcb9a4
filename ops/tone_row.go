package ops

import "platemark/ops/colour"

// toneGrey holds what becomes of every code of a grey picture.
type toneGrey struct {
	level []float64 // L* before local contrast
	code  []uint16  // the result, where there is no local contrast
	tone  *colour.Tone
}

func (s *tone) greyTables() *toneGrey {
	s.once.Do(func() {
		t := &toneGrey{tone: s.pic.Profile.Tone(0)}
		light := t.tone.Decode64()
		if s.local != 0 {
			t.level = make([]float64, len(light))
		} else {
			t.code = make([]uint16, len(light))
		}
		for i, v := range light {
			v, _, _ = s.expose(v, v, v)
			if s.inLab {
				l := s.lightness(labOfLight(v))
				if s.local != 0 {
					t.level[i] = l
					continue
				}
				v = lightOfLab(l)
			}
			t.code[i] = t.tone.Encode64(v)
		}
		s.grey = t
	})
	return s.grey
}

func (s *tone) Worker() Worker {
	k := &toneWorker{tone: s}
	if s.plain {
		return k
	}
	if s.pic.C == 1 {
		k.tables = s.greyTables()
	} else {
		for i, t := range s.space.tones {
			k.decode[i] = t.Decode64()
		}
	}
	if s.local != 0 {
		k.blur = newBlurRows(s.pic.W, s.pic.H, s.taps, k.levels)
	}
	if s.mask != nil {
		k.mask = s.mask.worker()
	}
	return k
}

type toneWorker struct {
	*tone
	mask   *samplerWorker
	tables *toneGrey
	decode [3][]float64
	blur   *blurRows // nil without local contrast
	round  [pixelBlock]float32
	top    [3 * pixelBlock]uint16
	triple [3 * pixelBlock]float32
}

func (k *toneWorker) Row(dst []uint16, y int, in []Rows) {
	src := in[0].Row(y)[:k.pic.Stride()]
	dst = dst[:len(src)]
	var m []float32
	kind := maskOne
	if k.mask != nil && !k.plain {
		m, kind = k.mask.row(y, in[1])
	}
	if k.plain || kind == maskZero {
		copy(dst, src)
		return
	}
	if k.blur != nil {
		k.blur.load(y, in[0])
	}
	c := k.pic.C
	for x := 0; x < k.pic.W; x += pixelBlock {
		n := min(pixelBlock, k.pic.W-x)
		from, to := x*c, (x+n)*c
		if kind == maskOne {
			k.block(dst[from:to], src[from:to], x)
			continue
		}
		p := m[x : x+n]
		if allZero(p) {
			copy(dst[from:to], src[from:to])
			continue
		}
		top := k.top[:n*c]
		k.block(top, src[from:to], x)
		if c == 3 {
			tripleRow(k.triple[:3*n], p)
			p = k.triple[:3*n]
		}
		mixRow(dst[from:to], src[from:to], top, p)
	}
}

// block does the pixels from column x on.
func (k *toneWorker) block(dst, src []uint16, x int) {
	n := len(src) / k.pic.C
	var round []float32
	if k.blur != nil {
		round = k.round[:n]
		k.blur.sum(round, x)
	}
	if k.pic.C == 1 {
		k.greyBlock(dst, src, round)
		return
	}
	dr, dg, db := k.decode[0][:65536], k.decode[1][:65536], k.decode[2][:65536]
	er, eg, eb := k.space.tones[0], k.space.tones[1], k.space.tones[2]
	blur := 0.0
	for i := range n {
		if round != nil {
			blur = float64(round[i])
		}
		p, q := src[3*i:3*i+3], dst[3*i:3*i+3]
		r, g, b := k.point(dr[p[0]], dg[p[1]], db[p[2]], blur)
		q[0], q[1], q[2] = er.Encode64(r), eg.Encode64(g), eb.Encode64(b)
	}
}

func (k *toneWorker) greyBlock(dst, src []uint16, round []float32) {
	t := k.tables
	if round == nil {
		code := t.code[:65536]
		for i, v := range src {
			dst[i] = code[v]
		}
		return
	}
	for i, v := range src {
		l := t.level[v]
		l = toneLimit(l, float64(k.local*(l-float64(round[i]))))
		dst[i] = t.tone.Encode64(lightOfLab(l))
	}
}

// levels sets dst to L* of a row before local contrast, rounded to float32.
func (k *toneWorker) levels(dst []float32, src []uint16) {
	if k.pic.C == 1 {
		for i := range dst {
			dst[i] = float32(k.tables.level[src[i]])
		}
		return
	}
	dr, dg, db := k.decode[0][:65536], k.decode[1][:65536], k.decode[2][:65536]
	for i := range dst {
		p := src[3*i : 3*i+3]
		dst[i] = float32(k.level(dr[p[0]], dg[p[1]], db[p[2]]))
	}
}

// blurRows blurs one plane by a Gaussian, the edge pixel repeated outside,
// columns first: the sums of sharpen. It keeps the rows last blurred across, by
// row number.
type blurRows struct {
	w, h    int
	taps    []float32
	level   func(dst []float32, src []uint16)
	wide    []float32   // one row, its ends repeated
	shifted [][]float32 // wide from 0, from 1, …
	keys    []int       // row number + 1 of each slot
	slots   [][]float32
	rows    [][]float32 // the slots that the loaded row needs, in order
}

func newBlurRows(w, h int, taps []float32, level func([]float32, []uint16)) *blurRows {
	r := len(taps) - 1
	b := &blurRows{w: w, h: h, taps: taps, level: level, wide: make([]float32, w+2*r), keys: make([]int, min(2*r+1, h))}
	for i := range 2*r + 1 {
		b.shifted = append(b.shifted, b.wide[i:i+w])
	}
	for range b.keys {
		b.slots = append(b.slots, make([]float32, w))
	}
	b.rows = make([][]float32, 2*r+1)
	return b
}

// load makes the rows that row y needs.
func (b *blurRows) load(y int, in Rows) {
	r := len(b.taps) - 1
	for t := range b.rows {
		b.rows[t] = b.across(max(0, min(b.h-1, y-r+t)), in)
	}
}

// sum sets dst to the blur of the loaded row from column x on.
func (b *blurRows) sum(dst []float32, x int) { symRows(dst, b.rows, x, b.taps) }

func (b *blurRows) across(r int, in Rows) []float32 {
	slot := r % len(b.slots)
	if b.keys[slot] == r+1 {
		return b.slots[slot]
	}
	b.keys[slot] = r + 1
	n := len(b.taps) - 1
	b.level(b.wide[n:n+b.w], in.Row(r))
	first, last := b.wide[n], b.wide[n+b.w-1]
	for i := range n {
		b.wide[i], b.wide[n+b.w+i] = first, last
	}
	out := b.slots[slot]
	for x := 0; x < b.w; x += pixelBlock {
		symRows(out[x:min(x+pixelBlock, b.w)], b.shifted, x, b.taps)
	}
	return out
}
