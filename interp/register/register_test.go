package register

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"platemark/interp"
	"platemark/interp/audit"
	"platemark/interp/interptest"
	"platemark/interp/sign"
)

// job is a recipe with an edition of 40, built, and its log.
func job(t *testing.T) (recipe, log string) {
	t.Helper()
	_, recipe = interptest.SmallJob(t, `recipe 1 draft
master "m.tif"
print wall {
    edition 40 plus 2 proofs
    size 1.5 in x 1 in at 60 ppi
    enlarge with mitchell
    save jpeg "p.jpg"
}
`)
	j, err := interp.Load(context.Background(), recipe, interp.LoadOptions{})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	built, err := interp.Build(context.Background(), j, interp.BuildOptions{})
	if err != nil {
		t.Fatal(err)
	}
	return recipe, built[0].Log
}

// add registers copies.
func add(t *testing.T, recipe, log string, copies ...int) *List {
	t.Helper()
	var r *List
	for _, n := range copies {
		var err error
		if r, _, err = Add(context.Background(), recipe, Options{Copy: n, Log: log}); err != nil {
			t.Fatal(err)
		}
	}
	return r
}

// rechained writes entries anew as one whole chain.
func rechained(list ...Entry) string {
	c := &audit.Chain{}
	for _, e := range list {
		e.Prev = c.Prev()
		c.Seal(&e, &e.Self)
	}
	return string(c.Bytes())
}

// What a register that was cut, emptied, rewritten or grown comes to, without a
// head and with the one of its fifth entry.
func TestHeads(t *testing.T) {
	recipe, log := job(t)
	r := add(t, recipe, log, 1, 2, 3, 4, 5)
	head, whole := r.Head(), string(r.BytesTo(5))
	other := slices.Clone(r.Lines)
	other[3].Copy = 9
	twice := slices.Clone(r.Lines)
	twice[3].Copy = 2
	late := slices.Clone(r.Lines)
	late[2].At = "2099-01-01T00:00:00Z"
	odd := slices.Clone(r.Lines)
	odd[4].Record = "wish"
	for _, c := range []struct {
		name, text    string
		without, with bool
		words         string
	}{
		{"as it is", whole, true, true, "it has the head that was given; 0 entries newer"},
		{"the last two taken", string(r.BytesTo(3)), true, false, "2 entries missing"},
		{"all taken", "", true, false, "5 entries missing"},
		{"an entry rewritten", rechained(other...), true, false, "entries were changed, or taken from its end"},
		{"a copy twice", rechained(twice...), false, false, "entry 4 can't stand in a register: copy 2 of print wall is registered already"},
		{"a clock set back", rechained(late...), true, false, "entry 4 says an earlier time than the one before (2099-01-01T00:00:00Z, then "},
		{"a record of another kind", rechained(odd...), false, false, "entry 5 can't stand in a register"},
		{"grown", rechained(append(slices.Clone(r.Lines), Entry{Link: audit.Link{Record: "made", At: r.Lines[4].At}, Print: "wall", Copies: 40, Proofs: 2,
			Proof: 2, State: "I", Mark: r.Lines[0].Mark, File: r.Lines[0].File})...), true, true, "1 entry newer"},
	} {
		interptest.Write(t, r.Path, c.text)
		for _, h := range []string{"", head, strings.TrimPrefix(head, "5:")} {
			v, err := Verify(recipe, h, nil)
			want := c.without
			if h != "" {
				want = c.with
			}
			if err != nil || v.OK != want {
				t.Errorf("%s, head %q: %v %v", c.name, h, v, err)
				continue
			}
			said := fmt.Sprint(v.Lines)
			if h == "" && v.OK && !strings.Contains(said, "the end is not pinned") {
				t.Errorf("%s: nothing is said of the end: %s", c.name, said)
			}
			if h == head && !strings.Contains(said, c.words) {
				t.Errorf("%s: expected %q: %s", c.name, c.words, said)
			}
		}
	}
	os.Remove(r.Path)
	if v, err := Verify(recipe, "", nil); err != nil || !v.OK {
		t.Errorf("taken away: %v %v", v, err)
	}
	if v, err := Verify(recipe, head, nil); err != nil || v.OK {
		t.Errorf("taken away, with its head: %v %v", v, err)
	}
}

