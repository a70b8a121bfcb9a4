package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"

	"github.com/alecthomas/kong"

	"platemark/interp/disk"
)

// readableFile takes paths of files that exist, and keeps them as they were
// typed: messages shouldn't show where a home folder lies. A pattern that the
// shell left as it was typed, as those of Windows do, means the files it fits.
var readableFile = readable(false)

// readablePlace takes folders too.
var readablePlace = readable(true)

func readable(folders bool) kong.MapperFunc {
	return func(ctx *kong.DecodeContext, target reflect.Value) error { return popPaths(ctx, target, folders) }
}

func popPaths(ctx *kong.DecodeContext, target reflect.Value, folders bool) error {
	if target.Kind() != reflect.Slice {
		typed := ctx.Scan.Peek().String()
		paths, err := popFiles(ctx, folders)
		if err == nil && len(paths) > 1 {
			err = fmt.Errorf("%s fits %d files, and one is wanted here", typed, len(paths))
		}
		if err == nil {
			target.SetString(paths[0])
		}
		return err
	}
	for ctx.Scan.Peek().IsValue() {
		paths, err := popFiles(ctx, folders)
		if err != nil {
			return err
		}
		target.Set(reflect.AppendSlice(target, reflect.ValueOf(paths)))
	}
	return nil
}

// popFiles takes a word of the command line: the file it names (or the folder, where
// these are taken), else those that it fits as a pattern.
func popFiles(ctx *kong.DecodeContext, folders bool) ([]string, error) {
	typed := ctx.Scan.Peek().String()
	if _, err := os.Lstat(typed); err != nil && isPattern(typed) {
		ctx.Scan.Pop()
		found := fitting(typed)
		if len(found) == 0 {
			return nil, fileError{fmt.Errorf("no file fits %s", typed)}
		}
		return found, nil
	}
	path, err := popFile(ctx, folders)
	return []string{path}, err
}

func isPattern(typed string) bool { return strings.ContainsAny(filepath.Base(typed), "*?") }

// fitting lists the files that a pattern fits, sorted. `*` and `?` mean letters
// of a file's name there; brackets, and the folder before, mean themselves. As
// in a shell, names that begin with a dot are left out.
func fitting(pattern string) (found []string) {
	dir, name := filepath.Split(pattern)
	name = strings.NewReplacer(`\`, `\\`, "[", `\[`).Replace(name)
	list, _ := os.ReadDir(filepath.Clean(dir)) // "" is the folder here
	for _, e := range list {
		have := e.Name()
		if runtime.GOOS == "windows" { // where names that differ in case are one
			have, name = strings.ToLower(have), strings.ToLower(name)
		}
		if fits, _ := path.Match(name, have); fits && !e.IsDir() && have[0] != '.' {
			found = append(found, dir+e.Name())
		}
	}
	return found
}

func popFile(ctx *kong.DecodeContext, folders bool) (string, error) {
	var path string
	if err := ctx.Scan.PopValueInto("file", &path); err != nil {
		return "", err
	}
	st, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "", fileError{fmt.Errorf("there is no file %s", path)}
	case err != nil:
		return "", err
	case folders && st.IsDir():
		return path, nil
	}
	if err := disk.Regular(st); err != nil {
		return "", fileError{fmt.Errorf("%s can't be read: %w", path, err)}
	}
	return path, nil
}

// fileError is of a file that a command line names: what it is called in the
// command's help is no part of it.
type fileError struct{ error }

// lookInFlag is for commands that find inputs by their digests.
type lookInFlag struct {
	LookIn []string `help:"Also look for the inputs below this folder, by their digests: renamed and moved files are found (may be repeated)." placeholder:"FOLDER"`
}

// tellElsewhere says which inputs were found, and where.
func (a *app) tellElsewhere(list []string) {
	for _, s := range list {
		a.say(aNote, "%s", s)
	}
}

// ending refuses a name for what is written that doesn't end as its kind does, so that
// --force can't replace a recipe, a log or a print with it.
func ending(flag, path, want string) error {
	if path == "" || strings.EqualFold(filepath.Ext(path), want) {
		return nil
	}
	return usageError{fmt.Sprintf("%s writes a file whose name ends with %s, and %s doesn't", flag, want, path)}
}

// free fails before anything is computed if a file couldn't get its name; it is
// asked again when the file is written.
func free(path string, force bool, other string) error {
	if force {
		return disk.Replaceable(path)
	}
	if err := disk.Absent(path); err != nil {
		return fmt.Errorf("%w: name %s with --out, or use --force", err, other)
	}
	return nil
}
