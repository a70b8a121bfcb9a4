package pack

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"platemark/interp/disk"
	"platemark/testdata/frozen"
)

// Where the program's forms lie in a package.
const (
	wasmFile   = "data/program/platemark.wasm"
	sourceFile = "data/program/source.zip"
)

// programs adds the program itself, its source with the modules that it needs, and
// a WebAssembly build made from that source alone; of what can't be had it says
// why.
func (c *content) programs(o Options) error {
	if o.WithoutProgram {
		c.absent("the program", "it was left out")
	} else if err := c.itself(); err != nil {
		return err
	}
	if o.Source == "" {
		c.absent("the program's source and its WebAssembly build", "the folder of the source was not named (--source FOLDER; it needs the Go tools)")
		return nil
	}
	return c.fromSource(o.Source)
}

// itself adds the program that runs.
func (c *content) itself() error {
	name := "data/program/platemark-" + runtime.GOOS + "-" + runtime.GOARCH
	if runtime.GOOS == "windows" {
		name += ".exe"
	}
	path, err := os.Executable()
	if err == nil {
		err = c.path(name, path, "")
	}
	if c.ctx.Err() != nil {
		return err
	}
	if err != nil {
		c.absent("the program", "it can't read itself here: "+err.Error())
		return nil
	}
	c.program = name
	c.files[len(c.files)-1].runs = true
	return nil
}

// fromSource adds the source and the WebAssembly build.
func (c *content) fromSource(dir string) error {
	temp, drop, err := disk.TempFolder()
	if err != nil {
		return err
	}
	c.drop = drop
	src := filepath.Join(temp, "platemark")
	list, err := sourceFiles(dir)
	if err != nil {
		return err
	}
	if vectors, err := os.ReadFile(filepath.Join(dir, "testdata", "frozen", "LIST")); err != nil || !bytes.Equal(vectors, frozen.List()) {
		return fmt.Errorf("%s isn't the source of this program: its list of frozen vectors (testdata/frozen/LIST) is another or isn't there", dir)
	}
	for _, name := range list {
		b, err := os.ReadFile(disk.Join(dir, name))
		if err == nil {
			to := disk.Join(src, name)
			if err = os.MkdirAll(filepath.Dir(to), 0o777); err == nil {
				err = os.WriteFile(to, b, 0o666)
			}
		}
		if err != nil {
			return err
		}
	}
	wasm := filepath.Join(temp, "platemark.wasm")
	for _, args := range [][]string{{"mod", "vendor"}, {"build", "-mod=vendor", "-trimpath", "-buildvcs=false", "-o", wasm, "./cmd/platemark"}} {
		run := exec.CommandContext(c.ctx, "go", args...)
		run.Dir = src
		run.Env = append(os.Environ(), "GOFLAGS=", "GOWORK=off")
		if args[0] == "build" {
			run.Env = append(run.Env, "GOOS=wasip1", "GOARCH=wasm", "GOPROXY=off")
		}
		if said, err := run.CombinedOutput(); err != nil {
			return fmt.Errorf("go %s in a copy of %s: %w: %s", strings.Join(args[:2], " "), dir, err, bytes.TrimSpace(said))
		}
	}
	archive := filepath.Join(temp, "source.zip")
	if err := disk.Make(archive, false, func(to *os.File) error { return zipTree(to, src) }); err != nil {
		return err
	}
	c.source = true
	if err := c.path(sourceFile, archive, ""); err != nil {
		return err
	}
	return c.path(wasmFile, wasm, "")
}

// sourceFiles lists the files of the program's source: those that git knows, or,
// where the folder is no checkout, all but hidden ones.
func sourceFiles(dir string) (list []string, err error) {
	git := exec.Command("git", "ls-files", "-z", "--cached", "--others", "--exclude-standard")
	git.Dir = dir
	if out, err := git.Output(); err == nil && len(out) > 0 {
		for name := range strings.SplitSeq(strings.TrimSuffix(string(out), "\x00"), "\x00") {
			if st, err := os.Lstat(disk.Join(dir, name)); err == nil && st.Mode().IsRegular() {
				list = append(list, name)
			}
		}
		return list, nil
	}
	err = filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
		rel, e := filepath.Rel(dir, p)
		switch {
		case err != nil || e != nil:
			return fmt.Errorf("the source in %s can't be read: %w", dir, disk.PlainError(err))
		case rel == ".":
		case strings.HasPrefix(d.Name(), ".") && d.IsDir(), rel == "vendor":
			return fs.SkipDir
		case d.Type().IsRegular() && !strings.HasPrefix(d.Name(), "."):
			list = append(list, filepath.ToSlash(rel))
		}
		return nil
	})
	return list, err
}

// zipTree packs a folder's files, packed tight, under the folder's own name and
// without times, so that the same files give the same bytes.
func zipTree(to io.Writer, dir string) error {
	z := zip.NewWriter(to)
	err := filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		rel, err := filepath.Rel(filepath.Dir(dir), p)
		if err != nil {
			return err
		}
		b, err := os.ReadFile(p)
		if err != nil {
			return err
		}
		w, err := z.CreateHeader(&zip.FileHeader{Name: filepath.ToSlash(rel), Method: zip.Deflate, Modified: time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)})
		if err == nil {
			_, err = w.Write(b)
		}
		return err
	})
	if err != nil {
		return err
	}
	return z.Close()
}
