// Package pack writes and reads packages: all that a print was made from and
// with, in one folder or zip file, so that it can be made again when nothing else
// is left.
//
// A package is a BagIt bag (RFC 8493) with SHA-256 manifests. Names in it are
// ours, of the characters a-z 0-9 . _ - and / between folders, so that manifests,
// checksum programs and file systems agree on them; data/names.json says what the
// recipe and the log call each file. Members of a zip file are stored as they are:
// a damaged place spoils nothing but itself.
//
// A package is written under a temporary name, read back whole, and then gets its
// name (interp/disk). One is read without following links; what no manifest
// lists, names that are one file somewhere, and manifests that are missing are
// faults.
package pack

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
	"unicode"

	"golang.org/x/text/unicode/norm"

	"platemark/interp/audit"
	"platemark/interp/disk"
	"platemark/interp/register"
	"platemark/interp/sign"
	"platemark/ops/raster"
)

// Options say what goes into a package beside what its log names.
type Options struct {
	// Out is the package's name, of a zip file where it ends in .zip, else of a
	// folder; "" is a folder beside the log.
	Out string
	// LookIn are folders in which inputs and the print are found by their digests
	// that aren't where they were.
	LookIn []string
	// WithoutPrint leaves the print file out, WithoutProgram the program.
	WithoutPrint, WithoutProgram bool
	// Source is the folder of the program's source; with it go the source, the
	// modules that it needs, and a WebAssembly build, which need the Go tools.
	Source string
	// Key signs the package, which is its list of lists, tagmanifest-sha256.txt; nil
	// for no signature.
	Key *sign.Key
	// Progress, if set, hears how many bytes of how many are written.
	Progress func(stage string, done, due int64)
}

// Made tells of a package that was made.
type Made struct {
	Path  string
	Files int
	Bytes int64 // of all files in it
	// Absent says what isn't in it, and why.
	Absent []string
	// Elsewhere says which files lay elsewhere than the log says.
	Elsewhere []string
	// Folder says that a folder was made because a zip file would be too large.
	Folder bool
}

// zipLimit is the size from which on a package is a folder: not every program
// reads zip files of 4 GiB and more.
var zipLimit int64 = 1<<32 - 1<<24

// noDay is 1 January 1980, the earliest that a zip file can say: no member's time
// matters.
const noDay = 1<<5 | 1

type file struct {
	name string
	from string // its path, "" where data are its bytes
	data []byte
	size int64
	sum  raster.Sum
	crc  uint32 // of zip files, CRC-32 (IEEE)
	runs bool   // a program
}

// Make makes a package of the print of a log.
func Make(ctx context.Context, log string, o Options) (*Made, error) {
	l, err := audit.ReadLog(log)
	if err != nil {
		return nil, err
	}
	c := &content{ctx: ctx, log: l, names: Names{Format: format, Print: l.Recipe.Print}}
	defer c.close()
	if err := c.gather(o); err != nil {
		return nil, err
	}
	files, err := c.whole(o.Key)
	if err != nil {
		return nil, err
	}
	made := &Made{Path: o.Out, Files: len(files), Absent: c.names.Absent, Elsewhere: c.elsewhere}
	if made.Path == "" {
		made.Path = filepath.Join(filepath.Dir(log), l.Run.Out+"."+l.File.Mark[:12]+".package")
	}
	for _, f := range files {
		made.Bytes += f.size
	}
	path, asZip := strings.CutSuffix(made.Path, ".zip")
	if made.Folder = asZip && made.Bytes >= zipLimit; made.Folder {
		made.Path, asZip = path, false
	}
	if err := roomFor(made.Path, made.Bytes); err != nil {
		return nil, err
	}
	w := &writer{ctx: ctx, files: files, due: made.Bytes, tell: o.Progress}
	if asZip {
		err = w.zip(made.Path)
	} else {
		err = disk.MakeFolder(made.Path, w.folder)
	}
	if err == nil && o.WithoutPrint && c.recipe != "" {
		if err = register.Packed(c.recipe, l); err != nil {
			err = fmt.Errorf("the package stands, but the register can't be told: %w", err)
		}
	}
	if err != nil {
		return nil, err
	}
	return made, nil
}

// roomFor fails if the disk of a path is known to have too little room.
func roomFor(path string, need int64) error {
	folder := disk.Standing(filepath.Dir(path))
	if _, free, ok := disk.Free(folder); ok && free < need {
		return fmt.Errorf("the package needs %d MB, and the disk of %s has %d MB free", (need+999_999)/1_000_000, folder, free/1_000_000)
	}
	return nil
}

