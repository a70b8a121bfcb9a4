package interp

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"platemark/interp/audit"
	"platemark/ops"
)

// changed is a step whose samples from row from on are off by so much.
type changed struct {
	ops.Step
	from, by int
}

func (c changed) Worker() ops.Worker { return changedWorker{c.Step.Worker(), c} }

type changedWorker struct {
	ops.Worker
	c changed
}

func (w changedWorker) Row(dst []uint16, y int, in []ops.Rows) {
	w.Worker.Row(dst, y, in)
	if y >= w.c.from {
		for i := range dst {
			dst[i] = uint16(max(0, min(65535, int(dst[i])+w.c.by)))
		}
	}
}

// otherKernel is an operation in a version whose samples differ.
func otherKernel(t *testing.T, name string, version, from, by int) ops.Operation {
	t.Helper()
	o, ok := ops.Lookup(name, 1)
	if !ok {
		t.Fatalf("no operation %s", name)
	}
	bind := o.New
	o.Version = version
	o.New = func(a ops.Args, in []ops.Pic, env ops.Env) (ops.Step, error) {
		s, err := bind(a, in, env)
		if err != nil {
			return nil, err
		}
		return changed{s, from, by}, nil
	}
	return o
}

// twoPrints has a step before one print's end in 16-bit TIFF, a tall enough
// picture for several bands, and a JPEG beside it.
const twoPrints = `recipe 1 draft
master "m.tif"

print tall {
    size 100 px x 700 px at 100 ppi
    enlarge with mitchell       # up
    sharpen radius 1 px amount 50%
    save tiff "tall.tif" bits 16
}

print web {
    size 100 px x 700 px at 100 ppi
    enlarge with mitchell
    save jpeg "web.jpg" quality 90 chroma half
}
`

func twoJob(t *testing.T) (folder, file string, built []Built) {
	t.Helper()
	folder = t.TempDir()
	writeMaster(t, filepath.Join(folder, "m.tif"), 40, 280, 3, "opRGB")
	file = filepath.Join(folder, "r.recipe")
	write(t, file, twoPrints)
	return folder, file, mustBuild(t, file, LoadOptions{}, BuildOptions{})
}

// A later version of a kernel changes nothing for recipes and logs of language
// version 1, which speaks of the old one; that it would, were it spoken of, is
// shown too, and a reprint of a log under another version says so.
func TestLaterVersionLeavesOldOnesAlone(t *testing.T) {
	folder, file, before := twoJob(t)
	defer ops.TestOnlyRegister(otherKernel(t, "enlarge", 2, 0, 9))()
	after := mustBuild(t, file, LoadOptions{}, BuildOptions{Out: filepath.Join(folder, "after")})
	for i := range before {
		if before[i].Sum != after[i].Sum || determinedPart(t, before[i].Log) != determinedPart(t, after[i].Log) {
			t.Errorf("print %s has other bytes beside a later version of enlarge", before[i].Print)
		}
		again, err := Reprint(context.Background(), before[i].Log, ReprintOptions{BuildOptions: BuildOptions{Out: filepath.Join(folder, "again")}})
		if err != nil || again.Sum != before[i].Sum {
			t.Errorf("print %s: reprinting the log of version 1: %v", before[i].Print, err)
		}
	}
	j := mustLoad(t, file, LoadOptions{NoOutputs: true})
	if got := j.Plans[0].Operations(); got != "enlarge 1, sharpen 1" {
		t.Errorf("the plan speaks of %q", got)
	}
	if got := j.Language(); !strings.HasPrefix(got, "recipe 1 draft, vector list ") {
		t.Errorf("the plan's language is %q", got)
	}
	if l, err := audit.ReadLog(before[0].Log); err != nil || l.Language() != j.Language() || l.Operations() != "enlarge 1, sharpen 1" {
		t.Errorf("the log speaks another language than the plan: %v", err)
	}

	// A language that speaks of the later one.
	defer ops.TestOnlySpeak(1, "enlarge", 2)()
	if got := mustLoad(t, file, LoadOptions{NoOutputs: true}).Plans[0].Operations(); got != "enlarge 2, sharpen 1" {
		t.Errorf("the plan speaks of %q", got)
	}
	other := mustBuild(t, file, LoadOptions{}, BuildOptions{Out: filepath.Join(folder, "other")})
	if other[0].Sum == before[0].Sum || other[0].Mark == before[0].Mark {
		t.Error("the later version gives the same print: the test shows nothing")
	}
	_, err := Reprint(context.Background(), before[0].Log, ReprintOptions{BuildOptions: BuildOptions{Out: filepath.Join(folder, "refused")}})
	for _, w := range []string{"line 6 (enlarge), `enlarge with mitchell`", "is enlarge version 2 now, recorded enlarge version 1", changedLog, "the log"} {
		if err == nil || !strings.Contains(err.Error(), w) {
			t.Errorf("%v: expected the words %q", err, w)
		}
	}
	if v := ops.Version(2, "enlarge"); v != 0 {
		t.Errorf("language 2 speaks of enlarge %d; there is no language 2", v)
	}
}

