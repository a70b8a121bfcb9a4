//go:build outside

package machines

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"platemark/interp/lint/programs"
)

// otherRelease is a second release of Go, fetched through the module proxy.
const otherRelease = "go1.27.3"

// A machine runs a program in a folder and gives its output.
type machine struct {
	name  string
	env   []string // of the build
	flags []string
	args  []string // of the program reach
	run   func(t testing.TB, program, dir string, args ...string) []byte
}

var machines = []machine{
	{name: "amd64", env: []string{"GOARCH=amd64"}, run: by("")},
	{name: "amd64, one worker", env: []string{"GOARCH=amd64"}, args: []string{"1"}, run: by("")},
	{name: "amd64 without assembly", env: []string{"GOARCH=amd64"}, flags: []string{"-tags", "plain"}, run: by("")},
	{name: "amd64, " + otherRelease, env: []string{"GOARCH=amd64", "GOTOOLCHAIN=" + otherRelease}, run: by("")},
	{name: "arm64", env: []string{"GOARCH=arm64"}, run: by("qemu-aarch64")},
	{name: "s390x", env: []string{"GOARCH=s390x"}, run: by("qemu-s390x")},
	{name: "riscv64", env: []string{"GOARCH=riscv64"}, run: by("qemu-riscv64")},
	{name: "ppc64le", env: []string{"GOARCH=ppc64le"}, run: by("qemu-ppc64le")},
	// Words of 32 bits, under an emulator, since some kernels refuse programs
	// of that size.
	{name: "arm", env: []string{"GOARCH=arm"}, run: by("qemu-arm")},
	// Without the names of folders, as packages have it: what is compiled serves both.
	{name: "wasip1", env: []string{"GOOS=wasip1", "GOARCH=wasm"}, flags: []string{"-trimpath"}, run: programs.RunWasm},
}

// by runs a program under an emulator, "" for none.
func by(emulator string) func(testing.TB, string, string, ...string) []byte {
	return func(t testing.TB, program, dir string, args ...string) []byte {
		line := append([]string{program}, args...)
		if emulator != "" {
			line = append([]string{emulator}, line...)
		}
		c := exec.Command(line[0], line[1:]...)
		c.Dir = dir
		var why bytes.Buffer
		c.Stderr = &why
		out, err := c.Output()
		if err != nil {
			t.Fatalf("%v: %v: %s%s", line, err, out, why.Bytes())
		}
		return out
	}
}

// digests are the lines of the recipe's print files and logs.
func digests(out []byte) string {
	var b strings.Builder
	for line := range strings.Lines(string(out)) {
		if strings.HasPrefix(line, "print ") || strings.HasPrefix(line, "log ") {
			b.WriteString("  " + line)
		}
	}
	return b.String()
}

// Every machine, and another release of Go, computes every vector and builds
// the recipe with every step, print files and determined logs included, to the
// same bytes. Each one's digests are printed.
func TestMachines(t *testing.T) {
	var first []byte
	for _, m := range machines {
		t.Run(m.name, func(t *testing.T) {
			dir := t.TempDir()
			program := filepath.Join(dir, "reach")
			programs.Build(t, ".", "../reach", program, m.env, m.flags...)
			work := filepath.Join(dir, "work")
			if err := os.Mkdir(work, 0o777); err != nil {
				t.Fatal(err)
			}
			got := m.run(t, program, work, m.args...)
			t.Logf("%s: %d digests in all, those of print files and logs:\n%s", m.name, bytes.Count(got, []byte("\n")), digests(got))
			if first == nil {
				first = got
				// The vectors themselves are right here.
				vectors, err := filepath.Glob("../../../testdata/frozen/*.txt")
				if err != nil || len(vectors) == 0 {
					t.Fatal("no vectors: ", err)
				}
				for _, v := range vectors {
					if n := filepath.Base(v); !strings.HasPrefix(n, "language-") && !bytes.Contains(got, []byte("  "+n+"\n")) {
						t.Errorf("%s was not computed", n)
					}
				}
				return
			}
			if !bytes.Equal(got, first) {
				a, b := bytes.Split(first, []byte("\n")), bytes.Split(got, []byte("\n"))
				for i := range min(len(a), len(b)) {
					if !slices.Equal(a[i], b[i]) {
						t.Errorf("line %d\n%s %s\n%s %s", i+1, machines[0].name, a[i], m.name, b[i])
					}
				}
				t.Errorf("%s: other bytes than %s", m.name, machines[0].name)
			}
		})
	}
}

// The command itself proves, and as WebAssembly too, that it
// makes the same bytes.
func TestProveElsewhere(t *testing.T) {
	for _, m := range machines {
		if !slices.Contains([]string{"amd64", "wasip1"}, m.name) {
			continue
		}
		dir := t.TempDir()
		program := filepath.Join(dir, "platemark")
		programs.Build(t, ".", "../../../cmd/platemark", program, m.env, m.flags...)
		began := time.Now()
		out := m.run(t, program, dir, "prove")
		t.Logf("%s: %s: %s", m.name, time.Since(began).Round(time.Second/10), out)
		if !bytes.HasPrefix(out, []byte("this machine makes the same bytes: ")) {
			t.Errorf("%s: %s", m.name, out)
		}
	}
}
