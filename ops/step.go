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

import (
	"image"

	"platemark/ops/colour"
)

// Pic says what kind of picture flows between steps: W x H pixels of C
// interleaved channels (1 grey or mask, 3 RGB), 16 bits each, in the encoding
// of Profile. Profile is nil for masks.
type Pic struct {
	W, H, C int
	Profile *colour.Profile
}

// Stride is the number of samples in one row.
func (p Pic) Stride() int { return p.W * p.C }

// Bytes is the room that the whole picture takes.
func (p Pic) Bytes() int64 { return 2 * int64(p.Stride()) * int64(p.H) }

// Rows gives the rows of one picture. Row returns row y (0 <= y < H), W*C
// samples long. The slice is read-only and stays valid until the step has asked
// this input for HeldRows other rows.
type Rows interface {
	Row(y int) []uint16
}

// HeldRows is how many rows of one input a step may hold at a time.
const HeldRows = 5

// Parts may be implemented by Rows that give some samples of a row (from <= i <
// till) at less cost than all of it. The slice is valid until the next call.
type Parts interface {
	Part(y, from, till int) []uint16
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
// quarter turn, say): the executor keeps that input as a whole and gives it as
// Parts, in any order at low cost.
type Whole interface{ NeedsWhole() bool }

// Sized may be implemented by a Step that takes much memory: worker is what each
// worker holds, shared what all of them hold together, in bytes, about.
type Sized interface {
	Memory() (worker, shared int64)
}

// Shared may be implemented by a Step whose workers share what is costly to work
// out. ForRun is the step for one run, with nothing worked out yet.
type Shared interface {
	Step
	ForRun() Step
}

// Partial may be implemented by a Step that can compute some columns of its rows
// at less cost than all of them.
type Partial interface {
	Step
	// Needs is the part of input number in that the part r of the result, which
	// isn't empty, is computed from.
	Needs(in int, r image.Rectangle) image.Rectangle
	// Part is the step for the part r of the result. Rows keep their numbers. Its
	// inputs have the columns of Needs alone, and its own rows begin at column
	// left of the whole; what lies outside r may be anything.
	Part(r image.Rectangle) (s Step, left int)
}

// sameColumns are the rows that a step asks for, and the columns of r.
func sameColumns(s Step, in int, r image.Rectangle) image.Rectangle {
	lo, hi := RowsNeeded(s, in, r.Min.Y, r.Max.Y)
	return image.Rect(r.Min.X, lo, r.Max.X, hi)
}

// RowsNeeded are the rows of an input that the rows from <= y < till of a step's
// result need.
func RowsNeeded(s Step, in, from, till int) (lo, hi int) {
	lo, hi = s.Window(in, from)
	for y := from + 1; y < till; y++ {
		_, h := s.Window(in, y)
		hi = max(hi, h)
	}
	return lo, hi
}

func (p Pic) wide(w int) Pic { p.W = w; return p }
