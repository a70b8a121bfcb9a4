package inspect

import (
	"image"
	"math"

	"platemark/ops"
	"platemark/ops/colour"
)

// A tile is what is looked at in one go: its core, which is this tile's alone, and
// a margin around it. All lies at multiples of 8, and so does each tile whatever
// the picture's size, so that how the work is cut changes nothing.
const (
	coreW  = 512
	coreH  = 256
	margin = 80
	tileW  = coreW + 2*margin
	tileH  = coreH + 2*margin
	levels = 4 // each of half the size of the one before
	// full is the end of the range of light, which is red + 2 green + blue, or
	// four times grey.
	full = 4 * 65535
)

// scan is the step that looks: a row of its result is a row of tiles. What it finds
// goes into tiles, each row's into its own; the result itself says nothing.
type scan struct {
	pic   ops.Pic
	lab   *colour.ToLab
	noise Noise
	// single mends single pixels: scan asks it for each row, so that none is held.
	single ops.Step
	hue    func(codes []uint16) (a, b float64) // see ops.HuePlane; nil where there is none
	cols   int
	tiles  []found
}

// found is what a tile has.
type found struct {
	single, blots kept
	whole         []Find // hairs and fringes that end in this tile
	ridges, rims  []mark // of hairs, of fringes that may go on in another
	measured
}

func newScan(p ops.Pic, lab *colour.ToLab, n Noise) (*scan, error) {
	// Single pixels are what `spot pixels` takes for faults.
	single, err := ops.SpotPixelsV1.New(ops.Args{{Name: "over", Value: hotOver}}, []ops.Pic{p}, ops.Env{})
	if err != nil {
		return nil, err
	}
	s := &scan{pic: p, lab: lab, noise: n, single: single, hue: hueOf(p), cols: (p.W + coreW - 1) / coreW}
	s.tiles = make([]found, s.cols*s.Pic().H)
	return s, nil
}

func (s *scan) Pic() ops.Pic { return ops.Pic{W: 1, H: (s.pic.H + coreH - 1) / coreH, C: 1} }

func (s *scan) Window(in, y int) (lo, hi int) {
	lo, hi = y*coreH, (y+1)*coreH
	return max(lo-margin, 0), min(hi+margin, s.pic.H)
}

func (s *scan) Memory() (worker, shared int64) {
	var each int64
	if m, ok := s.single.(ops.Sized); ok {
		each, _ = m.Memory()
	}
	return each + 2*int64(s.pic.Stride()) + 46*tileW*tileH, 0
}

// tileAt is the tile in whose core a place lies.
func (s *scan) tileAt(p Point) int {
	return min(int(p.Y)/coreH, s.Pic().H-1)*s.cols + min(int(p.X)/coreW, s.cols-1)
}

func (s *scan) core(t int) image.Rectangle {
	x, y := t%s.cols*coreW, t/s.cols*coreH
	return image.Rect(x, y, min(x+coreW, s.pic.W), min(y+coreH, s.pic.H))
}

func (s *scan) Worker() ops.Worker {
	w := &scanWorker{scan: s, raw: make([]uint16, tileW*tileH*s.pic.C), mender: s.single.Worker(), mended: make([]uint16, s.pic.Stride())}
	for k := range w.light {
		w.light[k] = plane{tileW >> k, tileH >> k, make([]int32, (tileW>>k)*(tileH>>k))}
	}
	for k := range w.tint {
		w.tint[k] = plane{tileW / 2, tileH / 2, make([]int32, tileW*tileH/4)}
	}
	w.calms, w.calmest = make([]float64, tileW*tileH/64), make([]float64, tileW*tileH/64)
	w.net = likeness()
	for k := range w.cells {
		w.cells[k], w.ring[k] = cells(tileW >> k)
	}
	w.sums, w.squares = make([]int64, (tileW+1)*(tileH+1)), make([]int64, (tileW+1)*(tileH+1))
	return w
}

// alone is a single pixel and the light it has when mended.
type alone struct {
	x, y  int
	light int32
}

// plane is a picture of whole numbers.
type plane struct {
	w, h int
	v    []int32
}

