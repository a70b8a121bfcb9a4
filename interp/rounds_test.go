package interp

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
)

// keep keeps a round and fails on errors.
func keepRound(t testing.TB, file, note string) *RoundEntry {
	t.Helper()
	e, err := KeepRound(context.Background(), file, note)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func TestRounds(t *testing.T) {
	folder, file := smallJob(t, diffBase)
	built := mustBuild(t, file, LoadOptions{}, BuildOptions{})
	e := keepRound(t, file, "first hard proof")
	if e.Number != 2 || len(e.Prints) != 3 || len(e.Inputs) != 1 || len(e.Prints[0].Logs) != 1 {
		t.Fatalf("%+v", e)
	}
	if got := string(read(t, file)); got != strings.Replace(diffBase, "round   2", "round   3", 1) {
		t.Errorf("more than the number changed:\n%s", got)
	}
	r, err := ReadRounds(file)
	if err != nil || len(r.Lines) != 1 {
		t.Fatal(r, err)
	}
	if b, err := r.object(e.Prints[0].Logs[0]); err != nil || !bytes.Equal(b, read(t, built[0].Log)) {
		t.Errorf("the kept log: %v", err)
	}
	if _, err := Approve(file, "large", 0); err != nil {
		t.Fatal(err)
	}
	if _, err := Approve(file, "poster", 0); err == nil || !strings.Contains(err.Error(), "large middle card") {
		t.Errorf("%v", err)
	}
	if _, err := Approve(file, "large", 7); err == nil {
		t.Error("round 7 was approved")
	}

	// Work on the card leaves the large one approved.
	marks := func() map[string]string {
		m := map[string]string{}
		for _, p := range mustLoad(t, file, LoadOptions{NoOutputs: true}).Plans {
			m[p.Name] = p.Mark.String()
		}
		return m
	}
	write(t, file, edit(t, string(read(t, file)), "amount 120%", "amount 130%"))
	if s, err := StaleApprovals(context.Background(), file, marks()); err != nil || len(s) != 0 {
		t.Errorf("the card was edited: %v %v", s, err)
	}
	// Work on the large one doesn't.
	write(t, file, edit(t, string(read(t, file)), "amount 190%", "amount 200%"))
	s, err := StaleApprovals(context.Background(), file, marks())
	if err != nil || len(s) != 1 || s[0].Print != "large" || s[0].Round != 2 || s[0].Diff == nil || len(s[0].Diff.Changes) != 1 || s[0].Diff.Changes[0].New != "200%" {
		t.Errorf("the large print was edited: %+v %v", s, err)
	}
	// The next round; then a recipe whose number was turned back.
	if e := keepRound(t, file, ""); e.Number != 3 {
		t.Errorf("round %d", e.Number)
	}
	write(t, file, diffBase)
	if _, err := KeepRound(context.Background(), file, "again"); err != nil {
		t.Errorf("the same recipe as round 2 again: %v", err)
	}
	write(t, file, edit(t, diffBase, "amount 190%", "amount 150%"))
	if _, err := KeepRound(context.Background(), file, ""); err == nil || !strings.Contains(err.Error(), "round 2 is kept already") {
		t.Errorf("another recipe as round 2: %v", err)
	}
	// Round 2 without its master: what was kept tells.
	os.Remove(filepath.Join(folder, "m.tif"))
	d := diffPaths(t, file+"@2", file, "large")
	if d.Same || len(d.Changes) != 1 || d.Changes[0].Old != "190%" {
		t.Errorf("%+v", d)
	}
	// A kept file that was changed is refused.
	path := r.objectPath(e.Recipe)
	os.Chmod(path, 0o666)
	write(t, path, "another recipe")
	if _, err := OpenSide(context.Background(), file+"@2"); err == nil || !strings.Contains(err.Error(), "changed") {
		t.Errorf("a changed kept recipe: %v", err)
	}
}

// Fault j05: a torn end is moved aside, recorded, and the chain goes on;
// damage in the middle is refused with the entry's number.
func TestFaultJ05TornRounds(t *testing.T) {
	_, file := smallJob(t, diffBase)
	mustBuild(t, file, LoadOptions{}, BuildOptions{})
	for i := range 3 {
		keepRound(t, file, fmt.Sprintf("note %d", i))
	}
	r := roundsAt(file)
	whole := read(t, r.index)
	lines := bytes.SplitAfter(whole, []byte("\n"))
	last := len(lines[0]) + len(lines[1])

	again := func(what string, torn []byte) {
		t.Helper()
		write(t, r.index, string(torn))
		if _, err := Approve(file, "large", 2); err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		x, err := ReadRounds(file)
		if err != nil || x.Torn != nil {
			t.Fatalf("%s: afterwards: %v", what, err)
		}
		n := 0
		for _, e := range x.Lines {
			if e.Record == "recovered" {
				n++
				if b, err := x.object(e.Tail); err != nil || len(b) != e.Bytes || !bytes.HasSuffix(torn, b) {
					t.Fatalf("%s: what was moved aside: %v", what, err)
				}
			}
		}
		if x.Lines[len(x.Lines)-1].Record != "approved" || n != 1 {
			t.Fatalf("%s: %d recovered entries in %d", what, n, len(x.Lines))
		}
	}
	for cut := last + 1; cut < len(whole); cut++ {
		x := roundsAt(file)
		if err := x.parse(whole[:cut]); err != nil || len(x.Lines) != 2 || !bytes.Equal(x.Torn, whole[last:cut]) {
			t.Fatalf("cut after %d bytes: %d entries, %v", cut, len(x.Lines), err)
		}
		// The whole way on the disk for some of them.
		if k := cut - last; k == 1 || k%97 == 0 || cut == len(whole)-1 {
			again(fmt.Sprintf("cut after %d bytes", cut), whole[:cut])
		}
	}
	for _, tail := range []string{"\x00\x00\x00\x00", strings.Repeat("\x00", 4096), "garbage", "gar\nbage\n", "{\"rec", "\xff\xfe\n\n"} {
		again(fmt.Sprintf("%q behind it", tail), append(bytes.Clone(whole), tail...))
	}
	// Each byte of the first entries: refused, entry named, nothing written.
	for i := 0; i < last; i += 7 {
		b := bytes.Clone(whole)
		b[i] ^= 1
		write(t, r.index, string(b))
		_, err := Approve(file, "large", 2)
		var re *RoundsError
		want := 1
		if i >= len(lines[0]) {
			want = 2
		}
		if !errors.As(err, &re) || re.Line != want {
			t.Fatalf("byte %d (entry %d): %v", i, want, err)
		}
		if !bytes.Equal(read(t, r.index), b) {
			t.Fatal("a damaged list was written to")
		}
	}
	// An entry taken out.
	write(t, r.index, string(lines[0])+string(lines[2]))
	var re *RoundsError
	if _, err := ReadRounds(file); !errors.As(err, &re) || re.Line != 2 {
		t.Errorf("entry 2 taken out: %v", err)
	}
	// A change inside the last entry that leaves it a line of JSON is no torn
	// end.
	write(t, r.index, strings.Replace(string(whole), "note 2", "note 9", 1))
	if _, err := ReadRounds(file); !errors.As(err, &re) || re.Line != 3 {
		t.Errorf("the last entry edited: %v", err)
	}
}

// Fault j05: two runs at once don't write into each other.
func TestFaultJ05RoundsAtOnce(t *testing.T) {
	_, file := smallJob(t, diffBase)
	mustBuild(t, file, LoadOptions{}, BuildOptions{})
	keepRound(t, file, "")
	var wg sync.WaitGroup
	for range 12 {
		wg.Go(func() {
			for _, p := range []string{"large", "card", "middle"} {
				if _, err := Approve(file, p, 0); err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	r, err := ReadRounds(file)
	if err != nil || len(r.Lines) != 37 || r.Torn != nil {
		t.Errorf("%d entries, %v", len(r.Lines), err)
	}
}
