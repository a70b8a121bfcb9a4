package pack

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"platemark/interp/interptest"
)

// A folder whose form is wrong is refused, and what is wrong is named.
func TestFoldersOfWrongForm(t *testing.T) {
	made, _, _ := packed(t, "p", Options{})
	in := func(dir, name string) string { return filepath.Join(dir, filepath.FromSlash(name)) }
	lines := func(dir, name, more string) {
		interptest.Write(t, in(dir, name), string(interptest.Read(t, in(dir, name)))+more)
	}
	digest := strings.Repeat("0", 64)
	for name, c := range map[string]struct {
		spoil func(dir string) error
		want  string
	}{
		"an extra file":       {func(dir string) error { interptest.Write(t, in(dir, "data/new.txt"), "x"); return nil }, "data/new.txt is in no manifest"},
		"an extra tag file":   {func(dir string) error { interptest.Write(t, in(dir, "new.txt"), "x"); return nil }, "new.txt is in no manifest"},
		"no tag manifest":     {func(dir string) error { return os.Remove(in(dir, tagFile)) }, tagFile + " is missing"},
		"no manifest":         {func(dir string) error { return os.Remove(in(dir, manifestFile)) }, manifestFile + " is missing"},
		"no declaration":      {func(dir string) error { return os.Remove(in(dir, bagFile)) }, "it is no package: it has no bagit.txt"},
		"another version":     {func(dir string) error { interptest.Write(t, in(dir, bagFile), "BagIt-Version: 2.0\n"); return nil }, `begins with "BagIt-Version: 2.0"`},
		"parts elsewhere":     {func(dir string) error { interptest.Write(t, in(dir, fetchFile), "x"); return nil }, "parts of the package lie elsewhere"},
		"a line that is none": {func(dir string) error { lines(dir, manifestFile, "abc  data/x\n"); return nil }, manifestFile + " is no digest and name of a file"},
		"a name out of it":    {func(dir string) error { lines(dir, manifestFile, digest+"  data/../../x\n"); return nil }, manifestFile + " is no digest and name of a file"},
		"a name twice":        {func(dir string) error { lines(dir, manifestFile, digest+"  data/names.json\n"); return nil }, "data/names.json stands there twice"},
		"payload in tags":     {func(dir string) error { lines(dir, tagFile, digest+"  data/x\n"); return nil }, "data/x has no place there"},
		"a link":              {func(dir string) error { return os.Symlink("/etc/passwd", in(dir, "data/passwd")) }, "data/passwd is a link"},
		"a link in a file's place": {func(dir string) error {
			os.Rename(in(dir, "data/books/guide.md"), dir+".md")
			return os.Symlink(dir+".md", in(dir, "data/books/guide.md"))
		}, "data/books/guide.md is a link"},
		"a linked folder": {func(dir string) error {
			os.Rename(in(dir, "data/books"), dir+"-books")
			return os.Symlink(dir+"-books", in(dir, "data/books"))
		}, "data/books is a link"},
		"names that fold": {func(dir string) error {
			interptest.Write(t, in(dir, "data/NAMES.json"), "x")
			lines(dir, manifestFile, fmt.Sprintf("%x  data/NAMES.json\n", sha256.Sum256([]byte("x"))))
			return nil
		}, `"data/NAMES.json" and "data/names.json" are one file on some systems`},
	} {
		dir := filepath.Join(t.TempDir(), "p")
		if err := os.CopyFS(dir, os.DirFS(made)); err != nil {
			t.Fatal(err)
		}
		if err := c.spoil(dir); err != nil {
			t.Logf("%s can't be tried here: %v", name, err) // links, or names that differ in case
			continue
		}
		if ok, wrong := verdict(t, dir); ok || !strings.Contains(strings.Join(wrong, "\n"), c.want) {
			t.Errorf("%s: %q", name, wrong)
		}
	}
}

