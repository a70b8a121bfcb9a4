package desk

import (
	"context"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"platemark/interp/interptest"
	"platemark/interp/retouch"
)

// speckedRecipe is of a master without spots.
var speckedRecipe = strings.Replace(written, "    spot at (30%, 30%) radius 0.9%\n", "", 1)

// speckle writes a master of w x h px: an even grey with some grain, and a soft
// dark speck at each of these places.
func speckle(t testing.TB, path string, w, h int, at ...[2]int) {
	interptest.WritePicture(t, path, w, h, 3, "", func(x, y, c int) uint16 {
		v := 30000 + float64(interptest.Noise(x, y, c)&255)
		for _, p := range at {
			d := math.Hypot(float64(x-p[0]), float64(y-p[1])) / 4
			v *= 1 - 0.5*math.Exp(-d*d)
		}
		return uint16(v)
	})
}

// specked is a server of a recipe whose master has three specks.
func specked(t *testing.T) (s *Server, path, keep string) {
	t.Helper()
	dir := t.TempDir()
	path, keep = filepath.Join(dir, "work", "r.recipe"), filepath.Join(dir, "kept")
	interptest.Write(t, path, speckedRecipe)
	speckle(t, filepath.Join(dir, "work", "m.tif"), 600, 400, [2]int{150, 100}, [2]int{400, 120}, [2]int{300, 300})
	return again(t, path, keep), path, keep
}

