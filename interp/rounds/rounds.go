// Package rounds keeps proof rounds: a recipe as it was, with the logs of its
// prints, in a list that a changed line can't hide in; and what was approved.
package rounds

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"platemark/interp"
	"platemark/interp/audit"
	"platemark/interp/disk"
	"platemark/interp/master"
	"platemark/lang"
)

// A List is the proof rounds kept of one recipe: a ledger in rounds/RECIPE.jsonl
// beside it, and what its records speak of as files named by their SHA-256 under
// rounds/objects.
type List struct {
	audit.Ledger[Entry, *Entry]
	File   string // the recipe
	folder string
}

// Entry is one record: a "round" that was kept, a print "approved", or a
// torn end of the list "recovered".
type Entry struct {
	audit.Link
	Number int     `json:"number,omitempty"`
	Note   string  `json:"note,omitempty"`
	Recipe string  `json:"recipe,omitempty"` // SHA-256 of its text
	Prints []Print `json:"prints,omitempty"`
	Inputs []Input `json:"inputs,omitempty"`
	// Print and Mark are the approved ones.
	Print string `json:"print,omitempty"`
	Mark  string `json:"mark,omitempty"`
}

// entryOf is a record of a kind, to be filled.
func entryOf(kind string, number int) Entry {
	return Entry{Link: audit.Link{Record: kind}, Number: number}
}

// Print is one print as it stood in a round: its mark, and the logs of
// that mark that lay beside its file.
type Print struct {
	Print string   `json:"print"`
	Mark  string   `json:"mark"`
	File  string   `json:"file"`
	Logs  []string `json:"logs,omitempty"`
}

// Input is one input as it was.
type Input struct {
	Role   string `json:"role"`
	Path   string `json:"path"`
	SHA256 string `json:"sha256"`
}

func listAt(file string) *List {
	real := disk.Real(file)
	folder := filepath.Join(filepath.Dir(real), "rounds")
	r := &List{File: file, folder: folder}
	r.Path = filepath.Join(folder, filepath.Base(real)+".jsonl")
	return r
}

// Read reads the rounds kept of a recipe. None kept is an empty list;
// damage in the middle is an *audit.LedgerError.
func Read(file string) (*List, error) {
	r := listAt(file)
	return r, r.Ledger.Read()
}

// change appends what fill returns to a recipe's list as it is when nobody else
// writes to it.
func change(file string, fill func(r *List) ([]Entry, error)) error {
	r := listAt(file)
	if err := os.MkdirAll(filepath.Join(r.folder, "objects"), 0o777); err != nil {
		return fmt.Errorf("rounds can't be kept: %s can't be made: %w", r.folder, disk.PlainError(err))
	}
	return r.Grow(r.keep, func() ([]Entry, error) { return fill(r) })
}

func (r *List) objectPath(sum string) string {
	return filepath.Join(r.folder, "objects", sum[:2], sum[2:])
}

// keep stores data under its SHA-256; what is there already stays.
func (r *List) keep(data []byte) (string, error) {
	sum := audit.SumOf(data)
	if _, err := r.Object(sum); err == nil {
		return sum, nil
	}
	path := r.objectPath(sum)
	os.Remove(path) // damaged, since its content isn't what its name says
	err := disk.Write(path, data, false)
	if err != nil {
		if _, there := r.Object(sum); there == nil {
			return sum, nil // another run was faster
		}
	}
	return sum, err
}

// Object reads a kept file and checks it against its name.
func (r *List) Object(sum string) ([]byte, error) {
	if len(sum) != 64 {
		return nil, fmt.Errorf("%q is no digest", sum)
	}
	path := r.objectPath(sum)
	b, err := disk.Read(path, audit.MaxLog)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("the kept file %s isn't there any more: put a copy of it back", path)
	case err != nil:
		return nil, fmt.Errorf("the kept file %s can't be read: %w", path, disk.PlainError(err))
	case audit.SumOf(b) != sum:
		return nil, fmt.Errorf("the kept file %s was changed: put a copy of it back", path)
	}
	return b, nil
}

// Damaged says which files that a round kept aren't there as they were.
func (r *List) Damaged(e Entry) []error {
	var out []error
	look := func(sum string) {
		if _, err := r.Object(sum); err != nil {
			out = append(out, err)
		}
	}
	look(e.Recipe)
	for _, p := range e.Prints {
		for _, sum := range p.Logs {
			look(sum)
		}
	}
	return out
}

// last is the last record that fits, nil where there is none.
func (r *List) last(fits func(e Entry) bool) *Entry {
	for i, e := range slices.Backward(r.Lines) {
		if fits(e) {
			return &r.Lines[i]
		}
	}
	return nil
}

// Round is the last record of round n, nil where none is kept.
func (r *List) Round(n int) *Entry {
	return r.last(func(e Entry) bool { return e.Record == "round" && e.Number == n })
}

