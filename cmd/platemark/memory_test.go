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

	"platemark/ops/codec/tiff"
)

// memoryKinds are steps of every kind that reads around a row, or far away, in
// their widest forms.
var memoryKinds = []struct{ name, prepare, steps string }{
	{"plain", "", "enlarge with lanczos3"},
	{"sharpen", "", "enlarge with cubic\nsharpen radius 100 px amount 150%\nborder 300 px"},
	{"local", "", "enlarge with cubic\ntone {\nlocal contrast 40% radius 2%\n}\nborder 300 px"},
	{"spot", "", "enlarge with cubic\nspot at (5%, 5%) radius 0.3% from (5%, 95%)\nspot at (90%, 95%) radius 0.3% from (90%, 5%)"},
	{"masks", "", "enlarge with lanczos3 as crisp\nenlarge with mitchell as smooth\nblend smooth over crisp through hazy at 50%\nsharpen radius 2 px amount 100% through hazy\nwrap 300 px continued reflected"},
	{"turned", "turn right\nspot pixels over 12%\ntone {\nlocal contrast 40% radius 2%\n}\n", "enlarge with lanczos3"},
}

// memoryOf builds prints of width x width*2/3 px of all kinds, on so many
// processors each: the program never takes more than `plan` says.
func memoryOf(t *testing.T, master, width int, processors ...int) {
	dir, program := t.TempDir(), binary(t)
	blackMaster(t, filepath.Join(dir, "m.tif"), master, master*2/3)
	for _, k := range memoryKinds {
		recipe, prepare := filepath.Join(dir, k.name+".recipe"), ""
		w, h := width, width*2/3
		if k.prepare != "" {
			prepare, w, h = "prepare {\n"+k.prepare+"}\n", h, w
		}
		mask := ""
		if k.name == "masks" {
			mask = "mask hazy {\nellipse at (50%, 50%) size 60% x 40% soft 20%\nsoften 1%\n}\n"
		}
		text := fmt.Sprintf("recipe 1 draft\nmaster \"m.tif\" space opRGB\n%s%sprint p {\nsize %d px x %d px at 300 ppi\n%s\nsave jpeg \"%s.jpg\" quality 90\n}\n", mask, prepare, w, h, k.steps, k.name)
		write(t, recipe, text)
		for _, procs := range processors {
			run := func(args ...string) (*exec.Cmd, []byte) {
				c := exec.Command(program, append(args, recipe)...)
				c.Env = append(os.Environ(), fmt.Sprintf("GOMAXPROCS=%d", procs), "TMPDIR="+dir)
				out, err := c.Output()
				if err != nil {
					t.Fatalf("%s: %v\n%s", k.name, err, err.(*exec.ExitError).Stderr)
				}
				return c, out
			}
			_, out := run("plan", "--force", "--json")
			var plan []planRow
			if err := json.Unmarshal(out, &plan); err != nil {
				t.Fatal(err)
			}
			c, _ := run("build", "--force")
			most := c.ProcessState.SysUsage().(*syscall.Rusage).Maxrss * 1024
			t.Logf("%s, %d processors, %d at work: %d MB, planned %d MB, %v of processor time", k.name, procs, plan[0].Workers, most/1e6, plan[0].Memory/1e6,
				c.ProcessState.UserTime()+c.ProcessState.SystemTime())
			if most > plan[0].Memory {
				t.Errorf("%s, %d processors: %d MB, and the plan says %d MB at most", k.name, procs, most/1e6, plan[0].Memory/1e6)
			}
			if plan[0].Workers < min(procs, 4) {
				t.Errorf("%s: %d of %d processors at work", k.name, plan[0].Workers, procs)
			}
		}
	}
}

// blackMaster is a sparse 16-bit TIFF, black all over.
func blackMaster(t *testing.T, path string, w, h int) {
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

func TestMemoryIsWithinThePlan(t *testing.T) { memoryOf(t, 900, 1800, 64) }
