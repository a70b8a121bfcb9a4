package pack

import (
	"archive/zip"
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"slices"
	"strings"

	"platemark/interp/disk"
)

// What is read of a package.
const (
	mostFiles = 1 << 16
	mostText  = 16 << 20 // bytes of a manifest, a record or a log
)

// A Package is a package that was opened.
type Package struct {
	// Faults are what is wrong with its form: each sentence names the file.
	Faults []string

	files fs.FS
	sizes map[string]int64  // of the files that are there
	sums  map[string]string // digests by the manifests, of files that are there
	path  string            // of a folder, "" of a zip file
	base  string            // the folder in a zip file
	close []func() error
}

// Is says whether what stands at a path is meant as a package: a folder or a zip
// file.
func Is(path string) bool {
	st, err := os.Stat(path)
	if err != nil || st.IsDir() {
		return err == nil
	}
	f, _, err := disk.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	var head [4]byte
	_, err = io.ReadFull(f, head[:])
	return err == nil && string(head[:]) == "PK\x03\x04"
}

// Open opens a package and reads its manifests; no payload file is read. The error
// says that it is none, or of another kind.
func Open(path string) (*Package, error) {
	st, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("%s can't be read: %w", path, disk.PlainError(err))
	}
	var p *Package
	if st.IsDir() {
		p, err = openFolder(path)
	} else {
		var f *os.File
		if f, st, err = disk.Open(path); err == nil {
			if p, err = openZip(f, st.Size()); err != nil {
				f.Close()
			} else {
				p.close = append(p.close, f.Close)
			}
		}
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return p, nil
}

// Close closes the package.
func (p *Package) Close() {
	for _, f := range p.close {
		f()
	}
}

func (p *Package) fault(format string, args ...any) {
	p.Faults = append(p.Faults, fmt.Sprintf(format, args...))
}

// openFolder opens a folder; no link in it is followed.
func openFolder(path string) (*Package, error) {
	root, err := os.OpenRoot(path)
	if err != nil {
		return nil, disk.PlainError(err)
	}
	p := &Package{files: root.FS(), path: path, sizes: map[string]int64{}, close: []func() error{root.Close}}
	err = fs.WalkDir(p.files, ".", func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			p.fault("%s can't be read: %v", name, disk.PlainError(err))
			return nil
		}
		if d.IsDir() {
			return nil
		}
		st, err := d.Info()
		if err == nil {
			p.add(name, st)
		}
		return err
	})
	return p.opened(err)
}

// openZip opens a zip file of size bytes.
func openZip(r io.ReaderAt, size int64) (*Package, error) {
	z, err := zip.NewReader(r, size)
	if err != nil {
		return nil, fmt.Errorf("it is no zip file that can be read: %w", err)
	}
	p := &Package{files: z, sizes: map[string]int64{}}
	for _, f := range z.File {
		name := strings.TrimSuffix(f.Name, "/")
		base, rest, _ := strings.Cut(name, "/")
		if p.base == "" {
			p.base = base
		}
		switch {
		case base != p.base || rest == "" && !f.FileInfo().IsDir():
			p.fault("%q doesn't lie in the one folder of the zip file, %q", f.Name, p.base)
		case !f.FileInfo().IsDir():
			p.add(rest, f.FileInfo())
		}
	}
	if p.files, err = fs.Sub(z, p.base); err != nil {
		return nil, fmt.Errorf("its folder has a name that no package has: %q", p.base)
	}
	return p.opened(nil)
}

// add notes a file that is there.
func (p *Package) add(name string, st fs.FileInfo) {
	_, twice := p.sizes[name]
	switch {
	case !fs.ValidPath(name) || strings.ContainsAny(name, "\\:\x00"):
		p.fault("%q is no name for a file of a package", name)
	case st.Mode()&fs.ModeSymlink != 0:
		p.fault("%s is a link; a package has files only", name)
	case !st.Mode().IsRegular():
		p.fault("%s: %v", name, disk.Regular(st))
	case twice:
		p.fault("%s stands twice in the zip file", name)
	default:
		p.sizes[name] = st.Size()
	}
}

// opened reads the manifests and holds them against the files that are there.
func (p *Package) opened(err error) (*Package, error) {
	if err == nil {
		err = p.check()
	}
	if err != nil {
		p.Close()
		return nil, err
	}
	return p, nil
}

