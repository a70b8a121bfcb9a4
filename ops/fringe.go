package ops

import (
	"fmt"
	"image"
	"math"
	"math/big"

	"platemark/ops/exact"
)

// fringeV1 smooths the colour that a lens left over at edges.
//
// Y' is the profile's luminance weights on the encoded values, P = R - Y' and
// Q = B - Y'. A plane is cut into blocks as toneAround's, f = 2 floor(radius/6) + 1 px
// wide; y, r and b are a block's means of Y' (each rounded to a code), R and B,
// p = r - y, q = b - y. With s the standard deviation of y in the window of blocks up
// to d = max(1, floor(radius/2f + 1/2)) away, and E 2 % of full scale, a block's colour
// is trusted by t = floor(256/(1 + (s/E)^4) + 1/2), and it is an edge's by
// u = 4 (1 - t/256), at most 1. In the window of blocks up to floor(7 radius/5f + 1/2)
// away, T the sum of t, those of y, p and q times t give their means, and of y^2, y^3, y p
// and y q
//
//	V = the variance of y, a = cov(y, p)/(V + e^2), c = cov(y, q)/(V + e^2)
//	l = the mean of (y - mean of y)^3/(2 V + 2), Lo and Hi = l -+ the root of l^2 + V
//
// e 1 % of full scale: two even sides with these moments of y lie at its mean + Lo and
// + Hi. k = u T/(T + 256 n/100), n the window's blocks. These eight are read at a pixel as
// toneAround's. There Y' less the mean of y, held to Lo and Hi, is z;
// P* = (mean of p + a z) g and Q* likewise, g = Y'/(mean of y + z) where that is less than
// 1: a darker pixel than those trusted keeps their saturation. N is the squared distance
// of (P, Q) from the nearest of the colours with Lo to Hi for z: what lies between those
// of both sides isn't fringe. With o what z was held by, E' 3/2 % of full scale and
// r = N/E'^2, P goes to P + k m (P* - P) r^2/(r^2 + 1 + o^2/E'^2), Q likewise, m the mask
// and the share of the hue (rangeV1's, fading over 15 degrees). Green is what Y' leaves;
// all three differences are led towards 0 by one share where a channel would leave the
// space.
var fringeV1 = operation(Operation{
	Name:    "fringe",
	Version: 1,
	Doc: `Smooths colour at edges across the radius; Y', the profile's luminance weights on
encoded values, stays within a code. Blocks of a third of the radius whose surroundings
vary in Y' by more than 2 % of full scale are an edge's, and their colour is hardly
trusted; each pixel there takes the colour that Y' has in the trusted blocks around, a
line through R - Y' and B - Y' by Y' (K. He, J. Sun and X. Tang, "Guided image
filtering", ECCV 2010, with weights), as far as it lies more than 1.5 % off all of that
line's colours between the edge's sides, which are where two values of Y' would have the
first three moments of those blocks (after S.-W. Chung, B.-K. Kim and W.-J. Song,
"Removing chromatic aberration by digital image processing", Optical Engineering 49(6),
2010). Where nothing around is trusted, colours stay.
Given hues, only colours of OKLab's hues from hue-from upwards to hue-to change, fading
over 15 degrees and to greys. Inputs: picture, perhaps a mask.`,
	Takes:  1,
	Masked: true,
	Nanos:  16,
	Params: Params{
		covers,
		{Name: "radius", Unit: "px", Min: "1/2", Max: "100", Length: true, Doc: "how wide a fringe is, about"},
		{Name: "hue-from", Unit: "deg", Min: "0", Max: "360", Optional: true, Doc: "the first hue that is changed; all without"},
		{Name: "hue-to", Unit: "deg", Min: "0", Max: "360", Optional: true, Doc: "the last"},
	},
	// Fringes finer than a reduced pixel would not be seen.
	Reduce: func(_ Params, a Args, r Reduction) (Args, bool, error) {
		radius, _ := a.Get("radius")
		return a, !r.smaller() || ratOf(radius).Cmp(big.NewRat(1, 1)) >= 0, nil
	},
}, newFringe)

const (
	fringeEdge  = 0.02 * 65535  // E
	fringeLeast = 0.01 * 65535  // e
	fringeOff   = 0.015 * 65535 // E'
	fringeWhole = 256           // the most that a block is trusted
)

type fringeParams struct {
	Radius, HueFrom, HueTo *big.Rat
	Covers                 string
}

