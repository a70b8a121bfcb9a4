package plan

import (
	"time"

	"platemark/interp/engine"
	"platemark/ops"
	"platemark/ops/raster"
)

// MemoryLimit is the largest picture kept in memory between prepare and the
// prints, in bytes: 89 megapixels of RGB. A larger one goes to a temporary file
// and is read by rows, which takes some hundredths more of processor time. Tests
// lower it.
var MemoryLimit int64 = 512 << 20

// encodeNanos is what writing a pixel of a print file with its digest takes of
// one processor, in nanoseconds, measured on a common server core.
const encodeNanos = 6

// hashNanos is the same for one picture digest.
const hashNanos = 1

// tableNanos is what converting a pixel takes that goes through a profile's tables,
// such as a printer's: many times what curves take.
const tableNanos = 115

// nanos is what a pixel of a step's result takes.
func (p *Print) nanos(n Node) float64 {
	if n.Op == "convert" && (n.Pic.Profile.HasTables() || p.Nodes[n.In[0]].Pic.Profile.HasTables()) {
		return tableNanos
	}
	return n.Operation().Nanos
}

// Estimate is what a build is expected to need.
type Estimate struct {
	Memory  int64 // bytes, at most
	Workers int   // at work where the print is made
	Kept    []Kept
	Time    time.Duration
	Largest int64 // bytes of the print file, at most
	Likely  int64 // bytes of the print file, as most pictures have them
	Exact   bool  // Largest is the very size
}

// Kept is a picture in between that is kept whole while it is read.
type Kept struct {
	Line   int   `json:"line"` // of the recipe
	Bytes  int64 `json:"bytes"`
	InFile bool  `json:"in-file"` // in a temporary file, else in memory
}

// programMost is what the program takes beside pictures: its code and tables,
// decoders and encoders at work.
const programMost = 64 << 20

// memory works out how the print is made.
func (e *Estimate) memory(p *Print, workers int) {
	out := p.Nodes[p.Out].Pic
	o := engine.Options{Workers: workers, MemoryLimit: MemoryLimit, RowBytes: p.File.RowBytes(out), Align: p.File.Align(out)}
	kept := map[raster.Sum]bool{}
	lay := func(node int, o engine.Options) *engine.Layout {
		keep := func(key raster.Sum) (*raster.Store, bool) { return nil, kept[key] }
		g, of, _ := p.Graph(node, keep, func(Node) (*raster.Store, error) { return nil, nil })
		l := engine.Lay(g, o)
		for _, st := range l.Stages[:len(l.Stages)-1] {
			n := p.Nodes[of[st.Node]]
			e.Kept = append(e.Kept, Kept{n.Line, n.Pic.Bytes(), st.InFile})
		}
		return l
	}
	var held int64
	if len(p.Shared) > 0 {
		// What is shared is made first, and the print from it. Another print may
		// want the inputs again, so they are held meanwhile.
		for _, in := range p.Inputs {
			if in.Picture != nil {
				i := in.Picture.Info()
				pic := ops.Pic{W: i.W, H: i.H, C: i.Channels}
				if b := pic.Bytes(); b <= o.MemoryLimit {
					held += b
				}
			}
		}
		var before int64 // of what is kept already
		for _, i := range p.Shared {
			n := p.Nodes[i]
			memory := lay(i, engine.Options{Workers: workers, MemoryLimit: o.MemoryLimit}).Memory + before
			k := Kept{n.Line, n.Pic.Bytes(), n.Pic.Bytes() > o.MemoryLimit}
			held += before
			if before = 0; !k.InFile {
				before = k.Bytes
			}
			e.Memory = max(e.Memory, memory+before)
			e.Kept = append(e.Kept, k)
			kept[n.Key] = true
		}
	}
	l := lay(p.Out, o)
	e.Memory = max(e.Memory, l.Memory+held) + programMost
	e.Workers = l.Stages[len(l.Stages)-1].Workers
}

// Estimate says what building the plan on that many workers is expected to
// need. It is a guess from measured costs, not a promise.
func (p *Print) Estimate(workers int) Estimate {
	var e Estimate
	var ns float64
	for _, n := range p.Nodes {
		px := float64(n.Pic.W) * float64(n.Pic.H)
		if n.Input != nil {
			ns += px * 8
			continue
		}
		ns += px * (p.nanos(n) + hashNanos)
	}
	out := p.Nodes[p.Out].Pic
	ns += float64(out.W) * float64(out.H) * encodeNanos
	e.memory(p, workers)
	e.Time = time.Duration(ns / float64(e.Workers))

	e.Likely, e.Largest = p.File.Room(out)
	e.Exact = p.File.Format == "tiff"
	return e
}
