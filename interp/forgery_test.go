package interp

import (
	"bytes"
	"context"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"platemark/interp/audit"
	"platemark/interp/plan"
	"platemark/interp/sign"
)

const forgedRecipe = `recipe 1 draft
master "m.tif"
mask painted {
    file "painted.tif"
}
prepare {
    spot at (22%, 11%) radius 1%
}
print small {
    size 1.5 in x 1 in at 96 ppi
    enlarge with lanczos3
    sharpen radius 1 px amount 100% through painted
    convert to profile "p.icc"
    save tiff "small.tif"
}
print other {
    size 1.5 in x 1 in at 96 ppi
    enlarge with lanczos3
    save tiff "other.tif"
}
`

// forgedJob builds forgedRecipe's print small and reads its log: lines 3 to 5
// are inputs, 6 to 10 steps, then file and run.
func forgedJob(t testing.TB) *audit.Log {
	t.Helper()
	folder, file := smallJob(t, forgedRecipe)
	writeMaster(t, filepath.Join(folder, "painted.tif"), 48, 32, 1, "")
	write(t, filepath.Join(folder, "p.icc"), string(read(t, filepath.Join("..", "testdata", "standards", "profiles", "srgb_v4.icc"))))
	l, err := audit.ReadLog(mustBuild(t, file, LoadOptions{Prints: []string{"small"}}, BuildOptions{})[0].Log)
	if err != nil {
		t.Fatal(err)
	}
	if len(l.Inputs) != 3 || len(l.Steps) != 5 || len(l.Lines) != 12 {
		t.Fatalf("the log has %d inputs, %d steps, %d lines", len(l.Inputs), len(l.Steps), len(l.Lines))
	}
	return l
}

// rechain writes records anew as one whole chain.
func rechain(records ...any) []byte {
	c := &audit.Chain{}
	for _, r := range records {
		switch r := r.(type) {
		case audit.LogRecord:
			r.Prev = c.Prev()
			c.Add(r)
		case audit.RecipeRecord:
			r.Prev, r.SHA256 = c.Prev(), audit.SumOf([]byte(r.Text))
			c.Add(r)
		case audit.InputRecord:
			r.Prev = c.Prev()
			c.Add(r)
		case audit.StepRecord:
			r.Prev = c.Prev()
			c.Add(r)
		case audit.FileRecord:
			r.Prev = c.Prev()
			c.Add(r)
		case audit.RunRecord:
			c.Close(r.Run)
		default:
			c.Add(r)
		}
	}
	return c.Bytes()
}

// recordsOf are a log's records in their order.
func recordsOf(l *audit.Log) []any {
	all := []any{l.Head}
	for _, r := range l.Recipes() {
		all = append(all, r)
	}
	for _, r := range l.Inputs {
		all = append(all, r)
	}
	for _, r := range l.Steps {
		all = append(all, r)
	}
	return append(all, l.File, l.Run)
}

// altered changes the record of line n, which is of type T.
func altered[T any](n int, change func(*T)) func([]any) []any {
	return func(all []any) []any {
		r := all[n-1].(T)
		change(&r)
		all[n-1] = r
		return all
	}
}