// reprintWords reprints and expects a Difference with these words, and no file.
func reprintWords(t *testing.T, log, out string, o ReprintOptions, line int, cause string, words ...string) string {
	t.Helper()
	_, err := Reprint(context.Background(), log, o)
	var d *Difference
	if !errors.As(err, &d) {
		t.Fatalf("%v: expected a difference", err)
	}
	if d.Line != line || d.Cause != cause {
		t.Errorf("line %d, cause %q, expected %d, %q: %v", d.Line, d.Cause, line, cause, err)
	}
	for _, w := range words {
		if !regexp.MustCompile(w).MatchString(err.Error()) {
			t.Errorf("%v: expected %q", err, w)
		}
	}
	if out != "" {
		if _, err := os.Lstat(out); err == nil {
			t.Errorf("%s was made", out)
		}
	}
	return err.Error()
}

// Another engine of the log's own name, so that the log is suspected first: one
// kernel differs from row 300 on by 7 of 65535. The report
// names the step by its line, where it begins, how far it goes, and, while the
// recorded print still stands, exactly which rows and by how much.
func TestReprintTellsAnchangedLog(t *testing.T) {
	folder, _, built := twoJob(t)
	undo := ops.TestOnlyRegister(otherKernel(t, "enlarge", 1, 300, 7))
	again := filepath.Join(folder, "again")
	o := ReprintOptions{BuildOptions: BuildOptions{Out: again}}
	reprintWords(t, built[0].Log, filepath.Join(again, "tall.tif"), o, 6, changedLog,
		"line 6 \\(enlarge\\), `enlarge with mitchell`, came out different",
		// Rows 300 to 699 lie in bands 1 and 2 of 3: rows 256 to 699.
		"one of rows 256 to 511, and at most 444 of its 700 rows differ, in 2 of its 3 bands", "every picture before it is identical",
		// Sharpening a step of 7 in every channel reaches 4 rows up; what it adds
		// there or takes is below 1, and 50 % of it is not seen in every row.
		`against the recorded print, which still stands at .*tall\.tif, the first row that differs is row (29[6-9]|300), and 40[0-4] rows differ, by at most ([789]|10) of 65535`,
		"the log names an engine of the same name")
	reprintWords(t, built[1].Log, filepath.Join(again, "web.jpg"), o, 13, changedLog,
		"line 13 \\(enlarge\\)", "against the recorded print", "one of rows 288 to 303, and at most 416 rows differ", "JPEG") // 44 - 18 intervals of 16
	// Without the old print, what the log alone can tell.
	os.Remove(built[0].File)
	if s := reprintWords(t, built[0].Log, built[0].File, ReprintOptions{}, 6, changedLog, "one of rows 256 to 511"); strings.Contains(s, "against the recorded print") {
		t.Errorf("%s: there is no recorded print", s)
	}
	undo()
	if _, err := Reprint(context.Background(), built[0].Log, ReprintOptions{}); err != nil {
		t.Errorf("with the engine as before: %v", err)
	}
}

