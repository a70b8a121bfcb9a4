package interp

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"platemark/interp/audit"
	"platemark/interp/disk"
	"platemark/interp/master"
	"platemark/lang"
)

// Rounds are the proof rounds kept of one recipe: a chain of records in
// rounds/RECIPE.jsonl beside it, and what they speak of as files named by
// their SHA-256 under rounds/objects. A record holds the digest of the line
// before and its own, so that a changed line is known by its number.
type Rounds struct {
	File  string // the recipe
	Lines []RoundEntry
	// Torn is what stood behind the last whole record, if anything: the next
	// run that writes moves it aside and records that.
	Torn []byte

	folder string
	index  string
	good   int64 // bytes of whole records
	chain  audit.Chain
}

// RoundEntry is one record: a "round" that was kept, a print "approved", or a
// torn end of the list "recovered".
type RoundEntry struct {
	Record string       `json:"record"`
	Prev   string       `json:"prev"`
	At     string       `json:"at"` // RFC 3339, UTC
	Number int          `json:"number,omitempty"`
	Note   string       `json:"note,omitempty"`
	Recipe string       `json:"recipe,omitempty"` // SHA-256 of its text
	Prints []RoundPrint `json:"prints,omitempty"`
	Inputs []RoundInput `json:"inputs,omitempty"`
	// Print and Mark are the approved ones.
	Print string `json:"print,omitempty"`
	Mark  string `json:"mark,omitempty"`
	// Tail is the SHA-256 of what was moved aside.
	Tail  string `json:"tail,omitempty"`
	Bytes int    `json:"bytes,omitempty"`
	// Self is the SHA-256 of this line with Self written as 64 zeros.
	Self string `json:"self"`
}

// RoundPrint is one print as it stood in a round: its mark, and the logs of
// that mark that lay beside its file.
type RoundPrint struct {
	Print string   `json:"print"`
	Mark  string   `json:"mark"`
	File  string   `json:"file"`
	Logs  []string `json:"logs,omitempty"`
}

// RoundInput is one input as it was.
type RoundInput struct {
	Role   string `json:"role"`
	Path   string `json:"path"`
	SHA256 string `json:"sha256"`
}

// maxRounds bounds what is read as a list of rounds.
const maxRounds = 64 << 20

// RoundsError names the record of a list of rounds that is damaged.
type RoundsError struct {
	Path string
	Line int
}

func (e *RoundsError) Error() string {
	return fmt.Sprintf("%s entry %d was changed, or an entry beside it was taken out: the list isn't used until it is mended (put a copy of the rounds folder back)", e.Path, e.Line)
}

func roundsAt(file string) *Rounds {
	real := disk.Real(file)
	folder := filepath.Join(filepath.Dir(real), "rounds")
	return &Rounds{File: file, folder: folder, index: filepath.Join(folder, filepath.Base(real)+".jsonl")}
}

// ReadRounds reads the rounds kept of a recipe. None kept is an empty list;
// damage in the middle is a *RoundsError.
func ReadRounds(file string) (*Rounds, error) {
	r := roundsAt(file)
	b, err := disk.Read(r.index, maxRounds)
	if errors.Is(err, fs.ErrNotExist) {
		return r, nil
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", r.index, disk.PlainError(err))
	}
	return r, r.parse(b)
}

// parse takes the whole records. What follows the last one is a torn end,
// unless a whole record stands behind it or it is a record that was changed.
func (r *Rounds) parse(b []byte) error {
	for at := 0; at < len(b); {
		n := bytes.IndexByte(b[at:], '\n')
		if n >= 0 {
			line := b[at : at+n]
			if e, ok := readEntry(line); ok && e.Prev == r.chain.Prev() {
				r.Lines, r.chain.Lines = append(r.Lines, *e), append(r.chain.Lines, bytes.Clone(line))
				at += n + 1
				r.good = int64(at)
				continue
			}
		}
		// The first thing that is no whole record in its place.
		rest := b[at:]
		for i, l := range bytes.Split(rest, []byte("\n")) {
			if _, ok := readEntry(l); ok && (i > 0 || n >= 0) {
				return &RoundsError{r.index, len(r.Lines) + 1}
			}
		}
		if n >= 0 && json.Valid(rest[:n]) {
			return &RoundsError{r.index, len(r.Lines) + 1}
		}
		r.Torn = bytes.Clone(rest)
		break
	}
	return nil
}

