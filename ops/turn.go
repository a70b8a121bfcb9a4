package ops

import (
	"image"
)

// TurnV1 turns or mirrors a picture by whole quarter turns.
//
// The argument is a value of TIFF tag 274 (TIFF 6.0, section 8, Orientation):
// how a picture stored that way has to be turned to stand upright. With r and
// c the stored row and column, H and W the stored height and width, the pixel
// goes to column X, row Y:
//
//	2: X = W-1-c, Y = r        5: X = r,     Y = c
//	3: X = W-1-c, Y = H-1-r    6: X = H-1-r, Y = c
//	4: X = c,     Y = H-1-r    7: X = H-1-r, Y = W-1-c
//	                           8: X = r,     Y = W-1-c
//
// No sample changes.
var TurnV1 = operation(Operation{
	Name:    "turn",
	Version: 1,
	Doc:     "Turns or mirrors the picture as TIFF 6.0 tag 274 says: 2 mirror, 3 half turn, 4 upside-down mirror, 5 transpose, 6 quarter turn right, 7 transverse, 8 quarter turn left. Samples stay as they are.",
	Takes:   1,
	Nanos:   4,
	Mends:   true,
	Params: Params{
		{Name: "orientation", Unit: "count", Min: "2", Max: "8", Doc: "how the stored picture has to be turned"},
	},
}, newTurn)

type turnParams struct{ Orientation int }

// TurnOrientation gives the orientation of the recipe's words: "left" (a
// quarter turn against the clock) 8, "right" 6, "over" (half a turn) 3,
// "mirror" (left and right swapped) 2. It is 0 for any other word.
func TurnOrientation(way string) int {
	return map[string]int{"left": 8, "right": 6, "over": 3, "mirror": 2}[way]
}

// turnRows is how many rows a quarter turn makes at a time: so many pixels of
// each row of its input are read together.
const turnRows = 128

// TurnStep is the step of TurnV1.
type TurnStep struct {
	in, pic Pic
	o       int
	part    image.Rectangle // of the whole result that this step makes
}

func newTurn(a turnParams, in []Pic, _ Env) (Step, error) {
	o := a.Orientation
	if err := somePixels("turn", in[0]); err != nil {
		return nil, err
	}
	s := &TurnStep{in: in[0], pic: in[0], o: o}
	if o >= 5 {
		s.pic.W, s.pic.H = in[0].H, in[0].W
	}
	s.part = image.Rect(0, 0, s.pic.W, s.pic.H)
	return s, nil
}

// from is the place in the input of the result's pixel (x, y).
func (s *TurnStep) from(x, y int) (column, row int) {
	w, h := s.in.W-1, s.in.H-1
	switch s.o {
	case 2:
		return w - x, y
	case 3:
		return w - x, h - y
	case 4:
		return x, h - y
	case 5:
		return y, x
	case 6:
		return y, h - x
	case 7:
		return w - y, h - x
	}
	return w - y, x
}

func (s *TurnStep) Needs(_ int, r image.Rectangle) image.Rectangle {
	x0, y0 := s.from(r.Min.X, r.Min.Y)
	x1, y1 := s.from(r.Max.X-1, r.Max.Y-1)
	return image.Rect(min(x0, x1), min(y0, y1), max(x0, x1)+1, max(y0, y1)+1)
}

func (s *TurnStep) Part(r image.Rectangle) (Step, int) {
	return &TurnStep{in: s.in, pic: s.pic.wide(r.Dx()), o: s.o, part: r}, r.Min.X
}

// Pic is the kind of the turned picture.
func (s *TurnStep) Pic() Pic { return s.pic }

// NeedsWhole is true for all but the mirror.
func (s *TurnStep) NeedsWhole() bool { return s.o != 2 }

// Window is one row for the mirror, else the whole input: rows that come in
// the opposite order can't have a lower end that never falls.
func (s *TurnStep) Window(_, y int) (lo, hi int) {
	if s.o == 2 {
		return y, y + 1
	}
	return 0, s.in.H
}

// Worker returns private state for one worker.
func (s *TurnStep) Worker() Worker {
	return &turnWorker{s: s}
}

func (s *TurnStep) Memory() (worker, shared int64) {
	if s.o < 5 {
		return 0, 0
	}
	return 2 * int64(min(turnRows, s.pic.H)) * int64(s.pic.Stride()), 0
}

type turnWorker struct {
	s      *TurnStep
	y0, y1 int // the rows held
	block  []uint16
}

func (w *turnWorker) Row(dst []uint16, y int, in []Rows) {
	s := w.s
	switch s.o {
	case 2:
		mirrorRow(dst, in[0].Row(y), s.pic.C)
	case 3:
		mirrorRow(dst, in[0].Row(s.in.H-1-y), s.pic.C)
	case 4:
		copy(dst, in[0].Row(s.in.H - 1 - y)[:s.pic.Stride()])
	default:
		if y < w.y0 || y >= w.y1 {
			w.fill(y, in[0])
		}
		n := s.pic.Stride()
		at := (y - w.y0) * n
		copy(dst, w.block[at:at+n])
	}
}

// fill makes the rows from y0 on of a quarter turn, as many as are made at a
// time.
func (w *turnWorker) fill(y0 int, in Rows) {
	s, c, stride := w.s, w.s.pic.C, w.s.pic.Stride()
	w.y0, w.y1 = y0, min(y0+turnRows, s.part.Max.Y)
	if w.block == nil {
		w.block = make([]uint16, min(turnRows, s.part.Max.Y)*stride)
	}
	n := w.y1 - y0
	held := s.Needs(0, s.part)
	for x := s.part.Min.X; x < s.part.Max.X; x++ {
		// Down a column of the result, the input's pixels go right or left.
		first, r := s.from(x, y0)
		last, _ := s.from(x, w.y1-1)
		step, at := c, 0
		if last < first {
			step, at = -c, (n-1)*c
		}
		lo := (min(first, last) - held.Min.X) * c
		var src []uint16
		if p, ok := in.(Parts); ok {
			src = p.Part(r, lo, lo+n*c)
		} else {
			src = in.Row(r)[lo : lo+n*c]
		}
		to := (x - s.part.Min.X) * c
		if c == 3 {
			for range n {
				p, q := src[at:at+3], w.block[to:to+3]
				q[0], q[1], q[2] = p[0], p[1], p[2]
				at += step
				to += stride
			}
			continue
		}
		for range n {
			copy(w.block[to:to+c], src[at:at+c])
			at += step
			to += stride
		}
	}
}

// mirrorRow copies the pixels of src to dst in the opposite order.
func mirrorRow(dst, src []uint16, c int) {
	n := len(dst)
	src = src[:n]
	if c == 3 {
		for i, j := 0, n-3; i < n; i, j = i+3, j-3 {
			p, q := src[j:j+3], dst[i:i+3]
			q[0], q[1], q[2] = p[0], p[1], p[2]
		}
		return
	}
	for i, j := 0, n-c; i < n; i, j = i+c, j-c {
		copy(dst[i:i+c], src[j:j+c])
	}
}
