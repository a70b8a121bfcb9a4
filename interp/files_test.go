package interp

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"platemark/interp/disk"
	"platemark/lang"
)

// problemsOf loads a recipe and returns its errors as text.
func problemsOf(t testing.TB, file string, o LoadOptions) string {
	t.Helper()
	j, err := Load(context.Background(), file, o)
	if err != nil {
		return err.Error()
	}
	defer j.Close()
	var s []string
	for _, d := range j.Diags {
		if d.Severity != lang.Note {
			s = append(s, fmt.Sprintf("line %d: %s %s %s %s", d.Span.Line, d.Severity, d.Summary, d.Detail, strings.Join(d.Hints, " ")))
		}
	}
	return strings.Join(s, "\n")
}

// An output that is an input, by whatever name, is refused, and the
// input stays as it is.
func TestOutputIsInput(t *testing.T) {
	folder, file := smallJob(t, tiny)
	master := filepath.Join(folder, "m.tif")
	before := read(t, master)
	names := []string{"hard.tif", "M.tif", "m.TIF", "../" + filepath.Base(folder) + "/m.tif"}
	if err := os.Link(master, filepath.Join(folder, "hard.tif")); err != nil {
		t.Fatal(err)
	}
	if links(t) {
		other := t.TempDir()
		for name, to := range map[string]string{
			filepath.Join(folder, "soft.tif"): "m.tif",
			filepath.Join(other, "way"):       folder,
			filepath.Join(folder, "linked"):   filepath.Join(other, "way"),
		} {
			if err := os.Symlink(to, name); err != nil {
				t.Fatal(err)
			}
		}
		names = append(names, "soft.tif", "linked/m.tif", "linked/M.tif")
	}
	for _, name := range names {
		write(t, file, strings.ReplaceAll(tiny, `save tiff "small.tif"`, fmt.Sprintf("save tiff %q", name)))
		got := problemsOf(t, file, LoadOptions{Force: true})
		// The checker sees some of them in the text, the planner the others.
		if !strings.Contains(got, "would overwrite the master m.tif") && !strings.Contains(got, "would take the place of") && !strings.Contains(got, "stays in the recipe's folder") {
			t.Errorf("%s: %q", name, got)
		}
	}
	write(t, file, strings.ReplaceAll(tiny, `save tiff "small.tif"`, `save tiff "a/m.tif"`))
	if got := problemsOf(t, file, LoadOptions{Out: folder, Force: true}); !strings.Contains(got, "would overwrite the master") {
		t.Errorf("by --out with the absolute folder: %q", got)
	}
	write(t, file, tiny)
	j := mustLoad(t, file, LoadOptions{})
	if _, err := Section(context.Background(), j, j.Plans[0], 0, 0, 0, 0, filepath.Join(folder, "hard.tif"), BuildOptions{Force: true}); err == nil {
		t.Error("a section over the master was accepted")
	}
	if !bytes.Equal(read(t, master), before) {
		t.Error("the master changed")
	}
}

// Two prints whose names fold together are refused in the plan,
// both names shown; odd names work.
func TestNamesThatFold(t *testing.T) {
	_, file := smallJob(t, tiny)
	for _, pair := range [][2]string{{"Ete.tif", "ete.tif"}, {"\u00c9t\u00e9.tif", "E\u0301te\u0301.tif"}, {"stra\u00dfe.tif", "STRASSE.tif"}} {
		text := strings.ReplaceAll(tiny, "small.tif", pair[0]) + strings.ReplaceAll("print more {\n    size 1.5 in x 1 in at 64 ppi\n    save tiff \"X\"\n}\n", "X", pair[1])
		write(t, file, text)
		got := problemsOf(t, file, LoadOptions{})
		if !strings.Contains(got, pair[0]) || !strings.Contains(got, pair[1]) || !strings.Contains(got, "error") {
			t.Errorf("%q and %q: %q", pair[0], pair[1], got)
		}
	}
	// In folders that --out brings together.
	text := strings.ReplaceAll(tiny, "small.tif", "a/x.tif") + "print more {\n    size 1.5 in x 1 in at 64 ppi\n    save tiff \"b/X.tif\"\n}\n"
	write(t, file, text)
	if got := problemsOf(t, file, LoadOptions{}); strings.Contains(got, "error") {
		t.Errorf("two folders: %s", got)
	}
	if got := problemsOf(t, file, LoadOptions{Out: t.TempDir()}); !strings.Contains(got, "one file on some systems") {
		t.Errorf("two folders brought together: %q", got)
	}
	folder := filepath.Dir(file)
	for _, name := range []string{"caf\u00e9 [1] #2 100%.tif", "a'b.tif", "{a,b} !^.tif"} {
		writeMaster(t, filepath.Join(folder, name), 96, 64, 3, "opRGB")
		write(t, file, strings.ReplaceAll(strings.ReplaceAll(tiny, "m.tif", name), "small.tif", "print of "+name))
		b := mustBuild(t, file, LoadOptions{}, BuildOptions{})[0]
		if v, err := Verify(context.Background(), b.Log, VerifyOptions{Strict: true}); err != nil || !v.OK {
			t.Errorf("%s: %v %+v", name, err, v)
		}
		if !mustBuild(t, file, LoadOptions{}, BuildOptions{Force: true})[0].Repeat {
			t.Errorf("%s: the older log wasn't found", name)
		}
	}
}

