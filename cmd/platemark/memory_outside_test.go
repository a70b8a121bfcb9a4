//go:build outside && linux

package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
)

// A master of 200 megapixels, 1.2 GB, is built within 300 MB, on 2 processors
// and on 16, with something to prepare and without. It goes through a temporary
// file of the same size. The file is sparse, black all over.
func TestMemoryOfAHugeMaster(t *testing.T) {
	dir, program := t.TempDir(), binary(t)
	blackMaster(t, filepath.Join(dir, "m.tif"), 16000, 12500)
	for name, prepare := range map[string]string{"plain": "", "prepared": "prepare {\n    tone {\n        exposure +0.5 stops\n    }\n}\n"} {
		recipe := filepath.Join(dir, name+".recipe")
		text := "recipe 1 draft\nmaster \"m.tif\" space opRGB\n" + prepare + "print p {\n    size 10 in x 7.8125 in at 100 ppi\n    enlarge with lanczos3\n    save tiff \"" + name + ".tif\"\n}\n"
		write(t, recipe, text)
		for _, procs := range []int{2, 16} {
			c := exec.Command(program, "build", "--force", recipe)
			c.Env = append(os.Environ(), fmt.Sprintf("GOMAXPROCS=%d", procs), "TMPDIR="+dir)
			if out, err := c.CombinedOutput(); err != nil {
				t.Fatalf("%v\n%s", err, out)
			}
			most := c.ProcessState.SysUsage().(*syscall.Rusage).Maxrss * 1024
			t.Logf("%s, %d processors: %d MB, %v of processor time", name, procs, most/1e6, c.ProcessState.UserTime()+c.ProcessState.SystemTime())
			if most > 300e6 {
				t.Errorf("%s, %d processors: %d MB", name, procs, most/1e6)
			}
		}
	}
}

// At prints of 6000 x 2000 px, whose rows are as long as those of 24 megapixels, on few processors and on many.
func TestMemoryOfLargePrints(t *testing.T) {
	for _, k := range memoryKinds {
		for _, processors := range []int{2, 16} {
			most, planned, workers, cpu := memoryOf(t, k, 1800, 6000, 2000, processors)
			t.Logf("%s, %d processors, %d at work: %d MB, planned %d MB, %v of processor time", k.name, processors, workers, most/1e6, planned/1e6, cpu)
		}
	}
}
