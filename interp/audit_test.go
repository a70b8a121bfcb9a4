package interp

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"platemark/interp/audit"
)

const tiny = `recipe 1 draft
master "m.tif"
mask middle {
    ellipse at (50%, 50%) size 60% x 30% soft 50%
}
print small {
    size 1.5 in x 1 in at 96 ppi
    enlarge with lanczos3
    sharpen radius 1 px amount 100% through middle
    save tiff "small.tif"
}
`

// Each byte of each record changed in turn: reading fails and names the line.
func TestChangedByteOfTheLogIsNamed(t *testing.T) {
	_, file := smallJob(t, tiny)
	log := mustBuild(t, file, LoadOptions{}, BuildOptions{})[0].Log
	b := read(t, log)
	if _, err := audit.ParseLog(log, b); err != nil {
		t.Fatal(err)
	}
	line := 1
	for i := range b {
		for _, flip := range []byte{1, 0x20} {
			c := bytes.Clone(b)
			c[i] ^= flip
			_, err := audit.ParseLog(log, c)
			var le *audit.LogError
			if !errors.As(err, &le) {
				t.Fatalf("byte %d of line %d changed from %q to %q: %v", i, line, b[i], c[i], err)
			}
			if le.Line != line {
				t.Fatalf("byte %d of line %d changed from %q to %q: the report names line %d (%s)", i, line, b[i], c[i], le.Line, le.What)
			}
		}
		if b[i] == '\n' {
			line++
		}
	}
}

// Lines taken out, doubled, swapped or added are found too.
func TestChangedLinesOfTheLogAreFound(t *testing.T) {
	_, file := smallJob(t, tiny)
	log := mustBuild(t, file, LoadOptions{}, BuildOptions{})[0].Log
	lines := bytes.SplitAfter(bytes.TrimSuffix(read(t, log), []byte("\n")), []byte("\n"))
	lines[len(lines)-1] = append(lines[len(lines)-1], '\n')
	try := func(name string, l [][]byte) {
		if _, err := audit.ParseLog(log, bytes.Join(l, nil)); err == nil {
			t.Errorf("%s: not found", name)
		}
	}
	for i := range lines {
		var without, doubled, swapped [][]byte
		for k, l := range lines {
			if k != i {
				without = append(without, l)
			}
			doubled = append(doubled, l)
			if k == i {
				doubled = append(doubled, l)
			}
			swapped = append(swapped, l)
		}
		try("line taken out", without)
		try("line doubled", doubled)
		if i > 0 {
			swapped[i], swapped[i-1] = swapped[i-1], swapped[i]
			try("lines swapped", swapped)
		}
	}
	try("cut off", [][]byte{bytes.TrimSuffix(bytes.Join(lines, nil), []byte("\n"))})
	try("empty", nil)
}

// A link can be checked by hand: the SHA-256 of a line without its LF stands
// in the next.
func TestLinkByHand(t *testing.T) {
	_, file := smallJob(t, tiny)
	lines := strings.Split(strings.TrimSuffix(string(read(t, mustBuild(t, file, LoadOptions{}, BuildOptions{})[0].Log)), "\n"), "\n")
	for i := 1; i < len(lines); i++ {
		s := sha256.Sum256([]byte(lines[i-1]))
		if !strings.Contains(lines[i], `"prev":"`+hex.EncodeToString(s[:])+`"`) {
			t.Errorf("line %d doesn't hold the digest of line %d", i+1, i)
		}
	}
	if !strings.Contains(lines[0], `"prev":"`+strings.Repeat("0", 64)+`"`) {
		t.Error("the first line doesn't chain from 64 zeros")
	}
}

func markOfText(t *testing.T, text string) string {
	t.Helper()
	_, file := smallJob(t, text)
	return mustLoad(t, file, LoadOptions{}).Plans[0].Mark.String()
}

