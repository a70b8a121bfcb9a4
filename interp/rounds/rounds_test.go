package rounds

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"

	"platemark/interp"
	"platemark/interp/audit"
	"platemark/interp/interptest"
)

const (
	base = `recipe 1 draft
round   2 # of the hard proof
master  "m.tif"

print large {
    size 3 in x 2 in at 100 ppi
    enlarge with lanczos3
    save jpeg "large.jpg" quality 100
}
`
	middle = `
print middle {
    size 6 cm wide at 100 ppi
    enlarge with mitchell
    save tiff "middle.tif" bits 16
}
`
	card = `
print card {
    size 15 cm wide at 40 ppi
    crop to 4:3 at (40%, 50%)
    enlarge with b-spline light linear
    save jpeg "card.jpg" quality 85
}
`
)

// job is a folder with a recipe of three prints that are built.
func job(t *testing.T) (file string, built []interp.Built) {
	t.Helper()
	_, file = interptest.SmallJob(t, base+middle+card)
	j, err := interp.Load(context.Background(), file, interp.LoadOptions{})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	if built, err = interp.Build(context.Background(), j, interp.BuildOptions{}); err != nil {
		t.Fatal(err)
	}
	return file, built
}

// keepRound keeps a round and fails on errors.
func keepRound(t testing.TB, file, note string) *Entry {
	t.Helper()
	e, err := Keep(context.Background(), file, note)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func TestRounds(t *testing.T) {
	file, built := job(t)
	e := keepRound(t, file, "first hard proof")
	if e.Number != 2 || len(e.Prints) != 3 || len(e.Inputs) != 1 || len(e.Prints[0].Logs) != 1 {
		t.Fatalf("%+v", e)
	}
	if got := string(interptest.Read(t, file)); got != strings.Replace(base, "round   2", "round   3", 1)+middle+card {
		t.Errorf("more than the number changed:\n%s", got)
	}
	r, err := Read(file)
	if err != nil || len(r.Lines) != 1 {
		t.Fatal(r, err)
	}
	if b, err := r.Object(e.Prints[0].Logs[0]); err != nil || !bytes.Equal(b, interptest.Read(t, built[0].Log)) {
		t.Errorf("the kept log: %v", err)
	}
	if bad := r.Damaged(*e); bad != nil {
		t.Errorf("just kept: %v", bad)
	}
	kept := r.objectPath(e.Prints[0].Logs[0])
	text := interptest.Read(t, kept)
	interptest.Write(t, kept, string(text)+" ")
	if bad := r.Damaged(*e); len(bad) != 1 || !strings.Contains(bad[0].Error(), kept+" was changed") {
		t.Errorf("a changed log: %v", bad)
	}
	interptest.Write(t, kept, string(text))
	if _, err := Approve(file, "large", 0); err != nil {
		t.Fatal(err)
	}
	if _, err := Approve(file, "poster", 0); err == nil || !strings.Contains(err.Error(), "large middle card") {
		t.Errorf("%v", err)
	}
	if _, err := Approve(file, "large", 7); err == nil {
		t.Error("round 7 was approved")
	}
	// The next round; then a recipe whose number was turned back.
	interptest.Write(t, file, strings.Replace(string(interptest.Read(t, file)), "lanczos3", "lanczos4", 1))
	if e := keepRound(t, file, ""); e.Number != 3 {
		t.Errorf("round %d", e.Number)
	}
	interptest.Write(t, file, base+middle+card)
	if _, err := Keep(context.Background(), file, "again"); err != nil {
		t.Errorf("the same recipe as round 2 again: %v", err)
	}
	interptest.Write(t, file, base+middle)
	if _, err := Keep(context.Background(), file, ""); err == nil || !strings.Contains(err.Error(), "round 2 is kept already") {
		t.Errorf("another recipe as round 2: %v", err)
	}
}

// A torn end is moved aside, recorded, and the chain goes on;
// damage in the middle is refused with the entry's number.
func TestTornRounds(t *testing.T) {
	file, _ := job(t)
	for i := range 3 {
		keepRound(t, file, fmt.Sprintf("note %d", i))
	}
	r := listAt(file)
	whole := interptest.Read(t, r.Path)
	lines := bytes.SplitAfter(whole, []byte("\n"))
	last := len(lines[0]) + len(lines[1])

	again := func(what string, torn []byte) {
		t.Helper()
		interptest.Write(t, r.Path, string(torn))
		if _, err := Approve(file, "large", 2); err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		x, err := Read(file)
		if err != nil || x.Torn != nil {
			t.Fatalf("%s: afterwards: %v", what, err)
		}
		n := 0
		for _, e := range x.Lines {
			if e.Record == "recovered" {
				n++
				if b, err := x.Object(e.Tail); err != nil || len(b) != e.Bytes || !bytes.HasSuffix(torn, b) {
					t.Fatalf("%s: what was moved aside: %v", what, err)
				}
			}
		}
		if x.Lines[len(x.Lines)-1].Record != "approved" || n != 1 {
			t.Fatalf("%s: %d recovered entries in %d", what, n, len(x.Lines))
		}
	}
	for cut := last + 1; cut < len(whole); cut++ {
		interptest.Write(t, r.Path, string(whole[:cut]))
		if x, err := Read(file); err != nil || len(x.Lines) != 2 || !bytes.Equal(x.Torn, whole[last:cut]) {
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
		interptest.Write(t, r.Path, string(b))
		_, err := Approve(file, "large", 2)
		var re *audit.LedgerError
		want := 1
		if i >= len(lines[0]) {
			want = 2
		}
		if !errors.As(err, &re) || re.Line != want {
			t.Fatalf("byte %d (entry %d): %v", i, want, err)
		}
		if !bytes.Equal(interptest.Read(t, r.Path), b) {
			t.Fatal("a damaged list was written to")
		}
	}
	// An entry taken out.
	interptest.Write(t, r.Path, string(lines[0])+string(lines[2]))
	var re *audit.LedgerError
	if _, err := Read(file); !errors.As(err, &re) || re.Line != 2 {
		t.Errorf("entry 2 taken out: %v", err)
	}
	// A change inside the last entry that leaves it a line of JSON is no torn
	// end.
	interptest.Write(t, r.Path, strings.Replace(string(whole), "note 2", "note 9", 1))
	if _, err := Read(file); !errors.As(err, &re) || re.Line != 3 {
		t.Errorf("the last entry edited: %v", err)
	}
}

// Two runs at once don't write into each other.
func TestRoundsAtOnce(t *testing.T) {
	file, _ := job(t)
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
	r, err := Read(file)
	if err != nil || len(r.Lines) != 37 || r.Torn != nil {
		t.Errorf("%d entries, %v", len(r.Lines), err)
	}
}

// meddling is a context that edits a file while Keep asks it whether to go on.
type meddling struct {
	context.Context
	edit func()
}

func (m meddling) Err() error { m.edit(); return nil }

// An edit that is saved while the inputs are hashed stays.
func TestEditsMeanwhileStay(t *testing.T) {
	file, _ := job(t)
	edited := base + "# an edit\n"
	ctx := meddling{context.Background(), sync.OnceFunc(func() { interptest.Write(t, file, edited) })}
	if _, err := Keep(ctx, file, ""); err == nil || !strings.Contains(err.Error(), "changed meanwhile") {
		t.Error(err)
	}
	if string(interptest.Read(t, file)) != edited {
		t.Error("the edit was lost")
	}
}