// Latest is the last round kept, nil where none is.
func (r *List) Latest() *Entry {
	return r.last(func(e Entry) bool { return e.Record == "round" })
}

// Approved is the last approval of a print, nil where there is none.
func (r *List) Approved(print string) *Entry {
	return r.last(func(e Entry) bool { return e.Record == "approved" && e.Print == print })
}

// Keep keeps a recipe and its logs as the round that it says it is (1
// where it says nothing), and raises the number in the recipe.
func Keep(ctx context.Context, file, note string) (*Entry, error) {
	j, err := interp.Load(ctx, file, interp.LoadOptions{NoOutputs: true})
	if err != nil {
		return nil, err
	}
	defer j.Close()
	if j.Failed() {
		return nil, &interp.Problems{Source: j.Source, Diags: j.Diags}
	}
	n := 1
	if j.Recipe.Round != nil {
		n = int(j.Recipe.Round.Value.Num().Int64())
	}
	raised, err := lang.SetRound(j.Source, n+1)
	if err != nil {
		return nil, err
	}
	var kept Entry
	err = change(file, func(r *List) ([]Entry, error) {
		e := entryOf("round", n)
		e.Note = note
		var err error
		if e.Recipe, err = r.keep(j.Source); err != nil {
			return nil, err
		}
		seen := map[*master.Input]bool{}
		for _, p := range j.Plans {
			rp := Print{Print: p.Name, Mark: p.Mark.String(), File: p.File.Path}
			for _, path := range audit.LogsOf(j.OutPath(p, ""), p.Mark.String()) {
				if l, err := audit.ReadLog(path); err != nil || l.File.Mark != rp.Mark {
					continue
				}
				b, err := disk.Read(path, audit.MaxLog)
				if err != nil {
					return nil, err
				}
				sum, err := r.keep(b)
				if err != nil {
					return nil, err
				}
				rp.Logs = append(rp.Logs, sum)
			}
			e.Prints = append(e.Prints, rp)
			for _, in := range p.Inputs {
				if !seen[in] {
					seen[in] = true
					e.Inputs = append(e.Inputs, Input{string(in.Role), in.Path, in.Sum.String()})
				}
			}
		}
		if old := r.Round(n); old != nil {
			if old.Recipe == e.Recipe && note == "" {
				// A run that ended before it raised the number.
				kept = *old
				return nil, nil
			}
			if old.Recipe != e.Recipe {
				next := r.Latest().Number + 1
				return nil, fmt.Errorf("round %d is kept already, with another recipe; write `round %d` in %s and run this again", n, next, file)
			}
		}
		kept = e
		return []Entry{e}, nil
	})
	if err != nil {
		return nil, err
	}
	if err := disk.Rewrite(file, j.Source, raised); err != nil {
		return &kept, fmt.Errorf("round %d is kept, but its number wasn't raised: %w; write `round %d` in %s", n, err, n+1, file)
	}
	return &kept, nil
}

// Approve records that a print of a kept round (0: the latest) is good to
// print, by its name and mark.
func Approve(file, print string, round int) (*Entry, error) {
	var out Entry
	err := change(file, func(r *List) ([]Entry, error) {
		e := r.Latest()
		if round != 0 {
			e = r.Round(round)
		}
		switch {
		case e == nil && round != 0:
			return nil, fmt.Errorf("no round %d of %s is kept", round, file)
		case e == nil:
			return nil, fmt.Errorf("no round of %s is kept yet: `platemark round %s` keeps one; a print is approved as it stood in a round", file, disk.Typed(file))
		}
		have := ""
		for _, p := range e.Prints {
			if p.Print == print && len(p.Logs) == 0 {
				return nil, fmt.Errorf("print %s of round %d can't be approved: no log of its mark lay beside %s when the round was kept; build it there, without --out, and `platemark round %s` keeps it as built",
					print, e.Number, p.File, disk.Typed(file))
			}
			if p.Print == print {
				out = entryOf("approved", e.Number)
				out.Print, out.Mark = print, p.Mark
				return []Entry{out}, nil
			}
			have += " " + p.Print
		}
		return nil, fmt.Errorf("round %d has no print %s; it has:%s", e.Number, print, have)
	})
	if err != nil {
		return nil, err
	}
	return &out, nil
}

// Cut splits FILE@N; ok is false where the argument has no such form or a
// file of the whole name exists.
func Cut(arg string) (file string, n int, ok bool) {
	i := strings.LastIndexByte(arg, '@')
	if i < 1 {
		return arg, 0, false
	}
	if _, err := os.Stat(arg); err == nil {
		return arg, 0, false
	}
	n, err := strconv.Atoi(arg[i+1:])
	return arg[:i], n, err == nil && n > 0
}
