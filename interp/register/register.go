// Package register keeps the register of editions: which copy of how many, or
// which proof, was made from which mark and file on which day. It is a ledger
// beside the recipe, which only grows, and holds nothing about persons. That its
// end is still there, only something outside it can tell: a head that was
// written down, or a signature.
package register

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"platemark/interp"
	"platemark/interp/audit"
	"platemark/interp/disk"
	"platemark/interp/sign"
	"platemark/lang"
)

// suffix is behind a recipe's name in the name of its register.
const suffix = ".register.jsonl"

// A List is the register of one recipe's editions.
type List struct {
	audit.Ledger[Entry, *Entry]
}

// Entry is one record: a copy or a proof that was "made", a package of a print
// that was "packed" without the print file, or a torn end of the register
// "recovered".
type Entry struct {
	audit.Link
	Print string `json:"print,omitempty"`
	// The edition, of so many copies and proofs.
	Copies int `json:"copies,omitempty"`
	Proofs int `json:"proofs,omitempty"`
	// This one's number: of a copy, else of a proof.
	Copy  int `json:"copy,omitempty"`
	Proof int `json:"proof,omitempty"`
	// State is I, II, III …: prints of one state have one mark.
	State string `json:"state,omitempty"`
	Mark  string `json:"mark,omitempty"`
	File  string `json:"file,omitempty"` // SHA-256 of the print file
	Log   string `json:"log,omitempty"`  // SHA-256 of its log
}

// Name says which one of its edition it is: "3/10", "proof 1/2", with the state
// where it isn't the first.
func (e Entry) Name() string {
	s := fmt.Sprintf("%d/%d", e.Copy, e.Copies)
	if e.Copy == 0 {
		s = fmt.Sprintf("proof %d/%d", e.Proof, e.Proofs)
	}
	if e.State != "I" {
		s += " (state " + e.State + ")"
	}
	return s
}

// Read reads the register of a recipe, or one by its own name. None kept is an
// empty one; damage in the middle is an *audit.LedgerError, an entry that breaks
// the register's rules an error too.
func Read(file string) (*List, error) {
	r := listAt(file)
	if err := r.Ledger.Read(); err != nil {
		return nil, err
	}
	for i, e := range r.Lines {
		if err := allowed(r.Lines[:i], e); err != nil {
			return nil, fmt.Errorf("%s entry %d can't stand in a register: %w", r.Path, i+1, err)
		}
	}
	return r, nil
}

func listAt(file string) *List {
	r := &List{}
	r.Path = disk.Real(file)
	if !strings.HasSuffix(file, suffix) {
		r.Path += suffix
	}
	return r
}

// Head is the number of entries and the SHA-256 of the last line, "5:3fa9…": what
// is written down elsewhere, so that an end that was taken away is missed.
func (r *List) Head() string { return r.headAt(len(r.Lines)) }

func (r *List) headAt(n int) string { return fmt.Sprintf("%d:%s", n, r.HeadAt(n)) }

// Holds says how many entries are newer than a head that was written down, which
// may be the digest alone. It fails where the register hasn't that head.
func (r *List) Holds(head string) (newer int, err error) {
	count, sum, counted := strings.Cut(head, ":")
	if !counted {
		sum = head
	}
	n, err := strconv.Atoi(count)
	if counted && (err != nil || n < 0) || len(sum) != 64 || strings.Trim(sum, "0123456789abcdef") != "" {
		return 0, fmt.Errorf("%q is no head of a register: write it as `register add` and `register list` print it", head)
	}
	for i := len(r.Lines); i >= 0; i-- {
		if r.HeadAt(i) == sum && (!counted || i == n) {
			return len(r.Lines) - i, nil
		}
	}
	if counted && n > len(r.Lines) {
		return 0, fmt.Errorf("%s missing: that head is of entry %d, and %s has %d", entries(n-len(r.Lines)), n, r.Path, len(r.Lines))
	}
	return 0, fmt.Errorf("%s hasn't that head: entries were changed, or taken from its end", r.Path)
}

// SetBack are the numbers of the entries that say an earlier time than the one
// before: a clock was wrong.
func (r *List) SetBack() (list []int) {
	for i := 1; i < len(r.Lines); i++ {
		if r.Lines[i].At < r.Lines[i-1].At {
			list = append(list, i+1)
		}
	}
	return list
}

// Of are the entries of copies and proofs with a mark.
func (r *List) Of(mark string) (list []Entry) {
	for _, e := range r.Lines {
		if e.Record == "made" && e.Mark == mark {
			list = append(list, e)
		}
	}
	return list
}