// readEntry reads one line and checks its own digest.
func readEntry(line []byte) (*RoundEntry, bool) {
	var e RoundEntry
	return &e, audit.Sealed(line, &e, &e.Self)
}

// change runs fill on the list as it is when nobody else writes to it, then
// appends what fill returns in one piece.
func (r *Rounds) change(fill func(r *Rounds) ([]RoundEntry, error)) error {
	if err := os.MkdirAll(filepath.Join(r.folder, "objects"), 0o777); err != nil {
		return err
	}
	f, err := os.OpenFile(r.index, os.O_RDWR|os.O_CREATE, 0o666)
	if err != nil {
		return err
	}
	defer f.Close()
	if err := disk.Lock(f, 20*time.Second); err != nil {
		return fmt.Errorf("another run holds %s; try again when it has ended", r.index)
	}
	b, err := disk.Read(r.index, maxRounds)
	if err != nil {
		return err
	}
	*r = *roundsAt(r.File)
	if err := r.parse(b); err != nil {
		return err
	}
	var list []RoundEntry
	if r.Torn != nil {
		sum, err := r.keep(r.Torn)
		if err != nil {
			return err
		}
		list = append(list, RoundEntry{Record: "recovered", Tail: sum, Bytes: len(r.Torn)})
	}
	more, err := fill(r)
	if err != nil && len(list) == 0 {
		return err
	}
	list = append(list, more...)
	var out bytes.Buffer
	for _, e := range list {
		e.Prev, e.At = r.chain.Prev(), time.Now().UTC().Format(time.RFC3339)
		r.chain.Seal(&e, &e.Self)
		r.Lines = append(r.Lines, e)
		fmt.Fprintf(&out, "%s\n", r.chain.Last())
	}
	if r.Torn != nil {
		if err := f.Truncate(r.good); err != nil {
			return disk.PlainError(err)
		}
		r.Torn = nil
	}
	if _, werr := f.WriteAt(out.Bytes(), r.good); werr != nil {
		return disk.PlainError(werr)
	}
	r.good += int64(out.Len())
	if serr := f.Sync(); serr != nil {
		return disk.PlainError(serr)
	}
	if serr := disk.SyncDir(r.folder); serr != nil {
		return disk.PlainError(serr)
	}
	return err
}

func (r *Rounds) objectPath(sum string) string {
	return filepath.Join(r.folder, "objects", sum[:2], sum[2:])
}

// keep stores data under its SHA-256; what is there already stays.
func (r *Rounds) keep(data []byte) (string, error) {
	sum := audit.SumOf(data)
	if old, err := r.object(sum); err == nil && bytes.Equal(old, data) {
		return sum, nil
	}
	path := r.objectPath(sum)
	os.Remove(path) // damaged, since its content isn't what its name says
	if err := disk.Write(path, data, false); err != nil {
		if old, rerr := r.object(sum); rerr == nil && bytes.Equal(old, data) {
			return sum, nil // another run was faster
		}
		return "", err
	}
	return sum, nil
}

// object reads a kept file and checks it against its name.
func (r *Rounds) object(sum string) ([]byte, error) {
	if len(sum) != 64 {
		return nil, fmt.Errorf("%q is no digest", sum)
	}
	b, err := disk.Read(r.objectPath(sum), audit.MaxLog)
	if err != nil {
		return nil, fmt.Errorf("a kept file is gone from the rounds folder (%s…): %w", sum[:16], disk.PlainError(err))
	}
	if audit.SumOf(b) != sum {
		return nil, fmt.Errorf("a kept file in the rounds folder was changed (%s…)", sum[:16])
	}
	return b, nil
}