type fringe struct {
	pic Pic
	blockGrid
	near, far int // windows, in blocks: of the spread, and of the colours
	luma      [3]float32
	light     *lightness // nil without hues
	hues      hueArc
	mask      *sampler // nil without
	skip      int      // columns of the input before the result's
}

func newFringe(a fringeParams, in []Pic, _ Env) (Step, error) {
	p := in[0]
	if err := greyOrRGB("fringe", p); err != nil {
		return nil, err
	}
	switch {
	case p.C == 1:
		return nil, fmt.Errorf("fringe: this picture is grey and has no colour to smooth; put it before the mix")
	case (a.HueFrom == nil) != (a.HueTo == nil):
		return nil, fmt.Errorf("fringe: hue from and hue to belong together")
	}
	luma, err := lumaOf("fringe", p)
	if err != nil {
		return nil, err
	}
	s := &fringe{pic: p, luma: luma}
	if s.luma[1] < 0.1 {
		return nil, fmt.Errorf("fringe: the green of the profile %q gives too little light", p.Profile.Description())
	}
	if a.HueFrom != nil {
		if s.light, err = newLightness("fringe", p); err != nil {
			return nil, err
		}
		s.hues = newHueArc(a.HueFrom, a.HueTo, big.NewRat(15, 1))
	}
	f := 2*floorRat(times(a.Radius, big.NewRat(1, 6))) + 1
	blocks := func(num int64, den int) int { return halfUp(times(a.Radius, big.NewRat(num, int64(den*f)))) }
	s.blockGrid, s.near, s.far = newBlockGrid(p.W, p.H, f), max(1, blocks(1, 2)), max(1, blocks(7, 5))
	s.mask, err = maskFor(a.Covers, in[1:], p)
	return s, err
}

func (s *fringe) Pic() Pic { return s.pic }

func (s *fringe) reach() int { return s.near + s.far }

func (s *fringe) Window(in, y int) (lo, hi int) {
	if in == 1 {
		return s.mask.window(y)
	}
	return s.rowsFor(y, s.reach())
}

func (s *fringe) Memory() (worker, shared int64) {
	rows := 2*s.reach() + 4
	return s.mask.memory() + 16*int64(s.w) + int64(s.bw)*(12*int64(rows)+4*int64(2*s.far+2)+8*10+4*8*3), 0
}

func (s *fringe) Needs(in int, r image.Rectangle) image.Rectangle {
	if in == 1 {
		return s.mask.needs(r)
	}
	n := sameColumns(s, in, r)
	n.Min.X, n.Max.X = s.columnsFor(r.Min.X, r.Max.X, s.reach())
	return n
}

func (s *fringe) Part(r image.Rectangle) (Step, int) {
	p := *s
	lo, _ := s.columnsFor(r.Min.X, r.Max.X, s.reach())
	p.pic.W, p.mask, p.skip = r.Dx(), s.mask.part(r), r.Min.X-lo
	p.blockGrid = s.cut(r.Min.X, r.Max.X, s.reach())
	return &p, r.Min.X
}

func (s *fringe) Worker() Worker {
	means := min(2*s.reach()+3, s.bh)
	k := &fringeWorker{fringe: s, mask: s.mask.worker(), luminance: make([]float32, s.w), line: make([]int32, 3*s.w), block: make([]int64, 3*s.bw),
		kept: newRowCache[int32](means, 3*s.bw), trust: newRowCache[int32](min(2*s.far+2, s.bh), s.bw), fits: newRowCache[fringeFit](2, s.bw)}
	k.spread.sum, k.colour.sum = make([]int64, 2*s.bw), make([]int64, 8*s.bw)
	k.mixed = make([]fringeFit, s.bw)
	return k
}

// fringeFit is what pixels read of a block.
type fringeFit [fringeFits]float32

const (
	fitY = iota // means
	fitP
	fitQ
	fitA // slopes
	fitC
	fitLow  // the sides' Y', less the mean: Lo
	fitHigh // Hi
	fitK
	fringeFits
)

// fringeWorker keeps rows of blocks by number: means of Y', R and B, how far they are
// trusted, and what pixels read.
type fringeWorker struct {
	*fringe
	mask      *samplerWorker
	in        Rows
	luminance []float32 // Y' of a row
	line      []int32   // and rounded, then R, then B
	block     []int64
	kept      rowCache[int32]
	trust     rowCache[int32]
	fits      rowCache[fringeFit]
	spread    rowSums     // of y and y^2
	colour    rowSums     // of t, and of t times y, p, q, y^2, y p, y q and y^3, y less 32768
	mixed     []fringeFit // what the loaded row reads
}