// Verify says what a register comes to: that no entry was changed, whether its
// end is where a head says, and whether it is signed. who is as sign's.
func Verify(file, head string, who *sign.Whose) (*interp.Verdict, error) {
	v := &interp.Verdict{Log: listAt(file).Path, OK: true, State: interp.Fine}
	r, err := Read(file)
	if err != nil {
		v.Say(interp.Wrong, "%v", err)
		return v, nil
	}
	v.Say(interp.Fine, "%s, unbroken, each as the register's rules want it; head %s", entries(len(r.Lines)), r.Head())
	if r.Torn != nil {
		v.Say(interp.Noted, "it ends in %d bytes that are no entry: the next entry moves them aside", len(r.Torn))
	}
	for _, i := range r.SetBack() {
		v.Say(interp.Noted, "entry %d says an earlier time than the one before (%s, then %s): a clock was wrong", i, r.Lines[i-2].At, r.Lines[i-1].At)
	}
	if head == "" {
		v.Say(interp.Noted, "the end is not pinned: entries that were taken from it aren't missed; a head that was written down elsewhere pins it, with --head")
	} else if newer, err := r.Holds(head); err != nil {
		v.Say(interp.Wrong, "%v", err)
	} else {
		v.Say(interp.Fine, "it has the head that was given; %s newer", entries(newer))
	}
	s, signed := r.signature(who)
	v.Signature("the register", s)
	if s.Signed && signed < len(r.Lines) && s.Err == nil {
		v.Say(interp.Noted, "the signature is of the first %s; those that came later aren't signed", entries(signed))
	}
	return v, nil
}

// signature looks for the signature beside the register, which may have been made
// when it had fewer entries: signed says how many.
func (r *List) signature(who *sign.Whose) (v sign.Verdict, signed int) {
	for n := len(r.Lines); n >= 0; n-- {
		var content []byte
		var at time.Time
		if n > 0 {
			content = r.BytesTo(n)
			at, _ = time.Parse(time.RFC3339, r.Lines[n-1].At)
		}
		one := sign.Look(r.Path, sign.Register, bytes.NewReader(content), who, at)
		if n == len(r.Lines) {
			v = one
		}
		if one.Err == nil || one.Key == "" {
			return one, n
		}
	}
	return v, 0
}

// entries counts entries.
func entries(n int) string {
	if n == 1 {
		return "1 entry"
	}
	return fmt.Sprintf("%d entries", n)
}

// Options say what to add.
type Options struct {
	Copy  int // the number of a copy, or
	Proof int // of a proof
	State string
	Log   string // path of the print's log
	// Head, if set, is what the register's head must be now.
	Head   string
	LookIn []string // as verify's
	Key    *sign.Key
}

// Add adds a copy or a proof to the register of a recipe, if its log verifies and
// the edition has room for it, and signs the register where a key is given.
func Add(ctx context.Context, recipe string, o Options) (*List, *Entry, error) {
	e, l, err := entryOf(ctx, o)
	if err != nil {
		return nil, nil, err
	}
	r := listAt(recipe)
	err = r.Grow(r.aside, func() ([]Entry, error) {
		if o.Head != "" {
			newer, err := r.Holds(o.Head)
			if err != nil {
				return nil, err
			}
			if newer > 0 {
				return nil, fmt.Errorf("the register has %s newer than that head: look at `platemark register list`, and give the head that it prints", entries(newer))
			}
		}
		if s, _ := r.signature(nil); s.Err != nil {
			return nil, fmt.Errorf("%s; put a copy of both back, so that nothing is signed that was changed", s.Of("the register"))
		}
		if len(r.Of(e.Mark)) == 0 && !isOf(l, recipe) {
			return nil, fmt.Errorf("%s is a log of another recipe, %s", l.Path, l.Run.Recipe)
		}
		if err := allowed(r.Lines, *e); err != nil {
			return nil, err
		}
		return []Entry{*e}, nil
	})
	if err == nil && o.Key != nil {
		if err = o.Key.SignFile(r.Path, sign.Register); err != nil {
			err = fmt.Errorf("the entry stands, but the register can't be signed: %w", err)
		}
	}
	if err != nil {
		return nil, nil, err
	}
	return r, &r.Lines[len(r.Lines)-1], nil
}

// Packed tells the register of a recipe, if there is one, that a print was packed
// without its print file.
func Packed(recipe string, l *audit.Log) error {
	r := listAt(recipe)
	if _, err := os.Stat(r.Path); err != nil {
		return nil
	}
	return r.Grow(r.aside, func() ([]Entry, error) {
		return []Entry{{Link: audit.Link{Record: "packed"}, Print: l.Recipe.Print, Mark: l.File.Mark, File: l.File.SHA256, Log: l.SHA256()}}, nil
	})
}

// Aside is where a torn end of the register is kept, beside it.
func (r *List) Aside(torn []byte) string { return r.Path + "." + audit.SumOf(torn)[:12] + ".torn" }

func (r *List) aside(torn []byte) (string, error) {
	return audit.SumOf(torn), disk.Write(r.Aside(torn), torn, true)
}

