package interp

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

// A sought file is known by its size and digest.
type sought struct {
	places []string // where it may lie, before any folder is searched
	size   int64
	sum    string
	// at is where it lies, "" where it wasn't found. is and isSize are then of
	// another file that stands at one of the places, err says why one can't be
	// read.
	at     string
	is     *raster.Sum
	isSize int64
	err    error
}

// find looks for files at their places, then below folders by size and digest,
// each folder once and each file hashed once.
func find(ctx context.Context, list []*sought, folders []string) error {
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
	var missing []*sought
	for _, s := range list {
		for _, p := range s.places {
			h := hash(p)
			if ctx.Err() != nil {
				return context.Cause(ctx)
			}
			switch {
			case errors.Is(h.err, fs.ErrNotExist):
				continue
			case h.err != nil:
				s.err = h.err
				continue
			case h.sum.String() == s.sum && h.size == s.size:
				s.at = p
			case s.is == nil:
				s.is, s.isSize = &h.sum, h.size
			}
			if s.at != "" {
				break
			}
		}
		if s.at == "" {
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
			missing = slices.DeleteFunc(missing, func(s *sought) bool {
				if s.size == st.Size() && hash(p).err == nil && hash(p).sum.String() == s.sum {
					s.at = p
				}
				return s.at != ""
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

// seek is what to look for of a log's inputs, in their order.
func (l *Log) seek() []*sought {
	var list []*sought
	for _, in := range l.Inputs {
		places := append(l.at(l.Run.Found[in.Path]), disk.Join(filepath.Dir(l.Path), in.Path))
		list = append(list, &sought{places: places, size: in.Size, sum: in.SHA256})
	}
	return list
}

// locate finds every input of a log in its place or below folders. where says by
// the path as written where each lies, elsewhere in words which weren't in their
// places.
func (l *Log) locate(ctx context.Context, folders []string) (where map[string]string, elsewhere []string, err error) {
	list := l.seek()
	if err := find(ctx, list, folders); err != nil {
		return nil, nil, err
	}
	if err := l.missing(list); err != nil {
		return nil, nil, err
	}
	where = map[string]string{}
	for i, in := range l.Inputs {
		s := list[i]
		if where[in.Path] = s.at; !slices.Contains(s.places, s.at) {
			elsewhere = append(elsewhere, fmt.Sprintf("the %s %s was found at %s", in.Role, in.Path, s.at))
		}
	}
	return where, elsewhere, nil
}

// at is where a path of the run record lies: relative to the log's folder. JSON
// can't hold a name that isn't UTF-8; such a name stands there with U+FFFD for
// each of its odd bytes, and several may fit.
func (l *Log) at(rel string) []string {
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