// Another text with the same meaning has the same mark; one parameter changed
// gives another.
func TestMarkIsTheMeaning(t *testing.T) {
	want := markOfText(t, tiny)
	same := map[string]string{
		"comments and layout": "# a comment\n" + strings.ReplaceAll(tiny, "    ", "\t  "),
		"names":               strings.ReplaceAll(strings.ReplaceAll(tiny, "middle", "centre"), "print small", "print other"),
		"file name":           strings.ReplaceAll(tiny, "small.tif", "another.tif"),
		"round":               strings.Replace(tiny, "master", "round 3\nmaster", 1),
		"units":               strings.ReplaceAll(tiny, "1.5 in x 1 in", "38.1 mm x 25.4 mm"),
		"CRLF and mark":       "\ufeff" + strings.ReplaceAll(tiny, "\n", "\r\n"),
		"defaults written":    strings.ReplaceAll(tiny, "amount 100%", "amount 100% method unsharp halo 10%"),
		"number's form":       strings.ReplaceAll(tiny, "radius 1 px", "radius 1.00 px"),
		"another print":       tiny + "print more {\n    size 1.5 in x 1 in at 64 ppi\n    save tiff \"more.tif\"\n}\n",
		"unused mask":         strings.Replace(tiny, "print small", "mask spare {\n    rectangle at (1%, 1%) size 1% x 1%\n}\nprint small", 1),
		"steps block":         strings.Replace(strings.Replace(tiny, "    enlarge with lanczos3\n", "    follow up\n", 1), "print small", "steps up {\n    enlarge with lanczos3\n}\nprint small", 1),
	}
	for name, text := range same {
		if got := markOfText(t, text); got != want {
			t.Errorf("%s: another mark", name)
		}
	}
	other := map[string]string{
		"kernel": strings.ReplaceAll(tiny, "lanczos3", "lanczos4"),
		"radius": strings.ReplaceAll(tiny, "radius 1 px", "radius 1.01 px"),
		"amount": strings.ReplaceAll(tiny, "100%", "101%"),
		"quiet":  strings.ReplaceAll(tiny, "amount 100%", "amount 100% quiet 1%"),
		"halo":   strings.ReplaceAll(tiny, "amount 100%", "amount 100% halo 11%"),
		"size":   strings.ReplaceAll(tiny, "96 ppi", "192 ppi"),
		"mask":   strings.ReplaceAll(tiny, "soft 50%", "soft 51%"),
		"light":  strings.ReplaceAll(tiny, "lanczos3", "lanczos3 light linear"),
		"bits":   strings.ReplaceAll(tiny, `small.tif"`, `small.tif" bits 8`),
		"title":  strings.Replace(tiny, "master", "title \"A\"\nmaster", 1),
		"rights": strings.Replace(tiny, "master", "rights \"A\"\nmaster", 1),
		"format": strings.ReplaceAll(tiny, `save tiff "small.tif"`, `save jpeg "small.jpg"`),
		"ppi":    strings.ReplaceAll(tiny, "1.5 in x 1 in at 96", "3 in x 2 in at 48"),
		"spot":   strings.Replace(tiny, "print small", "prepare {\n    spot at (20%, 20%) radius 0.5%\n}\nprint small", 1),
	}
	seen := map[string]string{want: "the recipe itself"}
	for name, text := range other {
		got := markOfText(t, text)
		if before, ok := seen[got]; ok {
			t.Errorf("%s: the mark is the same as of %s", name, before)
		}
		seen[got] = name
	}
}

// The steps of a log are what verify and reprint stand on; verify finds a
// changed input, a changed file and an edited recipe.
func TestVerifyFindsWhatChanged(t *testing.T) {
	ctx := context.Background()
	folder, file := smallJob(t, tiny)
	b := mustBuild(t, file, LoadOptions{}, BuildOptions{})[0]
	verify := func(strict bool) (bool, string) {
		v, err := Verify(ctx, b.Log, VerifyOptions{Strict: strict})
		if err != nil {
			t.Fatal(err)
		}
		var s []string
		for _, l := range v.Lines {
			s = append(s, l.What)
		}
		return v.OK, strings.Join(s, "\n")
	}
	expect := func(strict, ok bool, words string) {
		t.Helper()
		got, text := verify(strict)
		if got != ok || !strings.Contains(text, words) {
			t.Errorf("verify gives %v, expected %v with %q:\n%s", got, ok, words, text)
		}
	}
	expect(true, true, "is the recorded one")
	write(t, file, strings.Replace(tiny, "master", "# edited\nmaster", 1))
	expect(true, true, "same mark")
	write(t, file, strings.ReplaceAll(tiny, "amount 100%", "amount 120%"))
	expect(false, true, "another print now")
	expect(true, false, "amount 120%")
	write(t, file, strings.ReplaceAll(tiny, "amount", "amout"))
	expect(false, true, "has errors now")
	os.Remove(file)
	expect(false, true, "isn't there")
	expect(true, false, "isn't there")
	// What stands there and can't be read is told from it.
	unread := "the recipe " + filepath.Base(file) + " can't be read: "
	if err := os.Mkdir(file, 0o777); err != nil {
		t.Fatal(err)
	}
	expect(false, true, unread+"it is a folder, not an ordinary file; the log holds its text")
	expect(true, false, unread)
	os.Remove(file)
	write(t, file, tiny)
	if err := os.Chmod(file, 0); err != nil {
		t.Fatal(err)
	}
	if f, err := os.Open(file); err == nil {
		f.Close() // root reads all, and Windows knows no such mode
		expect(true, true, "is the recorded one")
	} else {
		expect(false, true, unread+"permission denied")
		expect(true, false, unread)
	}
	os.Remove(file)
	write(t, file, tiny)

	old := read(t, b.File)
	c := bytes.Clone(old)
	c[len(c)/2] ^= 1
	write(t, b.File, string(c))
	expect(false, false, "the print file small.tif was changed")
	os.Remove(b.File)
	expect(false, false, "isn't there (")
	write(t, b.File, string(old))

	// Another build took the file's place: its log says so.
	write(t, file, strings.ReplaceAll(tiny, "amount 100%", "amount 120%"))
	other := mustBuild(t, file, LoadOptions{}, BuildOptions{Force: true})[0]
	expect(false, false, "is another build's now: "+filepath.Base(other.Log))
	write(t, file, tiny)
	write(t, b.File, string(old))

	master := filepath.Join(folder, "m.tif")
	m := read(t, master)
	c = bytes.Clone(m)
	c[len(c)-1] ^= 1
	write(t, master, string(c))
	expect(false, false, "master m.tif was changed")
	os.Remove(master)
	expect(false, false, "isn't there (")
}