// findsOf asks until the master has been looked over, or with more the print.
func findsOf(t *testing.T, s *Server, more string) (f found) {
	t.Helper()
	for range 400 {
		f = found{}
		if c := call(t, s, "GET", "/finds?file=0&print=p"+more, nil, &f); c != 200 {
			t.Fatalf("finds: %d", c)
		}
		if f.Says == "" {
			return f
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatal("it is looked over for ever")
	return f
}

// The page's finds, their lines, what is taken and what is dismissed are those of
// the command; a second asking, after any change, looks over nothing.
func TestFinds(t *testing.T) {
	s, path, _ := specked(t)
	var first found
	call(t, s, "GET", "/finds?file=0&print=p", nil, &first)
	if first.Says == "" {
		t.Error("looking over is waited for")
	}
	f := findsOf(t, s, "")
	// Beside it the command's own way, on a recipe of its own.
	other := filepath.Join(filepath.Dir(path), "other.recipe")
	interptest.Write(t, other, speckedRecipe)
	ctx := context.Background()
	commands := func() *retouch.Look {
		j, _, err := retouch.Load(ctx, other, retouch.Options{})
		if err != nil {
			t.Fatal(err)
		}
		l, err := retouch.Over(ctx, j, retouch.Options{Workers: 1})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { l.Close(); j.Close() })
		return l
	}
	l := commands()
	same := func() {
		t.Helper()
		want := l.Visible()
		if len(f.Finds) != len(want) || f.Open != len(want) {
			t.Fatalf("%d finds, the command has %d", len(f.Finds), len(want))
		}
		for i, w := range want {
			if g := f.Finds[i]; g.Number != w.Number || !slices.Equal(g.Lines, w.Lines) || g.At != [2]float64{share(w.X), share(w.Y)} {
				t.Errorf("%+v, the command has %+v", g, w)
			}
		}
	}
	if same(); len(f.Finds) != 3 {
		t.Fatalf("%+v", f)
	}
	if w := pageOf(s, "/inspected?file=0&print=p"); w.Code != 200 || !strings.Contains(w.Body.String(), f.Finds[2].Lines[0]) || strings.Contains(w.Header().Get("Content-Security-Policy"), "script") {
		t.Errorf("the command's page: %d, %q\n%s", w.Code, w.Header(), w.Body)
	}
	ask := func(what string, n int, v any) {
		t.Helper()
		if c := call(t, s, "POST", "/"+what+"?file=0", chosen{stateOf(t, s, 0).Version, "p", false, n}, v); c != 200 {
			t.Fatalf("%s %d: %d", what, n, c)
		}
	}
	// Before and after the line: another picture, and nothing written yet.
	var after looked
	ask("mended", f.Finds[0].Number, &after)
	if st := stateOf(t, s, 0); after.Key == st.Picture.Key || after.Words != f.Finds[0].Lines[0] || st.Text != speckedRecipe {
		t.Errorf("%+v", after)
	}
	var at struct{ Line int }
	ask("take", f.Finds[0].Number, &at)
	if _, err := l.Take(ctx, []int{f.Finds[0].Number}); err != nil {
		t.Fatal(err)
	}
	if st := stateOf(t, s, 0); st.Text != onDisk(t, other) || st.Saved || strings.TrimSpace(strings.Split(st.Text, "\n")[at.Line-1]) != f.Finds[0].Lines[0] || st.Picture.Key != after.Key {
		t.Errorf("line %d of %s\nthe command wrote\n%s", at.Line, st.Text, onDisk(t, other))
	}
	dismissed := f.Finds[1].Number
	ask("dismiss", dismissed, nil)
	if _, err := l.Dismiss(ctx, []int{dismissed}); err != nil {
		t.Fatal(err)
	}
	if got := onDisk(t, path+".dismissed.jsonl"); got != onDisk(t, other+".dismissed.jsonl") {
		t.Errorf("dismissed: %s", got)
	}
	if call(t, s, "GET", "/finds?file=0&print=p", nil, &f); f.Says != "" {
		t.Errorf("it is looked over again: %s", f.Says)
	}
	same()
	call(t, s, "POST", "/undo?file=0", nil, nil)
	if f = findsOf(t, s, ""); len(f.Finds) != 2 || stateOf(t, s, 0).Text != speckedRecipe {
		t.Errorf("undone: %+v", f)
	}
	for _, n := range []int{0, dismissed + 1000} {
		if c := call(t, s, "POST", "/take?file=0", chosen{stateOf(t, s, 0).Version, "p", false, n}, nil); c != 422 {
			t.Errorf("find %d is taken: %d", n, c)
		}
	}
	if c := call(t, s, "POST", "/take?file=0", chosen{stateOf(t, s, 0).Version - 1, "p", false, 1}, nil); c != 409 {
		t.Errorf("taken into an older text: %d", c)
	}
	type_(t, s, "amount 100%", "amount 100")
	if c := call(t, s, "GET", "/finds?file=0&print=p", nil, nil); c != 422 {
		t.Errorf("with an error in the recipe: %d", c)
	}
}

// What is found in a print's finished pixels is taken and dismissed, too, and isn't
// looked for again after that; what isn't in the master can't be taken, and is told.
func TestFindsOfThePrint(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "work", "r.recipe")
	interptest.Write(t, path, `recipe 1 draft
master "m.tif" space sRGB
picture late "late.tif" space sRGB

print p {
    size 2 in wide at 300 ppi
    enlarge with mitchell as own
    blend late over own at 50%
    save tiff "p.tif" bits 8
}
`)
	speckle(t, filepath.Join(dir, "work", "m.tif"), 600, 400, [2]int{150, 100}, [2]int{300, 300})
	speckle(t, filepath.Join(dir, "work", "late.tif"), 600, 400, [2]int{450, 200})
	s := again(t, path, filepath.Join(dir, "kept"))
	f := findsOf(t, s, "&finished=true")
	if len(f.Finds) != 3 {
		t.Fatalf("%+v", f)
	}
	ask := func(what string, f find, v any) int {
		return call(t, s, "POST", "/"+what+"?file=0", chosen{stateOf(t, s, 0).Version, "p", true, f.Number}, v)
	}
	look := func(left int) (f found) {
		t.Helper()
		if call(t, s, "GET", "/finds?file=0&print=p&finished=true", nil, &f); f.Says != "" || len(f.Finds) != left {
			t.Errorf("%d finds are left, expected %d; %q", len(f.Finds), left, f.Says)
		}
		return f
	}
	for _, g := range f.Finds {
		var after looked
		late := g.At[0] > 0.7
		code := map[bool]int{false: 200, true: 422}[late]
		if c := ask("mended", g, &after); c != code || !late && after.Key == stateOf(t, s, 0).Picture.Key {
			t.Errorf("%+v: mended %d", g, c)
		}
		if c := ask("take", g, nil); c != code {
			t.Errorf("%+v: taken %d", g, c)
		}
		if late {
			ask("dismiss", g, nil)
		}
	}
	look(0)
	if st := stateOf(t, s, 0); strings.Count(st.Text, "spot at") != 2 {
		t.Errorf("taken: %s", st.Text)
	}
	call(t, s, "POST", "/undo?file=0", nil, nil)
	look(1)
	if w := pageOf(s, "/inspected?file=0&print=p&finished=true"); w.Code != 200 || !strings.Contains(w.Body.String(), "seen in print p") {
		t.Errorf("the command's page: %d\n%.300s", w.Code, w.Body)
	}
	// A spot that stood then and is gone may have hidden something.
	type_(t, s, "spot at", "spot pixels over 12%\n    spot at")
	if f := findsOf(t, s, "&finished=true"); len(f.Finds) != 1 {
		t.Errorf("with another line in prepare: %+v", f)
	}
	type_(t, s, "    spot at", "#")
	var again found
	if call(t, s, "GET", "/finds?file=0&print=p&finished=true", nil, &again); again.Says == "" {
		t.Error("a print without a spot that stood isn't looked over again")
	}
}
