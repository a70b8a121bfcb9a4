package disk

import (
	"os"
	"path/filepath"
	"slices"
	"strings"

	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"
)

// Real resolves the links on the way to a file; it and folders before it
// needn't exist.
func Real(path string) string {
	abs, err := filepath.Abs(path)
	if err != nil {
		return path
	}
	if r, err := filepath.EvalSymlinks(abs); err == nil {
		return r
	}
	if dir := filepath.Dir(abs); dir != abs {
		return filepath.Join(Real(dir), filepath.Base(abs))
	}
	return abs
}

// Target is where a link leads, as seen from here; path itself where it is none
// or leads nowhere.
func Target(path string) string {
	if r, err := filepath.EvalSymlinks(path); err == nil {
		return r
	}
	return path
}

// Typed is a path as it is typed on a command line: in quotes where it needs them,
// and never like a flag.
func Typed(path string) string {
	plain := func(r rune) bool {
		return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("._-/+,@", r) || r == filepath.Separator
	}
	if strings.HasPrefix(path, "-") {
		path = "./" + path
	}
	switch {
	case path != "" && strings.IndexFunc(path, func(r rune) bool { return !plain(r) }) < 0:
		return path
	case filepath.Separator == '/' && strings.ContainsAny(path, "$`\"\\!"): // which mean something to shells in double quotes
		return "'" + strings.ReplaceAll(path, "'", `'\''`) + "'"
	}
	return `"` + path + `"`
}

// Fold is a name as the most forgiving file system sees it: names that fold
// together are one file somewhere.
func Fold(s string) string {
	return norm.NFC.String(cases.Fold().String(norm.NFC.String(filepath.ToSlash(filepath.Clean(s)))))
}

// Beside lists the files whose paths begin with before and end with after,
// sorted; before is a path with the beginning of a name.
func Beside(before, after string) []string {
	dir, begin := filepath.Split(before)
	var out []string
	for _, n := range namesIn(filepath.Clean(dir)) { // "" is the folder here
		if len(n) >= len(begin)+len(after) && strings.HasPrefix(n, begin) && strings.HasSuffix(n, after) {
			out = append(out, dir+n)
		}
	}
	slices.Sort(out)
	return out
}

// Same says whether two names lead to one file, which is there.
func Same(a, b string) bool {
	x, err1 := os.Stat(a)
	y, err2 := os.Stat(b)
	return err1 == nil && err2 == nil && os.SameFile(x, y)
}

// namesIn are the names in a folder, none where it can't be read.
func namesIn(dir string) []string {
	f, err := os.Open(dir)
	if err != nil {
		return nil
	}
	defer f.Close()
	names, _ := f.Readdirnames(-1)
	return names
}

// Join is the path on this system of one that is written with forward slashes,
// from a folder.
func Join(folder, path string) string { return filepath.Join(folder, filepath.FromSlash(path)) }
