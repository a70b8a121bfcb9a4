// Package ops holds the picture operations: one operation a file, each with
// its parameters, formula and source.
//
// What it promises: an operation under one (name, version) gives the same
// samples for the same arguments and inputs on every machine, for good. The
// rows of a result are pure functions of the input rows; how the executor cuts
// the work, in what order and on how many workers, changes nothing.
//
// What it refuses: arguments outside an operation's stated range, and picture
// kinds that an operation has no meaning for. It opens no file, starts no
// goroutine, reads no clock and no environment.
package ops

import "platemark/ops/colour"

// Pic says what kind of picture flows between steps: W x H pixels of C
// interleaved channels (1 grey or mask, 3 RGB), 16 bits each, in the encoding
// of Profile. Profile is nil for masks.
type Pic struct {
	W, H, C int
	Profile *colour.Profile
}

// Stride is the number of samples in one row.
func (p Pic) Stride() int { return p.W * p.C }

// Rows gives the rows of one picture. Row returns row y (0 <= y < H), W*C
// samples long. The slice is read-only and stays valid while the output row
// being filled needs it, that is for every y inside the step's Window.
type Rows interface {
	Row(y int) []uint16
}

// Step is an operation bound to its arguments and to the kinds of its inputs.
// It is immutable and shared by all workers.
type Step interface {
	// Pic is the kind of the result.
	Pic() Pic
	// Window says which rows lo <= r < hi of input number in are needed for
	// output row y. Both ends never fall as y grows, except that hi may.
	Window(in, y int) (lo, hi int)
	// Worker returns private state for one worker: buffers and rows kept
	// between calls as a cache. A cache is keyed by row number, so that calls
	// in any order of y give the same samples.
	Worker() Worker
}

// Worker computes rows for one goroutine.
type Worker interface {
	// Row fills dst (Pic().Stride() samples) with output row y. It asks each
	// input only for rows inside Window(in, y).
	Row(dst []uint16, y int, in []Rows)
}

// Whole may be implemented by a Step whose Window spans the whole input (a
// quarter turn, say): the executor then gives it an input it can read in any
// order at low cost.
type Whole interface{ NeedsWhole() bool }
