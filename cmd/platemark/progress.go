package main

import (
	"sync"

	"github.com/vbauerster/mpb/v8"
	"github.com/vbauerster/mpb/v8/decor"
)

// progress shows one bar for the stage at work, on a terminal only.
type progress struct {
	mu    sync.Mutex
	p     *mpb.Progress
	bar   *mpb.Bar
	stage string
}

// newProgress is nil where nobody watches; its methods then do nothing.
func (a *app) newProgress() *progress {
	if !a.bars {
		return nil
	}
	return &progress{p: mpb.New(mpb.WithOutput(a.err), mpb.WithWidth(min(a.width-50, 40)))}
}

// tell has the form that interp calls; several goroutines may.
func (p *progress) tell() func(stage string, done, due int64) {
	if p == nil {
		return nil
	}
	return func(stage string, done, due int64) {
		p.mu.Lock()
		defer p.mu.Unlock()
		if stage != p.stage {
			p.end()
			p.stage = stage
			p.bar = p.p.AddBar(due, mpb.BarRemoveOnComplete(),
				mpb.PrependDecorators(decor.Name(stage+" ", decor.WC{C: decor.DindentRight | decor.DextraSpace})),
				mpb.AppendDecorators(decor.Percentage(decor.WC{W: 5}), decor.Name("  about "), decor.AverageETA(decor.ET_STYLE_MMSS), decor.Name(" left")))
		}
		p.bar.SetCurrent(done)
	}
}

func (p *progress) end() {
	if p.bar != nil {
		p.bar.Abort(true)
		p.bar = nil
	}
}

// rest takes the bar away until the next stage, so that lines can be written.
func (p *progress) rest() {
	if p == nil {
		return
	}
	p.mu.Lock()
	p.end()
	p.stage = ""
	p.mu.Unlock()
}

// close takes the bar away, whatever became of the run.
func (p *progress) close() {
	if p == nil {
		return
	}
	p.mu.Lock()
	p.end()
	p.mu.Unlock()
	p.p.Wait()
}
