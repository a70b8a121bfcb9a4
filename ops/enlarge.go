package ops

import (
	"fmt"
	"image"
	"sync"

	"platemark/ops/colour"
)

// enlargeV1 brings a picture to an exact size, larger or smaller.
var enlargeV1 = operation(Operation{
	Name:    "enlarge",
	Version: 1,
	Doc: `Resamples to width x height px. Column i of n from m has its centre at
((2i+1)m - n) / 2n in input columns (centres whole), rows alike; the kernel is
widened by m/n on an axis that gets smaller. Taps outside the picture are
dropped and the rest divided by their sum. Columns first, then rows, in float32
with no rounding between; sums pair the taps from the outside in; one rounding,
half up, at the end. Kernels: nearest (a copy; never widened), linear, cubic
(Keys, a = -1/2), mitchell (B = C = 1/3), b-spline (B = 1, C = 0), lanczos2,
lanczos3, lanczos4 (sinc times sinc). Light linear decodes before and encodes
after by the profile's curves; encoded resamples the values as they are.`,
	Takes: 1,
	Nanos: 4,
	Params: Params{
		{Name: "kernel", Unit: "word", Words: []string{"nearest", "linear", "cubic", "mitchell", "b-spline", "lanczos2", "lanczos3", "lanczos4"},
			Doc: "the resampling kernel"},
		{Name: "light", Unit: "word", Words: []string{"linear", "encoded"}, Doc: "resample the encoded values or linear light"},
		{Name: "width", Unit: "count", Min: "1", Max: "300000", Doc: "width of the result in px"},
		{Name: "height", Unit: "count", Min: "1", Max: "300000", Doc: "height of the result in px"},
	},
	Reduce: func(_ Params, a Args, r Reduction) (Args, bool, error) {
		for i := range a {
			switch a[i].Name {
			case "width":
				a[i].Value = fmt.Sprint(r.W)
			case "height":
				a[i].Value = fmt.Sprint(r.H)
			}
		}
		return a, r.Pic.W != r.W || r.Pic.H != r.H, nil
	},
}, newEnlarge)

type enlargeParams struct {
	Kernel, Light string
	Width, Height int
}

// enlarge is the bound operation.
type enlarge struct {
	in, out Pic
	x, y    func() *axis   // made when a row or its need is asked for
	tones   []*colour.Tone // one a channel in linear light, else nil
}

func newEnlarge(a enlargeParams, in []Pic, _ Env) (Step, error) {
	p := in[0]
	if p.C != 1 && p.C != 3 || p.W < 1 || p.H < 1 || p.W > maxSide || p.H > maxSide {
		return nil, fmt.Errorf("enlarge takes grey or RGB up to %d px a side, this picture is %d x %d px with %d channels", maxSide, p.W, p.H, p.C)
	}
	k := kernelNamed(a.Kernel)
	s := &enlarge{in: p, out: p}
	s.out.W, s.out.H = a.Width, a.Height
	if a.Light == "linear" && k.support > 0 { // a copy is the same in any light
		if p.Profile == nil {
			return nil, fmt.Errorf("light linear needs a profile, and this picture has none; use light encoded")
		}
		for c := range p.C {
			s.tones = append(s.tones, p.Profile.Tone(c))
		}
	}
	s.x = sync.OnceValue(func() *axis { return k.axis(p.W, a.Width) })
	s.y = sync.OnceValue(func() *axis { return k.axis(p.H, a.Height) })
	return s, nil
}

func (s *enlarge) Pic() Pic { return s.out }

func (s *enlarge) Window(in, y int) (lo, hi int) { return s.y().window(y) }

func (s *enlarge) Memory() (worker, shared int64) {
	return 4 * (int64(s.in.Stride()) + int64(s.y().most)*int64(s.out.Stride())), 0
}