// Paths are relative to the recipe, wherever the program starts;
// the log holds no absolute path; a moved folder still works.
func TestPathsAreRelativeToTheRecipe(t *testing.T) {
	folder, file := smallJob(t, tiny)
	old, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.Chdir(old) })
	other := t.TempDir()
	type start struct{ dir, file string }
	starts := []start{
		{folder, "r.recipe"}, {filepath.Dir(folder), filepath.Join(filepath.Base(folder), "r.recipe")}, {other, file},
	}
	if links(t) {
		if err := os.Symlink(file, filepath.Join(other, "linked.recipe")); err != nil {
			t.Fatal(err)
		}
		starts = append(starts, start{other, "linked.recipe"})
	}
	var want string
	for i, c := range starts {
		if err := os.Chdir(c.dir); err != nil {
			t.Fatal(err)
		}
		out := filepath.Join(folder, fmt.Sprint("out", i))
		b := mustBuild(t, c.file, LoadOptions{}, BuildOptions{Out: out})[0]
		got := determinedPart(t, b.Log)
		if want == "" {
			want = got
		} else if got != want {
			t.Errorf("from %s: other records", c.dir)
		}
		if text := string(read(t, b.Log)); strings.Contains(text, folder) || strings.Contains(text, other) {
			t.Errorf("from %s: the log holds an absolute path", c.dir)
		}
	}
	moved := filepath.Join(t.TempDir(), "moved")
	if err := os.Rename(folder, moved); err != nil {
		t.Fatal(err)
	}
	b := mustBuild(t, filepath.Join(moved, "r.recipe"), LoadOptions{}, BuildOptions{})[0]
	if determinedPart(t, b.Log) != want {
		t.Error("after moving the folder: other records")
	}
	logs, _ := filepath.Glob(filepath.Join(moved, "out0", "*.audit.jsonl"))
	if v, err := Verify(context.Background(), logs[0], VerifyOptions{Strict: true}); err != nil || !v.OK {
		t.Errorf("after moving the folder: %v %+v", err, v)
	}
	write(t, filepath.Join(moved, "r.recipe"), strings.ReplaceAll(tiny, "m.tif", "M.tif"))
	got := problemsOf(t, filepath.Join(moved, "r.recipe"), LoadOptions{Force: true})
	if _, err := os.Stat(filepath.Join(moved, "M.tif")); err == nil { // names that differ in case are one here
		if strings.Contains(got, "error") {
			t.Errorf("the master by a name in another case: %q", got)
		}
	} else if !strings.Contains(got, filepath.Join(moved, "M.tif")) || !strings.Contains(got, "a file m.tif") {
		t.Errorf("a missing file: %q", got)
	}
}

