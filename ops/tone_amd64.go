//go:build amd64 && !plain

package ops

import (
	"math"

	"platemark/ops/colour"
)

// toneRow is how many pixels toneFast does at a time, a multiple of 4.
const toneRow = 64

// toneBlock is what is known of so many pixels.
type toneBlock struct {
	r, g, b          [toneRow]float64 // light
	y, root          [toneRow]float64 // its luminance, and the cube root of that
	l, l1            [toneRow]float64 // L* before and after
	y1, root1, k     [toneRow]float64 // luminance and root after, and what chroma is multiplied by
	aroundA, aroundB [toneRow]float64
	m, u, v, grey    [toneRow]float64
	red              [toneRow]float64 // r before insideAVX2
}

// lanes is one number for four pixels.
type lanes [4]float64

// toneLanes are a step's numbers, by what reads them.
type toneLanes struct {
	one, minus, half, eighth, three, six, hundred, abs     lanes
	rootPiece                                              lanes // the bits that tell a piece
	rootFirst, rootLast                                    lanes // whole numbers, 16 a piece
	lumaR, lumaB                                           lanes
	gain, bend, shoulder                                   lanes
	slope, base, knee, foot, c116, c16                     lanes // labF and LabInv
	local, halo, chroma                                    lanes
	to00, to02, to10, to12, to20, to22                     lanes
	from00, from02, from10, from12, from20, from22, wl, ws lanes
	turn, turnU, turnV, room                               lanes
	muted, mutedScale, aU, aV, bU, bV                      lanes
	stay                                                   lanes // all bits set where pixels may
	kneeLight, kneeShadow                                  lanes
}

//go:noescape
func luminanceAVX2(b *toneBlock, p *toneLanes, n int)

//go:noescape
func exposeAVX2(b *toneBlock, p *toneLanes, n int)

//go:noescape
func lightAVX2(b *toneBlock, p *toneLanes, n int)

//go:noescape
func curveAVX2(b *toneBlock, p *toneLanes, x *float64, points int, pieces *cubicPiece, n int)

//go:noescape
func localAVX2(b *toneBlock, p *toneLanes, n int)

//go:noescape
func followAVX2(b *toneBlock, p *toneLanes, n int)

//go:noescape
func conesAVX2(b *toneBlock, p *toneLanes, n int)

//go:noescape
func lineAVX2(b *toneBlock, p *toneLanes, n int)

//go:noescape
func solveAVX2(b *toneBlock, p *toneLanes, n int)

//go:noescape
func insideAVX2(b *toneBlock, p *toneLanes, n int) (all bool)

// toneFast does blocks of pixels as tone.point does one, four at a time, but for those
// that are all but black or leave all colours behind: these it leaves to point.
type toneFast struct {
	*tone
	b       toneBlock
	p       toneLanes
	warming toneLanes // for the move to a new lightness before warmth
	near    toneBlock // tries of those near the edge
	held    [toneRow]heldPixel
	list    [toneRow]*heldPixel
}

// heldPixel is a pixel's colour and root of luminance as its search begins, and where
// it lies in the block.
type heldPixel struct {
	gamutSearch
	m, u, v, root float64
	at            int
}

