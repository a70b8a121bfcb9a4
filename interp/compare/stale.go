package compare

import (
	"context"
	"fmt"
	"path/filepath"

	"platemark/interp/audit"
	"platemark/interp/rounds"
)

// Stale is an approved print that is another print now.
type Stale struct {
	Print string
	Round int // of the approval
	Old   string
	New   string
	Diff  *Diff // nil where the round can't be compared
}

// staleOf compares the mark that a print has now, as side says, with the
// approved one; nil where it is approved as it is, or not at all.
func staleOf(ctx context.Context, r *rounds.List, print, mark, side string) *Stale {
	a := r.Approved(print)
	if a == nil || a.Mark == mark {
		return nil
	}
	s := &Stale{Print: print, Round: a.Number, Old: a.Mark, New: mark}
	if d, err := files(ctx, fmt.Sprintf("%s@%d", r.File, a.Number), side, print); err == nil {
		s.Diff = d
	}
	return s
}

// StaleApprovals compares the marks that a recipe's prints have now (by print
// name) with the approved ones, in the order in which they were approved.
func StaleApprovals(ctx context.Context, file string, marks map[string]string) ([]Stale, error) {
	r, err := rounds.Read(file)
	if err != nil {
		return nil, err
	}
	var out []Stale
	done := map[string]bool{}
	for _, e := range r.Lines {
		now, ok := marks[e.Print]
		if e.Record != "approved" || !ok || done[e.Print] {
			continue
		}
		done[e.Print] = true
		if s := staleOf(ctx, r, e.Print, now, file); s != nil {
			out = append(out, *s)
		}
	}
	return out, nil
}

// StaleLog tells whether the print that a log records isn't the approved one
// any more, by the rounds kept of the recipe that stands beside the log.
func StaleLog(ctx context.Context, path string) ([]Stale, error) {
	l, err := audit.ReadLog(path)
	if err != nil || l.Run.Failure != "" || l.Run.Recipe == "" || l.Others != nil {
		return nil, nil // the verdict says so; no round is of several recipes
	}
	r, err := rounds.Read(filepath.Join(filepath.Dir(path), filepath.FromSlash(l.Run.Recipe)))
	if err != nil {
		return nil, err
	}
	if s := staleOf(ctx, r, l.Recipe.Print, l.File.Mark, path); s != nil {
		return []Stale{*s}, nil
	}
	return nil, nil
}

func files(ctx context.Context, a, b, print string) (*Diff, error) {
	x, err := Open(ctx, a)
	if err != nil {
		return nil, err
	}
	defer x.Close()
	y, err := Open(ctx, b)
	if err != nil {
		return nil, err
	}
	defer y.Close()
	return Sides(x, y, print)
}
