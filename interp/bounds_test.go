package interp

import (
	"bytes"
	"context"
	"fmt"
	"math/rand"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"platemark/interp/audit"
	"platemark/interp/plan"
	"platemark/lang"
	"platemark/ops/codec/tiff/tifftest"
)

// Bounds of a check: what a photographer waits for and what a small machine
// has. Allocated bytes are all that was ever asked for, several times what is
// held at once (256 MB).
const (
	checkCPU   = 2 * time.Second
	checkAlloc = 1 << 30
	checkTold  = 200 // problems
)

// checkBounds checks a text as `check` does and holds it against the bounds.
func checkBounds(t *testing.T, src []byte) *Job {
	t.Helper()
	var m0, m1 runtime.MemStats
	runtime.ReadMemStats(&m0)
	cpu0, _ := audit.Usage()
	j, err := LoadText(context.Background(), filepath.Join(t.TempDir(), "bounds.recipe"), t.TempDir(), src, LoadOptions{NoOutputs: true, NoPins: true})
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	var b bytes.Buffer
	if err := lang.Render(&b, src, j.Diags, lang.RenderOptions{}); err != nil {
		t.Fatal(err)
	}
	cpu1, _ := audit.Usage()
	runtime.ReadMemStats(&m1)
	if cpu := cpu1 - cpu0; cpu > checkCPU {
		t.Errorf("%v of processor time", cpu)
	}
	if n := m1.TotalAlloc - m0.TotalAlloc; n > checkAlloc {
		t.Errorf("%d bytes allocated", n)
	}
	if len(j.Diags) > checkTold {
		t.Errorf("%d problems told", len(j.Diags))
	}
	return j
}

// boundCases are texts that once took minutes, each as long as a recipe may be
// and, cut to the lines and words that are read, as much as is read.
func boundCases() map[string]string {
	const head = "recipe 1 draft\nmaster \"m.tif\"\n"
	each := func(n int, format string) string {
		var b strings.Builder
		for i := range n {
			fmt.Fprint(&b, strings.NewReplacer("#+", fmt.Sprint(i+1), "#", fmt.Sprint(i)).Replace(format))
		}
		return b.String()
	}
	const tail = " size 60 px wide at 300 ppi\n enlarge with mitchell\n save tiff \"p#.tif\"\n}\n"
	dot := func(i, side int) string {
		return fmt.Sprintf(" spot at (%.3f%%, %.3f%%) radius 0.1%%\n", 100*(float64(i%side)+0.5)/float64(side), 100*(float64(i/side)+0.5)/float64(side))
	}
	var spots, same strings.Builder
	for i := range 10_000 {
		spots.WriteString(dot(i, 100))
		same.WriteString(dot(0, 100))
	}
	random := make([]byte, 4<<20)
	rand.New(rand.NewSource(1)).Read(random)
	return map[string]string{
		"spots":            head + "prepare {\n" + spots.String() + "}\nprint p {\n" + tail,
		"one spot":         head + "prepare {\n" + same.String() + "}\nprint p {\n" + tail,
		"chain":            head + each(20_000, "mask m# {\n mask m#+\n}\n"),
		"chain, read":      head + each(9_000, "mask m# {\n mask m#+\n}\n") + "mask m9000 {\n invert\n}\nprint p {\n size 60 px wide at 300 ppi\n enlarge with mitchell\n sharpen radius 1 px amount 100% through m0\n save tiff \"p.tif\"\n}\n",
		"circle":           head + each(9_000, "mask m# {\n mask m#+\n}\n") + "mask m9000 {\n mask m0\n}\n",
		"open prints":      strings.Repeat("print p {\n", 100_000),
		"open, read":       strings.Repeat("print p {\n", 29_000),
		"braces":           strings.Repeat("{", 3_000_000),
		"braces, read":     strings.Repeat(strings.Repeat("{", 100_000)+"\n", 3),
		"brackets":         strings.Repeat("[", 1_000_000),
		"round brackets":   strings.Repeat(strings.Repeat("(", 100_000)+"\n", 3),
		"crosses":          strings.Repeat(strings.Repeat("1x", 70_000)+"\n", 2),
		"random":           string(random),
		"letters":          strings.Repeat("a", 4<<20),
		"line ends":        strings.Repeat("\n", 4<<20),
		"quotes":           strings.Repeat(strings.Repeat(`"`, 250_000)+"\n", 16),
		"combining":        strings.Repeat(strings.Repeat("\u0301", 120_000)+"\n", 16),
		"parameters":       head + "print p {\n" + strings.Repeat(" sharpen"+strings.Repeat(" radius {", 3000)+"\n", 40),
		"unknown words":    each(29_000, "xq#zz 1\n"),
		"unknown masks":    head + each(9_000, "mask mask-#-mask {\n mask musk-#-musk\n}\n"),
		"unknown pictures": head + "print p {\n" + each(14_000, " sharpen radius 1 px amount 9% as picture-#\n") + each(14_000, " blend pictura-# over nothing-#\n"),
		"prints":           head + "prepare {\n" + spots.String() + "}\n" + each(3_900, "print p# {\n"+tail),
		"follows":          head + "steps s {\n" + strings.Repeat(" sharpen radius 1 px amount 9%\n", 14_000) + "}\nprint p {\n" + strings.Repeat(" follow s\n", 14_000) + "}\n",
		"followed spots":   head + "steps s {\n" + spots.String() + "}\n" + each(3_900, "print p# {\n follow s\n"+tail),
		"inputs":           head + "inputs {\n" + each(29_000, " \"f#\" sha256 \"x\"\n") + "}\n",
	}
}