// scanWorker looks at one row of tiles after another.
type scanWorker struct {
	*scan
	mender ops.Worker
	mended []uint16 // a row without single pixels
	net    *network
	cells  [levels][]cell // around a speck, see around
	ring   [levels][]int
	near   *places   // single pixels of the row of tiles
	alone  []alone   // those of its margin too
	specks []Find    // of the tile, those found twice too
	out    []float64 // room for what squares stand out by, and for a speck
	list   []int

	// Of the tile at hand:
	*found
	image.Rectangle               // its core
	at              image.Point   // where it begins, its margin included
	raw             []uint16      // its codes; beyond the picture its rim goes on
	light           [levels]plane // reduced by means
	tint            [2]plane      // red less light and blue less light, of half the size
	sums, squares   []int64       // of a level's light, above and left of each pixel
	calms, calmest  []float64     // of squares of 8 pixels, see calm; below 0 what isn't known yet
}

func (w *scanWorker) Row(dst []uint16, y int, in []ops.Rows) {
	dst[0] = 0
	w.near, w.alone = newPlaces(32), w.alone[:0]
	lo, hi := w.Window(0, y)
	if lo > 0 {
		lo += 2 // the mender reads two rows on either side
	}
	if hi < w.pic.H {
		hi -= 2
	}
	for r := lo; r < hi; r++ {
		w.mender.Row(w.mended, r, in)
		w.singles(y, r, in[0].Row(r), w.mended)
	}
	for x := range w.cols {
		w.turn(y*w.cols+x, in[0])
		for k := range levels {
			w.sum(k)
			w.findBlots(k)
			if k < hairLevels {
				w.findRidges(k)
			}
		}
		w.keepBlots()
		w.findRims()
		w.measure()
	}
}

// turn turns to a tile.
func (w *scanWorker) turn(t int, in ops.Rows) {
	w.found, w.Rectangle = &w.tiles[t], w.core(t)
	w.at = w.Min.Sub(image.Pt(margin, margin))
	w.read(in)
	w.fill()
}

// read takes the tile's codes.
func (w *scanWorker) read(in ops.Rows) {
	c := w.pic.C
	lo, hi := max(w.at.X, 0), min(w.at.X+tileW, w.pic.W)
	part, _ := in.(ops.Parts)
	last := -1
	for y := range tileH {
		out := w.row(y)
		if r := min(max(w.at.Y+y, 0), w.pic.H-1); r == last {
			copy(out, w.row(y-1))
			continue
		} else if last = r; part != nil {
			copy(out[(lo-w.at.X)*c:], part.Part(r, lo*c, hi*c))
		} else {
			copy(out[(lo-w.at.X)*c:], in.Row(r)[lo*c:hi*c])
		}
		for x := lo - w.at.X - 1; x >= 0; x-- {
			copy(out[x*c:][:c], out[(x+1)*c:])
		}
		for x := hi - w.at.X; x < tileW; x++ {
			copy(out[x*c:][:c], out[(x-1)*c:])
		}
	}
}

// row is a row of the tile's codes.
func (w *scanWorker) row(y int) []uint16 { return w.raw[y*tileW*w.pic.C:][:tileW*w.pic.C] }

// coreRow is a row of the picture in the tile's core.
func (w *scanWorker) coreRow(y int) []uint16 {
	return w.row(y - w.at.Y)[margin*w.pic.C:][:w.Dx()*w.pic.C]
}

// light of a pixel, to full.
func light(px []uint16) int32 {
	if len(px) == 1 {
		return 4 * int32(px[0])
	}
	return int32(px[0]) + 2*int32(px[1]) + int32(px[2])
}