// rezip copies a zip file, each member under the name that turn gives it, "" for
// none, and adds more.
func rezip(t *testing.T, from string, turn func(string) string, more ...zip.FileHeader) string {
	t.Helper()
	z, err := zip.OpenReader(from)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for _, f := range z.File {
		if f.Name = turn(f.Name); f.Name != "" {
			if err := w.Copy(f); err != nil {
				t.Fatal(err)
			}
		}
	}
	for _, h := range more {
		to, err := w.CreateHeader(&h)
		if err == nil && !strings.HasSuffix(h.Name, "/") {
			_, err = to.Write([]byte("/etc/passwd"))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "p.zip")
	interptest.Write(t, path, b.String())
	return path
}

// A zip file with names that lead out of it, links, or names twice is refused,
// and what is wrong is named.
func TestZipFilesOfWrongForm(t *testing.T) {
	made, _, _ := packed(t, "p.zip", Options{})
	same := func(n string) string { return n }
	for _, name := range []string{"../../x", "/etc/x", `C:\x`, `\\?\C:\x`, "p/data/../../x", "q/x", `p/C:\x`, "p/../p/x", "p//x", "loose"} {
		if ok, wrong := verdict(t, rezip(t, made, same, zip.FileHeader{Name: name})); ok || !strings.Contains(strings.Join(wrong, "\n"), fmt.Sprintf("%q", name)) &&
			!strings.Contains(strings.Join(wrong, "\n"), fmt.Sprintf("%q", strings.TrimPrefix(name, "p/"))) {
			t.Errorf("%s: %q", name, wrong)
		}
	}
	link := zip.FileHeader{Name: "p/data/passwd"}
	link.SetMode(os.ModeSymlink | 0o777)
	for name, c := range map[string]struct{ path, want string }{
		"a link":          {rezip(t, made, same, link), "data/passwd is a link"},
		"a name twice":    {rezip(t, made, same, zip.FileHeader{Name: "p/data/names.json"}), "data/names.json stands twice"},
		"an extra file":   {rezip(t, made, same, zip.FileHeader{Name: "p/data/new.txt"}), "data/new.txt is in no manifest"},
		"names that fold": {rezip(t, made, same, zip.FileHeader{Name: "p/data/Names.json"}), "are one file on some systems"},
		"no tag manifest": {rezip(t, made, func(n string) string { return strings.TrimSuffix(n, "p/"+tagFile) }), tagFile + " is missing"},
		"no folder":       {rezip(t, made, func(n string) string { return strings.TrimPrefix(n, "p/") }), "it has no bagit.txt"},
		"no zip file":     {filepath.Join(filepath.Dir(made), "none.zip"), "no zip file that can be read"},
	} {
		if name == "no zip file" {
			interptest.Write(t, c.path, "PK\x03\x04 and nothing")
		}
		if ok, wrong := verdict(t, c.path); ok || !strings.Contains(strings.Join(wrong, "\n"), c.want) {
			t.Errorf("%s: %q", name, wrong)
		}
	}
	// Folders of their own, and members that are packed tight, are as good.
	if ok, wrong := verdict(t, rezip(t, made, same, zip.FileHeader{Name: "p/data/empty/"})); !ok {
		t.Error(wrong)
	}
}

// Names in the manifest of a package from elsewhere have %, CR and LF written as
// RFC 8493 wants them.
func TestForeignNames(t *testing.T) {
	dir := t.TempDir()
	list, tags := "", ""
	for name, written := range map[string]string{"data/50%.tif": "data/50%25.tif", "data/x%0Ay": "data/x%250Ay"} {
		interptest.Write(t, filepath.Join(dir, filepath.FromSlash(name)), name)
		list += fmt.Sprintf("%x *%s\r\n", sha256.Sum256([]byte(name)), written)
	}
	for name, text := range map[string]string{bagFile: "BagIt-Version: 1.0\r\n", manifestFile: list} {
		interptest.Write(t, filepath.Join(dir, name), text)
		tags += fmt.Sprintf("%X  %s\n", sha256.Sum256([]byte(text)), name)
	}
	interptest.Write(t, filepath.Join(dir, tagFile), tags)
	p, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	if faults, err := p.damaged(context.Background()); err != nil || len(p.Faults)+len(faults) > 0 {
		t.Errorf("%v %q %q", err, p.Faults, faults)
	}
	if ok, wrong := verdict(t, dir); ok || len(wrong) != 1 || !strings.Contains(wrong[0], namesFile+" isn't there") {
		t.Errorf("no package of ours: %q", wrong)
	}
}