// A log whose whole chain is made anew is found to be forged by the records
// that don't follow from each other, and the line is named.
func TestForgedLogsAreFound(t *testing.T) {
	ctx := context.Background()
	l := forgedJob(t)
	other := strings.Repeat("ab", 32)
	without := func(n int) func([]any) []any {
		return func(all []any) []any { return slices.Delete(all, n-1, n) }
	}
	again := func(n, before int) func([]any) []any {
		return func(all []any) []any { return slices.Insert(all, before-1, all[n-1]) }
	}
	swap := func(a, b int) func([]any) []any {
		return func(all []any) []any {
			all[a-1], all[b-1] = all[b-1], all[a-1]
			return all
		}
	}
	text := func(old, new string) func([]any) []any {
		return altered(2, func(r *audit.RecipeRecord) { r.Text = strings.Replace(r.Text, old, new, 1) })
	}
	args := func(change func(map[string]string)) func(*audit.StepRecord) {
		return func(r *audit.StepRecord) {
			r.Args = maps.Clone(r.Args)
			change(r.Args)
		}
	}
	lay := func(found map[string]string) func([]any) []any {
		return altered(12, func(r *audit.RunRecord) { r.Found = found })
	}
	cases := []struct {
		name   string
		line   int // 0: words without a line
		words  string
		change func([]any) []any
	}{
		{"format", 1, "the log's format", altered(1, func(r *audit.LogRecord) { r.Format = "another" })},
		{"language", 1, "language version 2", altered(1, func(r *audit.LogRecord) { r.Language = 2 })},
		{"no draft", 1, "another version", altered(1, func(r *audit.LogRecord) { r.Draft = "" })},
		{"another draft", 1, "another draft", altered(1, func(r *audit.LogRecord) { r.Draft = other })},
		{"a second head", 2, "no place", again(1, 2)},
		{"no recipe", 12 - 1, "missing", without(2)},
		{"a recipe that is none", 2, "has errors", altered(2, func(r *audit.RecipeRecord) { r.Text = "a walk by the sea\n" })},
		{"a recipe without the print", 2, "no print", text("print small", "print large")},
		{"another recipe", 9, "amount", text("amount 100%", "amount 101%")},
		{"a line more in the recipe", 6, "a step of line 8", text("master", "# dawn\nmaster")},
		{"another print of the recipe", 11, "saves other.tif", altered(2, func(r *audit.RecipeRecord) { r.Print = "other" })},
		{"pinned otherwise", 3, "pins abab", text("mask painted", "inputs {\n    \"m.tif\" sha256 \""+other+"\"\n}\nmask painted")},
		{"a second recipe", 3, "no place", again(2, 3)},
		{"the master's path", 3, "names no master", func(all []any) []any {
			return altered(3, func(r *audit.InputRecord) { r.Path = "x.tif" })(lay(map[string]string{"x.tif": "m.tif", "painted.tif": "painted.tif", "p.icc": "p.icc"})(all))
		}},
		{"the mask's role", 4, "names no", altered(4, func(r *audit.InputRecord) { r.Role = "master" })},
		{"the master's size", 0, "recorded 7 bytes", altered(3, func(r *audit.InputRecord) { r.Size = 7 })},
		{"the master's digest", 0, "the master m.tif was changed", altered(3, func(r *audit.InputRecord) { r.SHA256 = other })},
		{"the master's width", 3, "width 97", altered(3, func(r *audit.InputRecord) { r.Width = 97 })},
		{"the master's bits", 3, "bits 8", altered(3, func(r *audit.InputRecord) { r.Bits = 8 })},
		{"the master's turn", 3, "orientation 3", altered(3, func(r *audit.InputRecord) { r.Turned = 3 })},
		{"the master on white", 3, "on white", altered(3, func(r *audit.InputRecord) { r.On = "white" })},
		{"the master's profile", 3, "profile abab", altered(3, func(r *audit.InputRecord) { r.Profile = other })},
		{"the mask's record left out", 4, "mask", func(all []any) []any {
			return without(4)(lay(map[string]string{"m.tif": "m.tif", "p.icc": "p.icc"})(all))
		}},
		{"the profile's record left out", 5, "the record of the profile p.icc is missing before this line", func(all []any) []any {
			return without(5)(lay(map[string]string{"m.tif": "m.tif", "painted.tif": "painted.tif"})(all))
		}},
		{"an input twice", 4, "stands twice", again(3, 4)},
		{"inputs in another order", 3, "painted.tif", swap(3, 4)},
		{"an operation", 9, "sorcery", altered(9, func(r *audit.StepRecord) { r.Operation = "sorcery" })},
		{"an operation's version", 9, "version 2", altered(9, func(r *audit.StepRecord) { r.Version = 2 })},
		{"an argument", 9, "amount", altered(9, args(func(m map[string]string) { m["amount"] = "3/2" }))},
		{"an argument more", 9, "sparkle", altered(9, args(func(m map[string]string) { m["sparkle"] = "1" }))},
		{"an argument less", 9, "halo", altered(9, args(func(m map[string]string) { delete(m, "halo") }))},
		{"a step's recipe line", 9, "a step of line", altered(9, func(r *audit.StepRecord) { r.Line = 2 })},
		{"a step's width", 9, "145 x 96", altered(9, func(r *audit.StepRecord) { r.Width = 145 })},
		{"a step's channels", 9, "channels", altered(9, func(r *audit.StepRecord) { r.Channels = 1 })},
		{"a step's profile", 9, "profile", altered(9, func(r *audit.StepRecord) { r.Profile = other })},
		{"a step's inputs", 9, "other inputs", altered(9, func(r *audit.StepRecord) { r.Inputs = []string{other, r.Inputs[1]} })},
		{"a step's bands", 9, "0 digests of bands", altered(9, func(r *audit.StepRecord) { r.Bands = nil })},
		{"a picture that isn't of its bands", 9, "picture abab", altered(9, func(r *audit.StepRecord) { r.Picture = other })},
		{"no steps", 6, "has 5 steps, the log 0", func(all []any) []any { return slices.Delete(all, 5, 10) }},
		{"the first step left out", 6, "line", without(6)},
		{"the last step left out", 10, "has 5 steps, the log 4", without(10)},
		{"a step twice", 7, "line", again(6, 7)},
		{"a step more", 11, "which has 5", again(10, 11)},
		{"steps in another order", 8, "", swap(8, 9)},
		{"the mark", 11, "give the mark", altered(11, func(r *audit.FileRecord) { r.Mark = other })},
		{"the encoder", 11, "encoder", altered(11, func(r *audit.FileRecord) { r.Encoder = 2 })},
		{"the encoder's arguments", 11, "bits", altered(11, func(r *audit.FileRecord) { r.Args = maps.Clone(r.Args); r.Args["bits"] = "8" })},
		{"a title", 11, "title", altered(11, func(r *audit.FileRecord) { r.Args = maps.Clone(r.Args); r.Args["title"] = "Salt" })},
		{"the file's picture", 11, "picture abab", altered(11, func(r *audit.FileRecord) { r.Picture = other })},
		{"the file's folder", 11, "saves small.tif", altered(11, func(r *audit.FileRecord) { r.Name = "sent/small.tif" })},
		{"the file's name", 12, "line 11 says", altered(11, func(r *audit.FileRecord) { r.Name = "large.tif" })},
		{"the file's size", 0, "the print file small.tif was changed", altered(11, func(r *audit.FileRecord) { r.Size++ })},
		{"the file's digest", 0, "the print file small.tif was changed", altered(11, func(r *audit.FileRecord) { r.SHA256 = other })},
		{"a digest that is none", 11, "no SHA-256", altered(11, func(r *audit.FileRecord) { r.Mark = "ab" })},
		{"a second file", 12, "no place", again(11, 12)},
		{"a second run", 13, "no place", func(all []any) []any { return append(all, all[11]) }},
		{"a record behind the run", 13, "no place", func(all []any) []any { return append(all, all[5]) }},
		{"a record of no kind", 13, "no place", func(all []any) []any { return append(all, audit.LogRecord{Record: "wish"}) }},
		{"the run's file elsewhere", 12, "plain file name", altered(12, func(r *audit.RunRecord) { r.Out = "../../x" })},
		{"the run's file in a folder of another system", 12, "plain file name", altered(12, func(r *audit.RunRecord) { r.Out = `..\x` })},
		{"the run's file of another name", 12, "line 11 says", altered(12, func(r *audit.RunRecord) { r.Out = "large.tif" })},
		{"an input more in the run", 12, "other inputs", lay(map[string]string{"m.tif": "m.tif"})},
		{"a failure", 0, "a build that failed", altered(12, func(r *audit.RunRecord) { r.Failure = "thunder" })},
	}
	// The log itself, written anew, is what was read.
	write(t, l.Path, string(rechain(recordsOf(l)...)))
	if v, err := Verify(ctx, l.Path, VerifyOptions{}); err != nil || !v.OK || v.State != Fine {
		t.Fatalf("the log itself: %v %v", v, err)
	}
	// Each is refused of a signed log, whatever else verify can tell.
	if err := testKey(t).SignFile(l.Path, sign.Log); err != nil {
		t.Fatal(err)
	}
	if v, err := Verify(ctx, l.Path, VerifyOptions{}); err != nil || !v.OK {
		t.Fatalf("the signed log: %v %v", v, err)
	}
	for _, c := range cases {
		forged := rechain(c.change(recordsOf(l))...)
		if s := sign.Look(l.Path, sign.Log, bytes.NewReader(forged), nil, time.Now()); s.Err == nil {
			t.Errorf("%s: its signature counts: %+v", c.name, s)
		}
		os.Rename(l.Path+sign.Suffix, l.Path+".kept")
		write(t, l.Path, string(forged))
		v, err := Verify(ctx, l.Path, VerifyOptions{})
		os.Rename(l.Path+".kept", l.Path+sign.Suffix)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		begin := ""
		if c.line > 0 {
			begin = fmt.Sprintf("line %d: ", c.line)
		}
		if v.OK || v.State != Wrong || !slices.ContainsFunc(v.Lines, func(f Finding) bool {
			return f.State == Wrong && strings.HasPrefix(f.What, begin) && strings.Contains(f.What, c.words)
		}) {
			t.Errorf("%s: expected line %d with %q, got %v", c.name, c.line, c.words, v.Lines)
		}
	}
}