func (k *toneWorker) newFast() *toneFast {
	s := k.tone
	if !haveAVX2 {
		return nil
	}
	four := func(v float64) lanes { return lanes{v, v, v, v} }
	bits := func(v uint64) lanes { return four(math.Float64frombits(v)) }
	h := s.space
	p := toneLanes{
		one: four(1), minus: four(-1), half: four(0.5), eighth: four(0.125), three: four(3), six: four(6), hundred: four(100),
		abs: bits(1<<63 - 1), rootPiece: bits(math.MaxUint64 &^ (1<<rootShift - 1)), rootFirst: bits(16 * rootFirst), rootLast: bits(16 * rootCount),
		lumaR: four(h.y[0]), lumaB: four(h.y[2]),
		slope: four(colour.LabSlope), base: four(colour.LabBase), knee: four(colour.LabKnee), foot: four(6.0 / 29), c116: four(116), c16: four(16),
		local: four(s.local), halo: four(toneHalo), chroma: four(s.chroma),
		to00: four(h.to[0][0]), to02: four(h.to[0][2]), to10: four(h.to[1][0]), to12: four(h.to[1][2]), to20: four(h.to[2][0]), to22: four(h.to[2][2]),
		from00: four(h.from[0][0]), from02: four(h.from[0][2]), from10: four(h.from[1][0]), from12: four(h.from[1][2]), from20: four(h.from[2][0]), from22: four(h.from[2][2]),
		wl: four(h.wl), ws: four(h.ws),
		turn: four(hueTurn), turnU: four(hueTurnU), turnV: four(hueTurnV), room: four(solveRoom),
		muted: four(s.muted), mutedScale: four(mutedScale), aU: four(okAU), aV: four(okAV), bU: four(okBU), bV: four(okBV),
		kneeLight: four(kneeLight), kneeShadow: four(kneeShadow),
	}
	if e := s.exposure; e != nil {
		p.gain, p.bend, p.shoulder = four(e.gain), four(e.c), four(math.Inf(1))
		if e.gain > 1 {
			p.shoulder = four(toneShoulder)
		}
	}
	f := &toneFast{tone: s, warming: p}
	f.warming.muted, f.warming.chroma = lanes{}, four(1)
	if s.muted == 0 {
		p.stay = bits(1<<64 - 1)
	}
	f.p = p
	return f
}

// block fills dst with the result of src; the surroundings are k's.
func (f *toneFast) block(k *toneWorker, dst, src []uint16) bool {
	if f == nil {
		return false
	}
	b := &f.b
	for x := 0; 3*x < len(src); x += toneRow {
		n := min(toneRow, len(src)/3-x)
		src, dst := src[3*x:3*(x+n)], dst[3*x:3*(x+n)]
		if f.local != 0 {
			copy(b.aroundA[:], k.a[x:x+n])
			copy(b.aroundB[:], k.b[x:x+n])
		}
		f.expose(k, src)
		all := f.steps(n)
		if !all {
			f.hold(k, src)
		}
		f.space.tones[0].EncodeRow(dst, 3, b.r[:n])
		f.space.tones[1].EncodeRow(dst[1:], 3, b.g[:n])
		f.space.tones[2].EncodeRow(dst[2:], 3, b.b[:n])
		if all {
			continue
		}
		for i, v := range b.r[:n] {
			if v != v {
				k.pixel(dst[3*i:], src[3*i:], b.aroundA[i], b.aroundB[i])
			}
		}
	}
	return true
}

// whole is n rounded up to four pixels.
func whole(n int) int { return (n + 3) &^ 3 }

// expose reads light, and its luminance, and exposes both.
func (f *toneFast) expose(k *toneWorker, src []uint16) {
	b := &f.b
	n := len(src) / 3
	colour.DecodeRow(b.r[:n], b.g[:n], b.b[:n], &k.decode, src)
	luminanceAVX2(b, &f.p, whole(n))
	if f.exposure != nil {
		exposeAVX2(b, &f.p, whole(n))
	}
}

// lightness sets root, l, and l1 to L* after the curves.
func (f *toneFast) lightness(n int) {
	lightAVX2(&f.b, &f.p, whole(n))
	for _, c := range f.curves {
		curveAVX2(&f.b, &f.p, &c.x[0], len(c.x), &c.pieces[0], whole(n))
	}
}