func (p *Package) check() error {
	if _, ok := p.sizes[bagFile]; !ok {
		return errors.New("it is no package: it has no " + bagFile)
	}
	if len(p.sizes) > mostFiles {
		return fmt.Errorf("it has more than %d files; no package has", mostFiles)
	}
	bag, err := p.text(bagFile)
	if err != nil {
		return err
	}
	if head, _, _ := strings.Cut(string(bag), "\n"); strings.TrimSuffix(head, "\r") != "BagIt-Version: 1.0" {
		p.fault("%s begins with %q, not with \"BagIt-Version: 1.0\"", bagFile, head)
	}
	p.sums = map[string]string{}
	for _, m := range []string{manifestFile, tagFile} {
		if err := p.manifest(m); err != nil {
			return err
		}
	}
	folded := map[string]string{}
	for _, name := range slices.Sorted(maps.Keys(p.sizes)) {
		if other, ok := folded[disk.Fold(name)]; ok {
			p.fault("%+q and %+q are one file on some systems", other, name)
		}
		folded[disk.Fold(name)] = name
		if _, ok := p.sums[name]; !ok && !strings.HasPrefix(name, "tagmanifest-") {
			p.fault("%s is in no manifest: it was added", name)
		}
	}
	for name := range p.sums {
		if _, ok := p.sizes[name]; !ok {
			p.fault("%s is missing", name)
			delete(p.sums, name)
		}
	}
	if _, ok := p.sizes[fetchFile]; ok {
		p.fault("%s says that parts of the package lie elsewhere; such packages aren't read", fetchFile)
	}
	slices.Sort(p.Faults)
	return nil
}

// escapes are the three that RFC 8493 has in names.
var escapes = strings.NewReplacer("%0D", "\r", "%0d", "\r", "%0A", "\n", "%0a", "\n", "%25", "%")

// manifest reads the lines of a manifest into sums.
func (p *Package) manifest(file string) error {
	if _, ok := p.sizes[file]; !ok {
		p.fault("%s is missing", file)
		return nil
	}
	b, err := p.text(file)
	if err != nil {
		return err
	}
	n := 0
	for line := range strings.Lines(string(b)) {
		n++
		sum, name, ok := strings.Cut(strings.TrimRight(line, "\r\n"), " ")
		name = escapes.Replace(strings.TrimLeft(name, " \t*"))
		payload := strings.HasPrefix(name, "data/")
		switch {
		case !ok || len(sum) != 64 || strings.Trim(strings.ToLower(sum), "0123456789abcdef") != "" || !fs.ValidPath(name):
			p.fault("line %d of %s is no digest and name of a file", n, file)
		case payload != (file == manifestFile):
			p.fault("line %d of %s: %s has no place there", n, file, name)
		case p.sums[name] != "":
			p.fault("line %d of %s: %s stands there twice", n, file, name)
		default:
			p.sums[name] = strings.ToLower(sum)
		}
	}
	return nil
}

// text reads a small file whole.
func (p *Package) text(name string) ([]byte, error) {
	if n := p.sizes[name]; n > mostText {
		return nil, fmt.Errorf("%s has %d bytes; at most %d are read", name, n, mostText)
	}
	f, err := p.files.Open(name)
	if err != nil {
		return nil, fmt.Errorf("%s can't be read: %w", name, disk.PlainError(err))
	}
	defer f.Close()
	var b bytes.Buffer
	if _, err := io.Copy(&b, io.LimitReader(f, mostText+1)); err != nil || b.Len() > mostText {
		return nil, fmt.Errorf("%s can't be read: %w", name, disk.PlainError(cmp.Or(err, errors.New("it is larger than the zip file says"))))
	}
	return b.Bytes(), nil
}

// damaged reads every file that a manifest lists and names those that aren't as it
// says.
func (p *Package) damaged(ctx context.Context) (faults []string, err error) {
	for _, name := range slices.Sorted(maps.Keys(p.sums)) {
		if what := p.wrong(ctx, name); what != "" {
			faults = append(faults, what)
		}
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
	}
	return faults, nil
}

// wrong says what is wrong with a file's bytes, "" where they are as listed.
func (p *Package) wrong(ctx context.Context, name string) string {
	f, err := p.files.Open(name)
	if err != nil {
		return fmt.Sprintf("%s can't be read: %v", name, disk.PlainError(err))
	}
	defer f.Close()
	sum, size, _, err := digest(ctx, f, nil)
	switch {
	case err != nil:
		return fmt.Sprintf("%s can't be read: %v", name, err)
	case sum.String() != p.sums[name]:
		return fmt.Sprintf("%s was changed: %d bytes, sha256 %s…, listed %s…", name, size, sum.String()[:16], p.sums[name][:16])
	}
	return ""
}