// A signature holds what no record speaks of: the run, and whose log it is.
func TestSignedLogs(t *testing.T) {
	ctx := context.Background()
	l := forgedJob(t)
	sig := l.Path + sign.Suffix
	signers := filepath.Join(t.TempDir(), "signers")
	write(t, signers, "studio@house valid-after=\"20200101\" "+string(read(t, "sign/testdata/key.pub")))
	list, err := sign.ReadSigners(signers)
	if err != nil {
		t.Fatal(err)
	}
	who := &sign.Whose{Signers: list}
	k := testKey(t)
	original := string(read(t, l.Path))
	edited := string(rechain(altered(12, func(r *audit.RunRecord) { r.Began = "2031-01-01T00:00:00Z" })(recordsOf(l))...))
	for _, c := range []struct {
		name, log string
		sign      func() error // beside the original
		state     FindingState // asked whose it is, and not
		unasked   FindingState
		words     string
	}{
		{"unsigned", original, func() error { return nil }, Absent, Fine, "the log's signature doesn't count: it isn't there"},
		{"signed", original, func() error { return k.SignFile(l.Path, sign.Log) }, Fine, Fine, "the log is signed by studio@house, with the key SHA256:"},
		{"the run edited", edited, func() error { return k.SignFile(l.Path, sign.Log) }, Wrong, Wrong, "it isn't of this content"},
		{"signed as a register", original, func() error { return k.SignFile(l.Path, sign.Register) }, Wrong, Wrong, `made for the namespace "platemark-register"`},
		{"something else", original, func() error { return os.WriteFile(sig, []byte("me"), 0o666) }, Wrong, Wrong, "it isn't one SSH signature"},
	} {
		os.Remove(sig)
		write(t, l.Path, original)
		if err := c.sign(); err != nil {
			t.Fatal(err)
		}
		write(t, l.Path, c.log)
		for _, o := range []VerifyOptions{{Whose: who}, {}} {
			v, err := Verify(ctx, l.Path, o)
			want := c.unasked
			if o.Whose != nil {
				want = c.state
			}
			if err != nil || v.State != want {
				t.Errorf("%s, asked %v: %+v %v", c.name, o.Whose != nil, v, err)
			}
			if o.Whose != nil && !slices.ContainsFunc(v.Lines, func(f Finding) bool { return strings.Contains(f.What, c.words) }) {
				t.Errorf("%s: expected %q, got %v", c.name, c.words, v.Lines)
			}
			_, err = Reprint(ctx, l.Path, ReprintOptions{Whose: o.Whose, BuildOptions: BuildOptions{Out: t.TempDir()}})
			if (err == nil) != (want == Fine) {
				t.Errorf("%s, asked %v: reprint says %v", c.name, o.Whose != nil, err)
			}
		}
	}
}

