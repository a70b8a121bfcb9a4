// Package engine computes graphs of picture steps: in bands of rows, on as many
// workers as there are, without ever holding more of a picture than it must.
//
// A layout says first how: which pictures in between are kept whole (in memory,
// or in a temporary file), in what bands and on how many workers each is made,
// and how much memory all takes at most. How the work is cut changes no sample
// and no digest.
//
// It knows no recipe and no file name.
package engine

import (
	"platemark/ops"
	"platemark/ops/raster"
)

// A Graph holds nodes in an order in which every input comes before its users.
type Graph struct {
	Nodes []Node
	Out   int // the node that is wanted
}

// Node is one picture: a source, or what a step makes of other nodes.
type Node struct {
	Pic  ops.Pic
	Step ops.Step // nil for a source
	In   []int
	// Lacks is set while the step is without its measured argument; see Measure.
	Lacks *ops.Lack
	// Store holds a source's picture; a layout can do without.
	Store *raster.Store
	// Digest asks for the fingerprints of the node's rows.
	Digest bool
	// Seen, if set beside Digest, is given each row once, in any order and from
	// several goroutines. The slice is valid until it returns.
	Seen func(y int, row []uint16)
}

// A Sink takes the finished rows of each band; one SinkWorker serves one worker.
// Bands are handed to Emit in order, from one goroutine.
type Sink interface {
	// Worker is told what a finished band takes, in bytes, about.
	Worker(band int) SinkWorker
	// Emit gets what a SinkWorker made of a band, in band order.
	Emit(band []byte) error
	// Align is the number of rows that a band's height must be a multiple of.
	Align() int
	// RowBytes is about what a finished row takes in Emit.
	RowBytes() int
}

// A SinkWorker takes the rows of one band after another.
type SinkWorker interface {
	// Row takes row y; the slice is valid until Align more rows came.
	Row(y int, samples []uint16) error
	// Finish returns the band's bytes, appended to dst.
	Finish(dst []byte) ([]byte, error)
}

// Rows is a Sink that hands each row to a function, which may be called for
// different rows at the same time. Nothing is emitted.
type Rows func(y int, samples []uint16) error

func (f Rows) Worker(int) SinkWorker { return f }
func (f Rows) Emit([]byte) error     { return nil }
func (f Rows) Align() int            { return 1 }
func (f Rows) RowBytes() int         { return 0 }

func (f Rows) Row(y int, samples []uint16) error { return f(y, samples) }

func (f Rows) Finish(dst []byte) ([]byte, error) { return dst, nil }

// storeSink keeps rows in a store.
type storeSink struct{ st *raster.Store }

func (s storeSink) Worker(int) SinkWorker { return &storeRows{st: s.st} }
func (s storeSink) Emit([]byte) error     { return nil }
func (s storeSink) Align() int            { return 1 }
func (s storeSink) RowBytes() int         { return 0 }

type storeRows struct {
	st      *raster.Store
	scratch []byte
}

func (s *storeRows) Row(y int, samples []uint16) error {
	return s.st.WriteRow(y, samples, &s.scratch)
}

func (s *storeRows) Finish(dst []byte) ([]byte, error) { return dst, nil }

// Keep is a Sink that fills a store.
func Keep(st *raster.Store) Sink { return storeSink{st} }