// fill makes the tile's planes.
func (w *scanWorker) fill() {
	c := w.pic.C
	clear(w.tint[0].v)
	clear(w.tint[1].v)
	for y := range tileH {
		row := w.row(y)
		out := w.light[0].v[y*tileW:][:tileW]
		for x := range out {
			px := row[x*c:][:c]
			l := light(px)
			out[x] = l
			if c == 1 {
				continue
			}
			// The sums of four pixels in quarters come to those of means in codes
			// times 4.
			k := y/2*(tileW/2) + x/2
			w.tint[0].v[k] += int32(px[0]) - l/4
			w.tint[1].v[k] += int32(px[2]) - l/4
		}
	}
	// Blots and hairs are looked for without single pixels, which would lie in the
	// ground around them.
	for _, a := range w.alone {
		if x := a.x - w.at.X; x >= 0 && x < tileW {
			w.light[0].v[(a.y-w.at.Y)*tileW+x] = a.light
		}
	}
	for k := 1; k < levels; k++ {
		from, to := &w.light[k-1], &w.light[k]
		for y := range to.h {
			a, b := from.v[2*y*from.w:], from.v[(2*y+1)*from.w:]
			out := to.v[y*to.w:][:to.w]
			for x := range out {
				out[x] = (a[2*x] + a[2*x+1] + b[2*x] + b[2*x+1] + 2) >> 2
			}
		}
	}
}

// sum makes the sums of a level.
func (w *scanWorker) sum(k int) {
	p := &w.light[k]
	n := p.w + 1
	clear(w.sums[:n])
	clear(w.squares[:n])
	for y := range p.h {
		var s, q int64
		row := p.v[y*p.w:][:p.w]
		up, here := w.sums[y*n:][:n], w.sums[(y+1)*n:][:n]
		upq, hereq := w.squares[y*n:][:n], w.squares[(y+1)*n:][:n]
		here[0], hereq[0] = 0, 0
		for x, v := range row {
			s += int64(v)
			q += int64(v) * int64(v)
			here[x+1], hereq[x+1] = up[x+1]+s, upq[x+1]+q
		}
	}
}

// box is the sum of the pixels up to r away from x, y, and that of their squares.
func (w *scanWorker) box(k, x, y, r int) (sum, squares int64) {
	n := w.light[k].w + 1
	a, b := (y-r)*n+x-r, (y+r+1)*n+x-r
	d := 2*r + 1
	return w.sums[b+d] - w.sums[b] - w.sums[a+d] + w.sums[a], w.squares[b+d] - w.squares[b] - w.squares[a+d] + w.squares[a]
}

// coreAt is the core's part of a level, in its pixels.
func (w *scanWorker) coreAt(k int) image.Rectangle {
	r := w.Sub(w.at)
	return image.Rect(r.Min.X>>k, r.Min.Y>>k, (r.Max.X+1<<k-1)>>k, (r.Max.Y+1<<k-1)>>k)
}

// place is a place in the picture, of one in a level.
func (w *scanWorker) place(k int, x, y float64) Point {
	by := float64(int(1) << k)
	return Point{float64(w.at.X) + float64(x*by), float64(w.at.Y) + float64(y*by)}
}

// sigma is the noise at such a light.
func (w *scanWorker) sigma(light int64) float64 {
	return full * w.noise.Light[min(max(light, 0)*8/(full+1), 7)]
}

func apart(a, b Point) float64 {
	x, y := a.X-b.X, a.Y-b.Y
	return math.Sqrt(float64(x*x) + float64(y*y))
}

// xyz are the tristimulus values of a mean of codes, white at Y = 1.
func (s *scan) xyz(codes [3]float64) [3]float64 {
	var px [3]uint16
	for i := range s.pic.C {
		px[i] = uint16(codes[i] + 0.5)
	}
	var c [1]colour.Lab
	s.lab.Row(c[:], px[:s.pic.C])
	return c[0].XYZ()
}

// contrasts are by how much X, Y and Z of one colour exceed those of what lies
// around, as shares of these.
func (s *scan) contrasts(in, around [3]float64) (d [3]float64) {
	a, b := s.xyz(in), s.xyz(around)
	// Light scattered by paper and eye lies over all, about 2 % of white.
	for i, white := range colour.PCSWhite {
		d[i] = (a[i] - b[i]) / (b[i] + float64(0.02*white))
	}
	return d
}

// contrast is how much lighter what is of one colour is than what lies around, as
// a share of that.
func (s *scan) contrast(in, around [3]float64) float64 { return s.contrasts(in, around)[1] }