// A reprint finds moved and renamed inputs by their digests and gives the same
// bytes, without the recipe file.
func TestReprintFindsMovedInputs(t *testing.T) {
	ctx := context.Background()
	folder, file := smallJob(t, everyStep)
	built := mustBuild(t, file, LoadOptions{}, BuildOptions{})
	os.Remove(file)
	if err := os.MkdirAll(filepath.Join(folder, "archive/2026"), 0o777); err != nil {
		t.Fatal(err)
	}
	elsewhere := t.TempDir()
	if err := os.Rename(filepath.Join(folder, "m.tif"), filepath.Join(elsewhere, "old master.tiff")); err != nil {
		t.Fatal(err)
	}
	for _, b := range built {
		if _, err := Reprint(ctx, b.Log, ReprintOptions{BuildOptions: BuildOptions{Out: filepath.Join(folder, "again")}}); err == nil || !strings.Contains(err.Error(), "not found") {
			t.Errorf("print %s without its master: %v", b.Print, err)
		}
		o := ReprintOptions{LookIn: []string{elsewhere}}
		if _, err := Reprint(ctx, b.Log, o); err == nil || !strings.Contains(err.Error(), "exists already") {
			t.Errorf("print %s: a reprint over the file: %v", b.Print, err)
		}
		o.Out = filepath.Join(folder, "again")
		again, err := Reprint(ctx, b.Log, o)
		if err != nil {
			t.Errorf("print %s: %v", b.Print, err)
			continue
		}
		if again.Sum != b.Sum || !bytes.Equal(read(t, again.File), read(t, b.File)) {
			t.Errorf("print %s: the reprint has other bytes", b.Print)
		}
		if determinedPart(t, again.Log) != determinedPart(t, b.Log) {
			t.Errorf("print %s: the reprint's log has other records", b.Print)
		}
	}
}

