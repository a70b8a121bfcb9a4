package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"reflect"

	"github.com/alecthomas/kong"

	"platemark/interp/disk"
)

// readableFile takes paths of files that exist, and keeps them as they were
// typed: messages shouldn't show where a home folder lies.
var readableFile = kong.MapperFunc(func(ctx *kong.DecodeContext, target reflect.Value) error {
	if target.Kind() != reflect.Slice {
		path, err := popFile(ctx)
		if err == nil {
			target.SetString(path)
		}
		return err
	}
	for ctx.Scan.Peek().IsValue() {
		path, err := popFile(ctx)
		if err != nil {
			return err
		}
		target.Set(reflect.Append(target, reflect.ValueOf(path)))
	}
	return nil
})

func popFile(ctx *kong.DecodeContext) (string, error) {
	var path string
	if err := ctx.Scan.PopValueInto("file", &path); err != nil {
		return "", err
	}
	st, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "", fmt.Errorf("there is no file %s", path)
	case err != nil:
		return "", err
	}
	if err := disk.Regular(st); err != nil {
		return "", fmt.Errorf("%s can't be read: %w", path, err)
	}
	return path, nil
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
