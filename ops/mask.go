package ops

import (
	"fmt"
	"image"
	"slices"

	"platemark/ops/exact"
)

// MaskV1 draws a mask: one plane of shares on the frame, 65535 for all of it.
//
// The lines act from the first to the last on a plane that starts empty. With
// a the plane so far and b the line's shape, 0 to 1:
//
//	add     a + b(1-a), the same as 1 - (1-a)(1-b)
//	less    a(1-b)
//	within  a b
//	invert  1 - a
//	soften  a blurred by a Gaussian (see softener)
//
// A shape's value at a pixel is taken at the pixel's centre, in float64 and
// rounded once to float32; the plane is float32; the result is
// floor(65535 a + 1/2).
//
// Every shape but a gradient fades at its outline. h is the shape's
// half-width, S the line's softness, d the distance of the pixel inside the
// outline (below 0 outside). The fading zone is f = max(S h, 1 px) wide and
// centred on d = S h / 2, so that a soft shape fades inside its outline and a
// hard one over one pixel across it. With t = (d - S h/2)/f + 1/2 held within
// 0 and 1, the value is 3t² - 2t³.
//
//	ellipse    measured by rho = sqrt((dx/a)² + (dy/b)²), a and b the half
//	           axes: d = 1 - rho, h = 1, and one pixel is the length g of the
//	           gradient of rho: g = sqrt((dx/a²)² + (dy/b²)²)/rho (1/min(a, b)
//	           at the centre)
//	rectangle  d to the nearest side, h half the shorter side
//	polygon    d to the nearest edge; inside where a ray crosses an odd number
//	           of edges, so that a loop within a loop is a hole; h half the
//	           shorter side of the polygon's bounding box
//	stroke     d = h - distance to the line through its points, ends and bends
//	           round; h half the width
//	gradient   no outline: 1 up to the first place, 0 from the second on,
//	           falling evenly between, the same straight across
//	file       the next input picture, scaled to the frame by the sampler
//	mask       the next input picture, a plane of the frame's size
//
// Source: the composition is that of independent coverages; 3t² - 2t³ is the
// cubic Hermite polynomial with flat ends; the rest is our own definition.
var MaskV1 = operation(Operation{
	Name:    "mask",
	Version: 1,
	Doc:     "Draws a mask of one channel on the frame. Lines act in order on an empty plane: add a+b(1-a), less a(1-b), within ab, invert 1-a, soften a Gaussian blur. Edges fade by 3t²-2t³ over the soft share of the half-width inside the outline, at least over one pixel.",
	Takes:   -1,
	Nanos:   2,
	Params: Params{
		{Name: "width", Unit: "px", Min: "1", Max: "1000000", Doc: "the frame's width"},
		{Name: "height", Unit: "px", Min: "1", Max: "1000000", Doc: "the frame's height"},
		{Name: "shape-1", Unit: "shape", Doc: "the first line; shape-2, shape-3, … follow; see MaskShape"},
	},
	Reduce: reduceMask,
}, newMask)

type maskParams struct {
	Width, Height int
	Shape         []string
}

// reduceMask draws the mask on the reduced frame.
func reduceMask(ps Params, a Args, r Reduction) (Args, bool, error) {
	var v maskParams
	if err := ps.Bind(a, &v); err != nil {
		return nil, false, err
	}
	w, h := r.Frame.frame(v.Width, v.Height)
	by := RatioOf(Pic{W: v.Width, H: v.Height}, Pic{W: w, H: h})
	out := Args{{"width", fmt.Sprint(w)}, {"height", fmt.Sprint(h)}}
	for i, text := range v.Shape {
		s, err := ParseShape(text)
		if err != nil {
			return nil, false, err
		}
		out = append(out, Arg{fmt.Sprintf("shape-%d", i+1), s.times(by).String()})
	}
	return out, true, nil
}

// drawer is a shape whose rows are functions of the row number alone.
type drawer interface {
	// row fills b[lo:hi] with the values of row y from column left on, 0 to 1;
	// outside lo..hi the shape is 0 in b.
	row(b []float32, left, y int, k *drawScratch) (lo, hi int)
}

// drawScratch lends drawers memory.
type drawScratch struct {
	live, near []int32
	dist, cut  []float64
}

// maskLine is one line ready to act. Exactly one of draw, file and plane says
// where the values come from; none for invert.
type maskLine struct {
	op    string // "add", "less", "within", "invert"
	draw  drawer
	file  *sampler
	plane bool
	input int // for file and plane
}

