package ops

// lightStep is what steps have in common that scale the light of each pixel by a
// ratio, perhaps through a mask, from the luminance of pixels up to far around.
type lightStep struct {
	reaching
	luma [3]float32
}

func newLightStep(op, covers string, in []Pic) (s lightStep, err error) {
	s.pic = in[0]
	if err = greyOrRGB(op, s.pic); err != nil {
		return s, err
	}
	if s.pic.C == 3 {
		if s.luma, err = lumaOf(op, s.pic); err != nil {
			return s, err
		}
	}
	s.mask, err = maskFor(covers, in[1:], s.pic)
	return s, err
}

// level sets y to the luminance of pixels: the profile's weights on their codes, or
// the code of grey.
func (s *lightStep) level(y []float32, src []uint16) {
	if s.pic.C == 3 {
		lumaRow(y, src, &s.luma)
	} else {
		floatRow(y, src)
	}
}

func (s *lightStep) worker() lightWorker {
	return lightWorker{step: s, mask: s.mask.worker()}
}

type lightWorker struct {
	step   *lightStep
	mask   *samplerWorker
	light  [pixelBlock]float32
	most   [pixelBlock]float32
	edge   [pixelBlock]float32
	triple [3 * pixelBlock]float32
}

// scale fills dst, row y: blocks of up to pixelBlock pixels from x on, for which
// shares sets e to the share of themselves that they get or lose, from their
// luminance and their largest channel. load is called first, unless the mask leaves
// the whole row.
func (k *lightWorker) scale(dst []uint16, y int, in []Rows, load func(), shares func(e, luma, most []float32, x int)) {
	dst = dst[:k.step.pic.Stride()]
	m, kind := k.mask.row(y, in[1:])
	if kind == maskZero {
		copy(dst, in[0].Row(y))
		return
	}
	load()
	src := in[0].Row(y)[:len(dst)]
	c := k.step.pic.C
	for x := 0; x < k.step.pic.W; x += pixelBlock {
		n := min(pixelBlock, k.step.pic.W-x)
		luma, most, edge := k.light[:n], k.light[:n], k.edge[:n]
		from, to := x*c, (x+n)*c
		part := kind
		if kind == maskMixed {
			part = maskKind(m[x:x+n], 1)
		}
		if part == maskZero {
			copy(dst[from:to], src[from:to])
			continue
		}
		k.step.level(luma, src[from:to])
		if c == 3 {
			most = k.most[:n]
			mostRow(most, src[from:to])
		}
		shares(edge, luma, most, x)
		if part == maskMixed {
			mulRow(edge, edge, m[x:x+n])
		}
		if c == 3 {
			tripleRow(k.triple[:3*n], edge)
			edge = k.triple[:3*n]
		}
		scaleRow(dst[from:to], src[from:to], edge)
	}
}