// Nothing that exists is overwritten unless asked for, and then only prints.
func TestNothingIsOverwrittenUnasked(t *testing.T) {
	folder, file := smallJob(t, tiny)
	out := filepath.Join(folder, "small.tif")
	mustBuild(t, file, LoadOptions{}, BuildOptions{})
	says := func(o LoadOptions, want, not string) {
		t.Helper()
		if got := problemsOf(t, file, o); !strings.Contains(got, want) || strings.Contains(got, not) {
			t.Errorf("%q", got)
		}
	}
	says(LoadOptions{}, "small.tif exists already", "move it away")
	says(LoadOptions{}, "build with --force to replace it", "move it away")
	says(LoadOptions{Force: true}, "", "small.tif")
	// One that was cut off is still the print of its log, and so is one that was
	// renamed with its log.
	write(t, out, "cut off")
	says(LoadOptions{Force: true}, "", "small.tif")
	mustBuild(t, file, LoadOptions{Force: true}, BuildOptions{Force: true})
	logs, _ := filepath.Glob(out + ".*.audit.jsonl")
	other := filepath.Join(folder, "other.tif")
	os.Rename(out, other)
	os.Rename(logs[0], strings.Replace(logs[0], "small.tif", "other.tif", 1))
	for _, l := range logs[1:] {
		os.Remove(l)
	}
	if !printAt(context.Background(), other) {
		t.Error("a print that was renamed with its log isn't told")
	}
	write(t, other, "something else")
	if printAt(context.Background(), other) {
		t.Error("another file beside a print's renamed log is taken for the print")
	}
	// Something else is never replaced.
	j := mustLoad(t, file, LoadOptions{Force: true})
	write(t, out, "something else")
	says(LoadOptions{}, "move it away or delete it", "--force")
	says(LoadOptions{Force: true}, "small.tif is in the way, and no whole log beside it says that platemark made it", "build with --force")
	if _, err := Build(context.Background(), j, BuildOptions{Force: true}); err == nil || !strings.Contains(err.Error(), "--force replaces only prints") {
		t.Errorf("%v", err)
	}
	if string(read(t, out)) != "something else" {
		t.Error("a file that is no print was replaced")
	}
	// A file that came into being after the plan.
	os.Remove(filepath.Join(folder, "small.tif"))
	j = mustLoad(t, file, LoadOptions{})
	p := j.Plans[0]
	f, err := disk.Create(filepath.Join(folder, "small.tif"), 0, 0, false)
	if err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(folder, "small.tif"), "meanwhile")
	if err := f.Commit(0); err == nil {
		t.Error("a file that came meanwhile was overwritten")
	}
	if string(read(t, filepath.Join(folder, "small.tif"))) != "meanwhile" {
		t.Error("the file changed")
	}
	if _, err := (&making{Session: NewSession(0, nil), job: j, plan: p, out: filepath.Join(folder, "small.tif")}).print(context.Background()); err == nil {
		t.Error("a build wrote over it")
	}
}

// What a killed build left is taken away by the next.
func TestStrayFilesAreSwept(t *testing.T) {
	folder, file := smallJob(t, tiny)
	stray := filepath.Join(folder, ".small.tif.platemark-0123456789ab.partial")
	write(t, stray, "half")
	mustBuild(t, file, LoadOptions{}, BuildOptions{})
	if _, err := os.Lstat(stray); err == nil {
		t.Error("the stray file is still there")
	}
}

// An input that changes while it is read is refused.
func TestInputThatChangesIsRefused(t *testing.T) {
	folder, file := smallJob(t, tiny)
	j := mustLoad(t, file, LoadOptions{})
	f, err := os.OpenFile(filepath.Join(folder, "m.tif"), os.O_WRONLY|os.O_APPEND, 0)
	if err != nil {
		t.Fatal(err)
	}
	f.WriteString("x")
	f.Close()
	if _, err := Build(context.Background(), j, BuildOptions{}); err == nil || !strings.Contains(err.Error(), "changed while it was being read") {
		t.Errorf("%v", err)
	}
	if _, err := os.Lstat(filepath.Join(folder, "small.tif")); err == nil {
		t.Error("a print was written")
	}
}