func (k *fringeWorker) Row(dst []uint16, y int, in []Rows) {
	k.in = in[0]
	dst = dst[:k.pic.Stride()]
	m, kind := k.mask.row(y, in[1:])
	active := kind != maskZero && k.load(y)
	src := in[0].Row(y)[3*k.skip:][:len(dst)]
	copy(dst, src)
	if !active {
		return
	}
	lumaRow(k.luminance[:k.pic.W], src, &k.luma)
	for x := range k.pic.W {
		p := k.x[x]
		j, n := int(p.at), min(int(p.at)+1, k.bw-1)
		left, right := &k.mixed[j], &k.mixed[n]
		if left[fitK] == 0 && right[fitK] == 0 || m != nil && m[x] == 0 {
			continue
		}
		var fit fringeFit
		share := float32(p.share) / float32(2*k.f)
		for i, v := range left {
			fit[i] = v + float32(share*(right[i]-v))
		}
		if m != nil {
			fit[fitK] *= m[x]
		}
		if k.light != nil {
			fit[fitK] *= float32(k.light.hueShare(src[3*x:], &k.hues))
		}
		k.pixel(dst[3*x:3*x+3], k.luminance[x], &fit)
	}
}

// pixel gives a pixel of luminance y the colour of its fit, as far as that asks.
func (k *fringeWorker) pixel(dst []uint16, y float32, fit *fringeFit) {
	if fit[fitK] == 0 {
		return
	}
	low, high := fit[fitLow], fit[fitHigh]
	z := max(low, min(high, y-fit[fitY]))
	over := (y - fit[fitY] - z) / fringeOff
	g := float32(1)
	if near := fit[fitY] + z; near > y {
		g = y / near
	}
	p, q := float32(dst[0])-y, float32(dst[2])-y
	dp, dq := float32((fit[fitP]+float32(fit[fitA]*z))*g)-p, float32((fit[fitQ]+float32(fit[fitC]*z))*g)-q
	off, offQ := dp, dq // from the nearest of the sides' colours and those between
	a, c := fit[fitA]*g, fit[fitC]*g
	if l := float32(a*a) + float32(c*c); l > 0 {
		w := max(z-high, min(z-low, (float32(dp*a)+float32(dq*c))/l))
		off, offQ = dp-float32(a*w), dq-float32(c*w)
	}
	n := (float32(off*off) + float32(offQ*offQ)) / (fringeOff * fringeOff)
	n = float32(n * n)
	if n == 0 {
		return
	}
	k2 := float32(fit[fitK]*n) / (n + 1 + float32(over*over))
	p, q = p+float32(k2*dp), q+float32(k2*dq)
	v := [3]float32{p, -(float32(k.luma[0]*p) + float32(k.luma[2]*q)) / k.luma[1], q}
	room := float32(1)
	for _, x := range v {
		if x > 0 && x > 65535-y {
			room = min(room, max(0, 65535-y)/x)
		} else if x < 0 && -x > y {
			room = min(room, y/-x)
		}
	}
	for c, x := range v {
		dst[c] = exact.RoundU16(y + float32(room*x))
	}
}

// load makes what row y of the picture reads, and tells whether any of it asks for a
// change.
func (k *fringeWorker) load(y int) (asks bool) {
	p := k.place(y+k.ey, k.bh)
	above := k.fitRow(int(p.at))
	below := above
	if p.share > 0 {
		below = k.fitRow(int(p.at) + 1)
	}
	share := float32(p.share) / float32(2*k.f)
	for i := range above {
		up, down, out := &above[i], &below[i], &k.mixed[i]
		for n, v := range up {
			out[n] = v + float32(share*(down[n]-v))
		}
		asks = asks || out[fitK] > 0
	}
	return asks
}

