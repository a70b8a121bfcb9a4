package ops

import "fmt"

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
var TurnV1 = Operation{
	Name:    "turn",
	Version: 1,
	Doc:     "Turns or mirrors the picture as TIFF 6.0 tag 274 says: 2 mirror, 3 half turn, 4 upside-down mirror, 5 transpose, 6 quarter turn right, 7 transverse, 8 quarter turn left. Samples stay as they are.",
	Params: []Param{
		{Name: "orientation", Unit: "count", Min: "2", Max: "8", Doc: "how the stored picture has to be turned"},
	},
	New: newTurn,
}

// TurnOrientation gives the orientation of the recipe's words: "left" (a
// quarter turn against the clock) 8, "right" 6, "over" (half a turn) 3,
// "mirror" (left and right swapped) 2. It is 0 for any other word.
func TurnOrientation(way string) int {
	switch way {
	case "left":
		return 8
	case "right":
		return 6
	case "over":
		return 3
	case "mirror":
		return 2
	}
	return 0
}

// turnRows is how many rows a quarter turn makes at a time by default: enough
// that each cache line of a source row is used whole.
const turnRows = 32

// TurnStep is the step of TurnV1.
type TurnStep struct {
	in, pic Pic
	o       int
	// BlockBytes is what a worker may hold of rows that a quarter turn has
	// made ahead; every source row is read once a block. 0 means 32 rows. Set
	// it before the first Worker; it changes no sample.
	BlockBytes int
}

func newTurn(a Args, in []Pic, _ Env) (Step, error) {
	if len(in) != 1 {
		return nil, fmt.Errorf("turn takes 1 picture, got %d", len(in))
	}
	o, err := a.Int("orientation")
	if err != nil {
		return nil, fmt.Errorf("turn: %w", err)
	}
	if o < 2 || o > 8 {
		return nil, fmt.Errorf("turn: argument orientation is %d, expected 2 to 8", o)
	}
	if in[0].W < 1 || in[0].H < 1 || in[0].C < 1 {
		return nil, fmt.Errorf("turn: the picture has no pixels")
	}
	s := &TurnStep{in: in[0], pic: in[0], o: o}
	if o >= 5 {
		s.pic.W, s.pic.H = in[0].H, in[0].W
	}
	return s, nil
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
	w := &turnWorker{s: s, have: -1}
	if s.o >= 5 {
		w.rows = turnRows
		if s.BlockBytes > 0 {
			w.rows = max(1, s.BlockBytes/(2*s.pic.Stride()))
		}
		w.rows = min(w.rows, s.pic.H)
	}
	return w
}

type turnWorker struct {
	s     *TurnStep
	rows  int // in a block
	have  int // number of the block held, -1 for none
	block []uint16
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
		if b := y / w.rows; b != w.have {
			w.fill(b, in[0])
		}
		n := s.pic.Stride()
		at := (y % w.rows) * n
		copy(dst, w.block[at:at+n])
	}
}

// fill makes the rows b*rows to (b+1)*rows of a quarter turn.
func (w *turnWorker) fill(b int, in Rows) {
	s, c, stride := w.s, w.s.pic.C, w.s.pic.Stride()
	if w.block == nil {
		w.block = make([]uint16, w.rows*stride)
	}
	y0 := b * w.rows
	n := min(w.rows, s.pic.H-y0)
	for r := range s.in.H {
		x := r
		if s.o == 6 || s.o == 7 {
			x = s.in.H - 1 - r
		}
		// Row y0+k of the result comes from column y0+k, or from the
		// opposite end.
		col, step := y0*c, c
		if s.o >= 7 {
			col, step = (s.in.W-1-y0)*c, -c
		}
		src := in.Row(r)
		to := x * c
		if c == 3 {
			for range n {
				p, q := src[col:col+3], w.block[to:to+3]
				q[0], q[1], q[2] = p[0], p[1], p[2]
				col += step
				to += stride
			}
			continue
		}
		for range n {
			copy(w.block[to:to+c], src[col:col+c])
			col += step
			to += stride
		}
	}
	w.have = b
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