// Any text is checked within the bounds.
func TestBounds(t *testing.T) {
	for name, text := range boundCases() {
		t.Run(name, func(t *testing.T) {
			src := []byte(text)
			j := checkBounds(t, src[:min(len(src), 4<<20)])
			if name == "spots" { // right but for its master
				for _, d := range j.Diags {
					if d.Code != plan.CodeInput {
						t.Errorf("%+v", d)
					}
				}
			} else if !j.Failed() {
				t.Error("no error")
			}
		})
	}
}

// FuzzBounds holds any text against the bounds: what the fuzzer makes, and the
// same many times.
func FuzzBounds(f *testing.F) {
	for _, text := range boundCases() {
		f.Add([]byte(text[:min(len(text), 2000)]), uint16(1))
	}
	for _, line := range []string{"{\n", "print p {\n", " follow s\n", "mask m {\n", "}\n", "1x", "(1%, ", "\"\\", "# \xFF\n", "tone {\n", " curve (0, 0),\n", "'", "1 000 "} {
		f.Add([]byte(line), uint16(60_000))
	}
	f.Fuzz(func(t *testing.T, src []byte, times uint16) {
		if len(src) == 0 {
			return
		}
		n := min(int(times)+1, max(1, (4<<20)/len(src)))
		checkBounds(t, bytes.Repeat(src, n))
	})
}

// What is wrong with one spot of a run is said of its own line.
func TestFaultOfASpotIsOnItsLine(t *testing.T) {
	_, file := smallJob(t, strings.Replace(plain, "print", "prepare {\n    spot at (10%, 10%) radius 2 px\n    spot at (50%, 50%) radius 2 px\n    spot at (30.2 px, 30.2 px) radius 0.2 px\n}\nprint", 1))
	if got := problemsOf(t, file, LoadOptions{}); !strings.Contains(got, "line 6: error this spot is too small") {
		t.Errorf("%s", got)
	}
}

// A mask with alpha isn't told what only a master can say.
func TestMaskWithAlpha(t *testing.T) {
	folder, file := smallJob(t, strings.Replace(plain, "print", "mask m {\n    file \"a.tif\"\n}\nprint", 1))
	write(t, file, strings.Replace(string(read(t, file)), "    save", "    sharpen radius 1 px amount 100% through m\n    save", 1))
	grey := tifftest.Picture{W: 96, H: 64, C: 2, Bits: 16, At: func(_, _, _ int) uint16 { return 65535 }, Set: []tifftest.Tag{{Tag: 338, Type: 3, Values: []uint64{2}}}}
	write(t, filepath.Join(folder, "a.tif"), string(tifftest.File{Pictures: []tifftest.Picture{grey}}.Bytes()))
	if got := problemsOf(t, file, LoadOptions{}); strings.Contains(got, "on white") || !strings.Contains(got, "save the mask without alpha") {
		t.Errorf("%s", got)
	}
}
