package ops

import "platemark/ops/colour"

// toneGrey holds what becomes of every code of a grey picture.
type toneGrey struct {
	level []float64 // L* before local contrast
	code  []uint16  // the result, where there is no local contrast
	tone  *colour.Tone
}

func (s *tone) greyTables() *toneGrey {
	t := &toneGrey{tone: s.pic.Profile.Tone(0)}
	light := t.tone.Decode64()
	if s.local != 0 {
		t.level = make([]float64, len(light))
	} else {
		t.code = make([]uint16, len(light))
	}
	for i, v := range light {
		if s.exposure != nil {
			v = float64(v * s.exposure.factor(v))
		}
		if s.light {
			l := s.lightness(labOfLight(v))
			if s.local != 0 {
				t.level[i] = l
				continue
			}
			v = lightOfLab(l)
		}
		t.code[i] = t.tone.Encode64(v)
	}
	return t
}

func (s *tone) Worker() Worker {
	k := &toneWorker{tone: s, mask: s.mask.worker()}
	if s.plain {
		return k
	}
	if s.pic.C == 1 {
		k.tables = s.grey()
	} else {
		for i, t := range s.space.tones {
			k.decode[i] = t.Decode64()
		}
	}
	if s.local != 0 {
		k.around = s.around.worker(k.levels)
	}
	if s.pic.C == 3 {
		k.fast = k.newFast()
	}
	return k
}

type toneWorker struct {
	*tone
	mask   *samplerWorker
	tables *toneGrey
	decode [3][]float64
	around *aroundWorker // nil without local contrast
	fast   *toneFast     // nil where there is none
	a, b   [pixelBlock]float64
	top    [3 * pixelBlock]uint16
	triple [3 * pixelBlock]float32
}

func (k *toneWorker) Row(dst []uint16, y int, in []Rows) {
	src := in[0].Row(y)[k.skip*k.pic.C:][:k.pic.Stride()]
	dst = dst[:len(src)]
	m, kind := k.mask.row(y, in[1:])
	if k.plain || kind == maskZero {
		copy(dst, src)
		return
	}
	if k.around != nil {
		k.around.load(y, in[0])
		src = in[0].Row(y)[k.skip*k.pic.C:][:len(dst)] // more rows than may be held were asked for since
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
		if maskKind(p, 1) == maskZero {
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
	if k.around != nil {
		k.around.read(k.a[:n], k.b[:n], x)
	}
	if k.pic.C == 1 {
		k.greyBlock(dst, src)
		return
	}
	if k.fast.block(k, dst, src) {
		return
	}
	for i := range n {
		k.pixel(dst[3*i:], src[3*i:], k.a[i], k.b[i])
	}
}

// pixel takes the codes of one pixel to those after all steps.
func (k *toneWorker) pixel(dst, src []uint16, aroundA, aroundB float64) {
	d, e := &k.decode, &k.space.tones
	r, g, b := k.point(d[0][src[0]], d[1][src[1]], d[2][src[2]], aroundA, aroundB)
	dst[0], dst[1], dst[2] = e[0].Encode64(r), e[1].Encode64(g), e[2].Encode64(b)
}

func (k *toneWorker) greyBlock(dst, src []uint16) {
	t := k.tables
	if k.around == nil {
		code := t.code[:65536]
		for i, v := range src {
			dst[i] = code[v]
		}
		return
	}
	for i, v := range src {
		dst[i] = t.tone.Encode64(lightOfLab(k.localContrast(t.level[v], k.a[i], k.b[i])))
	}
}

// levels sets dst to L* of a row before local contrast in 65536ths, half up.
func (k *toneWorker) levels(dst []int32, src []uint16) {
	if k.pic.C == 1 {
		for i := range dst {
			dst[i] = int32(float64(65536*k.tables.level[src[i]]) + 0.5)
		}
		return
	}
	if k.fast.levels(k, dst, src) {
		return
	}
	dr, dg, db := k.decode[0][:65536], k.decode[1][:65536], k.decode[2][:65536]
	for i := range dst {
		p := src[3*i : 3*i+3]
		dst[i] = int32(float64(65536*k.level(dr[p[0]], dg[p[1]], db[p[2]])) + 0.5)
	}
}