func (s *enlarge) Needs(in int, r image.Rectangle) image.Rectangle {
	x0, x1 := s.x().reach(r.Min.X, r.Max.X)
	y0, y1 := s.y().reach(r.Min.Y, r.Max.Y)
	return image.Rect(x0, y0, x1, y1)
}

func (s *enlarge) Part(r image.Rectangle) (Step, int) {
	p := *s
	lo, hi := s.x().reach(r.Min.X, r.Max.X)
	p.in.W, p.out.W = hi-lo, r.Dx()
	p.x = sync.OnceValue(func() *axis { return s.x().part(r.Min.X, r.Max.X, lo) })
	return &p, r.Min.X
}

func (s *enlarge) Worker() Worker {
	w := &enlargeWorker{enlarge: s, x: s.x(), y: s.y()}
	w.src = make([]float32, s.in.Stride()+pad)
	w.keys = make([]int, w.y.most)
	w.slots = make([][]float32, w.y.most)
	w.rows = make([][]float32, w.y.most)
	for i := range w.slots {
		w.slots[i] = make([]float32, s.out.Stride()+pad)
	}
	for _, t := range s.tones {
		w.decode = append(w.decode, t.Decode())
	}
	return w
}

// enlargeWorker keeps the source rows last resampled across, by row number.
type enlargeWorker struct {
	*enlarge
	x, y   *axis
	decode [][]float32
	src    []float32
	keys   []int // row number + 1 of each slot
	slots  [][]float32
	rows   [][]float32 // the slots that the current row needs, in order
	block  [enlargeBlock]float32
}

// enlargeBlock is how many samples go through the vertical sum at a time, so
// that the sums stay in the nearest cache. It is a multiple of 3.
const enlargeBlock = 3072

func (k *enlargeWorker) Row(dst []uint16, y int, in []Rows) {
	lo, hi := int(k.y.start[y]), k.y.end(y)
	for r := lo; r < hi; r++ {
		slot := r % len(k.slots)
		if k.keys[slot] != r+1 {
			k.keys[slot] = r + 1
			k.load(in[0].Row(r))
			across(k.slots[slot], k.src, k.x, k.in.C)
		}
		k.rows[r-lo] = k.slots[slot]
	}
	w := k.y.taps(y)
	dst = dst[:k.out.Stride()]
	for from := 0; from < len(dst); from += enlargeBlock {
		part := dst[from:min(from+enlargeBlock, len(dst))]
		sum := k.block[:len(part)]
		if len(w) == 1 && w[0] == 1 {
			sum = k.rows[0][from : from+len(part)]
		} else {
			sumRows(sum, k.rows[:len(w)], from, w)
		}
		if k.tones == nil {
			roundRow(part, sum)
		} else {
			k.encode(part, sum)
		}
	}
}

// load turns a source row into float32 on the scale that is resampled.
func (k *enlargeWorker) load(row []uint16) {
	row = row[:k.in.Stride()]
	switch len(k.decode) {
	case 0:
		floatRow(k.src, row)
	case 1:
		d := k.decode[0][:65536]
		for i, v := range row {
			k.src[i] = d[v]
		}
	case 3:
		r, g, b := k.decode[0][:65536], k.decode[1][:65536], k.decode[2][:65536]
		for i := 0; i+2 < len(row); i += 3 {
			k.src[i], k.src[i+1], k.src[i+2] = r[row[i]], g[row[i+1]], b[row[i+2]]
		}
	}
}

// encode is the way back from linear light; part starts at a whole pixel.
func (k *enlargeWorker) encode(part []uint16, sum []float32) {
	if len(k.tones) == 1 {
		t := k.tones[0]
		for i, v := range sum {
			part[i] = t.Encode(v)
		}
		return
	}
	r, g, b := k.tones[0], k.tones[1], k.tones[2]
	for i := 0; i+2 < len(part); i += 3 {
		part[i], part[i+1], part[i+2] = r.Encode(sum[i]), g.Encode(sum[i+1]), b.Encode(sum[i+2])
	}
}