// A writer writes the files of a package.
type writer struct {
	ctx       context.Context
	files     []file
	done, due int64
	tell      func(stage string, done, due int64)
}

// copy writes a file's bytes, which must be those that were hashed.
func (w *writer) copy(to io.Writer, f file) error {
	var from io.Reader = bytes.NewReader(f.data)
	if f.from != "" {
		open, _, err := disk.Open(f.from)
		if err != nil {
			return fmt.Errorf("%s: %w", f.from, disk.PlainError(err))
		}
		defer open.Close()
		from = open
	}
	sum, size, _, err := digest(w.ctx, io.TeeReader(from, to), func(n int64) {
		if w.done += n; w.tell != nil {
			w.tell("packing", w.done, w.due)
		}
	})
	if err == nil && (sum != f.sum || size != f.size) {
		err = fmt.Errorf("%s changed while it was packed; pack again when nothing writes to it", f.from)
	}
	return err
}

// folder writes the package into a folder and reads it back.
func (w *writer) folder(dir string) error {
	for _, f := range w.files {
		path := disk.Join(dir, f.name)
		if err := disk.Make(path, false, func(to *os.File) error { return w.copy(to, f) }); err != nil {
			return err
		}
		if f.runs {
			if err := os.Chmod(path, 0o755); err != nil {
				return err
			}
		}
	}
	p, err := openFolder(dir)
	return w.readBack(p, err)
}

// zip writes the package as a zip file, whose one folder bears its name, and reads
// it back.
func (w *writer) zip(path string) error {
	to, err := disk.Create(path, 0, 0, false)
	if err != nil {
		return err
	}
	base := ours(strings.TrimSuffix(filepath.Base(path), ".zip"))
	z := zip.NewWriter(to)
	for _, f := range w.files {
		h := &zip.FileHeader{Name: base + "/" + f.name, Method: zip.Store, ModifiedDate: noDay, CRC32: f.crc, CompressedSize64: uint64(f.size), UncompressedSize64: uint64(f.size)}
		h.SetMode(0o644)
		if f.runs {
			h.SetMode(0o755)
		}
		var member io.Writer
		if member, err = z.CreateRaw(h); err == nil {
			err = w.copy(member, f)
		}
		if err != nil {
			break
		}
	}
	var size int64
	if err == nil {
		err = z.Close()
	}
	if err == nil {
		size, err = to.Seek(0, io.SeekEnd)
	}
	if err == nil {
		p, e := openZip(to, size)
		err = w.readBack(p, e)
	}
	if err != nil {
		to.Abandon()
		return err
	}
	return to.Commit(size)
}

// readBack fails unless a package that was just written is whole.
func (w *writer) readBack(p *Package, err error) error {
	if err != nil {
		return err
	}
	defer p.Close()
	faults, err := p.damaged(w.ctx)
	if err != nil {
		return err
	}
	if faults = append(p.Faults, faults...); len(faults) > 0 {
		return errors.New("what was written isn't what is read back: " + strings.Join(faults, "; "))
	}
	return nil
}

// digest is the SHA-256, size and CRC-32 of what a reader gives; tell, if not nil,
// hears of each piece.
func digest(ctx context.Context, r io.Reader, tell func(n int64)) (sum raster.Sum, size int64, crc uint32, err error) {
	h, buf := sha256.New(), make([]byte, 1<<16)
	for {
		if err := ctx.Err(); err != nil {
			return sum, 0, 0, context.Cause(ctx)
		}
		n, err := r.Read(buf)
		h.Write(buf[:n])
		crc = crc32.Update(crc, crc32.IEEETable, buf[:n])
		if size += int64(n); tell != nil {
			tell(int64(n))
		}
		if err == io.EOF {
			h.Sum(sum[:0])
			return sum, size, crc, nil
		}
		if err != nil {
			return sum, 0, 0, disk.PlainError(err)
		}
	}
}

// ours is a name of the characters that names in a package have; letters lose their
// accents.
func ours(name string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.Is(unicode.Mn, r):
			return -1
		case r >= 'A' && r <= 'Z':
			return r + 'a' - 'A'
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9', r == '.', r == '_', r == '-':
			return r
		}
		return '-'
	}, norm.NFD.String(name))
}

// sorted brings the files of a package into the order of their names.
func sorted(files []file) []file {
	slices.SortFunc(files, func(a, b file) int { return strings.Compare(a.name, b.name) })
	return files
}

// today is the day that a package says it was made on.
func today() string { return time.Now().UTC().Format(time.DateOnly) }