// Another input: a file of the same size, or of another, at the recorded
// place.
func TestReprintTellsAnotherInput(t *testing.T) {
	folder, _, built := twoJob(t)
	os.Remove(built[0].File)
	master := filepath.Join(folder, "m.tif")
	old := read(t, master)
	b := append([]byte(nil), old...)
	b[len(b)-100] ^= 1
	write(t, master, string(b))
	reprintWords(t, built[0].Log, built[0].File, ReprintOptions{}, 0, otherInput,
		`the master m\.tif isn't the recorded file: sha256 [0-9a-f]{16}…, recorded [0-9a-f]{16}…`, fmt.Sprintf("%d bytes as recorded", len(old)), "--look-in")
	write(t, master, "short")
	reprintWords(t, built[0].Log, built[0].File, ReprintOptions{}, 0, otherInput, fmt.Sprintf("5 bytes, recorded %d", len(old)))
	// The right one elsewhere is found all the same.
	write(t, filepath.Join(folder, "kept", "old.tif"), string(old))
	if _, err := Reprint(context.Background(), built[0].Log, ReprintOptions{}); err != nil {
		t.Errorf("the recorded master lies in another folder: %v", err)
	}
}

// Another profile: the file of a profile changed, and a space of the engine's
// own that has other bytes.
func TestReprintTellsAnotherProfile(t *testing.T) {
	folder := t.TempDir()
	writeMaster(t, filepath.Join(folder, "m.tif"), 40, 30, 3, "opRGB")
	icc := filepath.Join("..", "testdata", "standards", "profiles", "srgb_v4.icc")
	write(t, filepath.Join(folder, "p.icc"), string(read(t, icc)))
	file := filepath.Join(folder, "r.recipe")
	write(t, file, `recipe 1 draft
master "m.tif"
prepare {
    convert to profile "p.icc"
}
print p {
    size 80 px wide at 100 ppi
    enlarge with linear
    convert to sRGB # for screens
    save tiff "p.tif" bits 8
}
`)
	built := mustBuild(t, file, LoadOptions{}, BuildOptions{})[0]
	os.Remove(built.File)
	write(t, filepath.Join(folder, "p.icc"), string(read(t, filepath.Join(filepath.Dir(icc), "romm_v4.icc"))))
	reprintWords(t, built.Log, built.File, ReprintOptions{}, 0, otherProfile, `the profile p\.icc isn't the recorded file`)
	write(t, filepath.Join(folder, "p.icc"), string(read(t, icc)))

	// An engine whose sRGB had other bytes wrote this log.
	l, err := audit.ReadLog(built.Log)
	if err != nil {
		t.Fatal(err)
	}
	srgb := l.Steps[len(l.Steps)-1].Args["profile"]
	c := &audit.Chain{}
	for _, x := range l.Lines[:len(l.Lines)-1] {
		s := strings.ReplaceAll(string(x), srgb, strings.Repeat("5a", 32))
		s = strings.ReplaceAll(s, l.File.Mark, strings.Repeat("34", 32))
		c.Lines = append(c.Lines, []byte(strings.Replace(s, `"prev":"`+prevOf(s)+`"`, `"prev":"`+c.Prev()+`"`, 1)))
	}
	run := l.Run.Run
	run.Engine, run.Toolchain = "v0.1.0", "go1.20"
	c.Close(run)
	planted := filepath.Join(folder, "old.audit.jsonl")
	write(t, planted, string(c.Bytes()))
	reprintWords(t, planted, built.File, ReprintOptions{}, 9, otherProfile,
		"line 9 \\(convert\\), `convert to sRGB`, has another profile: sha256 [0-9a-f]{16}…, recorded 5a5a5a5a5a5a5a5a…",
		"a space that the recipe names has other bytes in this engine", "the log was made by platemark v0.1.0, go1.20, this is platemark ")
}

// What the comparison of two print files can't read it says nothing about.
func TestIntervals(t *testing.T) {
	_, _, built := twoJob(t)
	b := read(t, built[1].File)
	// Source: 700 rows in blocks of 16.
	if n := len(intervals(b)); n != 44 {
		t.Errorf("%d restart intervals, expected 44", n)
	}
	for _, n := range []int{0, 1, 2, 3, 20, 600} {
		intervals(b[:n]) // must not fail
	}
}