// steps is what point does after exposure, and whether that is all.
func (f *toneFast) steps(n int) bool {
	b, p := &f.b, &f.p
	all := whole(n)
	if f.light || f.chroma != 1 || f.muted != 0 || f.warmth != nil {
		f.lightness(n)
		move := f.chroma != 1 || f.muted != 0
		if f.light {
			if f.warmth != nil {
				p = &f.warming
			}
			if f.local != 0 {
				localAVX2(b, p, all)
			}
			followAVX2(b, p, all)
			move = move || f.warmth == nil
		} else {
			b.y1, b.root1 = b.y, b.root
		}
		if f.warmth != nil {
			if f.light {
				moveLight(b, p, all)
			}
			f.warm(n)
			p = &f.p
		}
		if !f.light || f.warmth != nil {
			for i := range n {
				b.k[i] = f.chroma
			}
		}
		if move {
			moveLight(b, p, all)
		}
	}
	return insideAVX2(b, p, all)
}

// moveLight takes light to luminance y1 and k times the chroma.
func moveLight(b *toneBlock, p *toneLanes, n int) {
	conesAVX2(b, p, n)
	lineAVX2(b, p, n)
	solveAVX2(b, p, n)
}

// hold is hueSpace.within for the pixels that insideAVX2 has found: one try for all of
// them at a time.
func (f *toneFast) hold(k *toneWorker, src []uint16) {
	b, c := &f.b, &f.near
	list := f.list[:0]
	for i, v := range b.r[:len(src)/3] {
		if v == v {
			continue
		}
		r, g, b0 := k.decode[0][src[3*i]], k.decode[1][src[3*i+1]], k.decode[2][src[3*i+2]]
		was := gamutEdge(r, g, b0, f.space.luminance(r, g, b0))
		h := &f.held[len(list)]
		b.r[i] = b.red[i]
		if h.start(b.r[i], b.g[i], b.b[i], b.y[i], was) {
			h.at, h.root = i, cubeRoot(b.y[i])
			n := len(list)
			c.r[n], c.g[n], c.b[n] = b.r[i], b.g[i], b.b[i]
			list = append(list, h)
		}
	}
	conesAVX2(c, &f.warming, whole(len(list)))
	for i, h := range list {
		h.m, h.u, h.v = c.m[i], c.u[i], c.v[i]
	}
	for len(list) > 0 {
		n := 0
		for _, h := range list {
			if b.r[h.at] != b.r[h.at] {
				continue // point's
			}
			z, more := h.next()
			if !more {
				b.r[h.at], b.g[h.at], b.b[h.at] = h.end(b.r[h.at], b.g[h.at], b.b[h.at])
				continue
			}
			c.m[n], c.u[n], c.v[n], c.k[n] = h.m, h.u, h.v, z
			c.y[n], c.root[n], c.y1[n], c.root1[n] = h.y, h.root, h.y, h.root
			list[n] = h
			n++
		}
		list = list[:n]
		lineAVX2(c, &f.warming, whole(n))
		solveAVX2(c, &f.warming, whole(n))
		for i, h := range list {
			b.r[h.at], b.g[h.at], b.b[h.at] = c.r[i], c.g[i], c.b[i]
			h.tried(c.r[i], c.g[i], c.b[i], c.k[i])
		}
	}
}

// warm is toneWarm, and the new luminance.
func (f *toneFast) warm(n int) {
	b := &f.b
	for i := range n {
		l := b.l[i]
		if f.light {
			l = float64(116*((b.l1[i]+16)/116)) - 16
		}
		b.r[i], b.g[i], b.b[i] = toneWarm(f.warmth, l, b.r[i], b.g[i], b.b[i])
		b.y[i] = max(0, min(1, f.space.luminance(b.r[i], b.g[i], b.b[i])))
	}
	lightAVX2(b, &f.p, whole(n)) // for its root
	b.y1, b.root1 = b.y, b.root
}

// levels is toneWorker's.
func (f *toneFast) levels(k *toneWorker, dst []int32, src []uint16) bool {
	if f == nil {
		return false
	}
	for x := 0; x < len(dst); x += toneRow {
		n := min(toneRow, len(dst)-x)
		f.expose(k, src[3*x:3*(x+n)])
		f.lightness(n)
		for i, l := range f.b.l1[:n] {
			dst[x+i] = int32(float64(65536*l) + 0.5)
		}
	}
	return true
}