// A torn end is moved aside and recorded, wherever the last line was cut, and
// nothing before it is lost.
func TestTornRegister(t *testing.T) {
	recipe, log := job(t)
	r := add(t, recipe, log, 1, 2)
	whole := r.BytesTo(2)
	first := len(r.BytesTo(1))
	for cut := first + 1; cut < len(whole); cut += 37 {
		interptest.Write(t, r.Path, string(whole[:cut]))
		again, e, err := Add(context.Background(), recipe, Options{Copy: 2, Log: log})
		if err != nil || e.Name() != "2/40" || len(again.Lines) != 3 || again.Lines[1].Record != "recovered" {
			t.Fatalf("cut at %d: %+v %v", cut, again, err)
		}
		if kept := interptest.Read(t, again.Aside(again.Torn)); !bytes.Equal(kept, whole[first:cut]) {
			t.Errorf("cut at %d: moved aside: %q", cut, kept)
		}
		if v, err := Verify(recipe, "", nil); err != nil || !v.OK {
			t.Errorf("cut at %d: %v %v", cut, v, err)
		}
	}
}

// Twenty runs at once that want forty numbers: each number once.
func TestRegisterAtOnce(t *testing.T) {
	recipe, log := job(t)
	var wg sync.WaitGroup
	var mu sync.Mutex
	done := map[int]int{}
	for k := range 20 {
		wg.Go(func() {
			for _, n := range []int{k + 1, 40 - k, k/2 + 1} {
				if _, _, err := Add(context.Background(), recipe, Options{Copy: n, Log: log}); err == nil {
					mu.Lock()
					done[n]++
					mu.Unlock()
				} else if !strings.Contains(err.Error(), "is registered already") {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	r, err := Read(recipe)
	if err != nil || len(r.Lines) != 40 || len(done) != 40 {
		t.Fatalf("%d entries, %d numbers, %v", len(r.Lines), len(done), err)
	}
	for n, k := range done {
		if k != 1 {
			t.Errorf("copy %d was registered %d times", n, k)
		}
	}
}

// A signature is of the entries that there were; later ones aren't signed, taken
// ones are missed, and one of a log never counts.
func TestSignedRegister(t *testing.T) {
	recipe, log := job(t)
	key, err := sign.LoadKey("../sign/testdata/key", nil)
	if err != nil {
		t.Fatal(err)
	}
	list := filepath.Join(t.TempDir(), "signers")
	interptest.Write(t, list, "studio@house "+string(interptest.Read(t, "../sign/testdata/key.pub")))
	signers, err := sign.ReadSigners(list)
	if err != nil {
		t.Fatal(err)
	}
	who := &sign.Whose{Signers: signers}
	verify := func(want bool, words string) {
		t.Helper()
		v, err := Verify(recipe, "", who)
		if err != nil || v.OK != want || !strings.Contains(fmt.Sprint(v.Lines), words) {
			t.Errorf("expected %v, %q: %+v %v", want, words, v, err)
		}
	}
	r := add(t, recipe, log, 1)
	verify(false, "it isn't there")
	if r, _, err = Add(context.Background(), recipe, Options{Copy: 2, Log: log, Key: key}); err != nil {
		t.Fatal(err)
	}
	verify(true, "the register is signed by studio@house")
	r = add(t, recipe, log, 3)
	verify(true, "the signature is of the first 2 entries")
	interptest.Write(t, r.Path, string(r.BytesTo(1)))
	verify(false, "it isn't of this content")
	if _, _, err := Add(context.Background(), recipe, Options{Copy: 5, Log: log, Key: key}); err == nil || !strings.Contains(err.Error(), "the register's signature doesn't count") {
		t.Errorf("a register that was cut is signed again: %v", err)
	}
	interptest.Write(t, r.Path, "")
	verify(false, "it isn't of this content")
	interptest.Write(t, r.Path, string(r.BytesTo(3)))
	if err := key.SignFile(r.Path, sign.Log); err != nil {
		t.Fatal(err)
	}
	l, err := audit.ReadLog(log)
	if err != nil {
		t.Fatal(err)
	}
	if err := Packed(recipe, l); err != nil {
		t.Fatal(err)
	}
	if r, err = Read(recipe); err != nil || len(r.Lines) != 4 || r.Lines[3].Record != "packed" || len(r.Of(l.File.Mark)) != 3 {
		t.Errorf("packed: %+v %v", r, err)
	}
	verify(false, `made for the namespace "platemark-log"`)
}

// States are numbered as on plates (common practice, no source).
func TestRoman(t *testing.T) {
	for n, want := range map[int]string{1: "I", 2: "II", 4: "IV", 9: "IX", 14: "XIV", 39: "XXXIX"} {
		if got := roman(n); got != want {
			t.Errorf("%d: %s", n, got)
		}
	}
}