// An input that changes in place, its time put back, between being hashed and
// being decoded gives no print: the log would have the digest of other bytes. Nor is
// a step kept.
func TestInputThatChangesInPlaceIsRefused(t *testing.T) {
	for i, name := range []string{"m.tif", "mask.tif", "m.tif"} { // the last decoded while it was hashed
		folder, file := smallJob(t, strings.Replace(tiny, "print small {", "mask a {\n    file \"mask.tif\"\n}\nprint small {", 1))
		writePlain(t, filepath.Join(folder, "mask.tif"), 96, 64, 30000)
		write(t, file, strings.Replace(string(read(t, file)), "    save", "    sharpen radius 1 px amount 50% through a\n    save", 1))
		j := mustLoad(t, file, LoadOptions{Ahead: i})
		path := filepath.Join(folder, name)
		st, err := os.Stat(path)
		if err != nil {
			t.Fatal(err)
		}
		f, err := os.OpenFile(path, os.O_WRONLY, 0)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.WriteAt([]byte("another tone"), st.Size()/2); err != nil {
			t.Fatal(err)
		}
		f.Close()
		if err := os.Chtimes(path, st.ModTime(), st.ModTime()); err != nil {
			t.Fatal(err)
		}
		steps := t.TempDir()
		k, err := NewKeeping(context.Background(), steps, 1e9, func(what string) { t.Error(what) })
		if err != nil {
			t.Fatal(err)
		}
		if _, err := Build(context.Background(), j, BuildOptions{Keeping: k}); err == nil || !strings.Contains(err.Error(), name+" changed while it was being read") {
			t.Errorf("%s: %v", name, err)
		}
		if _, err := os.Lstat(filepath.Join(folder, "small.tif")); err == nil {
			t.Errorf("%s: a print was written", name)
		}
		if list, err := os.ReadDir(steps); err != nil || len(list) != 1 { // the lock
			t.Errorf("%s: there is %v, %v", name, list, err)
		}
	}
}

// A pinned recipe builds only from the pinned files.
func TestPin(t *testing.T) {
	ctx := context.Background()
	folder, file := smallJob(t, tiny)
	mark := mustLoad(t, file, LoadOptions{}).Plans[0].Mark
	pins, _, err := Pin(ctx, file, nil, nil)
	if err != nil || len(pins) != 1 {
		t.Fatal(err, pins)
	}
	text := string(read(t, file))
	if !strings.HasPrefix(text, tiny) {
		t.Error("pinning touched another line")
	}
	if mustLoad(t, file, LoadOptions{}).Plans[0].Mark != mark {
		t.Error("pinning changed the mark")
	}
	if _, _, err := Pin(ctx, file, nil, nil); err != nil || string(read(t, file)) != text {
		t.Error("pinning twice changes the text", err)
	}
	writeMaster(t, filepath.Join(folder, "m.tif"), 48, 32, 3, "opRGB")
	if got := problemsOf(t, file, LoadOptions{}); !strings.Contains(got, "isn't the file that was pinned") {
		t.Errorf("%q", got)
	}
	if _, _, err := Pin(ctx, file, nil, nil); err == nil || !strings.Contains(err.Error(), "--renew") {
		t.Errorf("%v", err)
	}
	if _, _, err := Pin(ctx, file, []string{"x.tif"}, nil); err == nil {
		t.Error("a file that the recipe doesn't name was renewed")
	}
	if _, _, err := Pin(ctx, file, []string{"m.tif"}, nil); err != nil {
		t.Fatal(err)
	}
	if got := problemsOf(t, file, LoadOptions{}); strings.Contains(got, "error") {
		t.Errorf("%q", got)
	}
}

// A paper's profile is pinned too, whether a print converts to it or not.
func TestPinCoversPapers(t *testing.T) {
	folder, file := smallJob(t, strings.Replace(strings.Replace(tiny, "print small {", "print small on baryta {", 1), "mask middle", "paper baryta {\n    profile \"papers/b.icc\"\n}\nmask middle", 1))
	write(t, filepath.Join(folder, "papers/b.icc"), string(read(t, "../testdata/standards/profiles/rgbprint_v2.icc")))
	pins, _, err := Pin(context.Background(), file, nil, nil)
	if err != nil || len(pins) != 2 || pins[1].Path != "papers/b.icc" {
		t.Fatal(err, pins)
	}
	if got := problemsOf(t, file, LoadOptions{}); strings.Contains(got, "error") {
		t.Errorf("%q", got)
	}
}

