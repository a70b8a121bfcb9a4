package audit

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"unicode/utf8"

	"platemark/interp/disk"
	"platemark/interp/master"
	"platemark/ops/raster"
)

// A Sought file is known by its size and digest.
type Sought struct {
	Places []string // where it may lie, before any folder is searched
	Size   int64    // negative where it isn't known
	Sum    string
	// At is where it lies, "" where it wasn't found. Is and IsSize are then of
	// another file that stands at one of the places, Err says why one can't be
	// read.
	At     string
	Is     *raster.Sum
	IsSize int64
	Err    error
}

// Find looks for files at their places, then below folders by size and digest,
// each folder once and each file hashed once.
func Find(ctx context.Context, list []*Sought, folders []string) error {
	type hashed struct {
		sum  raster.Sum
		size int64
		err  error
	}
	seen := map[string]hashed{}
	hash := func(path string) hashed {
		h, ok := seen[path]
		if !ok {
			h.sum, h.size, h.err = master.HashPath(ctx, path)
			seen[path] = h
		}
		return h
	}
	var missing []*Sought
	for _, s := range list {
		for _, p := range s.Places {
			h := hash(p)
			if ctx.Err() != nil {
				return context.Cause(ctx)
			}
			switch {
			case errors.Is(h.err, fs.ErrNotExist):
				continue
			case h.err != nil:
				s.Err = h.err
				continue
			case h.sum.String() == s.Sum && (s.Size < 0 || h.size == s.Size):
				s.At = p
			case s.Is == nil:
				s.Is, s.IsSize = &h.sum, h.size
			}
			if s.At != "" {
				break
			}
		}
		if s.At == "" {
			missing = append(missing, s)
		}
	}
	for _, dir := range folders {
		if len(missing) == 0 {
			return nil
		}
		err := filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
			if ctx.Err() != nil {
				return context.Cause(ctx)
			}
			if err != nil {
				if p == dir {
					return fmt.Errorf("can't look in %s: %w", dir, disk.PlainError(err))
				}
				return nil // a folder that may not be read
			}
			if !d.Type().IsRegular() {
				return nil
			}
			st, err := d.Info()
			if err != nil {
				return nil
			}
			missing = slices.DeleteFunc(missing, func(s *Sought) bool {
				if (s.Size < 0 || s.Size == st.Size()) && hash(p).err == nil && hash(p).sum.String() == s.Sum {
					s.At = p
				}
				return s.At != ""
			})
			if len(missing) == 0 {
				return fs.SkipAll
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// Seek is what to look for of a log's inputs, in their order.
func (l *Log) Seek() []*Sought {
	var list []*Sought
	for _, in := range l.Inputs {
		places := append(l.At(l.Run.Found[in.Path]), disk.Join(filepath.Dir(l.Path), in.Path))
		list = append(list, &Sought{Places: places, Size: in.Size, Sum: in.SHA256})
	}
	return list
}

// There is where a path of the run record lies, "" where nothing does or the path
// is "".
func (l *Log) There(rel string) string {
	if rel != "" {
		for _, path := range l.At(rel) {
			if _, err := os.Stat(path); err == nil {
				return path
			}
		}
	}
	return ""
}

// At is where a path of the run record lies: relative to the log's folder. JSON
// can't hold a name that isn't UTF-8; such a name stands there with U+FFFD for
// each of its odd bytes, and several may fit.
func (l *Log) At(rel string) []string {
	rel = filepath.FromSlash(rel)
	if filepath.IsAbs(rel) {
		return []string{rel}
	}
	at := []string{disk.Real(filepath.Dir(l.Path))}
	if len(rel) > 1<<15 { // no system has such a path
		return at
	}
	for _, part := range strings.Split(rel, string(filepath.Separator)) {
		var next []string
		for _, dir := range at {
			next = append(next, filepath.Join(dir, part))
			if !strings.ContainsRune(part, utf8.RuneError) {
				continue
			}
			entries, err := os.ReadDir(dir)
			if err != nil {
				continue
			}
			for _, e := range entries {
				if e.Name() != part && string([]rune(e.Name())) == part {
					next = append(next, filepath.Join(dir, e.Name()))
				}
			}
		}
		at = next
	}
	return at
}