// maskStage is a run of lines and the softening after it (nil after the last).
type maskStage struct {
	lines  []maskLine
	soft   *softener
	spread int // rows and columns by which this and later softening reaches
	left   int // the first column of the frame in the stage's plane
	w      int // and how many there are
}

type maskStep struct {
	pic    Pic
	stages []maskStage
	inputs []maskInput
}

// maskInput is a picture taken: scaled by file, or a plane as it is.
type maskInput struct {
	file   *sampler
	spread int // that of the stage which takes it
}

func newMask(a maskParams, in []Pic, _ Env) (Step, error) {
	s := &maskStep{pic: Pic{W: a.Width, H: a.Height, C: 1}, stages: make([]maskStage, 1)}
	input := 0
	for i, t := range a.Shape {
		if err := s.addLine(t, &input, in); err != nil {
			return nil, fmt.Errorf("mask: shape-%d: %w", i+1, err)
		}
	}
	if input != len(in) {
		return nil, fmt.Errorf("mask: its lines take %d pictures, got %d", input, len(in))
	}
	s.inputs = make([]maskInput, len(in))
	spread := 0
	for i := len(s.stages) - 1; i >= 0; i-- {
		st := &s.stages[i]
		if st.soft != nil {
			spread += st.soft.radius
		}
		st.spread, st.w = spread, s.pic.W
		for _, l := range st.lines {
			if l.plane || l.file != nil {
				s.inputs[l.input] = maskInput{l.file, spread}
			}
		}
	}
	return s, nil
}

// addLine appends the line written as text; input counts the pictures taken.
func (s *maskStep) addLine(text string, input *int, in []Pic) error {
	sh, err := ParseShape(text)
	if err != nil {
		return err
	}
	st := &s.stages[len(s.stages)-1]
	l := maskLine{op: sh.Op}
	switch sh.Shape {
	case "soften":
		st.soft = newSoftener(sh.W, s.pic.W, s.pic.H)
		s.stages = append(s.stages, maskStage{})
		return nil
	case "invert":
		l.op = "invert"
	case "file", "mask":
		if *input >= len(in) {
			return fmt.Errorf("the line %q takes a picture, but there is none left", text)
		}
		p := in[*input]
		if p.C != 1 {
			return fmt.Errorf("the picture for the line %q has %d channels, expected 1 (grey)", text, p.C)
		}
		l.input = *input
		*input++
		if sh.Shape == "file" {
			if l.file, err = newSampler("", p, s.pic); err != nil {
				return err
			}
		} else {
			if p.W != s.pic.W || p.H != s.pic.H {
				return fmt.Errorf("the mask taken is %d x %d px, the frame %d x %d px", p.W, p.H, s.pic.W, s.pic.H)
			}
			l.plane = true
		}
	case "ellipse":
		l.draw = newEllipse(sh)
	case "rectangle":
		l.draw = newRectangle(sh)
	case "gradient":
		l.draw = newGradient(sh)
	case "polygon", "stroke":
		l.draw = newOutline(sh)
	}
	st.lines = append(st.lines, l)
	return nil
}

func (s *maskStep) Pic() Pic { return s.pic }

// Window is what the sampler needs of a file, the row itself of a mask, both
// widened by later softening.
func (s *maskStep) Window(in, y int) (lo, hi int) {
	l := s.inputs[in]
	y0, y1 := max(0, y-l.spread), min(s.pic.H-1, y+l.spread)
	if l.file == nil {
		return y0, y1 + 1
	}
	lo, _ = l.file.window(y0)
	_, hi = l.file.window(y1)
	return lo, hi
}

// around is the part r widened by what softening reaches, within the frame.
func (s *maskStep) around(r image.Rectangle, spread int) image.Rectangle {
	return r.Inset(-spread).Intersect(image.Rect(0, 0, s.pic.W, s.pic.H))
}

func (s *maskStep) Needs(in int, r image.Rectangle) image.Rectangle {
	l := s.inputs[in]
	r = s.around(r, l.spread)
	if l.file == nil {
		return r
	}
	return l.file.needs(r)
}

func (s *maskStep) Part(r image.Rectangle) (Step, int) {
	p := &maskStep{pic: s.pic.wide(r.Dx()), stages: slices.Clone(s.stages), inputs: s.inputs}
	for i := range p.stages {
		st := &p.stages[i]
		at := s.around(r, st.spread)
		st.left, st.w = at.Min.X, at.Dx()
		st.lines = slices.Clone(st.lines)
		for j, l := range st.lines {
			st.lines[j].file = l.file.part(at)
		}
		if st.soft != nil {
			to := s.around(r, st.spread-st.soft.radius)
			st.soft = st.soft.part(at.Min.X-to.Min.X, to.Dx())
		}
	}
	return p, r.Min.X
}

