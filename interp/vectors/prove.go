package vectors

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"sync"
	"sync/atomic"

	"platemark/interp"
)

// A Result says how many vectors this machine gives as they stand in their files.
type Result struct {
	Vectors   int         `json:"vectors"`
	Same      int         `json:"same"`
	Different []Different `json:"different"` // in the order of the files
}

// Different is a vector that comes out otherwise here.
type Different struct {
	Piece  string `json:"piece"` // "operation crop 1", "language-1-tones"
	File   string `json:"file"`
	Line   int    `json:"line"` // where the vector begins
	Case   string `json:"case"`
	Frozen string `json:"frozen"` // the first line that differs, "" where there is none
	Here   string `json:"here"`   // the same here, or why nothing was computed
}

// A frozenCase is one vector: a case with its results, or a line of columns.
type frozenCase struct {
	file, name string
	line       int
	text       []byte
}

// Prove computes every vector file of a folder again, on so many workers at
// once. The error says what can't be read; recipes are built in a temporary
// folder. Progress, if set, is called from several goroutines.
func Prove(ctx context.Context, folder fs.FS, workers int, progress func(stage string, done, due int64)) (*Result, error) {
	dir, err := fs.ReadDir(folder, ".")
	if err != nil {
		return nil, err
	}
	var all []frozenCase
	for _, e := range dir {
		if _, _, ok := subject(e.Name()); !ok && !isLanguage(e.Name()) {
			continue
		}
		text, err := fs.ReadFile(folder, e.Name())
		if err != nil {
			return nil, err
		}
		all = append(all, casesOf(e.Name(), text)...)
	}
	if len(all) == 0 {
		return nil, errors.New("the folder holds no vectors: files such as operation-crop-1.txt, with cases")
	}
	found := make([]*Different, len(all))
	next := make(chan int)
	var wg sync.WaitGroup
	var done atomic.Int64
	for range workers {
		wg.Go(func() {
			for i := range next {
				found[i] = all[i].differs(ctx, folder)
				if n := done.Add(1); progress != nil {
					progress("computing vectors", n, int64(len(all)))
				}
			}
		})
	}
	for i := range all {
		if ctx.Err() == nil {
			next <- i
		}
	}
	close(next)
	wg.Wait()
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	p := &Result{Vectors: len(all), Different: []Different{}}
	for _, d := range found {
		if d == nil {
			p.Same++
		} else {
			p.Different = append(p.Different, *d)
		}
	}
	return p, nil
}

// casesOf cuts the text of a vector file into its cases.
func casesOf(file string, text []byte) (out []frozenCase) {
	kind, _, _ := subject(file)
	_, columns := columnFiles[kind]
	open, n := false, 0
	for line := range strings.Lines(string(text)) {
		n++
		switch {
		case strings.TrimSpace(line) == "" || line[0] == '#':
			open = false
			continue
		case !open || columns:
			out = append(out, frozenCase{file: file, line: n})
			open = true
		}
		c := &out[len(out)-1]
		c.text = append(append(c.text, strings.TrimSuffix(line, "\n")...), '\n')
		if name, ok := strings.CutPrefix(line, "case "); ok {
			c.name = strings.TrimSpace(name)
		} else if f := strings.Fields(line); columns {
			c.name = strings.Join(f[:len(f)-1], " ")
		}
	}
	return out
}

// differs computes a case again; nil is that it comes out as it stands.
func (c frozenCase) differs(ctx context.Context, folder fs.FS) *Different {
	got, err := c.compute(ctx, folder)
	if err == nil && bytes.Equal(got, c.text) {
		return nil
	}
	d := &Different{Piece: strings.TrimSuffix(c.file, ".txt"), File: c.file, Line: c.line, Case: c.name}
	if kind, version, ok := subject(c.file); ok {
		d.Piece = fmt.Sprintf("%s %d", kind, version)
	}
	if err != nil {
		d.Here = err.Error()
		return d
	}
	was, is := string(c.text), string(got)
	for d.Frozen == d.Here {
		d.Frozen, was, _ = strings.Cut(was, "\n")
		d.Here, is, _ = strings.Cut(is, "\n")
	}
	return d
}

// isLanguage says whether a file is a language vector, whose recipe stands beside
// it.
func isLanguage(file string) bool {
	return strings.HasPrefix(file, "language-") && strings.HasSuffix(file, ".txt")
}

func (c frozenCase) compute(ctx context.Context, folder fs.FS) ([]byte, error) {
	if !isLanguage(c.file) {
		return Run(c.file, c.text)
	}
	recipe, err := fs.ReadFile(folder, strings.TrimSuffix(c.file, ".txt")+".recipe")
	if err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp("", "platemark-prove-")
	if err != nil {
		return nil, fmt.Errorf("no temporary folder for a recipe's files: %w", err)
	}
	defer os.RemoveAll(dir)
	out, _, err := Language(ctx, dir, c.text, recipe, interp.BuildOptions{})
	return out, err
}
