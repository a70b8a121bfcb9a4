package lang

import (
	"errors"
	"strings"
	"testing"
)

const copyFrom = `recipe 1 draft
master "a.tif"

# The twigs against the sky,
# drawn by hand.
mask twigs {
    stroke along (4%, 71%), (18%, 69.5%) width 6%   # one
}

mask both {
    mask twigs
    soften 1%
}
steps wall {
    enlarge with lanczos3
    sharpen radius 1 px amount 80% through twigs
}
print small {
    size 3 in x 2 in at 300 ppi
    follow wall
    save tiff "small.tif"
}
`

const copyTo = `recipe 1 draft
master   "b.tif"   # odd spaces stay


# above prepare
prepare {
  spot pixels over 12%
}
print other {
    size 3 in x 2 in at 300 ppi
    save tiff "other.tif"
}`

func TestCopyBlocks(t *testing.T) {
	names := func(list ...string) (out []BlockName) {
		for _, s := range list {
			k, n, _ := strings.Cut(s, " ")
			out = append(out, BlockName{k, n})
		}
		return out
	}
	twigs := "# The twigs against the sky,\n# drawn by hand.\nmask twigs {\n    stroke along (4%, 71%), (18%, 69.5%) width 6%   # one\n}\n"
	i := strings.Index(copyTo, "# above")
	out, err := CopyBlocks([]byte(copyFrom), []byte(copyTo), names("mask twigs"), false, nil)
	if want := copyTo[:i] + twigs + "\n" + copyTo[i:]; err != nil || string(out) != want {
		t.Fatalf("%v\n%s", err, UnifiedDiff("got", "want", out, []byte(want)))
	}
	// A second one goes behind the first; steps before the prints.
	more, err := CopyBlocks([]byte(copyFrom), out, names("mask both", "steps wall"), false, nil)
	if err != nil {
		t.Fatal(err)
	}
	want := strings.Replace(string(out), "# one\n}\n", "# one\n}\n\nmask both {\n    mask twigs\n    soften 1%\n}\n", 1)
	want = strings.Replace(want, "print other", "\nsteps wall {\n    enlarge with lanczos3\n    sharpen radius 1 px amount 80% through twigs\n}\n\nprint other", 1)
	if string(more) != want {
		t.Errorf("\n%s", UnifiedDiff("got", "want", more, []byte(want)))
	}
	// All at once gives the same, and a print goes to the end of a file without
	// a line end there.
	all, err := CopyBlocks([]byte(copyFrom), []byte(copyTo), names("mask twigs", "mask both", "steps wall"), false, nil)
	if err != nil || string(all) != want {
		t.Errorf("%v\n%s", err, UnifiedDiff("got", "want", all, []byte(want)))
	}
	all, err = CopyBlocks([]byte(copyFrom), all, names("print small"), false, nil)
	if err != nil || string(all) != want+"\n\nprint small {\n    size 3 in x 2 in at 300 ppi\n    follow wall\n    save tiff \"small.tif\"\n}\n" {
		t.Errorf("%v\n%s", err, all)
	}
	if _, ds := Parse("", all); HasErrors(ds) {
		t.Errorf("%v", ds)
	}

	for _, c := range []struct {
		to     string
		blocks []BlockName
		part   string
		hint   string
	}{
		{string(out), names("mask twigs"), "there is a mask twigs already", "--replace"},
		{copyTo, names("mask twig"), "no mask twig to copy", "did you mean twigs"},
		{copyTo, names("mask reeds"), "no mask reeds to copy", "there is: twigs and both"},
		{copyTo, names("steps wall"), "no mask is named twigs", "copy it too: steps wall, mask twigs"},
		{strings.Replace(copyTo, "print other", "print twigs", 1), names("mask twigs"), "taken by a print", "rename"},
		{strings.Replace(copyTo, "other.tif", "SMALL.tif", 1), names("mask twigs", "steps wall", "print small"), "no longer read", ""},
	} {
		_, err := CopyBlocks([]byte(copyFrom), []byte(c.to), c.blocks, false, nil)
		var ce *CopyError
		if !errors.As(err, &ce) || !strings.Contains(ce.Summary, c.part) || c.hint != "" && !strings.Contains(strings.Join(ce.Hints, "\n"), c.hint) {
			t.Errorf("%v: %v %v", c.blocks, err, ce)
		}
	}

	// Replacing touches the block's own lines only.
	changed := strings.Replace(string(out), "width 6%", "width 9%", 1)
	changed = strings.Replace(changed, "# drawn by hand.", "# mine", 1)
	again, err := CopyBlocks([]byte(copyFrom), []byte(changed), names("mask twigs"), true, nil)
	if want := strings.Replace(string(out), "# drawn by hand.", "# mine", 1); err != nil || string(again) != want {
		t.Errorf("%v\n%s", err, UnifiedDiff("got", "want", again, []byte(want)))
	}

	// Line ends are those of the recipe that is written to.
	crlf := strings.ReplaceAll(copyTo, "\n", "\r\n")
	win, err := CopyBlocks([]byte(copyFrom), []byte(crlf), names("mask twigs"), false, nil)
	if err != nil || string(win) != strings.ReplaceAll(string(out), "\n", "\r\n") {
		t.Errorf("%v\n%q", err, win)
	}
	unix, err := CopyBlocks([]byte("\uFEFF"+strings.ReplaceAll(copyFrom, "\n", "\r\n")), []byte(copyTo), names("mask twigs"), false, nil)
	if err != nil || string(unix) != string(out) {
		t.Errorf("%v\n%q", err, unix)
	}
}

func TestBlocks(t *testing.T) {
	var got []string
	for _, b := range Blocks([]byte(copyFrom)) {
		got = append(got, b.String())
	}
	if s := strings.Join(got, ", "); s != "mask twigs, mask both, steps wall, print small" {
		t.Error(s)
	}
}
