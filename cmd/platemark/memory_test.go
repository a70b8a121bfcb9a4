//go:build linux

package main

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"platemark/ops/codec/tiff"
)

// A memoryKind is a step that reads around a row, or far away, in its widest
// form, or several that don't.
type memoryKind struct{ name, prepare, steps string }

var memoryKinds = []memoryKind{
	{"plain", "", "enlarge with lanczos3"},
	{"sharpen", "", "enlarge with cubic\nsharpen radius 100 px amount 150%\nborder 300 px"},
	{"local", "", "enlarge with cubic\ntone {\nlocal contrast 40% radius 2%\n}\nborder 300 px"},
	{"spot", "", "enlarge with cubic\nspot at (5%, 5%) radius 0.3% from (5%, 95%)\nspot at (90%, 95%) radius 0.3% from (90%, 5%)"},
	{"masks", "", "enlarge with lanczos3 as crisp\nenlarge with mitchell as smooth\nblend smooth over crisp through hazy at 50%\nsharpen radius 2 px amount 100% through hazy\nwrap 300 px continued reflected"},
	{"turned", "turn right\nspot pixels over 12%\ntone {\nlocal contrast 40% radius 2%\n}\n", "enlarge with lanczos3"},
	{"colours", "mirror\nmix red 30% green 59% blue 11%\ntint hue 60 deg chroma 8%\ncrop (1%, 1%) to (99%, 99%)\n", "enlarge with mitchell\nconvert to profile \"p.icc\""},
}

// memoryOf builds a print of w x h px of a kind from a master of black that is
// master px wide: the program never takes more than `plan` says, and works on several
// processors.
func memoryOf(t testing.TB, k memoryKind, master, w, h, processors int) (most, planned int64, workers int, cpu time.Duration) {
	dir, program := t.TempDir(), binary(t)
	blackMaster(t, filepath.Join(dir, "m.tif"), master, master*h/w)
	profile, err := os.ReadFile(filepath.Join("..", "..", "testdata", "standards", "profiles", "rgbprint_v4.icc"))
	if err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "p.icc"), string(profile))
	recipe, prepare, mask := filepath.Join(dir, k.name+".recipe"), "", ""
	if k.prepare != "" {
		prepare = "prepare {\n" + k.prepare + "}\n"
	}
	if k.name == "turned" {
		w, h = h, w
	}
	if k.name == "masks" {
		mask = "mask hazy {\nellipse at (50%, 50%) size 60% x 40% soft 20%\nsoften 1%\n}\n"
	}
	write(t, recipe, fmt.Sprintf("recipe 1 draft\nmaster \"m.tif\" space opRGB\n%s%sprint p {\nsize %d px x %d px at 300 ppi\n%s\nsave jpeg \"p.jpg\" quality 90\n}\n", mask, prepare, w, h, k.steps))
	run := func(args ...string) (*exec.Cmd, []byte) {
		c := exec.Command(program, append(args, recipe)...)
		c.Env = append(os.Environ(), fmt.Sprintf("GOMAXPROCS=%d", processors), "TMPDIR="+dir)
		out, err := c.Output()
		if err != nil {
			t.Fatalf("%s: %v\n%s", k.name, err, err.(*exec.ExitError).Stderr)
		}
		return c, out
	}
	_, out := run("plan", "--json")
	var plan []planRow
	if err := json.Unmarshal(out, &plan); err != nil {
		t.Fatal(err)
	}
	c, _ := run("build")
	most, planned, workers = int64(c.ProcessState.SysUsage().(*syscall.Rusage).Maxrss)*1024, plan[0].Memory, plan[0].Workers
	if most > planned {
		t.Errorf("%s, %d processors: %d MB, and the plan says %d MB at most", k.name, processors, most/1e6, planned/1e6)
	}
	if workers < min(processors, 4) {
		t.Errorf("%s: %d of %d processors at work", k.name, workers, processors)
	}
	return most, planned, workers, c.ProcessState.UserTime() + c.ProcessState.SystemTime()
}

// blackMaster is a sparse 16-bit TIFF, black all over.
func blackMaster(t testing.TB, path string, w, h int) {
	l, err := tiff.NewLayout(tiff.Options{W: w, H: h, C: 3, Bits: 16})
	if err != nil {
		t.Fatal(err)
	}
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if _, err := f.Write(l.Header()); err != nil {
		t.Fatal(err)
	}
	if err := f.Truncate(l.Size()); err != nil {
		t.Fatal(err)
	}
}

func TestMemoryIsWithinThePlan(t *testing.T) {
	for _, k := range memoryKinds {
		memoryOf(t, k, 900, 1800, 1200, 64)
	}
}

// BenchmarkMemory is the same at 18000 x 12000 px, on two processors and on many.
// Sharpening over 100 px takes several minutes of two processors.
//
//	go test ./cmd/platemark -run - -bench Memory -benchtime 1x -timeout 2h
func BenchmarkMemory(b *testing.B) {
	for _, k := range memoryKinds {
		for _, processors := range []int{2, 64} {
			b.Run(fmt.Sprintf("%s/%d", k.name, processors), func(b *testing.B) {
				for b.Loop() {
					most, planned, workers, cpu := memoryOf(b, k, 6000, 18000, 12000, processors)
					b.ReportMetric(float64(most/1e6), "MB")
					b.ReportMetric(float64(planned/1e6), "MB-planned")
					b.ReportMetric(float64(workers), "at-work")
					b.ReportMetric(cpu.Seconds(), "cpu-s")
					b.ReportMetric(0, "ns/op")
				}
			})
		}
	}
}