// testKey is the key of tests.
func testKey(t *testing.T) *sign.Key {
	t.Helper()
	k, err := sign.LoadKey("sign/testdata/key", nil)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// What only a picture could tell verify doesn't know, and says so; a reprint
// finds it and doesn't blame an engine that is the very one of the log.
func TestForgedPicturesAreLeftToReprint(t *testing.T) {
	ctx := context.Background()
	l := forgedJob(t)
	last := l.Steps[4]
	last.Bands = []string{strings.Repeat("cd", 32)}
	j := mustLoad(t, filepath.Join(filepath.Dir(l.Path), "r.recipe"), LoadOptions{Prints: []string{"small"}, NoOutputs: true})
	p := j.Plans[0]
	last.Picture = plan.ResultOf(p.Nodes[p.Out], bandsOf(last)).Sum.String()
	all := recordsOf(l)
	all[9] = last
	all = altered(11, func(r *audit.FileRecord) { r.Picture = last.Picture })(all)
	write(t, l.Path, string(rechain(all...)))
	v, err := Verify(ctx, l.Path, VerifyOptions{})
	if err != nil || !v.OK {
		t.Fatalf("%v %v", v, err)
	}
	if f := v.Lines[len(v.Lines)-1]; f.State != Noted || f.What != "the pictures of 5 steps were not computed again: `platemark reprint` does" {
		t.Errorf("verify doesn't say what it left out: %v", f)
	}
	again := ReprintOptions{BuildOptions: BuildOptions{Out: t.TempDir()}}
	_, err = Reprint(ctx, l.Path, again)
	for _, w := range []string{"(convert)", "came out different", "the likely cause is a changed log"} {
		if err == nil || !strings.Contains(err.Error(), w) {
			t.Errorf("reprint: %v, expected the words %q", err, w)
		}
	}
	if err != nil && strings.Contains(err.Error(), otherEngine) {
		t.Errorf("reprint blames another engine: %v", err)
	}
}

// A log's name is its print's mark: verify says if it bears another one.
func TestNameOfAnotherMark(t *testing.T) {
	l := forgedJob(t)
	path := audit.LogName(filepath.Join(filepath.Dir(l.Path), "small.tif"), strings.Repeat("7", 64))
	write(t, path, string(bytes.Join(l.Lines, []byte("\n")))+"\n")
	v, err := Verify(context.Background(), path, VerifyOptions{})
	if err != nil || v.OK || !slices.ContainsFunc(v.Lines, func(f Finding) bool {
		return f.State == Wrong && strings.Contains(f.What, "bears the mark 777777777777")
	}) {
		t.Errorf("%v %v", v, err)
	}
}

// No log of a crafted name makes a reprint write outside its folder.
func TestReprintWritesPlainNamesOnly(t *testing.T) {
	l := forgedJob(t)
	out := filepath.Join(t.TempDir(), "a", "b")
	for _, name := range []string{"../../x", "..", ".", "", "/prints/x", `..\x`, "sub/small.tif"} {
		write(t, l.Path, string(rechain(altered(12, func(r *audit.RunRecord) { r.Out = name })(recordsOf(l))...)))
		if _, err := Reprint(context.Background(), l.Path, ReprintOptions{BuildOptions: BuildOptions{Out: out, Force: true}}); err == nil || !strings.Contains(err.Error(), "plain file name") {
			t.Errorf("%q: %v", name, err)
		}
	}
	if _, err := os.Lstat(out); err == nil {
		t.Error("a folder was made for the print")
	}
}