// What a reprint finds different it names, and no file gets the print's name.
func TestReprintTellsADifference(t *testing.T) {
	ctx := context.Background()
	folder, file := smallJob(t, tiny)
	b := mustBuild(t, file, LoadOptions{}, BuildOptions{})[0]
	l, err := audit.ReadLog(b.Log)
	if err != nil {
		t.Fatal(err)
	}
	// A log of another engine: the sharpening came to other samples there. The
	// chain is made whole again, so only a reprint can tell.
	plant := func(change func(lines []string) []string) string {
		var text []string
		for _, x := range l.Lines {
			text = append(text, string(x))
		}
		text = change(text)
		c := &audit.Chain{}
		for _, x := range text[:len(text)-1] {
			old := prevOf(x)
			x = strings.Replace(x, `"prev":"`+old+`"`, `"prev":"`+c.Prev()+`"`, 1)
			c.Lines = append(c.Lines, []byte(x))
		}
		c.Close(l.Run.Run)
		path := filepath.Join(folder, "planted.audit.jsonl")
		write(t, path, string(c.Bytes()))
		return path
	}
	os.Remove(b.File)
	last := l.Steps[len(l.Steps)-1]
	cases := []struct {
		name, words string
		change      func([]string) []string
	}{
		{"a step", "line 9 (sharpen)", func(s []string) []string {
			for i := range s {
				if strings.Contains(s[i], `"record":"step"`) {
					s[i] = strings.ReplaceAll(s[i], last.Picture, strings.Repeat("ab", 32))
					s[i] = strings.ReplaceAll(s[i], last.Bands[0], strings.Repeat("cd", 32))
				}
			}
			return s
		}},
		{"the file", "another encoder", func(s []string) []string {
			for i := range s {
				s[i] = strings.ReplaceAll(s[i], l.File.SHA256, strings.Repeat("ef", 32))
			}
			return s
		}},
		{"the decoder", "decoded to other samples", func(s []string) []string {
			for i := range s {
				s[i] = strings.ReplaceAll(s[i], l.Inputs[0].Picture, strings.Repeat("12", 32))
			}
			return s
		}},
		{"the mark", "gives the mark", func(s []string) []string {
			for i := range s {
				s[i] = strings.ReplaceAll(s[i], l.File.Mark, strings.Repeat("34", 32))
			}
			return s
		}},
		{"the draft", "another draft", func(s []string) []string {
			for i := range s {
				s[i] = strings.ReplaceAll(s[i], l.Head.Draft, strings.Repeat("56", 32))
			}
			return s
		}},
	}
	for _, c := range cases {
		path := plant(c.change)
		_, err := Reprint(ctx, path, ReprintOptions{})
		words := c.words
		if c.name == "the mark" {
			words = "the log says"
		}
		if err == nil || !strings.Contains(err.Error(), words) {
			t.Errorf("%s: %v, expected words %q", c.name, err, words)
		}
		if _, err := os.Lstat(b.File); err == nil {
			t.Fatalf("%s: a file stands under the print's name", c.name)
		}
		if left, _ := filepath.Glob(filepath.Join(folder, ".*partial")); len(left) > 0 {
			t.Errorf("%s: %v was left", c.name, left)
		}
		os.Remove(path)
	}
}

func prevOf(line string) string {
	_, after, _ := strings.Cut(line, `"prev":"`)
	return after[:64]
}

// An older log is never replaced, and the same mark with other bytes is said
// loudly.
func TestOlderLogsStay(t *testing.T) {
	folder, file := smallJob(t, tiny)
	a := mustBuild(t, file, LoadOptions{}, BuildOptions{})[0]
	before := string(read(t, a.Log))
	b := mustBuild(t, file, LoadOptions{}, BuildOptions{Force: true})[0]
	if b.Log == a.Log || string(read(t, a.Log)) != before {
		t.Error("the older log was replaced")
	}
	if !b.Repeat {
		t.Error("the second build doesn't say that the bytes are the recorded ones")
	}
	if determinedPart(t, a.Log) != determinedPart(t, b.Log) {
		t.Error("two builds have other determined records")
	}
	// Plant an older log with the same mark and another file.
	l, err := audit.ReadLog(a.Log)
	if err != nil {
		t.Fatal(err)
	}
	c := &audit.Chain{}
	for _, x := range l.Lines[:len(l.Lines)-1] {
		s := strings.ReplaceAll(string(x), l.File.SHA256, strings.Repeat("ef", 32))
		c.Lines = append(c.Lines, []byte(strings.Replace(s, `"prev":"`+prevOf(s)+`"`, `"prev":"`+c.Prev()+`"`, 1)))
	}
	c.Close(l.Run.Run)
	os.Remove(a.Log)
	write(t, a.Log, string(c.Bytes()))
	old := read(t, a.File)
	j := mustLoad(t, file, LoadOptions{Force: true})
	if _, err := Build(context.Background(), j, BuildOptions{Force: true}); err == nil || !strings.Contains(err.Error(), "the same mark must give the same file") {
		t.Errorf("same mark, other bytes: %v", err)
	}
	if !bytes.Equal(read(t, a.File), old) {
		t.Error("the print file was replaced")
	}
	if f, _ := filepath.Glob(filepath.Join(folder, "*.failed-1.jsonl")); len(f) != 1 {
		t.Error("the failed build left no log under another name")
	} else if v, err := Verify(context.Background(), f[0], VerifyOptions{}); err != nil || v.OK {
		t.Errorf("verifying the log of a failed build: %v %v", v, err)
	}
}
