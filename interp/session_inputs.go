package interp

import (
	"context"
	"fmt"
	"os"
	"slices"
	"sync"
	"sync/atomic"

	"platemark/interp/disk"
	"platemark/interp/master"
	"platemark/interp/plan"
	"platemark/ops/raster"
)

// loaded is a decoded input; its store is nil once it was given back.
type loaded struct {
	store  *raster.Store
	bands  []raster.Sum
	report []string // what was found in its samples
	// same waits until the input is hashed again, and fails if it changed.
	same func() error
}

func (l *loaded) close() {
	if l.store != nil {
		l.store.Close()
		l.store = nil
	}
}

// newStore has room for a picture, in memory or in a temporary file.
func newStore(w, h, c int) (*raster.Store, error) {
	size := 2 * int64(w) * int64(h) * int64(c)
	if size <= plan.MemoryLimit {
		return raster.NewMemory(w, h, c), nil
	}
	f, err := disk.Temp(size)
	if err != nil {
		return nil, fmt.Errorf("no room in %s for a temporary picture of %d MB: %w", os.TempDir(), size/1e6, disk.PlainError(err))
	}
	return raster.NewFile(f, w, h, c), nil
}

// input loads an input picture, or finds it loaded. Whether it changed is known on
// return where that is to be waited for, else it is found out meanwhile.
func (s *Session) input(ctx context.Context, n plan.Node, wait bool) (l *loaded, err error) {
	l = s.inputs[plan.FileOf(n.Input)]
	if l != nil && (wait || l.store == nil) { // what is kept may be of changed bytes
		if err := l.same(); err != nil {
			return nil, err
		}
	}
	if l != nil && l.store != nil {
		return l, nil
	}
	if l, err = s.decode(ctx, n.Input); err != nil {
		return nil, fmt.Errorf("%s: %w", n.Input.Path, err)
	}
	if wait {
		if err := l.same(); err != nil {
			l.close()
			return nil, err
		}
	}
	s.inputs[plan.FileOf(n.Input)] = l
	return l, nil
}

// decode loads an input picture, and begins to look whether it changed.
func (s *Session) decode(ctx context.Context, in *master.Input) (*loaded, error) {
	info := in.Picture.Info()
	var progress func(rows int)
	if s.Progress != nil {
		var n atomic.Int64
		progress = func(rows int) { s.Progress("reading "+in.Path, n.Add(int64(rows)), int64(info.H)) }
		progress(0)
	}
	st, sums, report, err := in.Decoded(progress)
	if st == nil && err == nil {
		if st, err = newStore(info.W, info.H, info.Channels); err != nil {
			return nil, err
		}
		if sums, report, err = in.Decode(ctx, st, s.Workers, progress); err != nil {
			st.Close()
		}
	}
	if err != nil {
		return nil, err
	}
	found := make(chan error, 1)
	go func() { found <- in.Same(ctx) }()
	return &loaded{st, raster.Bands(sums), report, sync.OnceValue(func() error {
		if err := <-found; err != nil {
			return fmt.Errorf("%s: %w", in.Path, err)
		}
		return nil
	})}, nil
}

// unchanged fails if an input of a print isn't what was hashed.
func (s *Session) unchanged(p *plan.Print) error {
	for _, in := range p.Inputs {
		if l := s.inputs[plan.FileOf(in)]; l != nil {
			if err := l.same(); err != nil {
				return err
			}
		}
		if err := in.Unchanged(); err != nil {
			return err
		}
	}
	return nil
}

func (s *Session) dropInputs(later []*plan.Print) {
	wanted := map[plan.InputFile]bool{}
	for _, p := range later {
		kept := func(i int) bool { return s.kept[p.Nodes[i].Key] != nil }
		if kept(p.Ready) || slices.ContainsFunc(p.Shared, kept) {
			continue
		}
		for _, n := range p.Nodes {
			if n.Input != nil {
				wanted[plan.FileOf(n.Input)] = true
			}
		}
	}
	memory := func(l *loaded) int64 {
		if l.store != nil && l.store.InMemory() {
			return l.store.Bytes()
		}
		return 0
	}
	var held int64
	for _, l := range s.inputs {
		held += memory(l)
	}
	for in, l := range s.inputs {
		if !wanted[in] || held > plan.MemoryLimit {
			held -= memory(l)
			l.close()
		}
	}
}