// Round is the last record of round n, nil where none is kept.
func (r *Rounds) Round(n int) *RoundEntry {
	for i := len(r.Lines) - 1; i >= 0; i-- {
		if e := &r.Lines[i]; e.Record == "round" && e.Number == n {
			return e
		}
	}
	return nil
}

// Latest is the last round kept, nil where none is.
func (r *Rounds) Latest() *RoundEntry {
	for i := len(r.Lines) - 1; i >= 0; i-- {
		if r.Lines[i].Record == "round" {
			return &r.Lines[i]
		}
	}
	return nil
}

// Approved is the last approval of a print, nil where there is none.
func (r *Rounds) Approved(print string) *RoundEntry {
	for i := len(r.Lines) - 1; i >= 0; i-- {
		if e := &r.Lines[i]; e.Record == "approved" && e.Print == print {
			return e
		}
	}
	return nil
}

// KeepRound keeps a recipe and its logs as the round that it says it is (1
// where it says nothing), and raises the number in the recipe.
func KeepRound(ctx context.Context, file, note string) (*RoundEntry, error) {
	j, err := Load(ctx, file, LoadOptions{NoOutputs: true})
	if err != nil {
		return nil, err
	}
	defer j.Close()
	if j.Failed() {
		return nil, &Problems{j.Source, j.Diags}
	}
	n := 1
	if j.Recipe.Round != nil {
		n = int(j.Recipe.Round.Value.Num().Int64())
	}
	raised, err := lang.SetRound(j.Source, n+1)
	if err != nil {
		return nil, err
	}
	var kept RoundEntry
	r := roundsAt(file)
	err = r.change(func(r *Rounds) ([]RoundEntry, error) {
		e := RoundEntry{Record: "round", Number: n, Note: note}
		var err error
		if e.Recipe, err = r.keep(j.Source); err != nil {
			return nil, err
		}
		seen := map[*master.Input]bool{}
		for _, p := range j.Plans {
			rp := RoundPrint{Print: p.Name, Mark: p.Mark.String(), File: p.File.Path}
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
					e.Inputs = append(e.Inputs, RoundInput{string(in.Role), in.Path, in.Sum.String()})
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
		return []RoundEntry{e}, nil
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
func Approve(file, print string, round int) (*RoundEntry, error) {
	var out RoundEntry
	r := roundsAt(file)
	err := r.change(func(r *Rounds) ([]RoundEntry, error) {
		e := r.Latest()
		if round != 0 {
			e = r.Round(round)
		}
		switch {
		case e == nil && round != 0:
			return nil, fmt.Errorf("no round %d of %s is kept", round, file)
		case e == nil:
			return nil, fmt.Errorf("no round of %s is kept yet: `platemark round %s` keeps one; a print is approved as it stood in a round", file, file)
		}
		have := ""
		for _, p := range e.Prints {
			if p.Print == print && len(p.Logs) == 0 {
				return nil, fmt.Errorf("print %s of round %d was never built: no log of its mark lay beside %s when the round was kept; build it, and `platemark round %s` keeps it as built",
					print, e.Number, p.File, file)
			}
			if p.Print == print {
				out = RoundEntry{Record: "approved", Number: e.Number, Print: print, Mark: p.Mark}
				return []RoundEntry{out}, nil
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
	r, err := ReadRounds(file)
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
	r, err := ReadRounds(file)
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
	x, err := OpenSide(ctx, a)
	if err != nil {
		return nil, err
	}
	defer x.Close()
	y, err := OpenSide(ctx, b)
	if err != nil {
		return nil, err
	}
	defer y.Close()
	return Compare(x, y, print)
}
