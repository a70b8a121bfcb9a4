//go:build outside

package lint

import (
	"bytes"
	"context"
	"crypto/rand"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/imports/wasi_snapshot_preview1"
)

// otherRelease is a second release of Go, fetched through the module proxy.
const otherRelease = "go1.27.3"

// A machine runs the program reach and gives its output.
type machine struct {
	name  string
	env   []string // of the build
	flags []string
	run   func(t *testing.T, program, vectors, dir string) []byte
}

var machines = []machine{
	{name: "amd64", env: []string{"GOARCH=amd64"}, run: by()},
	{name: "amd64, one worker", env: []string{"GOARCH=amd64"}, run: by("", "1")},
	{name: "amd64 v3", env: []string{"GOARCH=amd64", "GOAMD64=v3"}, run: by()},
	{name: "amd64 without assembly", env: []string{"GOARCH=amd64"}, flags: []string{"-tags", "plain"}, run: by()},
	{name: "amd64, " + otherRelease, env: []string{"GOARCH=amd64", "GOTOOLCHAIN=" + otherRelease}, run: by()},
	{name: "arm64", env: []string{"GOARCH=arm64"}, run: by("qemu-aarch64")},
	{name: "s390x", env: []string{"GOARCH=s390x"}, run: by("qemu-s390x")},
	{name: "riscv64", env: []string{"GOARCH=riscv64"}, run: by("qemu-riscv64")},
	{name: "ppc64le", env: []string{"GOARCH=ppc64le"}, run: by("qemu-ppc64le")},
	{name: "loong64", env: []string{"GOARCH=loong64"}, run: by("qemu-loongarch64")},
	// Words of 32 bits, under an emulator, since some kernels refuse programs
	// of that size.
	{name: "arm", env: []string{"GOARCH=arm"}, run: by("qemu-arm")},
	{name: "wasip1", env: []string{"GOOS=wasip1", "GOARCH=wasm"}, run: byWazero},
}

// by runs a program under an emulator ("" = none), with further arguments.
func by(emulator ...string) func(*testing.T, string, string, string) []byte {
	return func(t *testing.T, program, vectors, dir string) []byte {
		line := []string{program, vectors}
		if len(emulator) > 0 {
			line = append(line, emulator[1:]...)
			if emulator[0] != "" {
				line = append([]string{emulator[0]}, line...)
			}
		}
		c := exec.Command(line[0], line[1:]...)
		c.Dir = dir
		var why bytes.Buffer
		c.Stderr = &why
		out, err := c.Output()
		if err != nil {
			t.Fatalf("%v: %v: %s", line, err, why.Bytes())
		}
		return out
	}
}

// byWazero runs a program as WebAssembly, with the two folders mounted.
func byWazero(t *testing.T, program, vectors, dir string) []byte {
	ctx := context.Background()
	cache, err := wazero.NewCompilationCacheWithDir(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer cache.Close(ctx)
	r := wazero.NewRuntimeWithConfig(ctx, wazero.NewRuntimeConfig().WithCompilationCache(cache))
	defer r.Close(ctx)
	wasi_snapshot_preview1.MustInstantiate(ctx, r)
	var out, why bytes.Buffer
	config := wazero.NewModuleConfig().WithArgs("reach", "/vectors").WithEnv("PWD", "/work").WithEnv("TMPDIR", "/work").
		WithStdout(&out).WithStderr(&why).WithRandSource(rand.Reader).
		WithSysWalltime().WithSysNanotime().WithSysNanosleep().
		WithFSConfig(wazero.NewFSConfig().WithReadOnlyDirMount(vectors, "/vectors").WithDirMount(dir, "/work"))
	if _, err := r.InstantiateWithConfig(ctx, read(t, program), config); err != nil {
		t.Fatalf("%v: %s", err, why.Bytes())
	}
	return out.Bytes()
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
	vectors, err := filepath.Abs(frozenDir)
	if err != nil {
		t.Fatal(err)
	}
	var first []byte
	for _, m := range machines {
		t.Run(m.name, func(t *testing.T) {
			dir := t.TempDir()
			program := filepath.Join(dir, "reach")
			build(t, ".", "./reach", program, m.env, m.flags...)
			work := filepath.Join(dir, "work")
			if err := os.Mkdir(work, 0o777); err != nil {
				t.Fatal(err)
			}
			got := m.run(t, program, vectors, work)
			t.Logf("%s: %d digests in all, those of print files and logs:\n%s", m.name, bytes.Count(got, []byte("\n")), digests(got))
			if first == nil {
				first = got
				// The vectors themselves are right here.
				for _, n := range vectorFiles(t) {
					if strings.HasSuffix(n, ".txt") && !strings.HasPrefix(n, "language-") && !bytes.Contains(got, []byte("  "+n+"\n")) {
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
