//go:build outside

// Package wine tries the command on Windows, as wine plays it: the same digests
// as here, and Windows's own paths, drives, locks and patterns.
package wine

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// Where Debian's wine64 lies.
const (
	loader = "/usr/lib/wine/wine64"
	server = "/usr/lib/wine/wineserver64"
)

// base holds the programs, and wine's own folder with the drives.
var base string

func TestMain(m *testing.M) {
	var err error
	if base, err = os.MkdirTemp("", "platemark-wine"); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	code := 1
	if err := setUp(); err != nil {
		fmt.Fprintln(os.Stderr, "wine isn't ready, and nothing was tried on Windows:", err)
	} else {
		code = m.Run()
	}
	wine(exec.Command(server, "-k")).Run()
	wine(exec.Command(server, "-w")).Run()
	os.RemoveAll(base)
	os.Exit(code)
}

// setUp begins a Windows with the drives d: and e:, and builds the programs.
func setUp() error {
	prefix := filepath.Join(base, "windows")
	if err := os.Mkdir(prefix, 0o777); err != nil {
		return err
	}
	// The services outlive the command that starts them: no pipe of ours is
	// theirs.
	for _, c := range []*exec.Cmd{exec.Command(server, "-p"), exec.Command(loader, "wineboot", "--init")} {
		if err := wine(c).Run(); err != nil {
			return fmt.Errorf("%s: %w", c, err)
		}
	}
	for _, d := range []string{"d", "e"} {
		if err := os.Mkdir(filepath.Join(base, d), 0o777); err != nil {
			return err
		}
		if err := os.Symlink(filepath.Join(base, d), filepath.Join(prefix, "dosdevices", d+":")); err != nil {
			return err
		}
	}
	dll := filepath.Join(prefix, "drive_c", "windows", "system32", "bcryptprimitives.dll")
	programs := []string{"-o", base + "/", "platemark/cmd/platemark", "platemark/interp/lint/reach"}
	here := exec.Command("go", append([]string{"build"}, programs...)...)
	there, err := forWindows("build", programs...)
	if err != nil {
		return err
	}
	stub := exec.Command("x86_64-w64-mingw32-gcc", "-shared", "-O2", "-s", "-o", dll, "testdata/prng.c", "-ladvapi32")
	for _, c := range []*exec.Cmd{stub, here, there} {
		if out, err := c.CombinedOutput(); err != nil {
			return fmt.Errorf("%s: %w\n%s", c, err, out)
		}
	}
	return nil
}

// forWindows is a command of the go tool for Windows. Wine says of the call by
// which Go removes folders that it isn't implemented, where Windows says other
// words; Go's library is told them, and takes the older call.
func forWindows(command string, args ...string) (*exec.Cmd, error) {
	root, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		return nil, err
	}
	from := filepath.Join(strings.TrimSpace(string(root)), "src", "internal", "syscall", "windows", "at_windows.go")
	text, err := os.ReadFile(from)
	if err != nil {
		return nil, err
	}
	const words = "case STATUS_INVALID_INFO_CLASS,"
	if bytes.Count(text, []byte(words)) != 1 {
		return nil, fmt.Errorf("%s isn't as this test knows it", from)
	}
	to, overlay := filepath.Join(base, "at_windows.go"), filepath.Join(base, "overlay.json")
	text = bytes.Replace(text, []byte(words), []byte(words+" NTStatus(0xC0000002),"), 1)
	list, err := json.Marshal(map[string]map[string]string{"Replace": {from: to}})
	for path, b := range map[string][]byte{to: text, overlay: list} {
		if err == nil {
			err = os.WriteFile(path, b, 0o666)
		}
	}
	c := exec.Command("go", append([]string{command, "-overlay", overlay}, args...)...)
	c.Env = append(os.Environ(), "GOOS=windows", "GOARCH=amd64")
	return c, err
}

// wine gives a command of wine's its surroundings.
func wine(c *exec.Cmd) *exec.Cmd {
	c.Env = append(os.Environ(), "WINEPREFIX="+filepath.Join(base, "windows"), "WINEDEBUG=-all", "WINEDLLOVERRIDES=mscoree,mshtml=", "WINESERVER="+server)
	return c
}

// on is a program in a folder, on Windows if its name ends so.
func on(dir, program string, args ...string) *exec.Cmd {
	path := filepath.Join(base, program)
	c := exec.Command(path, args...)
	if strings.HasSuffix(program, ".exe") {
		c = wine(exec.Command(loader, append([]string{path}, args...)...))
	}
	c.Dir = dir
	return c
}

// run runs a program and gives its output and errors together, and its exit
// code.
func run(t *testing.T, dir, program string, args ...string) (string, int) {
	t.Helper()
	out, err := on(dir, program, args...).CombinedOutput()
	var ended *exec.ExitError
	if err != nil && !errors.As(err, &ended) {
		t.Fatal(err)
	}
	if ended != nil {
		return string(out), ended.ExitCode()
	}
	return string(out), 0
}

// must runs the command on Windows, which must end with 0, and gives what it
// says.
func must(t *testing.T, dir string, args ...string) string {
	t.Helper()
	out, code := run(t, dir, "platemark.exe", args...)
	if code != 0 {
		t.Fatalf("platemark %q: exit code %d\n%s", args, code, out)
	}
	return out
}

// refused runs the command on Windows, which must end with code and say words.
func refused(t *testing.T, code int, words, dir string, args ...string) {
	t.Helper()
	if out, got := run(t, dir, "platemark.exe", args...); got != code || !strings.Contains(out, words) {
		t.Errorf("platemark %q: exit code %d, and %q isn't said:\n%s", args, got, words, out)
	}
}

// folder makes a folder of that name on drive d: and gives its path here.
func folder(t *testing.T, name string) string {
	t.Helper()
	dir := filepath.Join(base, "d", name)
	if err := os.MkdirAll(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	return dir
}

// recipe makes a print of 480 x 320 px of m.png.
const recipe = `recipe 1 draft
master "m.png" space sRGB
prepare {
    spot pixels over 12%
}
print p {
    size 6 in x 4 in at 80 ppi
    enlarge with lanczos3
    sharpen radius 2 px amount 120%
    save tiff "p.tif"
}
`

// job writes m.png, an invented picture of 150 x 100, and recipes by their
// names' beginnings, each with a print of that name.
func job(t *testing.T, dir string, names ...string) {
	t.Helper()
	img := image.NewRGBA64(image.Rect(0, 0, 150, 100))
	for y := range 100 {
		for x := range 150 {
			img.SetRGBA64(x, y, color.RGBA64{R: uint16(x*430 + y), G: uint16(y * 600), B: uint16(x*y*7 + 3), A: 65535})
		}
	}
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "m.png"), b.String())
	for _, n := range names {
		write(t, filepath.Join(dir, n+".recipe"), strings.Replace(recipe, "p.tif", n+".tif", 1))
	}
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
}

func read(t *testing.T, path string) string {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// names are the names in a folder that end so.
func names(t *testing.T, dir, end string) (out []string) {
	t.Helper()
	list, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range list {
		if strings.HasSuffix(e.Name(), end) {
			out = append(out, e.Name())
		}
	}
	return out
}

// determined is a log without its run record, which tells of one run.
func determined(t *testing.T, path string) string {
	t.Helper()
	text := strings.TrimSuffix(read(t, path), "\n")
	return text[:strings.LastIndexByte(text, '\n')+1]
}
