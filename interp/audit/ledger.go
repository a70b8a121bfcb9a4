package audit

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"time"

	"platemark/interp/disk"
)

// A Link is what every record of a ledger has, beside what it tells.
type Link struct {
	Record string `json:"record"`
	Prev   string `json:"prev"`
	At     string `json:"at"` // RFC 3339, UTC
	// Tail is the SHA-256 of what was moved aside, where the ledger ended in
	// something torn; the record is "recovered" then.
	Tail  string `json:"tail,omitempty"`
	Bytes int    `json:"bytes,omitempty"`
	// Self is the SHA-256 of this line with Self written as 64 zeros.
	Self string `json:"self"`
}

func (l *Link) link() *Link { return l }

// A record is a pointer to a struct that has a Link.
type record[E any] interface {
	*E
	link() *Link
}

// A Ledger is a file that only grows: a chain of records, each of which holds
// the digest of the line before and its own, so that a changed line is known by
// its number.
type Ledger[E any, P record[E]] struct {
	Path  string
	Lines []E
	// Torn is what stood behind the last whole record, if anything: the next
	// run that writes moves it aside and records that.
	Torn []byte

	good  int64 // bytes of whole records
	chain Chain
}

// maxLedger bounds what is read as a ledger.
const maxLedger = 64 << 20

// A LedgerError names the record of a ledger that is damaged.
type LedgerError struct {
	Path string
	Line int
}

func (e *LedgerError) Error() string {
	return fmt.Sprintf("%s entry %d was changed, or an entry beside it was taken out: nothing in it is used until a copy of it is put back", e.Path, e.Line)
}

// Read reads the file. One that isn't there has no records; damage in the middle
// is a *LedgerError.
func (l *Ledger[E, P]) Read() error {
	b, err := disk.Read(l.Path, maxLedger)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("%s: %w", l.Path, disk.PlainError(err))
	}
	return l.parse(b)
}

// parse takes the whole records. What follows the last one is a torn end,
// unless a whole record stands behind it or it is a record that was changed.
func (l *Ledger[E, P]) parse(b []byte) error {
	for {
		line, rest, ended := bytes.Cut(b, []byte("\n"))
		e, ok := l.entry(line)
		if !ended || !ok || P(e).link().Prev != l.chain.Prev() {
			break
		}
		l.Lines, l.chain.Lines = append(l.Lines, *e), append(l.chain.Lines, bytes.Clone(line))
		l.good += int64(len(line) + 1)
		b = rest
	}
	lines := bytes.Split(b, []byte("\n"))
	if len(lines) > 1 && json.Valid(lines[0]) || slices.ContainsFunc(lines[1:], func(line []byte) bool { _, ok := l.entry(line); return ok }) {
		return &LedgerError{l.Path, len(l.Lines) + 1}
	}
	if len(b) > 0 {
		l.Torn = bytes.Clone(b)
	}
	return nil
}

// entry reads one line and checks its own digest.
func (l *Ledger[E, P]) entry(line []byte) (*E, bool) {
	var e E
	return &e, Sealed(line, &e, &P(&e).link().Self)
}

// Grow reads the ledger as it is when nobody else writes to it, runs fill and
// appends what that returns in one piece. aside keeps a torn end and gives its
// name, its SHA-256.
func (l *Ledger[E, P]) Grow(aside func(torn []byte) (string, error), fill func() ([]E, error)) error {
	f, err := os.OpenFile(l.Path, os.O_RDWR|os.O_CREATE, 0o666)
	failed := func(err error) error { return fmt.Errorf("writing %s: %w", l.Path, disk.PlainError(err)) }
	if err != nil {
		return failed(err)
	}
	defer f.Close()
	if err := disk.Lock(f, 20*time.Second); err != nil {
		return fmt.Errorf("another run holds %s; try again when it has ended", l.Path)
	}
	if err := l.Read(); err != nil {
		return err
	}
	var list []E
	if l.Torn != nil {
		sum, err := aside(l.Torn)
		if err != nil {
			return err
		}
		var e E
		*P(&e).link() = Link{Record: "recovered", Tail: sum, Bytes: len(l.Torn)}
		list = append(list, e)
	}
	more, err := fill()
	if err != nil && len(list) == 0 {
		return err
	}
	list = append(list, more...)
	var out bytes.Buffer
	for _, e := range list {
		k := P(&e).link()
		k.Prev, k.At = l.chain.Prev(), time.Now().UTC().Format(time.RFC3339)
		l.chain.Seal(&e, &k.Self)
		l.Lines = append(l.Lines, e)
		fmt.Fprintf(&out, "%s\n", l.chain.Last())
	}
	if l.Torn != nil {
		if err := f.Truncate(l.good); err != nil {
			return failed(err)
		}
	}
	if _, werr := f.WriteAt(out.Bytes(), l.good); werr != nil {
		f.Truncate(l.good) // no half of an entry, if the disk lets go of it
		return failed(werr)
	}
	if serr := f.Sync(); serr != nil {
		return failed(serr)
	}
	if serr := disk.SyncDir(filepath.Dir(l.Path)); serr != nil {
		return failed(serr)
	}
	return err
}

// HeadAt is the SHA-256 of the line of record n, 64 zeros for n = 0: what the
// next record holds of all before it.
func (l *Ledger[E, P]) HeadAt(n int) string { return (&Chain{Lines: l.chain.Lines[:n]}).Prev() }

// BytesTo is the file as it was when it had n records; n is 1 or more.
func (l *Ledger[E, P]) BytesTo(n int) []byte { return (&Chain{Lines: l.chain.Lines[:n]}).Bytes() }