// fitRow is row j of what pixels read.
func (k *fringeWorker) fitRow(j int) []fringeFit {
	out, there := k.fits.row(j)
	if there {
		return out
	}
	rows := int64(k.colour.around(j, k.far, k.bh, k.addColours))
	trust := k.trustRow(j)
	near := [3][]int32{k.trustRow(max(0, j-1)), trust, k.trustRow(min(k.bh-1, j+1))}
	var sums [8]int64
	var planes [8][]int64
	for n := range sums {
		planes[n] = k.colour.sum[n*k.bw:][:k.bw]
		sums[n] = openSum(k.far, planes[n])
	}
	for i := range k.bw {
		for n, plane := range &planes {
			sums[n] += slideSum(k.far, plane, i)
		}
		out[i] = fringeFit{}
		if t := float64(sums[0]); t > 0 && besideEdge(&near, i) {
			y, p, q := float64(sums[1])/t, float64(sums[2])/t, float64(sums[3])/t
			v := max(0, float64(sums[4])/t-float64(y*y))
			over := 1 / (v + fringeLeast*fringeLeast)
			lean := (float64(sums[7])/t - float64(y*(float64(3*v)+float64(y*y)))) / float64(2*(v+1))
			apart := math.Sqrt(float64(lean*lean) + v)
			edge := float64(min(1, 4-float64(float64(trust[i])/(fringeWhole/4))) * t)
			out[i] = fringeFit{float32(y + 32768), float32(p), float32(q),
				float32((float64(sums[5])/t - float64(y*p)) * over), float32((float64(sums[6])/t - float64(y*q)) * over),
				float32(lean - apart), float32(lean + apart),
				float32(edge / (t + float64(rows*k.columnsAround(k.far, i)*fringeWhole)/100))}
		}
	}
	return out
}

// besideEdge tells whether block i of the middle row, or one next to it, is an edge's: only
// then do pixels that change read it.
func besideEdge(rows *[3][]int32, i int) bool {
	for _, row := range rows {
		for _, t := range row[max(0, i-1):min(len(row), i+2)] {
			if t < fringeWhole {
				return true
			}
		}
	}
	return false
}

func (k *fringeWorker) addColours(sum []int64, j int, sign int64) {
	means, trust := k.meanRow(j), k.trustRow(j)
	n := k.bw
	for i, t := range trust {
		y := int64(means[i])
		p, q := int64(means[n+i])-y, int64(means[2*n+i])-y
		y -= 32768 // so that the sums of cubes have room
		t := sign * int64(t)
		ty := t * y
		sum[i] += t
		sum[n+i] += ty
		sum[2*n+i] += t * p
		sum[3*n+i] += t * q
		sum[4*n+i] += ty * y
		sum[5*n+i] += ty * p
		sum[6*n+i] += ty * q
		sum[7*n+i] += ty * y * y
	}
}

// trustRow is row j of how far blocks are trusted.
func (k *fringeWorker) trustRow(j int) []int32 {
	out, there := k.trust.row(j)
	if there {
		return out
	}
	rows := int64(k.spread.around(j, k.near, k.bh, k.addSpread))
	sum, square := k.spread.sum[:k.bw], k.spread.sum[k.bw:]
	s, q := openSum(k.near, sum), openSum(k.near, square)
	for i := range out {
		s, q = s+slideSum(k.near, sum, i), q+slideSum(k.near, square, i)
		n := rows * k.columnsAround(k.near, i)
		v := float64(n*q-s*s) / (float64(n*n) * (fringeEdge * fringeEdge))
		out[i] = int32(fringeWhole/(1+float64(v*v)) + 0.5)
	}
	return out
}

func (k *fringeWorker) addSpread(sum []int64, j int, sign int64) {
	for i, v := range k.meanRow(j)[:k.bw] {
		sum[i] += sign * int64(v)
		sum[k.bw+i] += sign * int64(v) * int64(v)
	}
}

// meanRow is row j of the blocks' means of Y', R and B, one plane after the other.
func (k *fringeWorker) meanRow(j int) []int32 {
	out, there := k.kept.row(j)
	if !there {
		k.means(out, k.block, k.line, j, k.in, k.level)
	}
	return out
}

// level sets dst to Y', rounded, of a row, then to R, then to B.
func (k *fringeWorker) level(dst []int32, src []uint16) {
	lumaRow(k.luminance, src[:3*k.w], &k.luma)
	y, r, b := dst[:k.w], dst[k.w:][:k.w], dst[2*k.w:][:k.w]
	for i, v := range k.luminance {
		p := src[3*i : 3*i+3 : 3*i+3]
		y[i], r[i], b[i] = int32(v+0.5), int32(p[0]), int32(p[2])
	}
}
