package compare

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"platemark/interp/interptest"
	"platemark/interp/rounds"
)

// An approved print that is another print now is told with what changed, from
// what was kept.
func TestStaleApprovals(t *testing.T) {
	ctx := context.Background()
	folder, file := interptest.SmallJob(t, diffBase)
	build(t, file)
	e, err := rounds.Keep(ctx, file, "first hard proof")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := rounds.Approve(file, "large", 0); err != nil {
		t.Fatal(err)
	}
	marks := func() map[string]string {
		j := load(t, file)
		defer j.Close()
		m := map[string]string{}
		for _, p := range j.Plans {
			m[p.Name] = p.Mark.String()
		}
		return m
	}
	// Work on the card leaves the large one approved.
	interptest.Write(t, file, edit(t, string(interptest.Read(t, file)), "amount 120%", "amount 130%"))
	if s, err := StaleApprovals(ctx, file, marks()); err != nil || len(s) != 0 {
		t.Errorf("the card was edited: %v %v", s, err)
	}
	// Work on the large one doesn't.
	interptest.Write(t, file, edit(t, string(interptest.Read(t, file)), "amount 190%", "amount 200%"))
	s, err := StaleApprovals(ctx, file, marks())
	if err != nil || len(s) != 1 || s[0].Print != "large" || s[0].Round != 2 || s[0].Diff == nil || len(s[0].Diff.Changes) != 1 || s[0].Diff.Changes[0].New != "200%" {
		t.Errorf("the large print was edited: %+v %v", s, err)
	}
	// Round 2 without its master: what was kept tells.
	interptest.Write(t, file, edit(t, diffBase, "amount 190%", "amount 150%"))
	os.Remove(filepath.Join(folder, "m.tif"))
	d := diffPaths(t, file+"@2", file, "large")
	if d.Same || len(d.Changes) != 1 || d.Changes[0].Old != "190%" {
		t.Errorf("%+v", d)
	}
	// A kept file that was changed is refused.
	path := filepath.Join(folder, "rounds", "objects", e.Recipe[:2], e.Recipe[2:])
	os.Chmod(path, 0o666)
	interptest.Write(t, path, "another recipe")
	if _, err := Open(ctx, file+"@2"); err == nil || !strings.Contains(err.Error(), "changed") {
		t.Errorf("a changed kept recipe: %v", err)
	}
}
