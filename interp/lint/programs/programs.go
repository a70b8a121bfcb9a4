// Package programs builds programs, and runs them as WebAssembly, for tests.
package programs

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/imports/wasi_snapshot_preview1"
	"github.com/tetratelabs/wazero/sys"
)

// Build compiles a package of the module in dir into the file out, without cgo,
// with the environment that says for which machine.
func Build(t testing.TB, dir, pkg, out string, env []string, flags ...string) {
	t.Helper()
	c := exec.Command("go", slices.Concat([]string{"build", "-buildvcs=false", "-o", out}, flags, []string{pkg})...)
	c.Dir = dir
	c.Env = append(append(os.Environ(), "CGO_ENABLED=0"), env...)
	if b, err := c.CombinedOutput(); err != nil {
		t.Fatalf("go build %s with %v: %v\n%s", pkg, env, err, b)
	}
}

// RunWasm runs a program of WASI preview 1 in a folder, which it sees as /work, and
// gives its output.
func RunWasm(t testing.TB, program, dir string, args ...string) []byte {
	t.Helper()
	ctx := context.Background()
	cache, err := wazero.NewCompilationCacheWithDir(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer cache.Close(ctx)
	r := wazero.NewRuntimeWithConfig(ctx, wazero.NewRuntimeConfig().WithCompilationCache(cache))
	defer r.Close(ctx)
	wasi_snapshot_preview1.MustInstantiate(ctx, r)
	code, err := os.ReadFile(program)
	if err != nil {
		t.Fatal(err)
	}
	var out, why bytes.Buffer
	config := wazero.NewModuleConfig().WithArgs(append([]string{filepath.Base(program)}, args...)...).WithEnv("PWD", "/work").WithEnv("TMPDIR", "/work").
		WithStdout(&out).WithStderr(&why).WithRandSource(rand.Reader).
		WithSysWalltime().WithSysNanotime().WithSysNanosleep().
		WithFSConfig(wazero.NewFSConfig().WithDirMount(dir, "/work"))
	_, err = r.InstantiateWithConfig(ctx, code, config)
	var exit *sys.ExitError
	if err != nil && !(errors.As(err, &exit) && exit.ExitCode() == 0) {
		t.Fatalf("%v: %s%s", err, out.Bytes(), why.Bytes())
	}
	return out.Bytes()
}