// Stopping ends within a second and leaves nothing half written.
func TestStoppingLeavesNothing(t *testing.T) {
	folder, file := smallJob(t, strings.ReplaceAll(tiny, "at 96 ppi", "at 3000 ppi"))
	for _, rows := range []int64{0, 1, 500, 2900} {
		ctx, stop := context.WithCancel(context.Background())
		j := mustLoad(t, file, LoadOptions{})
		_, err := Build(ctx, j, BuildOptions{Progress: func(stage string, done, _ int64) {
			if strings.HasPrefix(stage, "print") && done >= rows {
				stop()
			}
		}})
		stop()
		if err == nil {
			t.Fatalf("stopped at row %d: it went on", rows)
		}
		list, _ := os.ReadDir(folder)
		if len(list) != 2 {
			t.Errorf("stopped at row %d: %v", rows, list)
		}
	}
}

// What a print file can't hold is refused in the plan, before
// any pixel; the master's own size plays no part.
func TestPlanRefusesWhatAFileCannotHold(t *testing.T) {
	_, file := smallJob(t, tiny)
	one := func(size, save string) string {
		write(t, file, fmt.Sprintf("recipe 1 draft\nmaster \"m.tif\"\nprint p {\n    crop to %s\n    size %s\n    enlarge with mitchell\n    save %s\n}\n", map[bool]string{true: "44:219", false: "3:2"}[strings.HasPrefix(size, "44")], size, save))
		return file
	}
	// The order of lines in a print is size, then crop.
	fix := func(f string) string {
		l := strings.Split(string(read(t, f)), "\n")
		l[3], l[4] = l[4], l[3]
		write(t, f, strings.Join(l, "\n"))
		return f
	}
	if got := problemsOf(t, fix(one("44 in x 219 in at 300 ppi", `jpeg "p.jpg"`)), LoadOptions{}); !strings.Contains(got, "65") || !strings.Contains(strings.ToLower(got), "tiff") || !strings.Contains(got, "error") {
		t.Errorf("44 x 219 in as JPEG: %q", got)
	}
	if got := problemsOf(t, fix(one("44 in x 219 in at 300 ppi", `tiff "p.tif"`)), LoadOptions{}); strings.Contains(got, "error") {
		t.Errorf("44 x 219 in as TIFF: %q", got)
	}
	// At 300 ppi, 16-bit RGB (hand calculation: width x height x 6 bytes).
	for _, c := range []struct {
		size string
		data int64
	}{{"60 in x 40 in at 300 ppi", 1_296_000_000}, {"90 in x 60 in at 300 ppi", 2_916_000_000}, {"120 in x 80 in at 300 ppi", 5_184_000_000}} {
		j := mustLoad(t, fix(one(c.size, `tiff "p.tif"`)), LoadOptions{})
		e := j.Plans[0].Estimate(2)
		if !e.Exact || e.Largest < c.data || e.Largest > c.data+c.data/100 {
			t.Errorf("%s: planned %d bytes, the samples alone are %d", c.size, e.Largest, c.data)
		}
		if e.Memory < 1<<20 || e.Memory > 1<<30 {
			t.Errorf("%s: memory %d", c.size, e.Memory)
		}
	}
}

// A real plan of 24000 x 36000 at 16 bits is allowed and states its
// memory need.
func TestLargePlanStatesItsMemory(t *testing.T) {
	folder := t.TempDir()
	writeMaster(t, filepath.Join(folder, "m.tif"), 64, 96, 3, "opRGB")
	file := filepath.Join(folder, "r.recipe")
	write(t, file, "recipe 1 draft\nmaster \"m.tif\"\nprint p {\n    size 24000 px x 36000 px at 300 ppi\n    enlarge with lanczos3\n    save tiff \"p.tif\"\n}\n")
	e := mustLoad(t, file, LoadOptions{}).Plans[0].Estimate(2)
	if e.Memory <= 0 || e.Memory > 400<<20 || e.Largest < 24000*36000*6 {
		t.Errorf("%+v", e)
	}
}

