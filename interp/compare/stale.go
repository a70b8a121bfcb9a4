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

// StaleApprovals compares the marks that a recipe's prints have now (by print
// name) with the approved ones.
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
		a := r.Approved(e.Print)
		if a.Mark == now {
			continue
		}
		s := Stale{Print: a.Print, Round: a.Number, Old: a.Mark, New: now}
		if d, err := diffFiles(ctx, fmt.Sprintf("%s@%d", file, a.Number), file, a.Print); err == nil {
			s.Diff = d
		}
		out = append(out, s)
	}
	return out, nil
}

// StaleLog tells whether the print that a log records isn't the approved one
// any more, by the rounds kept of the recipe that stands beside the log.
func StaleLog(ctx context.Context, path string) ([]Stale, error) {
	l, err := audit.ReadLog(path)
	if err != nil || l.Run.Failure != "" || l.Run.Recipe == "" {
		return nil, nil // the verdict says so
	}
	file := filepath.Join(filepath.Dir(path), filepath.FromSlash(l.Run.Recipe))
	r, err := rounds.Read(file)
	if err != nil {
		return nil, err
	}
	a := r.Approved(l.Recipe.Print)
	if a == nil || a.Mark == l.File.Mark {
		return nil, nil
	}
	s := Stale{Print: a.Print, Round: a.Number, Old: a.Mark, New: l.File.Mark}
	if d, err := diffFiles(ctx, fmt.Sprintf("%s@%d", file, a.Number), path, a.Print); err == nil {
		s.Diff = d
	}
	return []Stale{s}, nil
}

func diffFiles(ctx context.Context, a, b, print string) (*Diff, error) {
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
