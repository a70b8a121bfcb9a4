package interp

import (
	"context"
	"path/filepath"
	"sync"

	"platemark/interp/disk"
	"platemark/interp/master"
)

// A Reader reads recipes over and over while they are written: each input is
// opened and hashed once, and again when its file has become another. Plans that
// it made stay good for a Session until then. It serves many goroutines.
type Reader struct {
	mu    sync.Mutex
	cache inputCache
}

// NewReader begins one without inputs.
func NewReader() *Reader { return &Reader{cache: inputCache{open: map[string]*master.Input{}}} }

// Read is LoadText of a text that stands at file or will be saved there.
func (r *Reader) Read(ctx context.Context, file string, source []byte, o LoadOptions) (*Job, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for k, in := range r.cache.open {
		if !in.Stands() {
			in.Close()
			delete(r.cache.open, k)
		}
	}
	o.open = r.cache.input
	return LoadText(ctx, file, filepath.Dir(disk.Target(file)), source, o)
}

// Close closes the inputs.
func (r *Reader) Close() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.cache.close()
}