// Untagged masters and wrong spaces are never guessed.
func TestUntaggedMasterNeedsASpace(t *testing.T) {
	folder, file := smallJob(t, tiny)
	writeMaster(t, filepath.Join(folder, "m.tif"), 96, 64, 3, "")
	if got := problemsOf(t, file, LoadOptions{}); !strings.Contains(got, "carries no profile") || !strings.Contains(got, `master "m.tif" space SPACE (one of sRGB, opRGB, ROMM-RGB, Display-P3); only who made it knows`) {
		t.Errorf("%q", got)
	}
	write(t, file, strings.Replace(tiny, `"m.tif"`, `"m.tif" space ROMM-RGB`, 1))
	if got := problemsOf(t, file, LoadOptions{}); strings.Contains(got, "error") {
		t.Errorf("%q", got)
	}
	write(t, file, strings.Replace(tiny, `"m.tif"`, `"m.tif" space grey-2.2`, 1))
	if got := problemsOf(t, file, LoadOptions{}); !strings.Contains(got, "is for grey") {
		t.Errorf("%q", got)
	}
	writeMaster(t, filepath.Join(folder, "m.tif"), 96, 64, 3, "sRGB")
	write(t, file, strings.Replace(tiny, `"m.tif"`, `"m.tif" space opRGB`, 1))
	if got := problemsOf(t, file, LoadOptions{}); !strings.Contains(got, "a profile of its own") {
		t.Errorf("%q", got)
	}
}

// What an untagged PNG says of its colours is quoted, but isn't taken for a
// space. 45455 hundred-thousandths are PNG's usual gamma of 1/2.2 (PNG 11.3.2.2).
func TestUntaggedPNGIsQuoted(t *testing.T) {
	folder, file := smallJob(t, strings.Replace(tiny, "m.tif", "m.png", 1))
	write(t, filepath.Join(folder, "m.png"), string(pngWith(t, image.NewNRGBA64(image.Rect(0, 0, 96, 64)), "gAMA", "\x00\x00\xb1\x8f")))
	got := problemsOf(t, file, LoadOptions{})
	for _, want := range []string{"carries no profile", "gamma 0.45455 (gAMA); that names no colour space", `master "m.png" space SPACE`} {
		if !strings.Contains(got, want) {
			t.Errorf("%q isn't in %q", want, got)
		}
	}
	if n := strings.Count(got, "gAMA"); n != 1 {
		t.Errorf("quoted %d times: %q", n, got)
	}
}

// A shape that doesn't fit gets the three mends, with numbers.
func TestShapeErrorShowsTheMends(t *testing.T) {
	folder, file := smallJob(t, strings.ReplaceAll(tiny, "1.5 in x 1 in at 96 ppi", "1 in x 1.5 in at 96 ppi"))
	got := problemsOf(t, file, LoadOptions{})
	for _, want := range []string{"`crop to 2:3`", "53 px of its width", "`size within 1 in x 1.5 in at 96 ppi` would make it 96 x 64 px", "`size 1.5 in x 1 in at 96 ppi` fits"} {
		if !strings.Contains(got, want) {
			t.Errorf("%q isn't in %q", want, got)
		}
	}
	// 7360 x 4912 within 60 x 40 in at 300 ppi is 17980 x 12000 (hand
	// calculation: 7360 · 12000 / 4912 = 17980.456…).
	writeMaster(t, filepath.Join(folder, "m.tif"), 736, 491, 3, "opRGB")
	write(t, file, "recipe 1 draft\nmaster \"m.tif\"\nprint p {\n    size within 60 in x 40 in at 30 ppi\n    enlarge with lanczos3\n    save tiff \"p.tif\"\n}\n")
	// 736 · 1200 / 491 = 1798.77…, rounded half up.
	if w, h := mustLoad(t, file, LoadOptions{}).Plans[0].Pixels(); w != 1799 || h != 1200 {
		t.Errorf("%d x %d", w, h)
	}
	// 101.6 cm at 300 ppi is 12000 px (hand calculation: 101.6 / 2.54 = 40 in).
	write(t, file, "recipe 1 draft\nmaster \"m.tif\"\nprint p {\n    size 101.6 cm high at 300 ppi\n    enlarge with lanczos3\n    save tiff \"p.tif\"\n}\n")
	if _, h := mustLoad(t, file, LoadOptions{}).Plans[0].Pixels(); h != 12000 {
		t.Errorf("101.6 cm at 300 ppi is %d px", h)
	}
}
