package main

import (
	"os"
	"sync"

	"github.com/vbauerster/mpb/v8"
	"github.com/vbauerster/mpb/v8/decor"
)

// progress shows one bar for the stage at work, on a terminal only. Each stage
// has a container of bars of its own, which is waited for when the stage ends:
// then the bar is gone from the screen, and lines can be written where it was.
type progress struct {
	screen *os.File // nil where nobody watches
	width  int
	mu     sync.Mutex
	p      *mpb.Progress
	bar    *mpb.Bar
	stage  string
}

// tell has the form that interp calls; several goroutines may.
func (p *progress) tell(stage string, done, due int64) {
	if p.screen == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if stage != p.stage {
		p.end()
		p.stage = stage
		name := cutText(stage, max(p.width-40, 12))
		p.p = mpb.New(mpb.WithOutput(p.screen), mpb.WithWidth(min(max(p.width-len(name)-28, 8), 40)))
		p.bar = p.p.AddBar(due, mpb.BarRemoveOnComplete(),
			mpb.PrependDecorators(decor.Name(name+" ", decor.WC{C: decor.DindentRight | decor.DextraSpace})),
			mpb.AppendDecorators(decor.Percentage(decor.WC{W: 5}), decor.Name("  about "), decor.AverageETA(decor.ET_STYLE_MMSS), decor.Name(" left")))
	}
	p.bar.SetCurrent(done)
}

// end takes the bar off the screen.
func (p *progress) end() {
	if p.bar != nil {
		p.bar.Abort(true)
		p.p.Wait()
		p.p, p.bar, p.stage = nil, nil, ""
	}
}

// close takes the bar away before lines are written; a further stage opens
// another.
func (p *progress) close() {
	p.mu.Lock()
	p.end()
	p.mu.Unlock()
}
