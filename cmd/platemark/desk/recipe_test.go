package desk

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"platemark/cmd/platemark/lsp"
	"platemark/interp/audit"
	"platemark/interp/interptest"
)

func onDisk(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// What is typed changes its own place: line ends, a mark before the text,
// comments and characters outside the first plane stay as they are.
func TestUntouchedBytesStay(t *testing.T) {
	for _, text := range []string{written, strings.ReplaceAll(written, "\n", "\r\n"), "\ufeff" + written, strings.TrimSuffix(written, "\n"), strings.Replace(written, "# a title", "# a title,\tx\u0301 😀", 1)} {
		s, path, _ := opened(t, text)
		if c := type_(t, s, "amount 100%", "amount 120%\n    # why"); c != 200 {
			t.Fatal(c)
		}
		if c := call(t, s, "POST", "/save?file=0", nil, nil); c != 200 {
			t.Fatal(c)
		}
		end := "\n"
		if strings.Contains(text, "\r\n") {
			end = "\r\n"
		}
		if want := strings.Replace(text, "amount 100%", "amount 120%"+end+"    # why", 1); onDisk(t, path) != want {
			t.Errorf("it came to %q", onDisk(t, path))
		}
	}
}

// Errors show while one writes, with the mend; the words that may follow come
// from the language.
func TestErrorsAndMends(t *testing.T) {
	s, _, _ := opened(t, written)
	type_(t, s, "amount 100%", "amount 100")
	st := stateOf(t, s, 0)
	if len(st.Problems) == 0 || st.Picture != nil || st.Why == "" {
		t.Fatalf("%+v", st)
	}
	p := st.Problems[0]
	if p.Severity != "error" || p.Line != 19 || p.Mend == nil {
		t.Fatalf("%+v", p)
	}
	if c := call(t, s, "POST", "/change?file=0", map[string]any{"version": st.Version, "changes": []any{map[string]any{"range": p.Mend.At, "text": p.Mend.Text}}}, nil); c != 200 {
		t.Fatal(c)
	}
	if st := stateOf(t, s, 0); st.Text != written || st.Picture == nil {
		t.Errorf("mended to %q", st.Text)
	}
	var offers []lsp.Item
	st = stateOf(t, s, 0)
	if c := call(t, s, "POST", "/offers?file=0", map[string]any{"version": st.Version, "at": map[string]int{"line": 17, "character": 17}}, &offers); c != 200 || len(offers) == 0 || offers[0].Label != "mitchell" && offers[0].Label != "nearest" {
		t.Errorf("%d %+v", c, offers)
	}
}

// Changes of an older text, as another window may send, are refused.
func TestStaleChange(t *testing.T) {
	s, _, _ := opened(t, written)
	r := s.recipes[0]
	at := lsp.Range{}
	if err := r.change(r.version, true, lsp.Change{Range: &at, Text: "#"}); err != nil {
		t.Fatal(err)
	}
	if err := r.change(r.version-1, true, lsp.Change{Range: &at, Text: "#"}); !errors.Is(err, errStale) {
		t.Errorf("%v", err)
	}
	if got := string(r.text()); got != "#"+written {
		t.Errorf("%q", got[:10])
	}
}

// Undo goes back change by change, letters typed in a row as one, and redo on.
func TestUndoRedo(t *testing.T) {
	s, _, _ := opened(t, written)
	r := s.recipes[0]
	for i, c := range "# a" {
		at := lsp.Position{Character: i}
		if err := r.change(r.version, true, lsp.Change{Range: &lsp.Range{Start: at, End: at}, Text: string(c)}); err != nil {
			t.Fatal(err)
		}
	}
	type_(t, s, "amount 100%", "amount 90%")
	typed := "# a" + written
	for _, c := range []struct{ path, want string }{
		{"undo", typed}, {"undo", written}, {"undo", written}, {"redo", typed},
		{"redo", strings.Replace(typed, "100%", "90%", 1)}, {"redo", strings.Replace(typed, "100%", "90%", 1)},
	} {
		if code := call(t, s, "POST", "/"+c.path+"?file=0", nil, nil); code != 200 || string(r.text()) != c.want {
			t.Errorf("%s: %d %q", c.path, code, r.text()[:20])
		}
	}
}

// A file that was changed elsewhere is never written over unasked: a text that
// was saved follows it, one that wasn't stays and both are offered.
func TestChangedElsewhere(t *testing.T) {
	other := strings.Replace(written, "300 ppi", "240 ppi", 1)
	s, path, _ := opened(t, written)
	interptest.Write(t, path, other)
	s.lookAround()
	if st := stateOf(t, s, 0); st.Text != other || !st.Saved || st.Clash != nil {
		t.Errorf("a saved text doesn't follow its file: %+v", st.Clash)
	}
	for _, mine := range []bool{false, true} {
		s, path, _ := opened(t, written)
		type_(t, s, "amount 100%", "amount 70%")
		ours := strings.Replace(written, "amount 100%", "amount 70%", 1)
		interptest.Write(t, path, other)
		if c := call(t, s, "POST", "/save?file=0", nil, nil); c != 409 || onDisk(t, path) != other {
			t.Fatalf("saving over it: %d", c)
		}
		st := stateOf(t, s, 0)
		if st.Clash == nil || st.Clash.Text != other || st.Text != ours {
			t.Fatalf("%+v", st.Clash)
		}
		if c := call(t, s, "POST", "/settle?file=0", map[string]any{"mine": mine, "seen": audit.SumOf([]byte("another yet"))}, nil); c != 409 || onDisk(t, path) != other {
			t.Errorf("settled by a text that nobody saw: %d", c)
		}
		if c := call(t, s, "POST", "/settle?file=0", map[string]any{"mine": mine, "seen": st.Clash.Digest}, nil); c != 200 {
			t.Errorf("settle: %d", c)
		}
		want, lost := other, ours
		if mine {
			want, lost = ours, other
		}
		if st := stateOf(t, s, 0); onDisk(t, path) != want || st.Text != want || !st.Saved || st.Clash != nil {
			t.Errorf("mine %v: %+v", mine, st)
		}
		call(t, s, "POST", "/undo?file=0", nil, nil)
		if st := stateOf(t, s, 0); st.Text != lost {
			t.Errorf("mine %v: undo doesn't have the other text", mine)
		}
	}
}

// A file that went away is written anew by saving, not before.
func TestFileGone(t *testing.T) {
	s, path, _ := opened(t, written)
	os.Remove(path)
	s.lookAround()
	if st := stateOf(t, s, 0); !st.Gone || st.Saved || st.Text != written {
		t.Errorf("%+v", st)
	}
	if c := call(t, s, "POST", "/save?file=0", nil, nil); c != 200 || onDisk(t, path) != written {
		t.Errorf("%d", c)
	}
}

// What was typed outlives the run; what was saved leaves nothing behind; where
// the file became another meanwhile, both are offered.
func TestTypedTextOutlivesTheRun(t *testing.T) {
	s, path, keep := opened(t, written)
	type_(t, s, "amount 100%", "amount 70%")
	ours := strings.Replace(written, "amount 100%", "amount 70%", 1)
	s.keepAll() // as Serve does after each change; then the run is killed
	s2 := again(t, path, keep)
	if st := stateOf(t, s2, 0); st.Text != ours || !st.Restored || st.Saved || st.Clash != nil || onDisk(t, path) != written {
		t.Errorf("%+v", st)
	}
	call(t, s2, "POST", "/undo?file=0", nil, nil)
	if st := stateOf(t, s2, 0); st.Text != written {
		t.Error("undo doesn't lead to the file's text")
	}
	call(t, s2, "POST", "/redo?file=0", nil, nil)
	s2.keepAll()
	other := strings.Replace(written, "300 ppi", "240 ppi", 1)
	interptest.Write(t, path, other)
	s3 := again(t, path, keep)
	s3.lookAround()
	st := stateOf(t, s3, 0)
	if st.Clash == nil || st.Clash.Text != other || st.Text != ours {
		t.Fatalf("%+v", st)
	}
	if c := call(t, s3, "POST", "/save?file=0", nil, nil); c != 409 || onDisk(t, path) != other {
		t.Errorf("saved over another file: %d", c)
	}
	call(t, s3, "POST", "/settle?file=0", map[string]any{"mine": true, "seen": st.Clash.Digest}, nil)
	s3.keepAll()
	if left, _ := filepath.Glob(filepath.Join(keep, "*")); len(left) != 0 || onDisk(t, path) != ours {
		t.Errorf("left: %v", left)
	}
}

// A kept text that can't be read isn't thrown away, and is said.
func TestDamagedKeptText(t *testing.T) {
	_, path, keep := opened(t, written)
	interptest.Write(t, keepFile(keep, path), "{")
	if _, err := New([]string{path}, keep, 1); err == nil || !strings.Contains(err.Error(), "move that file away") {
		t.Errorf("%v", err)
	}
}