// entryOf is the entry of a print whose log verifies.
func entryOf(ctx context.Context, o Options) (*Entry, *audit.Log, error) {
	v, err := interp.Verify(ctx, o.Log, interp.VerifyOptions{LookIn: o.LookIn})
	if err != nil {
		return nil, nil, err
	}
	if !v.OK {
		for _, f := range v.Lines {
			if f.State == interp.Wrong || f.State == interp.Absent {
				return nil, nil, fmt.Errorf("%s doesn't verify: %s", o.Log, f.What)
			}
		}
	}
	l, err := audit.ReadLog(o.Log)
	if err != nil {
		return nil, nil, err
	}
	rec, ds := lang.Parse(l.Path, []byte(l.Recipe.Text))
	if lang.HasErrors(ds) || rec.Print(l.Recipe.Print) == nil {
		return nil, nil, fmt.Errorf("%s: its recipe has no print %s that this program reads", o.Log, l.Recipe.Print)
	}
	if rec.Print(l.Recipe.Print).Sheet != nil {
		return nil, nil, errSheet(l)
	}
	ed := rec.Print(l.Recipe.Print).Edition
	if ed == nil {
		return nil, nil, fmt.Errorf("print %s has no edition: write one into its block, as `edition 10 plus 2 proofs`, and build it; the mark stays", l.Recipe.Print)
	}
	e := &Entry{Link: audit.Link{Record: "made"}, Print: l.Recipe.Print, Copies: int(ed.Count.Value.Num().Int64()), Copy: o.Copy, Proof: o.Proof,
		State: cmp.Or(o.State, "I"), Mark: l.File.Mark, File: l.File.SHA256, Log: l.SHA256()}
	if ed.Proofs != nil {
		e.Proofs = int(ed.Proofs.Value.Num().Int64())
	}
	return e, l, nil
}

// errSheet says that a sheet is no print of an edition.
func errSheet(l *audit.Log) error {
	return fmt.Errorf("%s is of a sheet of proofs: register and certify the print itself", l.Path)
}

// isOf says whether a log tells of a recipe's file.
func isOf(l *audit.Log, recipe string) bool {
	return l.Run.Recipe != "" && slices.ContainsFunc(l.At(l.Run.Recipe), func(p string) bool { return disk.Same(recipe, p) })
}

// allowed says whether an entry may follow others: each number once, none beyond
// the edition, the edition as it was, one mark a state, and the states in order.
func allowed(before []Entry, e Entry) error {
	if e.Record == "recovered" || e.Record == "packed" {
		return nil
	}
	if e.Record != "made" {
		return fmt.Errorf("a record %q has no place in it", e.Record)
	}
	if (e.Copy > 0) == (e.Proof > 0) || e.Copy < 0 || e.Proof < 0 {
		return errors.New("a number is that of a copy or of a proof, from 1")
	}
	if e.Copy > e.Copies || e.Proof > e.Proofs {
		return fmt.Errorf("there is no %s: the edition of print %s has %d copies and %d proofs", numberOf(e), e.Print, e.Copies, e.Proofs)
	}
	marks := map[string]string{} // by state
	for _, b := range before {
		if b.Record != "made" || b.Print != e.Print {
			continue
		}
		if b.Copies != e.Copies || b.Proofs != e.Proofs {
			return fmt.Errorf("the edition of print %s was %d copies and %d proofs when %s was registered, and is %d and %d in this log: an edition that was begun stays as it is",
				e.Print, b.Copies, b.Proofs, numberOf(b), e.Copies, e.Proofs)
		}
		if b.Copy == e.Copy && b.Proof == e.Proof {
			return fmt.Errorf("%s of print %s is registered already, on %s, from mark %s", numberOf(e), e.Print, b.Day(), b.Mark[:12])
		}
		if b.Mark == e.Mark && b.File != e.File {
			return fmt.Errorf("the file of mark %s is another than that of %s: the same mark must give the same file; report this with both logs", e.Mark[:12], numberOf(b))
		}
		if b.Mark == e.Mark && b.State != e.State {
			return fmt.Errorf("mark %s is of state %s: write --state %s, or leave it out for I", e.Mark[:12], b.State, b.State)
		}
		marks[b.State] = b.Mark
	}
	next := roman(len(marks) + 1)
	switch mark, known := marks[e.State]; {
	case known && mark != e.Mark:
		return fmt.Errorf("another mark than the edition's: state %s of print %s is mark %s, and this log's is %s, another picture; if it is meant as a new state of the edition, add --state %s",
			e.State, e.Print, mark[:12], e.Mark[:12], next)
	case !known && e.State != next:
		return fmt.Errorf("the next state of print %s is %s, not %s", e.Print, next, e.State)
	}
	return nil
}

// numberOf is "copy 3" or "proof 1".
func numberOf(e Entry) string {
	if e.Copy > 0 {
		return fmt.Sprintf("copy %d", e.Copy)
	}
	return fmt.Sprintf("proof %d", e.Proof)
}

// Day is the day on which it was registered.
func (e Entry) Day() string { return e.At[:min(10, len(e.At))] }

// roman is a number of a state.
func roman(n int) string {
	s := ""
	for _, d := range []struct {
		n int
		s string
	}{{10, "X"}, {9, "IX"}, {5, "V"}, {4, "IV"}, {1, "I"}} {
		for ; n >= d.n; n -= d.n {
			s += d.s
		}
	}
	return s
}