func (s *maskStep) Memory() (worker, shared int64) {
	rows := 1
	for i := range s.stages {
		st := &s.stages[i]
		rows++
		for _, l := range st.lines {
			worker += l.file.memory()
		}
		if st.soft != nil {
			rows += min(2*st.soft.radius+1, s.pic.H) + 1
		}
	}
	return worker + 4*int64(rows)*int64(s.pic.W), 0
}

func (s *maskStep) Worker() Worker {
	w := &maskWorker{s: s, b: make([]float32, s.stages[0].w)} // the first is the widest
	for _, st := range s.stages {
		k := stageWorker{row: shapeRow{v: make([]float32, st.w)}}
		for _, l := range st.lines {
			k.files = append(k.files, l.file.worker())
		}
		if st.soft != nil {
			k.soft = st.soft.worker()
		}
		w.stages = append(w.stages, k)
	}
	return w
}

// shapeRow is a row of the plane, exactly 0 outside lo..hi.
type shapeRow struct {
	v      []float32
	lo, hi int
}

func (r *shapeRow) clear() {
	clear(r.v[r.lo:r.hi])
	r.lo, r.hi = 0, 0
}

type stageWorker struct {
	row   shapeRow
	files []*samplerWorker // by line, nil for other lines
	soft  *softenWorker
}

type maskWorker struct {
	s       *maskStep
	stages  []stageWorker
	b       []float32 // a shape's row
	scratch drawScratch
}

func (w *maskWorker) Row(dst []uint16, y int, in []Rows) {
	r := w.plane(len(w.stages)-1, y, in)
	clear(dst[:r.lo])
	clear(dst[r.hi:])
	v, d := r.v[r.lo:r.hi], dst[r.lo:r.hi]
	for i, a := range v {
		d[i] = exact.RoundU16(float32(a * 65535))
	}
}

// plane makes row y of the plane after the lines of stage i, before its
// softening. It is valid until the stage's next row.
func (w *maskWorker) plane(i, y int, in []Rows) *shapeRow {
	k, st := &w.stages[i], &w.s.stages[i]
	k.row.clear()
	if i > 0 {
		w.stages[i-1].soft.row(&k.row, y, func(r int) *shapeRow { return w.plane(i-1, r, in) })
	}
	for j := range st.lines {
		l := &st.lines[j]
		b, lo, hi := w.b[:st.w], 0, st.w
		switch {
		case l.op == "invert":
			k.row.invert()
			continue
		case l.draw != nil:
			lo, hi = l.draw.row(b, st.left, y, &w.scratch)
		case l.plane:
			for x, v := range in[l.input].Row(y)[:hi] {
				b[x] = float32(v) / 65535
			}
		default:
			f, kind := k.files[j].row(y, in[l.input:])
			switch kind {
			case maskZero:
				hi = 0
			case maskOne:
				fillOnes(b)
			default:
				b = f
			}
		}
		k.row.compose(l.op, b, lo, hi)
	}
	return &k.row
}

func fillOnes(b []float32) {
	for i := range b {
		b[i] = 1
	}
}

func (r *shapeRow) invert() {
	for i, v := range r.v {
		r.v[i] = 1 - v
	}
	r.lo, r.hi = 0, len(r.v)
}

// compose joins b, which is 0 outside lo..hi, to the row. Where b is 0 or the
// row is, the formulas give exactly what skipping gives.
func (r *shapeRow) compose(op string, b []float32, lo, hi int) {
	if op == "add" {
		if lo >= hi {
			return
		}
		if r.lo >= r.hi {
			copy(r.v[lo:hi], b[lo:hi])
			r.lo, r.hi = lo, hi
			return
		}
		v, b := r.v[lo:hi], b[lo:hi]
		for i, a := range v {
			v[i] = a + float32(b[i]*(1-a))
		}
		r.lo, r.hi = min(r.lo, lo), max(r.hi, hi)
		return
	}
	from, to := max(r.lo, lo), min(r.hi, hi)
	if from >= to { // they don't meet
		if op == "within" {
			r.clear()
		}
		return
	}
	v, b := r.v[from:to], b[from:to]
	if op == "less" {
		for i, a := range v {
			v[i] = a * (1 - b[i])
		}
		return
	}
	clear(r.v[r.lo:from])
	clear(r.v[to:r.hi])
	for i, a := range v {
		v[i] = a * b[i]
	}
	r.lo, r.hi = from, to
}
