package interp

import (
	"time"
)

// nanos is what one pixel of an operation's result takes of one processor, in
// nanoseconds, measured on a common server core; it serves estimates only.
var nanos = map[string]float64{
	"blend": 3, "border": 1, "convert": 45, "crop": 1, "enlarge": 9, "mask": 4, "mix": 20, "sharpen": 16,
	"spot-pixels": 40, "spots": 2, "tint": 1, "tone": 100, "turn": 4, "wrap": 1,
}

// encodeNanos is the same for writing a pixel of a print file with its digest.
const encodeNanos = 18

// hashNanos is the same for one picture digest.
const hashNanos = 4

// Estimate is what a build is expected to need.
type Estimate struct {
	Memory  int64 // bytes, at most
	Time    time.Duration
	Largest int64 // bytes of the print file, at most
	Likely  int64 // bytes of the print file, as most pictures have them
	Exact   bool  // Largest is the very size
}

// Estimate says what building the plan on that many workers is expected to
// need. It is a guess from measured costs, not a promise.
func (p *Plan) Estimate(workers int) Estimate {
	var e Estimate
	var ns float64
	for _, n := range p.Nodes {
		px := float64(n.Pic.W) * float64(n.Pic.H)
		if n.Input != nil {
			ns += px * 8
			continue
		}
		ns += px * (nanos[n.Op] + hashNanos)
	}
	out := p.Nodes[p.Out].Pic
	ns += float64(out.W) * float64(out.H) * encodeNanos
	e.Time = time.Duration(ns / float64(max(workers, 1)))

	ready := p.Nodes[p.Ready]
	pic := 2 * int64(ready.Pic.Stride()) * int64(ready.Pic.H)
	row, rows := int64(out.Stride())*2, int64(60)
	if pic > memoryLimit {
		pic = 64 << 20 // it goes to a temporary file, and its rows through rings
		row = max(row, 2*int64(ready.Pic.Stride()))
		rows += 8 * int64(ready.Pic.H/max(out.H, 1))
	}
	e.Memory = pic
	if ready.Input == nil {
		e.Memory += pic // the master beside the prepared picture
	}
	band, under := cut(out.H, max(workers, 1), 0, p.File.rowBytes(out))
	e.Memory += 40<<20 + min(int64(workers)*row*rows, ringsMost) + int64(band)*int64(under+workers)*int64(p.File.rowBytes(out))

	e.Likely, e.Largest = p.File.room(out)
	e.Exact = p.File.Format == "tiff"
	return e
}
